package site

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
)

// ParsePermissive reads an expression over the site's channels and inputs.
func (s *Site) ParsePermissive(text string) (interlock.Permissive, error) {
	return interlock.ParsePermissive(text, s.finder(aChannel|anInput))
}

// ParseProperty reads an expression over channels, inputs and outputs. The
// outputs are numbered behind the causes.
func (s *Site) ParseProperty(text string) (interlock.Permissive, error) {
	return interlock.ParsePermissive(text, s.finder(aChannel|anInput|anOutput))
}

// finder looks names up for the parser, among the given things only.
func (s *Site) finder(want thing) func(string) (int, bool) {
	numbers := make(map[string]int, s.Causes()+len(s.Outputs))
	if want&anOutput != 0 {
		for i := range s.Outputs {
			numbers[s.Outputs[i].Name] = s.Causes() + i
		}
	}
	if want&anInput != 0 {
		for i := range s.Inputs {
			numbers[s.Inputs[i].Name] = len(s.Channels) + i
		}
	}
	for i := range s.Channels {
		numbers[s.Channels[i].Name] = i
	}
	return func(name string) (int, bool) {
		n, ok := numbers[name]
		return n, ok
	}
}

// strength orders the operators: what binds stronger needs no parentheses
// inside what binds weaker.
var strength = map[interlock.Op]int{
	interlock.OpOr: 1, interlock.OpXor: 2, interlock.OpAnd: 3, interlock.OpNot: 4,
	interlock.OpCause: 5, interlock.OpVote: 5,
}

var operators = map[interlock.Op]string{interlock.OpOr: " OR ", interlock.OpXor: " XOR ", interlock.OpAnd: " AND "}

// Render writes a permissive as a site file would, with no more parentheses
// than it takes. Read again it gives the same expression.
func (s *Site) Render(p interlock.Permissive) string {
	if len(p) == 0 {
		return ""
	}
	return s.render(p, len(p)-1)
}

func (s *Site) render(p interlock.Permissive, at int) string {
	n := &p[at]
	switch n.Op {
	case interlock.OpCause:
		return s.CauseName(n.Cause)
	case interlock.OpNot:
		return "NOT " + s.argument(p, n.Args[0], strength[interlock.OpNot])
	case interlock.OpVote:
		terms := make([]string, len(n.Args))
		for i, arg := range n.Args {
			terms[i] = s.render(p, arg)
		}
		return fmt.Sprintf("%doo%d(%s)", n.M, len(n.Args), strings.Join(terms, ", "))
	}
	terms := make([]string, len(n.Args))
	for i, arg := range n.Args {
		least := strength[n.Op] + 1
		if n.Op == interlock.OpXor && i == 0 {
			least-- // a XOR b XOR c is read from the left
		}
		terms[i] = s.argument(p, arg, least)
	}
	return strings.Join(terms, operators[n.Op])
}

// argument writes one term, in parentheses where it binds too weakly.
func (s *Site) argument(p interlock.Permissive, at, least int) string {
	text := s.render(p, at)
	if strength[p[at].Op] < least {
		return "(" + text + ")"
	}
	return text
}
