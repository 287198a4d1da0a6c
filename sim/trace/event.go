package trace

import (
	"strconv"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// SubjectKind says what sort of thing an event is about.
type SubjectKind uint8

const (
	NoSubject SubjectKind = iota
	OfChannel
	OfVessel
	OfOutput
	OfBypass
)

// SubjectOf is what sort of thing a kind of event is about.
func SubjectOf(k interlock.Kind) SubjectKind {
	switch k {
	case interlock.PhaseChanged, interlock.AboveAccept, interlock.SettlingAgain:
		return OfChannel
	case interlock.MayBeCharged, interlock.WaitBegan, interlock.WaitOver, interlock.ReconnectedEarly,
		interlock.Acknowledged, interlock.AcknowledgeIgnored, interlock.Released, interlock.ReleasedTooSoon:
		return OfVessel
	case interlock.OutputEnabled, interlock.OutputTripped, interlock.OutputReleased, interlock.OutputStopped,
		interlock.ResetGiven, interlock.ResetIgnored, interlock.StartIgnored,
		interlock.ActuatorUnconfirmed, interlock.ActuatorReported:
		return OfOutput
	case interlock.BypassBegan, interlock.BypassEnding, interlock.BypassEnded, interlock.BypassIgnored:
		return OfBypass
	}
	return NoSubject
}

// Subject is the name of what an event is about; empty if it is about the whole
// site.
func (h *Header) Subject(e *interlock.Event) string {
	var names []string
	switch SubjectOf(e.Kind) {
	case OfChannel:
		names = h.Channels
	case OfVessel:
		names = h.Vessels
	case OfOutput:
		names = h.Outputs
	case OfBypass:
		names = h.Bypasses
	}
	if e.Subject < len(names) {
		return names[e.Subject]
	}
	return ""
}

// AppendEvent adds an event's text: its subject, its kind, and what the kind
// says beyond that. Two events with the same text say the same.
func (h *Header) AppendEvent(to []byte, e *interlock.Event) []byte {
	if name := h.Subject(e); name != "" {
		to = append(append(to, name...), ' ')
	}
	if e.Kind == interlock.PhaseChanged {
		to = append(to, monitor.Phase(e.To).String()...)
		to = append(append(to, " after "...), monitor.Phase(e.From).String()...)
		to = append(append(to, " on "...), e.Class.String()...)
		if e.Cause != e.Class {
			to = append(append(to, " because "...), e.Cause.String()...)
		}
		return to
	}
	to = append(to, e.Kind.String()...)
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

// AppendEvents adds all events of one scan, separated by "; ".
func (h *Header) AppendEvents(to []byte, events []interlock.Event) []byte {
	for i := range events {
		if i > 0 {
			to = append(to, "; "...)
		}
		to = h.AppendEvent(to, &events[i])
	}
	return to
}

// CauseName is the name of a cause: channels come first, then inputs.
func (h *Header) CauseName(cause int) string {
	if cause < len(h.Channels) {
		return h.Channels[cause]
	}
	if cause -= len(h.Channels); cause < len(h.Inputs) {
		return h.Inputs[cause]
	}
	return strconv.Itoa(cause)
}

// CauseNames lists a set of causes by name, in the order of the site file.
func (h *Header) CauseNames(set *interlock.CauseSet) []string {
	var names []string
	set.Each(func(cause int) { names = append(names, h.CauseName(cause)) })
	return names
}

// VesselWord says what one vessel's charge memory holds, in one word.
func VesselWord(v *interlock.VesselState) string {
	switch {
	case v.Early:
		return "reconnected early"
	case v.Clear:
		return "clear"
	}
	return "may be charged"
}
