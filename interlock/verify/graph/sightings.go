package graph

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// Sightings watches a run of the whole logic and notes which transitions of the
// graph it passes through. It tells them in the graph's own names.
type Sightings struct {
	model   *model.Model
	seen    map[string]bool
	steps   [][monitor.Phases][monitor.Classes][monitor.Phases]bool // by channel
	phases  []monitor.State
	modes   []interlock.Mode
	cutsets map[int][][]int
	blocks  map[int][]int
	first   func(Transition) // told of each transition when it is first seen; may be nil
}

// NewSightings begins with nothing seen.
func NewSightings(m *model.Model) *Sightings {
	s := &Sightings{model: m, seen: map[string]bool{}, cutsets: map[int][][]int{}, blocks: map[int][]int{}}
	s.phases, s.modes = make([]monitor.State, len(m.Config.Channels)), make([]interlock.Mode, len(m.Config.Outputs))
	s.steps = make([][monitor.Phases][monitor.Classes][monitor.Phases]bool, len(m.Config.Channels))
	for i := range m.Config.Outputs {
		s.cutsets[i], s.blocks[i] = model.CutSets(m.Config.Outputs[i].Permissive), blocking(m.Config.Outputs[i].Permissive)
	}
	return s
}

// Seen lists the names of what was seen, in order.
func (s *Sightings) Seen() []string {
	list := make([]string, 0, len(s.seen))
	for name := range s.seen {
		list = append(list, name)
	}
	for channel := range s.steps {
		s.eachStep(channel, func(t Transition) { list = append(list, t.String()) })
	}
	slices.Sort(list)
	return list
}

// eachStep calls f with every step of a channel that was seen.
func (s *Sightings) eachStep(channel int, f func(Transition)) {
	for from := monitor.Phase(0); from < monitor.Phases; from++ {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			for to := monitor.Phase(0); to < monitor.Phases; to++ {
				if s.steps[channel][from][news][to] {
					f(phaseTransition(s.model.Names.Channels[channel], from, news, to))
				}
			}
		}
	}
}

func (s *Sightings) note(t Transition) {
	if name := t.String(); !s.seen[name] {
		s.seen[name] = true
		if s.first != nil {
			s.first(t)
		}
	}
}

// resume looks on from a state, as after a scan that was not watched.
func (s *Sightings) resume(state *interlock.State) {
	for i := range state.Channels {
		s.phases[i] = state.Channels[i].State
	}
	for i := range state.Outputs {
		s.modes[i] = state.Outputs[i].Mode
	}
}

// step notes one step of a channel.
func (s *Sightings) step(channel int, from monitor.Phase, news monitor.Class, to monitor.Phase) {
	if seen := &s.steps[channel][from][news][to]; !*seen {
		*seen = true
		if s.first != nil {
			s.first(phaseTransition(s.model.Names.Channels[channel], from, news, to))
		}
	}
}

// Watch is one scan.
func (s *Sightings) Watch(t *loop.Turn) error {
	if t.Quiet {
		return nil // the scan before was the same
	}
	s.scan(t.In, t.State, t.Decision)
	return nil
}

func (s *Sightings) scan(in *interlock.Inputs, state *interlock.State, d *interlock.Decision) {
	for i := range d.Events {
		if d.Events[i].Kind == interlock.PowerUp {
			clear(s.phases)
			clear(s.modes)
		}
	}
	for i := range state.Channels {
		before := &s.phases[i]
		news := monitor.Hear(&s.model.Config.Channels[i].Config, before, in.Readings[i])
		s.step(i, before.Phase, news, state.Channels[i].Phase)
	}
	for i := range d.Events {
		s.event(&d.Events[i], d)
	}
	s.resume(state)
}

// event names one event.
func (s *Sightings) event(e *interlock.Event, d *interlock.Decision) {
	n := &s.model.Names
	switch e.Kind {
	case interlock.OutputTripped, interlock.OutputReleased, interlock.OutputStopped:
		s.stop(e, d)
	case interlock.OutputEnabled:
		reset := hasEvent(d, interlock.ResetGiven, e.Subject)
		s.note(enabling(n.Outputs[e.Subject], &s.model.Config.Outputs[e.Subject], s.modes[e.Subject], reset))
	case interlock.ResetGiven:
		if !hasEvent(d, interlock.OutputEnabled, e.Subject) {
			s.note(modeTransition(n.Outputs[e.Subject], s.modes[e.Subject], interlock.KeptOut, reason{text: "reset"}, false))
		}
	case interlock.ResetIgnored:
		s.note(resetRefused(n.Outputs[e.Subject], e.Spoil))
	case interlock.StartIgnored:
		s.note(Transition{Kind: KindReset, Name: n.Outputs[e.Subject], To: "start refused"})
	case interlock.ActuatorUnconfirmed, interlock.ActuatorReported:
		for _, t := range actuator(n.Outputs[e.Subject], e.Unconfirmed, e.Kind == interlock.ActuatorReported) {
			s.note(t)
		}
	case interlock.MayBeCharged, interlock.WaitBegan, interlock.WaitOver, interlock.ReconnectedEarly, interlock.Acknowledged, interlock.Released, interlock.ReleasedTooSoon:
		s.note(vesselTold(n.Vessels[e.Subject], e.Kind))
	case interlock.AcknowledgeIgnored:
		t := vesselTold(n.Vessels[e.Subject], e.Kind)
		t.Why = e.Spoil.String()
		s.note(t)
	case interlock.BypassBegan, interlock.BypassEnding, interlock.BypassEnded, interlock.BypassIgnored:
		s.note(Transition{Kind: KindBypass, Name: n.Bypasses[e.Subject], To: e.Kind.String()})
	}
}

func hasEvent(d *interlock.Decision, kind interlock.Kind, subject int) bool {
	return slices.ContainsFunc(d.Events, func(e interlock.Event) bool { return e.Kind == kind && e.Subject == subject })
}

// stop names why an output no longer runs. A stop with several reasons, or one
// under which several losses stand at once, shows of none that it is enough.
func (s *Sightings) stop(e *interlock.Event, d *interlock.Decision) {
	var why reason
	switch e.Reasons {
	case interlock.ReasonNotMet, interlock.ReasonUnknown:
		losses := s.standing(e.Subject, e.Reasons == interlock.ReasonUnknown, d)
		if len(losses) != 1 {
			return
		}
		why = losses[0]
	case interlock.ReasonStop:
		why.text = "stop asked for"
	case interlock.ReasonOverrun:
		why.text = "scan overrun"
	case interlock.ReasonBackup:
		why.text = "backup called"
	case interlock.ReasonUnconfirmed:
		why.text = "actuator unconfirmed"
	default:
		return
	}
	after := interlock.KeptOut
	if e.Kind == interlock.OutputTripped {
		after = interlock.Tripped
	}
	s.note(modeTransition(s.model.Names.Outputs[e.Subject], s.modes[e.Subject], after, why, e.Kind == interlock.OutputReleased))
}

// standing lists the smallest losses that stand in this scan.
func (s *Sightings) standing(output int, unknown bool, d *interlock.Decision) (list []reason) {
	word := "lost"
	if unknown {
		word = "unknown"
	}
	for _, set := range s.cutsets[output] {
		if !slices.ContainsFunc(set, func(cause int) bool { return d.Keep[cause] == interlock.True }) {
			list = append(list, loss(s.model, word, "", set))
		}
	}
	for _, cause := range s.blocks[output] {
		if d.Keep[cause] == interlock.True {
			list = append(list, loss(s.model, word, "NOT ", []int{cause}))
		}
	}
	return list
}
