package interlock

import "ohmgate/monitor"

// The verifier tabulates every part of the logic on its own before it searches
// their product. The functions below hand it the part steps that Step itself is
// composed of; they add nothing, and Step does not go through them.

// OutputScan is all that one scan brings to an output.
type OutputScan struct {
	Keep, Start Truth // the permissive over fit-to-keep and over fit-to-start
	Shared      Reasons
	Ended       bool // every stream through it has ended and run down

	Home, Away, Dark bool // what its end switches say

	Reset, Begin           Truth
	ResetFresh, BeginFresh bool
}

// OutputTold is what one scan of an output tells.
type OutputTold struct {
	Reasons                             Reasons
	Enabled, Stopped, Tripped, Released bool
	ResetGiven, StartIgnored, Reported  bool
	Spoil                               Spoil
	Unconfirmed                         Unconfirmed
}

// StepOutput is one scan of one output, as Step does it.
func StepOutput(c *Output, s OutputControl, in OutputScan) (OutputControl, OutputTold) {
	next, news := stepOutput(c, s, outputInput{
		keep: in.Keep, start: in.Start, shared: in.Shared, ended: in.Ended,
		report: report{home: in.Home, away: in.Away, dark: in.Dark},
		reset:  in.Reset, begin: in.Begin, resetFresh: in.ResetFresh, beginFresh: in.BeginFresh,
	})
	return next, OutputTold{
		Reasons: news.reasons, Enabled: news.enabled, Stopped: news.stopped, Tripped: news.tripped,
		Released: news.released, ResetGiven: news.reset, StartIgnored: news.startIgnored,
		Reported: news.reported, Spoil: news.spoil, Unconfirmed: news.unconfirmed,
	}
}

// Believed says that the actuator's reports can be taken as a confirmation.
func (s *OutputControl) Believed() bool { return s.believed() }

// CallsBackup says that what may still be open needs somebody else to stop.
func (u Unconfirmed) CallsBackup() bool { return u.callsBackup() }

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
