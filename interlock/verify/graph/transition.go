package graph

import (
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Group sorts transitions by what they are of.
type Group uint8

// The zero Group is no transition's.
const (
	NoGroup    Group = iota
	OfChannel        // a phase, the class of what is new, the phase that follows
	OfOutput         // a change of an output's mode, with its reason
	OfReset          // a press of reset or start that does not count
	OfActuator       // an actuator that does not report, and reports again
	OfVessel         // what is told of a vessel
	OfBypass         // what is told of a bypass
	OfFault          // a fault of the catalogue at one place
	Groups     = iota
)

// Transition is one thing that a part of the logic can do in one scan, or one
// fault at one place. It is a value: equal ones are the same transition. Fields
// that its kind does not mention are zero.
type Transition struct {
	// Kind is that of the event that tells of it. A step of a channel is
	// PhaseChanged, also where its phase stays; a fault has no event.
	Kind    interlock.Kind
	Subject int // number of the channel, output, vessel or bypass

	Before, After monitor.Phase // of a channel
	News          monitor.Class // of a channel: what it hears

	Mode interlock.Mode // of an output: the mode before
	Why  Why            // of an output: why its mode changed

	Spoil       interlock.Spoil       // why a press does not count
	Unconfirmed interlock.Unconfirmed // how an actuator failed to report: one way

	Fault, Place string // of a fault: its name in the catalogue, and where it is
}

// Why is why an output changed its mode.
type Why struct {
	// Reason is the one that stopped it; where it comes to run, or a reset was
	// given, what it had waited for: reset, start, or nothing.
	Reason interlock.Reason
	// Causes are enough together for the loss of a permissive: all of them unfit, or
	// with Not the one that has come true under a NOT.
	Causes interlock.CauseSet
	Not    bool
}

// Needs is what must happen at the terminals of a unit to bring about a transition.
type Needs struct {
	Causes  []int // channels and inputs that must change, as causes; the others may stay
	Unknown bool  // these must say nothing: unreadable, or neither 0 nor 1
	Inside  bool  // nothing at the terminals brings it about, only the unit itself
}

// kind is all that there is to know of one kind of transition. What the logic tells
// either is a transition or says why it is none.
type kind struct {
	group Group
	none  string // why events of this kind are no transitions; empty: they are
	// text is what records call it, behind the name of its subject: the event's own
	// name where it is empty. They are not reworded.
	text string
	// tells names the transitions of one event, and needs what brings one about.
	tells func(o *Observer, e *interlock.Event, d *interlock.Decision) []Transition
	needs func(c *interlock.Config, t *Transition) Needs
}

// Texts that several kinds share.
const (
	modeText    = "${mode} -> ${then} (${why})"
	spoiledText = "${event} (${spoil})"
)

var kinds = [interlock.Kinds]kind{
	interlock.NoEvent: {none: "nothing happens"},
	interlock.PowerUp: {none: "it is done to the logic, and what follows begins anew"},
	interlock.Overrun: {none: "it is done to the logic: what it does is a reason"},

	interlock.PhaseChanged:  {group: OfChannel, text: "${before} -> ${after} (${news})", tells: (*Observer).stepped, needs: reading},
	interlock.AboveAccept:   {none: "the steps of a channel tell it: what is between, and the phase stays"},
	interlock.SettlingAgain: {none: "the steps of a channel tell it: settling -> settling"},

	interlock.MayBeCharged:       {group: OfVessel, tells: (*Observer).plain, needs: nothing},
	interlock.WaitBegan:          {group: OfVessel, tells: (*Observer).plain, needs: nothing},
	interlock.WaitOver:           {group: OfVessel, tells: (*Observer).plain, needs: nothing},
	interlock.ReconnectedEarly:   {group: OfVessel, tells: (*Observer).plain, needs: nothing},
	interlock.Acknowledged:       {group: OfVessel, tells: (*Observer).plain, needs: acknowledging},
	interlock.AcknowledgeIgnored: {group: OfVessel, text: spoiledText, tells: (*Observer).spoiled, needs: acknowledging},
	interlock.Released:           {group: OfVessel, tells: (*Observer).plain, needs: nothing},
	interlock.ReleasedTooSoon:    {group: OfVessel, tells: (*Observer).plain, needs: nothing},

	interlock.OutputEnabled:  {group: OfOutput, text: modeText, tells: (*Observer).enabled, needs: changing},
	interlock.OutputTripped:  {group: OfOutput, text: modeText, tells: (*Observer).stopped, needs: changing},
	interlock.OutputReleased: {group: OfOutput, text: "${mode} -> ${then} (${why}, flow had ended)", tells: (*Observer).stopped, needs: changing},
	interlock.OutputStopped:  {group: OfOutput, text: modeText, tells: (*Observer).stopped, needs: changing},
	interlock.ResetGiven:     {group: OfOutput, text: modeText, tells: (*Observer).reset, needs: changing},

	interlock.ResetIgnored: {group: OfReset, text: "reset refused (${spoil})", tells: (*Observer).spoiled, needs: pressing},
	interlock.StartIgnored: {group: OfReset, text: "start refused", tells: (*Observer).plain, needs: pressing},

	interlock.ActuatorUnconfirmed: {group: OfActuator, text: "actuator unconfirmed (${unconfirmed})", tells: (*Observer).unconfirmed, needs: moving},
	interlock.ActuatorReported:    {group: OfActuator, text: "actuator reported again", tells: (*Observer).plain, needs: moving},

	interlock.BypassBegan:   {group: OfBypass, tells: (*Observer).plain, needs: turning},
	interlock.BypassEnding:  {group: OfBypass, tells: (*Observer).plain, needs: turning},
	interlock.BypassEnded:   {group: OfBypass, tells: (*Observer).plain, needs: turning},
	interlock.BypassIgnored: {group: OfBypass, tells: (*Observer).plain, needs: turning},
}

// Group is what the transition is of.
func (t *Transition) Group() Group {
	if t.Fault != "" {
		return OfFault
	}
	return kinds[t.Kind].group
}

// Then is the mode in which a change of mode leaves its output.
func (t *Transition) Then() interlock.Mode {
	switch t.Kind {
	case interlock.OutputEnabled:
		return interlock.Enabled
	case interlock.OutputTripped:
		return interlock.Tripped
	}
	return interlock.KeptOut
}

// Needs is what must happen at the terminals of a unit; nothing of a fault, which
// is put where it is.
func (t *Transition) Needs(c *interlock.Config) Needs {
	if t.Group() == OfFault {
		return Needs{}
	}
	return kinds[t.Kind].needs(c, t)
}

// nothing of its own: it follows from what others need.
func nothing(*interlock.Config, *Transition) Needs { return Needs{} }

func reading(_ *interlock.Config, t *Transition) Needs { return Needs{Causes: []int{t.Subject}} }

// changing is what a change of mode needs.
func changing(c *interlock.Config, t *Transition) Needs {
	o := &c.Outputs[t.Subject]
	switch t.Why.Reason {
	case interlock.ReasonNotMet, interlock.ReasonUnknown:
		needs := Needs{Unknown: t.Why.Reason == interlock.ReasonUnknown}
		t.Why.Causes.Each(func(cause int) { needs.Causes = append(needs.Causes, cause) })
		return needs
	case interlock.ReasonOverrun:
		return Needs{Inside: true}
	case interlock.ReasonStop:
		return inputs(c, o.Stop)
	case interlock.ReasonUnconfirmed:
		return inputs(c, o.Closed, o.Opened)
	case interlock.ReasonReset:
		return inputs(c, o.Reset)
	case interlock.ReasonStart:
		return inputs(c, o.Start)
	}
	return Needs{} // a backup that another output calls, or a start by itself
}

func pressing(c *interlock.Config, t *Transition) Needs {
	if t.Kind == interlock.StartIgnored {
		return inputs(c, c.Outputs[t.Subject].Start)
	}
	return pressed(inputs(c, c.Outputs[t.Subject].Reset), t)
}

func acknowledging(c *interlock.Config, t *Transition) Needs {
	return pressed(inputs(c, c.Vessels[t.Subject].Acknowledge), t)
}

func pressed(n Needs, t *Transition) Needs {
	n.Unknown = t.Spoil == interlock.NoWord
	return n
}

func moving(c *interlock.Config, t *Transition) Needs {
	o := &c.Outputs[t.Subject]
	needs := inputs(c, o.Closed, o.Opened)
	needs.Unknown = t.Unconfirmed&(interlock.UnknownClosed|interlock.UnknownOpen) != 0
	return needs
}

func turning(c *interlock.Config, t *Transition) Needs { return inputs(c, c.Bypasses[t.Subject].Input) }

// inputs are needed, of those that are wired.
func inputs(c *interlock.Config, list ...interlock.Ref) (needs Needs) {
	for _, ref := range list {
		if ref != 0 {
			needs.Causes = append(needs.Causes, len(c.Channels)+int(ref)-1)
		}
	}
	return needs
}
