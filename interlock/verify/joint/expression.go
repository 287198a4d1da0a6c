package joint

import (
	"github.com/dalzilio/rudd"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// three is a truth of three values as two diagrams; neither is unknown.
type three struct{ yes, no rudd.Node }

// evaluate is a permissive over diagrams, from the words of the design: unknown
// exactly where the unknown terms decide.
func evaluate(b *diagrams, p interlock.Permissive, cause func(int) three) three {
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
		results[at] = combine(b, n, terms)
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
func (e *Engine) permissive(inputs map[int][]int) {
	var free []int
	for i := range e.channels {
		free = append(free, e.channels[i].free...)
	}
	for _, pair := range inputs {
		free = append(free, pair...)
	}
	over := func(start bool) three {
		return evaluate(e.b, e.joint.Permissive, func(cause int) three {
			if c := e.channelOf(cause); c == nil {
				return e.freeTruth(inputs[cause])
			} else if start {
				return c.truth.start
			} else {
				return c.truth.keep
			}
		})
	}
	keep := over(false)
	begin := lesser(e.b, over(true), keep)
	freeSet := e.b.Makeset(free)
	keeps, begins := keep.is(e.b), begin.is(e.b)
	for v := range e.perm {
		whileOn, whileOff := e.b.Exist(keeps[v], freeSet), e.b.Exist(begins[v], freeSet)
		if v == 2 {
			e.keepTrue, e.startTrue = whileOn, whileOff
		}
		e.perm[v] = e.b.Ite(e.running, whileOn, whileOff)
	}
	e.permissiveWell()
}

// permissiveWell evaluates it with every input as it helps and no bypass.
func (e *Engine) permissiveWell() {
	over := func(start bool) three {
		return evaluate(e.b, e.joint.Permissive, func(cause int) three {
			if c := e.channelOf(cause); c == nil {
				return known(e.b, e.joint.Helpful[cause])
			} else if start {
				return c.alone.start
			} else {
				return c.alone.keep
			}
		})
	}
	keep := over(false)
	begin := lesser(e.b, over(true), keep)
	keeps, begins := keep.is(e.b), begin.is(e.b)
	e.well.news = func(c *channel) rudd.Node { return c.under[monitor.Good] }
	for v := range e.well.perm {
		e.well.perm[v] = e.b.Ite(e.running, keeps[v], begins[v])
	}
}
