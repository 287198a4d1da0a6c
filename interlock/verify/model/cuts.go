package model

import (
	"cmp"
	"slices"

	"ohmgate/interlock"
)

// Cuts are minimal sets of causes.
type Cuts [][]int

// MaxCuts is how many minimal cut sets of one permissive are worked out. A vote of 8
// out of 16 has 11,440 of them; whoever asks more of a permissive is told so.
const MaxCuts = 1 << 8

// CutSets lists the minimal sets of causes of which all must be unfit to stop an
// output for certain, smallest first, MaxCuts at most.
func CutSets(p interlock.Permissive) Cuts {
	sets, _ := AllCutSets(p)
	return sets
}

// AllCutSets lists them too, and says whether those are all: where some are left out
// nothing is shown by going through the list.
func AllCutSets(p interlock.Permissive) (sets Cuts, all bool) {
	if len(p) == 0 {
		return nil, true
	}
	c := cutter{p: p, all: true, known: make([][2]*family, len(p))}
	for _, set := range *c.without(len(p)-1, interlock.True) {
		var list []int
		set.Each(func(cause int) { list = append(list, cause) })
		sets = append(sets, list)
	}
	slices.SortFunc(sets, func(a, b []int) int { return cmp.Or(cmp.Compare(len(a), len(b)), slices.Compare(a, b)) })
	return sets, c.all
}

// cutter works out, node by node, the minimal sets of unfit causes with which a node
// cannot take a value, whatever the other causes are. A cause that is named twice
// counts as two, as in Outcomes, so that a set may be too large, never too small.
type cutter struct {
	p     interlock.Permissive
	all   bool
	known [][2]*family // by node: without false, without true
}

// family is sets of which none lies within another, the smallest first.
type family []interlock.CauseSet

// without lists the sets with which a node is never false, or never true.
func (c *cutter) without(at int, value interlock.Truth) *family {
	memory := &c.known[at][Int(value == interlock.True)]
	if *memory == nil {
		found := c.work(at, value)
		*memory = &found
	}
	return *memory
}

func (c *cutter) work(at int, value interlock.Truth) family {
	n := &c.p[at]
	switch n.Op {
	case interlock.OpCause:
		if value == interlock.False {
			return nil // unfit is false or unknown
		}
		var alone interlock.CauseSet
		alone.Add(n.Cause)
		return family{alone}
	case interlock.OpNot:
		return *c.without(n.Args[0], -value)
	case interlock.OpXor:
		return c.xor(n.Args, value)
	case interlock.OpAnd:
		return c.votes(n.Args, len(n.Args), value)
	case interlock.OpOr:
		return c.votes(n.Args, 1, value)
	}
	return c.votes(n.Args, n.M, value)
}

// votes: of so many terms at least m must be true. It is never true where all but
// m-1 never are; it is never false where m never are.
func (c *cutter) votes(args []int, m int, value interlock.Truth) family {
	need := m
	if value == interlock.True {
		need = len(args) - m + 1
	}
	by := make([]family, need+1) // by how many terms are held so far
	by[0] = family{{}}
	for i, arg := range args {
		sets, left := *c.without(arg, value), len(args)-i-1
		for held := min(need, i+1); held >= max(1, need-left); held-- { // more cannot be yet, fewer can no more be enough
			by[held] = c.either(by[held], c.both(by[held-1], sets))
		}
	}
	return by[need]
}

// xor folds the terms two by two: true where one is true and the other false. It is
// not false where no pair of equal values can meet, and not true where no pair of
// different ones can.
func (c *cutter) xor(args []int, value interlock.Truth) family {
	f, t := *c.without(args[0], interlock.False), *c.without(args[0], interlock.True)
	for _, arg := range args[1:] {
		g, u := *c.without(arg, interlock.False), *c.without(arg, interlock.True)
		f, t = c.both(c.either(t, u), c.either(f, g)), c.both(c.either(t, g), c.either(f, u))
	}
	if value == interlock.True {
		return t
	}
	return f
}

// either is the minimal sets of two families.
func (c *cutter) either(a, b family) family { return c.minimal(slices.Concat(a, b)) }

// both is the minimal unions of one set of each family.
func (c *cutter) both(a, b family) family {
	var list family
	for _, x := range a {
		for _, y := range b {
			if len(list) == 4*MaxCuts {
				c.all = false
				return c.minimal(list)
			}
			list = append(list, union(x, y))
		}
	}
	return c.minimal(list)
}

// minimal leaves out every set that holds another one.
func (c *cutter) minimal(list family) family {
	slices.SortStableFunc(list, func(a, b interlock.CauseSet) int { return cmp.Compare(a.Len(), b.Len()) })
	var found family
	for _, set := range list {
		switch {
		case slices.ContainsFunc(found, func(one interlock.CauseSet) bool { return union(one, set) == set }):
		case len(found) == MaxCuts:
			c.all = false
			return found
		default:
			found = append(found, set)
		}
	}
	return found
}

func union(a, b interlock.CauseSet) interlock.CauseSet {
	for i := range a {
		a[i] |= b[i]
	}
	return a
}
