package joint

import (
	"github.com/dalzilio/rudd"

	"ohmgate/interlock"
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
