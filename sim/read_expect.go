package sim

import (
	"fmt"
	"strings"

	"ohmgate/interlock/site"
)

// expectForms is what an expectation may begin with, for messages.
const expectForms = "within:, never:, always:, in order:, until:, first-out of:, event: or that: with at:"

// expectation reads one thing that must follow.
func (r *reader) expectation(n *site.Node, made *Scenario) {
	s := r.section(n, "{within: 300 ms, of: 10 s, that: valve_1 is tripped}")
	if s.bad {
		return
	}
	before := len(r.problems)
	e := Expectation{Place: n.At}
	switch {
	case s.has("in order"):
		r.inOrder(s, &e)
	case s.has("never"):
		e.Kind, e.That = Never, r.conditions(s, "never")
		e.While = r.conditions(s, "while")
	case s.has("always"):
		e.Kind, e.That = Holds, r.conditions(s, "always")
	case s.has("until"):
		e.Kind, e.Of = Until, r.conditions(s, "until")
		e.That = r.mustConditions(s, "that")
	case s.has("first-out of"):
		r.firstOut(s, &e)
	case s.has("event") || s.has("within"):
		r.within(s, &e)
	case s.has("that") && s.has("at"):
		e.Kind, e.That = Holds, r.conditions(s, "that")
		e.From = s.moment("at")
		e.To = e.From
	default:
		r.complain(n.At, "no form of expectation", "begin with "+expectForms)
		return
	}
	if e.Kind != Holds || e.From != e.To || !e.From.Declared {
		e.From, e.To = s.moment("from"), s.moment("to")
	}
	if at := s.moment("at"); at.Declared && e.Kind == FirstOut {
		e.From, e.To = at, at
	}
	r.window(&e)
	r.deadline(&e)
	s.done()
	if len(r.problems) == before {
		e.Text = e.describe()
		made.Expect = append(made.Expect, e)
	}
}

// window complains of moments that the run does not reach, or that leave no time.
func (r *reader) window(e *Expectation) {
	r.begins(e.From) // a scan must be left to be looked at
	r.begins(e.OfTime)
	r.inRun(e.To)
	r.refuse(e.From.Declared && e.To.Declared && e.From.ceil(r.period) > e.To.ceil(r.period), e.To.At, e.To.String()+" is before "+e.From.String(), "write to: after from:")
}

// deadline complains of a bound that the run does not reach.
func (r *reader) deadline(e *Expectation) {
	if e.Kind != Within || !e.OfTime.Declared || r.lasts == 0 {
		return
	}
	if e.OfTime.ceil(r.period)+e.Within.floor(r.period) >= r.lasts {
		r.complain(e.Within.At, "the scenario ends before this time is over", "let it last longer")
	}
}

func (r *reader) inOrder(s *section, e *Expectation) {
	e.Kind = InOrder
	e.That = r.conditions(s, "in order")
	r.refuse(len(e.That) == 1, s.node.At, "an order of one", "list at least two conditions")
}

func (r *reader) within(s *section, e *Expectation) {
	e.Kind = Within
	if s.has("event") {
		text, at := s.text("event")
		because, whyAt := s.text("because")
		why, wrong, instead := r.names.because(because)
		r.refuse(wrong != "", whyAt, wrong, instead)
		c, wrong, instead := r.names.condition(text, why)
		if wrong == "" && !c.event {
			wrong, instead = fmt.Sprintf("%q is no event", text), "write that: instead of event:"
		}
		r.refuse(wrong != "", at, wrong, instead)
		if because != "" {
			c.text += " because " + because
		}
		e.That = []condition{c}
	} else {
		e.That = r.mustConditions(s, "that")
	}
	e.Within = s.mustMoment("within")
	r.countedFrom(s, e)
}

// countedFrom reads of: a time, one condition or several; silent: the beginning.
func (r *reader) countedFrom(s *section, e *Expectation) {
	n := s.get("of")
	if n == nil {
		e.OfTime = Moment{Declared: true, At: s.node.At}
		return
	}
	text := strings.TrimSpace(n.Text)
	if n.Shape == site.Scalar && text != "" && text[0] >= '0' && text[0] <= '9' {
		e.OfTime = r.moment(text, n.At)
		return
	}
	e.Of = r.conditions(s, "of")
}

func (r *reader) firstOut(s *section, e *Expectation) {
	e.Kind = FirstOut
	before := len(r.problems)
	out := s.namesOf("first-out of", anOutput)
	r.refuse(len(out) != 1 && len(r.problems) == before, s.node.At, "a trip record belongs to one output", "name one output")
	if len(out) == 1 {
		e.Output = out[0]
	}
	e.Is = s.namesOf("is", aChannel, anInput)
	r.refuse(len(e.Is) == 0 && !s.has("is"), s.node.At, "which causes?", "write is: [bond_1]")
	order, at := s.text("order")
	r.refuse(order != "" && order != "known" && order != "not known", at, fmt.Sprintf("an order is never %q", order), "write known or not known")
	e.Order = order
}

func (r *reader) mustConditions(s *section, key string) []condition {
	r.refuse(!s.has(key), s.node.At, fmt.Sprintf("the key %q is missing", key), "write "+key+": valve_1 is tripped")
	return r.conditions(s, key)
}

// conditions reads one condition or a list of them.
func (r *reader) conditions(s *section, key string) []condition {
	texts, at := s.list(key)
	var list []condition
	for _, text := range texts {
		c, wrong, instead := r.names.condition(text, nil)
		if wrong != "" {
			r.complain(at, wrong, instead)
			continue
		}
		list = append(list, c)
	}
	return list
}

// describe writes an expectation as people read it.
func (e *Expectation) describe() string {
	window := ""
	if e.From.Declared && e.From != e.To {
		window += " from " + e.From.String()
	}
	if e.To.Declared && e.From != e.To {
		window += " to " + e.To.String()
	}
	if e.From.Declared && e.From == e.To {
		window = " at " + e.From.String()
	}
	switch e.Kind {
	case Never:
		if len(e.While) > 0 {
			window += " while " + textOf(e.While)
		}
		return "never " + textOf(e.That) + window
	case InOrder:
		texts := make([]string, len(e.That))
		for i := range e.That {
			texts[i] = e.That[i].text
		}
		return "in order: " + strings.Join(texts, ", ") + window
	case Until:
		return "until " + textOf(e.Of) + ": " + textOf(e.That) + window
	case FirstOut:
		text := "first-out of " + e.Output + " is " + strings.Join(e.Is, ", ")
		if e.Order != "" {
			text += ", order " + e.Order
		}
		return text + window
	case Holds:
		if window == "" || e.From != e.To {
			return "always " + textOf(e.That) + window
		}
		return textOf(e.That) + window
	}
	of := e.OfTime.String()
	if len(e.Of) > 0 {
		of = textOf(e.Of)
	}
	return textOf(e.That) + " within " + e.Within.String() + " of " + of + window
}
