package graph

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// Observer watches a run of the whole logic and notes which transitions of the
// graph it passes through.
type Observer struct {
	model  *model.Model
	seen   map[Transition]bool                                     // but for the steps of channels
	steps  [][monitor.Phases][monitor.Classes][monitor.Phases]bool // by channel
	phases []monitor.State                                         // by channel, before the scan
	modes  []interlock.Mode                                        // by output, before the scan
	losses [][]Why                                                 // by output: the smallest losses of its permissive
	first  func(Transition)                                        // told of each transition when it is first seen; may be nil
}

// NewObserver has seen nothing yet.
func NewObserver(m *model.Model) *Observer {
	o := &Observer{model: m, seen: map[Transition]bool{}}
	o.phases, o.modes = make([]monitor.State, len(m.Config.Channels)), make([]interlock.Mode, len(m.Config.Outputs))
	o.steps = make([][monitor.Phases][monitor.Classes][monitor.Phases]bool, len(m.Config.Channels))
	o.losses = make([][]Why, len(m.Config.Outputs))
	for i := range o.losses {
		p := m.Config.Outputs[i].Permissive
		for _, set := range model.CutSets(p) {
			o.losses[i] = append(o.losses[i], unfit(interlock.ReasonNotMet, set))
		}
		for _, cause := range blocking(p) {
			o.losses[i] = append(o.losses[i], cameTrue(interlock.ReasonNotMet, cause))
		}
	}
	return o
}

// Seen is the set of what was seen.
func (o *Observer) Seen() map[Transition]bool {
	seen := make(map[Transition]bool, len(o.seen))
	for t := range o.seen {
		seen[t] = true
	}
	for channel := range o.steps {
		o.eachStep(channel, func(t Transition) { seen[t] = true })
	}
	return seen
}

// Texts lists what was seen as records keep it, in alphabetical order.
func (o *Observer) Texts() []string {
	list := []string{}
	for t := range o.Seen() {
		list = append(list, t.Text(o.model))
	}
	slices.Sort(list)
	return list
}

// eachStep calls f with every step of a channel that was seen.
func (o *Observer) eachStep(channel int, f func(Transition)) {
	for before := monitor.Phase(0); before < monitor.Phases; before++ {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			for after := monitor.Phase(0); after < monitor.Phases; after++ {
				if o.steps[channel][before][news][after] {
					f(stepping(channel, before, news, after))
				}
			}
		}
	}
}

// resume looks on from a state, as after a scan that was not watched.
func (o *Observer) resume(state *interlock.State) {
	for i := range state.Channels {
		o.phases[i] = state.Channels[i].State
	}
	for i := range state.Outputs {
		o.modes[i] = state.Outputs[i].Mode
	}
}

// Watch is one scan of a run that a loop turns.
func (o *Observer) Watch(t *loop.Turn) error {
	if t.Quiet {
		return nil // the scan before was the same
	}
	o.scan(t.In, t.State, t.Decision)
	return nil
}

// scan is one scan: what the logic was given, its state after it, and what it
// decided.
func (o *Observer) scan(in *interlock.Inputs, state *interlock.State, d *interlock.Decision) {
	for i := range d.Events {
		if d.Events[i].Kind == interlock.PowerUp {
			clear(o.phases)
			clear(o.modes)
		}
	}
	for i := range state.Channels {
		before := &o.phases[i]
		news := monitor.Hear(&o.model.Config.Channels[i].Config, before, in.Readings[i])
		o.step(i, before.Phase, news, state.Channels[i].Phase)
	}
	for i := range d.Events {
		e := &d.Events[i]
		if tells := kinds[e.Kind].tells; tells != nil {
			for _, t := range tells(o, e, d) {
				o.note(t)
			}
		}
	}
	o.resume(state)
}

// step notes one step of a channel, of which there is no event while its phase
// stays.
func (o *Observer) step(channel int, before monitor.Phase, news monitor.Class, after monitor.Phase) {
	if seen := &o.steps[channel][before][news][after]; !*seen {
		*seen = true
		if o.first != nil {
			o.first(stepping(channel, before, news, after))
		}
	}
}

func (o *Observer) note(t Transition) {
	if !o.seen[t] {
		o.seen[t] = true
		if o.first != nil {
			o.first(t)
		}
	}
}

// stepping is one step of a channel.
func stepping(channel int, before monitor.Phase, news monitor.Class, after monitor.Phase) Transition {
	return Transition{Kind: interlock.PhaseChanged, Subject: channel, Before: before, News: news, After: after}
}

// What events of a kind tell.

// stepped: the step has been noted already, event or not.
func (o *Observer) stepped(*interlock.Event, *interlock.Decision) []Transition { return nil }

// plain: that it happened is all.
func (o *Observer) plain(e *interlock.Event, _ *interlock.Decision) []Transition {
	return []Transition{{Kind: e.Kind, Subject: e.Subject}}
}

// spoiled: a press did not count.
func (o *Observer) spoiled(e *interlock.Event, _ *interlock.Decision) []Transition {
	return []Transition{{Kind: e.Kind, Subject: e.Subject, Spoil: e.Spoil}}
}

// unconfirmed: an actuator failed to report, each way by itself.
func (o *Observer) unconfirmed(e *interlock.Event, _ *interlock.Decision) []Transition {
	return unconfirmed(e.Subject, e.Unconfirmed)
}

// enabled: an output came to run.
func (o *Observer) enabled(e *interlock.Event, d *interlock.Decision) []Transition {
	return []Transition{enabling(o.model.Config, e.Subject, o.modes[e.Subject], hasEvent(d, interlock.ResetGiven, e.Subject))}
}

// reset: it counted, and its output does not yet run.
func (o *Observer) reset(e *interlock.Event, d *interlock.Decision) []Transition {
	if hasEvent(d, interlock.OutputEnabled, e.Subject) {
		return nil
	}
	return []Transition{resetting(e.Subject, o.modes[e.Subject])}
}

func hasEvent(d *interlock.Decision, kind interlock.Kind, subject int) bool {
	return slices.ContainsFunc(d.Events, func(e interlock.Event) bool { return e.Kind == kind && e.Subject == subject })
}

// stopped: an output no longer runs. A stop with several reasons, or one under which
// several losses stand at once, shows of none that it is enough.
func (o *Observer) stopped(e *interlock.Event, d *interlock.Decision) []Transition {
	t := Transition{Kind: e.Kind, Subject: e.Subject, Mode: o.modes[e.Subject], Why: Why{Reason: e.Reasons}}
	switch e.Reasons {
	case interlock.ReasonNotMet, interlock.ReasonUnknown:
		standing := slices.DeleteFunc(slices.Clone(o.losses[e.Subject]), func(w Why) bool { return !w.stands(d) })
		if len(standing) != 1 {
			return nil
		}
		t.Why = standing[0]
		t.Why.Reason = e.Reasons
	case interlock.ReasonStop, interlock.ReasonOverrun, interlock.ReasonBackup, interlock.ReasonUnconfirmed:
	default:
		return nil
	}
	return []Transition{t}
}

// stands says that a loss stands in this scan.
func (w *Why) stands(d *interlock.Decision) bool {
	stands := true
	w.Causes.Each(func(cause int) { stands = stands && (d.Keep[cause] == interlock.True) == w.Not })
	return stands
}
