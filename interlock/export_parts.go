package interlock

import "ohmgate/monitor"

// The verifier tabulates every part of the logic on its own before it searches
// their product. StepOutput and the functions below are the part steps that Step
// itself is composed of; those below only hand them out and add nothing.

// Believed says that the actuator's reports can be taken as a confirmation.
func (s *OutputControl) Believed() bool { return s.believed() }

// Confirmable says that the output has an end switch.
func (o *Output) Confirmable() bool { return o.confirmable() }

// VesselScan is what one scan shows of a vessel.
type VesselScan struct {
	Bonded                       Truth
	Still, FlowSeen, Reconnected bool
	Acknowledge                  Truth
	AcknowledgeFresh             bool
}

// VesselTold is what one scan of a vessel tells.
type VesselTold struct{ Released, TooSoon, Charged, Early, Waiting, Over, Acknowledged bool }

// StepVessel is one scan of a vessel's charge memory and of its button.
func StepVessel(c *Vessel, s VesselState, in VesselScan) (VesselState, VesselTold) {
	next, news := stepVessel(c, s, vesselInput{bonded: in.Bonded, still: in.Still, flowSeen: in.FlowSeen, reconnected: in.Reconnected})
	given, _ := stepAcknowledge(c, &s, &next, news.early, in.Acknowledge, in.AcknowledgeFresh)
	return next, VesselTold{news.released, news.tooSoon, news.charged, news.early, news.waiting, news.over, given}
}

// StepStream counts one scan of a stream that is confirmed stopped, or is not.
func StepStream(c *Stream, s StreamState, stopped bool) StreamState {
	return stepStream(c, s, flow{stopped: stopped})
}

// StepButton is one scan of a button.
func StepButton(p Press, b Button, level Truth, fresh, already, still bool) (Button, Spoil) {
	return stepButton(p, b, level, fresh, already, still)
}

// StepBypass is one scan of a bypass.
func StepBypass(c *Bypass, s BypassState, level Truth, fresh bool) BypassState {
	next, _ := stepBypass(c, s, level, fresh)
	return next
}

// StepInput is one scan of a binary input.
func StepInput(c *Input, s InputState, in Signal) (next InputState, fresh bool) {
	return stepInput(c, s, in)
}

// Look judges stream i as Step does: confirmed stopped, and seen to flow.
func (c *Config) Look(i int, s *State) (stopped, seen bool) {
	f := c.look(&c.Streams[i], s)
	return f.stopped, f.seen
}

// StreamConfirmable says that an output of stream i has a confirmation.
func (c *Config) StreamConfirmable(i int) bool { return c.Streams[i].confirmable }

// Parted follows whether a channel's connection parted since its last fresh
// good reading, as Step does.
func Parted(was bool, before, after *monitor.State) (now, again bool) {
	return parted(was, before, after)
}

// Fitness is what a phase says of keeping on and of starting.
func Fitness(p monitor.Phase) (keep, start Truth) { return fitness(p) }
