package site

import (
	"errors"
	"fmt"
	"strings"

	"ohmgate/interlock"
)

// checkExpressions parses every expression once all names are known.
func (r *reader) checkExpressions(s *Site) {
	for i := range r.expressions {
		f := &r.expressions[i]
		p, unknown := r.parse(s, f)
		if p == nil {
			continue
		}
		r.checkCauses(s, f, p, unknown)
		r.checkVotes(s, f, p, unknown)
		if strings.HasSuffix(f.path, ".bonded_by") {
			r.checkInverted(f, p)
		}
		r.read[f.path] = true
		if vessel, ok := strings.CutSuffix(strings.TrimPrefix(f.path, "vessels."), ".bonded_by"); ok && len(unknown) == 0 {
			r.bonds[vessel] = p
		}
	}
	for i := range s.Vessels {
		v := &s.Vessels[i]
		if p, err := interlock.ParsePermissive(s.BondExpression(v), s.finder(aChannel)); err == nil && v.BondedBy == "" {
			r.bonds[v.Name] = p
		}
	}
}

// unknownCause numbers names that are not declared, so that the parser goes on
// and all of them are told at once.
const unknownCause = interlock.MaxCauses + interlock.MaxOutputs

// parse reads one expression. Names that it may not use get numbers from
// unknownCause on.
func (r *reader) parse(s *Site, f *formula) (p interlock.Permissive, unknown []string) {
	known := s.finder(f.want)
	p, err := interlock.ParsePermissive(f.text, func(name string) (int, bool) {
		if n, ok := known(name); ok {
			return n, true
		}
		unknown = append(unknown, name)
		return unknownCause + len(unknown) - 1, true
	})
	var syntax *interlock.SyntaxError
	switch {
	case strings.TrimSpace(f.text) == "":
		r.complain(f.node.at, "the expression is empty: it would never be true", "write a term such as bond_1")
		return nil, nil
	case errors.As(err, &syntax):
		r.complain(r.src.within(f.node, syntax.Column), cutLong(syntax.Text), syntax.Instead)
		return nil, nil
	}
	return p, unknown
}

// cutLong shortens a message that quotes too much of the file.
func cutLong(text string) string {
	if runes := []rune(text); len(runes) > 120 {
		return string(runes[:120]) + "…"
	}
	return text
}

// checkCauses tells of every name that is unknown, and of buttons, which are
// pressed and released and make no condition.
func (r *reader) checkCauses(s *Site, f *formula, p interlock.Permissive, unknown []string) {
	for i := range p {
		n := &p[i]
		if n.Op != interlock.OpCause {
			continue
		}
		if n.Cause >= unknownCause {
			r.dangling(r.src.within(f.node, n.Column), unknown[n.Cause-unknownCause], f.want)
			continue
		}
		input := n.Cause - len(s.Channels)
		if f.want&anOutput == 0 && input >= 0 && s.Inputs[input].Use == "button" {
			r.complain(r.src.within(f.node, n.Column), fmt.Sprintf("%q is declared for use as button, which makes no condition", s.Inputs[input].Name), "name an input with use: switch, evidence, flow or key")
		}
	}
}

// checkVotes lets only different channels that watch the same part vote.
func (r *reader) checkVotes(s *Site, f *formula, p interlock.Permissive, unknown []string) {
	for i := range p {
		if p[i].Op != interlock.OpVote {
			continue
		}
		var first *Channel
		seen := map[int]bool{}
		for _, arg := range p[i].Args {
			n := &p[arg]
			at := r.src.within(f.node, n.Column)
			switch {
			case n.Op == interlock.OpCause && n.Cause >= unknownCause:
				continue // told already
			case n.Op != interlock.OpCause || n.Cause >= len(s.Channels):
				r.complain(at, "a vote takes channels only", "list channels that watch the same part")
				continue
			case seen[n.Cause]:
				r.complain(at, fmt.Sprintf("channel %q votes twice", s.Channels[n.Cause].Name), "list different channels that watch the same part")
				continue
			}
			seen[n.Cause] = true
			voter := &s.Channels[n.Cause]
			if first == nil {
				first = voter
			} else if voter.Part != first.Part {
				r.complain(at, fmt.Sprintf("%q watches %q, but %q watches %q: others cannot vote for it", voter.Name, cut(voter.Part), first.Name, cut(first.Part)), "let only channels of the same part vote, and join the votes with AND")
			}
		}
	}
}

// checkInverted refuses bonds that a vanished connection would show.
func (r *reader) checkInverted(f *formula, p interlock.Permissive) {
	for i := range p {
		if p[i].Op == interlock.OpNot || p[i].Op == interlock.OpXor {
			r.complain(r.src.within(f.node, p[i].Column), "NOT or XOR in bonded_by: a connection that is gone would show a bond", "use AND, OR and votes only")
			return
		}
	}
}
