package joint

import (
	"github.com/dalzilio/rudd"

	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/model"
)

// Found is what the search met, for the verifier to judge.
func (e *Engine) Found() (f *Found, err error) {
	f = &Found{States: e.States().String(), Runs: map[model.Property]Run{}}
	for _, n := range e.joint.Properties {
		said, err := e.Verdict(n)
		if err != nil {
			return nil, err
		}
		switch said {
		case verdict.Violated:
			f.Bad |= n.Bit()
			if f.Runs[n], err = e.Shortest(n); err != nil {
				return nil, err
			}
		case verdict.Shown:
			f.Hit |= n.Bit()
		}
	}
	return f, nil
}

// Verdict is what the joint search says of a property that its steps know of.
func (e *Engine) Verdict(property model.Property) (said verdict.Verdict, err error) {
	said = verdict.NotShown
	defer e.full("judging jointly", &err)
	moved := e.reachedMoved()
	hit, bad := false, false
	for v, broken := range e.broken(property) {
		hit = hit || e.meets(e.b.And(moved, e.guards[v]), e.hit[property][v])
		bad = bad || e.meets(moved, broken)
	}
	return e.verdict(hit, bad), nil
}

// verdict is what was met, unless the table is full: then the deferred call of the
// judge says why nothing is shown.
func (e *Engine) verdict(hit, bad bool) verdict.Verdict {
	switch {
	case e.b.full():
		return verdict.NotShown
	case bad:
		return verdict.Violated
	case hit:
		return verdict.Shown
	}
	return verdict.NothingChecked
}

// reachedMoved is everything that can be reached, its channels one scan on.
func (e *Engine) reachedMoved() rudd.Node {
	if e.onward == nil {
		e.onward = e.moved(e.reached, e.free())
	}
	return e.onward
}

// broken are the steps that break a property, by what the permissive says: over
// the output now and next, and the channels next.
func (e *Engine) broken(property model.Property) []rudd.Node {
	list := make([]rudd.Node, len(e.steps))
	wrong := e.wrong(property)
	for v := range list {
		list[v] = e.b.And(e.guards[v], e.b.Or(e.bad[property][v], e.b.And(wrong, e.steps[v])))
	}
	return list
}

// wrong is where a step of the output would break a property whatever its own
// table says: it runs on although the permissive over all channels can not be
// true, or although a channel that alone stops it is not fit.
func (e *Engine) wrong(property model.Property) rudd.Node {
	none := e.b.False()
	switch property {
	case model.PropertyWithhold:
		none = e.b.Not(e.keepTrue)
	case model.PropertyStart:
		none = e.b.Not(e.startTrue)
	default:
		return none
	}
	for i := range e.channels {
		if c := &e.channels[i]; c.Cut && property == model.PropertyWithhold {
			none = e.b.Or(none, e.b.Not(c.fit))
		} else if c.Cut {
			none = e.b.Or(none, e.b.Not(c.firm))
		}
	}
	before := e.running
	if property == model.PropertyStart {
		before = e.b.Not(e.running)
	}
	return e.b.all(before, e.runs, none)
}

func (e *Engine) meets(a, b rudd.Node) bool { return !e.b.empty(e.b.And(a, b)) }
