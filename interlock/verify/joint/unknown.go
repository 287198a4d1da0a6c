package joint

import (
	"math/big"

	"github.com/dalzilio/rudd"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Letters compares, over every combination of what all causes can say, the
// permissive as the logic evaluates it node by node with its words, and with itself
// where some of the causes are unknown instead: what it then allows it must have
// allowed before. It returns what is wrong, and nothing if nothing is.
func Letters(j *Problem, memory uint64) (said string, err error) {
	at := map[int]int{} // causes, by their first variable
	for _, n := range j.Permissive {
		if _, known := at[n.Cause]; n.Op == interlock.OpCause && !known {
			at[n.Cause] = 3 * len(at)
		}
	}
	b, err := newDiagrams(3*len(at)+1, 1<<16, memory)
	if err != nil {
		return "", err
	}
	defer func() { full(b, memory, "comparing joint letters", &err, recover()) }()
	heard := func(cause int) three {
		v := at[cause]
		return three{b.Ithvar(v), b.And(b.NIthvar(v), b.Ithvar(v+1))}
	}
	less := func(cause int) three { // known only where the third variable says so
		t, given := heard(cause), b.Ithvar(at[cause]+2)
		return three{b.And(t.yes, given), b.And(t.no, given)}
	}
	by := func(cause func(int) three) three { return evaluateBy(b, j.Permissive, cause, nodeOf(b, j)) }
	logic, words := by(heard), evaluate(b, j.Permissive, heard)
	switch {
	case !b.Equal(logic.yes, words.yes) || !b.Equal(logic.no, words.no):
		said = "the permissive is not what its words say of some joint letter"
	case !b.empty(b.And(by(less).yes, b.Not(logic.yes))):
		said = "an unknown cause makes the permissive true of some joint letter"
	}
	if b.full() {
		return "", nil // the deferred call says why
	}
	return said, nil
}

// nodeOf evaluates one node as the logic does, from its answers to all values of
// its terms. Of AND and OR any number of terms is taken two by two.
func nodeOf(b *diagrams, j *Problem) func(n *interlock.Node, terms []three) three {
	var node func(n *interlock.Node, terms []three) three
	node = func(n *interlock.Node, terms []three) three {
		if (n.Op == interlock.OpAnd || n.Op == interlock.OpOr) && len(terms) > 2 {
			return node(n, []three{node(n, terms[:len(terms)-1]), terms[len(terms)-1]})
		}
		result := three{b.False(), b.False()}
		values := make([]interlock.Truth, len(terms))
		var walk func(i int, where rudd.Node)
		walk = func(i int, where rudd.Node) {
			if i < len(terms) {
				for value, is := range terms[i].is(b) {
					values[i] = interlock.Truth(value - 1)
					walk(i+1, b.And(where, is))
				}
				return
			}
			switch j.Node(n, values) {
			case interlock.True:
				result.yes = b.Or(result.yes, where)
			case interlock.False:
				result.no = b.Or(result.no, where)
			}
		}
		walk(0, b.True())
		return result
	}
	return node
}

// twice is one channel beside itself: the one hears everything, of the good
// readings of the other any may be missing or invalid.
type twice struct {
	b         *diagrams
	one, less block
	steps     [2][monitor.Classes]rudd.Node // by what the one hears
	fit       [2]rudd.Node                  // next
	firm      [2]rudd.Node
	back      rudd.Replacer
}

// Pairs goes through every pair of states that the two can come to from any one in
// which they are fit to keep, for as long as the one that hears less is. (Once it
// is lost it must settle anew, which is property 1.) The other must then be fit to
// keep as well, and fit to start where that one is.
func Pairs(t *table.ChannelTable, memory uint64) (found SideBySide, err error) {
	found.Pairs = new(big.Int)
	x, err := newTwice(t, memory)
	if err != nil {
		return found, err
	}
	defer func() { full(x.b, memory, "comparing a channel with itself", &err, recover()) }()
	better := x.b.And(x.fit[1], x.b.Not(x.fit[0]))
	surer := x.b.And(x.firm[1], x.b.Not(x.firm[0]))
	set := x.same(t)
	for !x.b.full() {
		later := x.b.False()
		for _, news := range allNews {
			moved := x.b.AndExist(x.one.nowSet, set, x.steps[0][news])
			later = x.b.Or(later, x.b.AndExist(x.less.nowSet, moved, x.steps[1][news]))
		}
		found.Kept = found.Kept || !x.b.empty(x.b.And(later, x.fit[1]))
		switch {
		case !x.b.empty(x.b.And(later, better)):
			found.Wrong = "with a reading less it is fit to keep where it would not be"
		case !x.b.empty(x.b.And(later, surer)):
			found.Wrong = "with a reading less it is fit to start where it would not be"
		}
		all := x.b.Or(set, x.b.Replace(x.b.And(later, x.fit[1]), x.back))
		if found.Wrong != "" || x.b.Equal(all, set) {
			break
		}
		if set = all; len(x.b.pool) > fewNodes {
			x.b.release()
		}
	}
	if !x.b.full() {
		found.Pairs = x.b.Satcount(set)
		found.Pairs.Rsh(found.Pairs, uint(x.b.Varnum()-2*len(x.one.now)))
	}
	return found, nil
}

func newTwice(t *table.ChannelTable, memory uint64) (x *twice, err error) {
	words := wordsOf(t)
	c := codeOf(words)
	x = &twice{one: block{code: c}, less: block{code: c}}
	for i := range c { // the same bit of both side by side
		x.one.now, x.one.rowPlace = append(x.one.now, 4*i), append(x.one.rowPlace, 4*i, 4*i+1)
		x.less.now, x.less.rowPlace = append(x.less.now, 4*i+2), append(x.less.rowPlace, 4*i+2, 4*i+3)
	}
	if x.b, err = newDiagrams(4*len(c), 20*len(t.States)+1<<16, memory); err != nil {
		return nil, err
	}
	defer func() { full(x.b, memory, "comparing a channel with itself", &err, recover()) }()
	var rows [monitor.Classes][]pattern
	t.EachStep(func(from, to uint32, news monitor.Class, _ bool) {
		rows[news] = append(rows[news], c.row(words[from], words[to]))
	})
	for k, one := range [...]*block{&x.one, &x.less} {
		one.nowSet = x.b.Makeset(one.now)
		for class := range rows {
			x.steps[k][class] = shapeOf(rows[class], 2*len(c)).put(x.b, one.rowPlace)
		}
		x.fit[k] = some(x.b, one, words, 1, func(i int) bool { return t.States[i].Phase.MayKeep() })
		x.firm[k] = some(x.b, one, words, 1, func(i int) bool { return t.States[i].Phase.MayStart() })
	}
	good := &x.steps[1][monitor.Good]
	*good = x.b.Or(*good, x.b.Or(x.steps[1][monitor.Missing], x.steps[1][monitor.Invalid]))
	now := append(append([]int(nil), x.one.now...), x.less.now...)
	x.back, err = x.b.NewReplacer(next(now), now)
	return x, err
}

// fewNodes are so few that to hold them costs less than to ask Go what is held.
const fewNodes = 300

// same is every pair of one state with itself in which it is fit to keep.
func (x *twice) same(t *table.ChannelTable) rudd.Node {
	set := some(x.b, &x.one, wordsOf(t), 0, func(i int) bool { return t.States[i].Phase.MayKeep() })
	for i := len(x.one.now) - 1; i >= 0; i-- {
		a, b := x.b.Ithvar(x.one.now[i]), x.b.Ithvar(x.less.now[i])
		set = x.b.And(set, x.b.Ite(a, b, x.b.Not(b)))
	}
	return set
}
