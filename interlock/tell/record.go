package tell

import (
	"strconv"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Names is what people call the parts of a site, in the order of its
// configuration.
type Names struct {
	Channels, Inputs, Outputs, Vessels, Streams, Bypasses []string
}

// Subject is the name of what an event is about; empty if it is about the whole
// site.
func (n *Names) Subject(e *interlock.Event) string {
	var names []string
	switch About(e.Kind) {
	case OfChannel:
		names = n.Channels
	case OfVessel:
		names = n.Vessels
	case OfOutput:
		names = n.Outputs
	case OfBypass:
		names = n.Bypasses
	}
	if e.Subject < len(names) {
		return names[e.Subject]
	}
	return ""
}

// Cause is the name of a cause: channels come first, then inputs.
func (n *Names) Cause(cause int) string {
	if cause < len(n.Channels) {
		return n.Channels[cause]
	}
	if cause -= len(n.Channels); cause < len(n.Inputs) {
		return n.Inputs[cause]
	}
	return strconv.Itoa(cause)
}

// Causes lists a set of causes by name, in the order of the site file.
func (n *Names) Causes(set interlock.CauseSet) []string {
	names := []string{}
	set.Each(func(cause int) { names = append(names, n.Cause(cause)) })
	return names
}

// Brief names an event in as few words as there are: its subject and what
// happened. Every record of it begins so.
func (n *Names) Brief(e *interlock.Event) string { return string(n.appendBrief(nil, e)) }

func (n *Names) appendBrief(to []byte, e *interlock.Event) []byte {
	if name := n.Subject(e); name != "" {
		to = append(append(to, name...), ' ')
	}
	if e.Kind == interlock.PhaseChanged {
		return append(to, monitor.Phase(e.To).String()...)
	}
	return append(to, e.Kind.String()...)
}

// AppendRecord adds an event as records keep it: its subject, its kind, and what
// the kind says beyond that. Two events with the same record say the same. Files
// hold it, and replay compares with it: it is never reworded.
func (n *Names) AppendRecord(to []byte, e *interlock.Event) []byte {
	to = n.appendBrief(to, e)
	if e.Kind == interlock.PhaseChanged {
		to = append(append(to, " after "...), monitor.Phase(e.From).String()...)
		to = append(append(to, " on "...), e.Class.String()...)
		if e.Cause != e.Class {
			to = append(append(to, " because "...), e.Cause.String()...)
		}
		return to
	}
	if e.Reasons != 0 {
		to = append(append(to, ": "...), e.Reasons.String()...)
	}
	if e.Spoil != interlock.NotSpoiled {
		to = append(append(to, " - "...), e.Spoil.String()...)
	}
	if e.Unconfirmed != 0 {
		to = append(append(to, " - "...), e.Unconfirmed.String()...)
	}
	return to
}

// AppendRecords adds all events of one scan, separated by "; ".
func (n *Names) AppendRecords(to []byte, events []interlock.Event) []byte {
	for i := range events {
		if i > 0 {
			to = append(to, "; "...)
		}
		to = n.AppendRecord(to, &events[i])
	}
	return to
}

// Texts lists the reasons of a set, as records keep them.
func Texts(r interlock.Reasons) []string {
	texts := []string{}
	r.Each(func(one interlock.Reason) { texts = append(texts, one.String()) })
	return texts
}

// Charge is what records keep of a vessel's charge memory. The zero value is
// the careful one.
type Charge uint8

const (
	Charged Charge = iota
	Clear
	Early   // an early reconnection is not acknowledged
	Charges = iota
)

// ChargeOf reads it from the memory itself.
func ChargeOf(v *interlock.VesselState) Charge {
	switch {
	case v.Early:
		return Early
	case v.Clear:
		return Clear
	}
	return Charged
}

func (c Charge) String() string {
	switch c {
	case Early:
		return interlock.ReconnectedEarly.String()
	case Clear:
		return "clear"
	}
	return interlock.MayBeCharged.String()
}
