package joint

import (
	"github.com/dalzilio/rudd"

	"ohmgate/interlock/verify"
	"ohmgate/monitor"
)

// Verdict is what the joint search says of a default property: 2, 3, 7 or 10.
func (e *Engine) Verdict(property int) (verdict verify.Verdict, err error) {
	verdict = verify.NotShown
	defer e.full("judging jointly", &err)
	moved := e.moved(e.reached, anyNews)
	hit, bad, wrong := false, false, e.wrong(property)
	for v := range e.steps {
		can := e.b.And(moved, e.perm[v])
		hit = hit || e.meets(can, e.hit[property][v])
		bad = bad || e.meets(can, e.bad[property][v]) || e.meets(e.b.And(can, wrong), e.steps[v])
	}
	switch {
	case e.b.full():
		return verify.NotShown, nil // the deferred call says why
	case bad:
		return verify.Violated, nil
	case hit:
		return verify.Shown, nil
	}
	return verify.Nothing, nil
}

// wrong is where a step of the output would break a property whatever its own
// table says: it runs on although the permissive over all channels can not be
// true, or although a channel that alone stops it is not fit.
func (e *Engine) wrong(property int) rudd.Node {
	none := e.b.False()
	switch property {
	case 2:
		none = e.b.Not(e.keepTrue)
	case 3:
		none = e.b.Not(e.startTrue)
	default:
		return none
	}
	for i := range e.channels {
		if c := &e.channels[i]; c.Cut && property == 2 {
			none = e.b.Or(none, e.b.Not(c.fit))
		} else if c.Cut {
			none = e.b.Or(none, e.b.Not(c.firm))
		}
	}
	before := e.running
	if property == 3 {
		before = e.b.Not(e.running)
	}
	return e.b.all(before, e.runs, none)
}

func (e *Engine) meets(a, b rudd.Node) bool { return !e.b.Equal(e.b.And(a, b), e.b.False()) }

// bad are the classes of news that are no good, and not merely between.
var badNews = [...]monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High}

// Endless is a response without a bound.
const Endless = -1

// Response is the most scans that an enabled output runs on, the scan in which
// it is withheld counted, while every one of the named channels has bad news in
// every scan, in any mixture and after any history, all others free. 0 is never
// enabled. It is Endless where the search comes to a set of states that follows
// itself, as under a bypass, whose end is free here; past the limit it is cut off.
func (e *Engine) Response(names []string, limit int) (scans int, err error) {
	defer e.full("measuring the joint response", &err)
	named := map[string]bool{}
	for _, n := range names {
		named[n] = true
	}
	bad := map[string]rudd.Node{}
	for i := range e.channels {
		c := &e.channels[i]
		bad[c.Name] = e.b.False()
		for _, class := range badNews {
			bad[c.Name] = e.b.Or(bad[c.Name], c.under[class])
		}
	}
	set := e.b.And(e.reached, e.running)
	for ; !e.b.Equal(set, e.b.False()); scans++ {
		if scans > limit {
			return scans, &verify.CutOff{Where: "the joint response, which lasts longer than asked for", Limit: e.limit}
		}
		later := e.b.And(e.running, e.image(set, func(c *channel) rudd.Node {
			if named[c.Name] {
				return bad[c.Name]
			}
			return c.step
		}))
		if e.b.full() {
			return scans, nil // the deferred call says why
		}
		if e.b.Equal(later, set) {
			return Endless, nil
		}
		set = later
		e.b.release()
	}
	return scans, nil
}

// Together says whether all of the named channels can be lost in one and the
// same scan while the output runs: their order is then unknown to first-out.
// Composition can only bound this.
func (e *Engine) Together(names []string) (can bool, err error) {
	defer e.full("looking for losses in one scan", &err)
	named := map[string]bool{}
	for _, n := range names {
		named[n] = true
	}
	moved := e.moved(e.b.And(e.reached, e.running), func(c *channel) rudd.Node {
		if named[c.Name] {
			return e.b.all(c.step, c.held, e.b.Not(c.kept))
		}
		return c.step
	})
	return !e.b.Equal(moved, e.b.False()), nil
}
