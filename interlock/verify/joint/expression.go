package joint

import (
	"slices"

	"github.com/dalzilio/rudd"

	"ohmgate/interlock"
)

// three is a truth of three values as two diagrams; neither is unknown.
type three struct{ yes, no rudd.Node }

// evaluate is a permissive over diagrams, from the words of SEMANTICS.md: unknown
// exactly where the unknown terms decide.
func evaluate(b *diagrams, p interlock.Permissive, cause func(int) three) three {
	return evaluateBy(b, p, cause, func(n *interlock.Node, terms []three) three { return combine(b, n, terms) })
}

// evaluateBy is a permissive whose nodes are evaluated in some way.
func evaluateBy(b *diagrams, p interlock.Permissive, cause func(int) three, node func(*interlock.Node, []three) three) three {
	if len(p) == 0 {
		return three{b.False(), b.False()}
	}
	results := make([]three, len(p))
	for at := range p {
		n := &p[at]
		if n.Op == interlock.OpCause {
			results[at] = cause(n.Cause)
			continue
		}
		var terms []three
		for _, arg := range n.Args {
			terms = append(terms, results[arg])
		}
		results[at] = node(n, terms)
	}
	return results[len(p)-1]
}

func combine(b *diagrams, n *interlock.Node, terms []three) three {
	var yes, no []rudd.Node
	for _, t := range terms {
		yes, no = append(yes, t.yes), append(no, t.no)
	}
	switch n.Op {
	case interlock.OpNot:
		return three{terms[0].no, terms[0].yes}
	case interlock.OpXor:
		return three{b.Or(b.And(yes[0], no[1]), b.And(no[0], yes[1])), b.Or(b.And(yes[0], yes[1]), b.And(no[0], no[1]))}
	case interlock.OpAnd:
		return three{atLeast(b, yes, len(yes)), atLeast(b, no, 1)}
	case interlock.OpOr:
		return three{atLeast(b, yes, 1), atLeast(b, no, len(no))}
	}
	return three{atLeast(b, yes, n.M), atLeast(b, no, len(no)-n.M+1)}
}

// atLeast is true where m of the terms are.
func atLeast(b *diagrams, terms []rudd.Node, m int) rudd.Node {
	reached := make([]rudd.Node, m+1) // reached[k]: k terms so far
	reached[0] = b.True()
	for k := 1; k <= m; k++ {
		reached[k] = b.False()
	}
	for _, t := range terms {
		for k := m; k > 0; k-- {
			reached[k] = b.Or(reached[k], b.And(reached[k-1], t))
		}
	}
	return reached[m]
}

// lesser is the lesser of two truths.
func lesser(b *diagrams, x, y three) three { return three{b.And(x.yes, y.yes), b.Or(x.no, y.no)} }

// is lists where a truth is false, unknown, true.
func (t three) is(b *diagrams) [3]rudd.Node {
	return [3]rudd.Node{t.no, b.Not(b.Or(t.yes, t.no)), t.yes}
}

// known is a truth that stands.
func known(b *diagrams, t interlock.Truth) three {
	return three{b.From(t == interlock.True), b.From(t == interlock.False)}
}

// freeTruth is an input that can be anything.
func (e *Engine) freeTruth(pair []int) three {
	return three{e.b.Ithvar(pair[0]), e.b.And(e.b.NIthvar(pair[0]), e.b.Ithvar(pair[1]))}
}

// permissive evaluates it over all channels, the inputs free.
func (e *Engine) permissive() {
	e.b.release()
	free := e.freeSet()
	over := func(of func(*channel) (keep, start three)) (keeps, begins [3]rudd.Node) {
		return e.evaluateBoth(of, func(cause int) three { return e.freeTruth(e.inputs[cause]) })
	}
	keeps, begins := over(func(c *channel) (three, three) { return c.truth.keep, c.truth.start })
	e.keepTrue, e.startTrue = e.b.Exist(keeps[2], free), e.b.Exist(begins[2], free)
	if e.joint.Bond != nil {
		e.guards = e.lettersWithBond(keeps, begins, free)
		return
	}
	// What was built on the way goes back between them: with eight channels it is
	// more than what stays.
	e.guards = e.letters(keeps, begins, free)
	keeps, begins = [3]rudd.Node{}, [3]rudd.Node{}
	e.b.release()
	keeps, begins = over(func(c *channel) (three, three) { return c.bare.keep, c.bare.start })
	e.bare = e.letters(keeps, begins, free)
	keeps, begins = [3]rudd.Node{}, [3]rudd.Node{}
	e.b.release()
	e.well = scan{func(c *channel) rudd.Node { return c.under[c.Reads] }, e.wellBut(nil)}
}

// freeSet are the variables of everything that is free in every scan.
func (e *Engine) freeSet() rudd.Node {
	var free []int
	for i := range e.channels {
		free = append(free, e.channels[i].free...)
	}
	for _, pair := range e.inputs {
		free = append(free, pair...)
	}
	return e.b.Makeset(free)
}

// evaluateBoth says where the permissive is false, unknown, true: to keep on and
// to begin, which asks both of what is fit to keep and of what is fit to start.
func (e *Engine) evaluateBoth(of func(*channel) (keep, start three), input func(cause int) three) (keeps, begins [3]rudd.Node) {
	over := func(start bool) three {
		return evaluate(e.b, e.joint.Permissive, func(cause int) three {
			c := e.channelOf(cause)
			if c == nil {
				return input(cause)
			}
			keep, begin := of(c)
			if start {
				return begin
			}
			return keep
		})
	}
	keep := over(false)
	return keep.is(e.b), lesser(e.b, over(true), keep).is(e.b)
}

// letters is what the permissive can say to an output that runs, or does not.
func (e *Engine) letters(keeps, begins [3]rudd.Node, free rudd.Node) (list []rudd.Node) {
	for v := range keeps {
		list = append(list, e.b.Ite(e.running, e.b.Exist(keeps[v], free), e.b.Exist(begins[v], free)))
	}
	return list
}

// lettersWithBond asks the bond of the vessel beside the permissive, over what
// keeps it running: no bypass stands in for a bond.
func (e *Engine) lettersWithBond(keeps, begins [3]rudd.Node, free rudd.Node) (list []rudd.Node) {
	bond := evaluate(e.b, e.joint.Bond, func(cause int) three {
		if c := e.channelOf(cause); c != nil {
			return c.bare.keep
		}
		return e.freeTruth(e.inputs[cause])
	}).is(e.b)
	again := e.b.False()
	for i := range e.channels {
		if c := &e.channels[i]; c.InVessel {
			again = e.b.Or(again, e.b.Ithvar(c.again[0]))
		}
	}
	for v := range keeps {
		for bonded := range bond {
			both := e.b.Ite(e.running, e.b.Exist(e.b.And(keeps[v], bond[bonded]), free), e.b.Exist(e.b.And(begins[v], bond[bonded]), free))
			list = append(list, e.b.And(both, e.b.Not(again)), e.b.And(both, again))
		}
	}
	return list
}

// wellBut is what the permissive says with every input as it helps, but for those
// that are named, which are anything else; no bypass.
func (e *Engine) wellBut(inputs []int) []rudd.Node {
	spoiled := e.b.True()
	for _, cause := range inputs {
		is := e.freeTruth(e.inputs[cause]).is(e.b)
		spoiled = e.b.And(spoiled, e.b.Not(is[e.joint.Helpful[cause]+1]))
	}
	keeps, begins := e.evaluateBoth(func(c *channel) (three, three) { return c.alone.keep, c.alone.start }, func(cause int) three {
		if slices.Contains(inputs, cause) {
			return e.freeTruth(e.inputs[cause])
		}
		return known(e.b, e.joint.Helpful[cause])
	})
	for v := range keeps {
		keeps[v], begins[v] = e.b.And(keeps[v], spoiled), e.b.And(begins[v], spoiled)
	}
	return e.letters(keeps, begins, e.freeSet())
}
