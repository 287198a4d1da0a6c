package model

import (
	"math/bits"
	"slices"

	"ohmgate/interlock"
)

// Evaluate is the permissive's value, written a second time from the words of
// SEMANTICS.md (false < unknown < true; a vote is the Mth best of its terms), so
// that properties do not ask the logic what its own rule says.
func Evaluate(p interlock.Permissive, value func(cause int) interlock.Truth) interlock.Truth {
	if len(p) == 0 {
		return interlock.Unknown
	}
	results := make([]interlock.Truth, len(p))
	for at, n := range p {
		results[at] = evaluateNode(&n, results, value)
	}
	return results[len(p)-1]
}

func evaluateNode(n *interlock.Node, results []interlock.Truth, value func(int) interlock.Truth) interlock.Truth {
	if n.Op == interlock.OpCause {
		return value(n.Cause)
	}
	var count [3]int
	for _, arg := range n.Args {
		count[results[arg]+1]++
	}
	switch n.Op {
	case interlock.OpNot:
		return -results[n.Args[0]]
	case interlock.OpXor:
		if count[1] > 0 {
			return interlock.Unknown
		}
		return Truth(count[2] == 1)
	case interlock.OpAnd:
		return mthBest(count, len(n.Args))
	case interlock.OpOr:
		return mthBest(count, 1)
	}
	return mthBest(count, n.M)
}

// mthBest is the Mth value when the counted ones are sorted from the best.
func mthBest(count [3]int, m int) interlock.Truth {
	switch {
	case count[2] >= m:
		return interlock.True
	case count[2]+count[1] >= m:
		return interlock.Unknown
	}
	return interlock.False
}

func Truth(b bool) interlock.Truth {
	if b {
		return interlock.True
	}
	return interlock.False
}

// TruthSet is a set of truth values, one bit for each, false first.
type TruthSet uint8

const AnyTruth TruthSet = 7

func SetOf(t interlock.Truth) TruthSet { return 1 << (t + 1) }

func (s TruthSet) Has(t interlock.Truth) bool { return s>>(t+1)&1 == 1 }

// Outcomes is the set of values that a permissive can have when each cause can
// have those of its own set, whatever the others do. A cause that is named twice
// counts as two, so the set may be too large, never too small.
func Outcomes(p interlock.Permissive, value func(cause int) TruthSet) TruthSet {
	if len(p) == 0 {
		return SetOf(interlock.Unknown)
	}
	results := make([]TruthSet, len(p))
	for at := range p {
		n := &p[at]
		switch n.Op {
		case interlock.OpCause:
			results[at] = value(n.Cause)
		case interlock.OpVote:
			results[at] = votes(n, results)
		default:
			results[at] = results[n.Args[0]]
			if n.Op == interlock.OpNot {
				results[at] = TruthSet(bits.Reverse8(uint8(results[at])) >> 5)
			}
			for _, arg := range n.Args[1:] {
				results[at] = pairs(n.Op, results[at], results[arg])
			}
		}
	}
	return results[len(p)-1]
}

// pairs combines two sets under AND, OR or XOR.
func pairs(op interlock.Op, a, b TruthSet) TruthSet {
	var set TruthSet
	for _, x := range Truths {
		for _, y := range Truths {
			if a.Has(x) && b.Has(y) {
				n := interlock.Node{Op: op, Args: []int{0, 1}}
				set |= SetOf(evaluateNode(&n, []interlock.Truth{x, y}, nil))
			}
		}
	}
	return set
}

// votes walks the terms of a vote and keeps which counts of true and of not
// false are possible.
func votes(n *interlock.Node, results []TruthSet) TruthSet {
	type counts struct{ shown, possible int }
	now := map[counts]bool{{}: true}
	for _, arg := range n.Args {
		next := map[counts]bool{}
		for c := range now {
			if results[arg].Has(interlock.True) {
				next[counts{c.shown + 1, c.possible + 1}] = true
			}
			if results[arg].Has(interlock.Unknown) {
				next[counts{c.shown, c.possible + 1}] = true
			}
			if results[arg].Has(interlock.False) {
				next[c] = true
			}
		}
		now = next
	}
	var set TruthSet
	for c := range now {
		set |= SetOf(mthBest([3]int{0, c.possible - c.shown, c.shown}, n.M))
	}
	return set
}

// Unfit is what a cause can be when it does not help.
const Unfit TruthSet = 1 | 2

// IsCut says that the permissive cannot be true while all of these causes are
// false or unknown, whatever the others are.
func IsCut(p interlock.Permissive, causes ...int) bool {
	return !Outcomes(p, func(cause int) TruthSet {
		for _, c := range causes {
			if c == cause {
				return Unfit
			}
		}
		return AnyTruth
	}).Has(interlock.True)
}

func Choose(from []int, size int, have []int, f func([]int)) {
	if size == 0 {
		f(have)
		return
	}
	for i := 0; i+size <= len(from); i++ {
		Choose(from[i+1:], size-1, append(have, from[i]), f)
	}
}

// Residue is what is left of a permissive once every cause but one has been
// given a value: a function of that one, as its value at false, unknown, true.
type Residue [3]interlock.Truth

// Residues lists every residue that a permissive can have in one cause while the
// others are free. The nodes are evaluated by the logic, a few terms at a time.
func Residues(logic *Logic, p interlock.Permissive, focus int) []Residue {
	if len(p) == 0 {
		return []Residue{{}}
	}
	free := []Residue{}
	for _, t := range Truths {
		free = append(free, Residue{t, t, t})
	}
	all := make([][]Residue, len(p))
	for at := range p {
		n := &p[at]
		switch {
		case n.Op == interlock.OpCause && n.Cause == focus:
			all[at] = []Residue{Truths}
		case n.Op == interlock.OpCause:
			all[at] = free
		case n.Op == interlock.OpAnd || n.Op == interlock.OpOr:
			all[at] = all[n.Args[0]]
			for _, arg := range n.Args[1:] {
				all[at] = combine(logic, n, [][]Residue{all[at], all[arg]})
			}
		default:
			var terms [][]Residue
			for _, arg := range n.Args {
				terms = append(terms, all[arg])
			}
			all[at] = combine(logic, n, terms)
		}
	}
	return all[len(p)-1]
}

// combine lists the residues of one node over those of its terms.
func combine(logic *Logic, n *interlock.Node, terms [][]Residue) []Residue {
	small := make(interlock.Permissive, len(terms)+1)
	args := make([]int, len(terms))
	for i := range terms {
		small[i] = interlock.Node{Op: interlock.OpCause, Cause: i}
		args[i] = i
	}
	small[len(terms)] = interlock.Node{Op: n.Op, M: n.M, Args: args}
	var found []Residue
	seen := map[Residue]bool{}
	picked := make([]Residue, len(terms))
	value := make([]interlock.Truth, len(terms))
	var pick func(i int)
	pick = func(i int) {
		if i < len(terms) {
			for _, r := range terms[i] {
				picked[i] = r
				pick(i + 1)
			}
			return
		}
		var r Residue
		for x := range r {
			for k := range picked {
				value[k] = picked[k][x]
			}
			r[x] = logic.Eval(small, value)
		}
		if !seen[r] {
			seen[r] = true
			found = append(found, r)
		}
	}
	pick(0)
	// In fixed order, so that equal sets are equal lists.
	slices.SortFunc(found, func(a, b Residue) int { return slices.Compare(a[:], b[:]) })
	return found
}

// Of is the set of values that residues have when their cause has two values at
// once, each the lower of both: a start asks what is fit to start and what is
// fit to keep running.
func Of(all []Residue, x, y interlock.Truth) TruthSet {
	var set TruthSet
	for _, r := range all {
		set |= SetOf(min(r[x+1], r[y+1]))
	}
	return set
}

// Wanted is the value of a cause that helps a permissive to be true; not known of
// one that it does not read, or reads both as it is and inverted, as under XOR.
func Wanted(p interlock.Permissive, cause int) (value interlock.Truth, known bool) {
	asIs, inverted := false, false
	var walk func(at int, not bool)
	walk = func(at int, not bool) {
		n := &p[at]
		if n.Op == interlock.OpCause && n.Cause == cause {
			asIs, inverted = asIs || !not, inverted || not
		}
		for _, arg := range n.Args {
			walk(arg, not != (n.Op == interlock.OpNot))
			if n.Op == interlock.OpXor {
				walk(arg, !not)
			}
		}
	}
	if len(p) > 0 {
		walk(len(p)-1, false)
	}
	return Truth(asIs), asIs != inverted
}

// Truths lists the three values in the order in which letters number them.
var Truths = [3]interlock.Truth{interlock.False, interlock.Unknown, interlock.True}
