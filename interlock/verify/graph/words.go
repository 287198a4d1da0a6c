package graph

import (
	"fmt"
	"os"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// words are the texts of what a transition is made of. Records keep transitions by
// their text and know them again by it as a whole, so nothing here is reworded; and
// nothing is ever read out of it.
var words = recordWords()

type vocabulary struct {
	phases      [monitor.Phases]string
	news        [monitor.Classes]string
	modes       [interlock.Modes]string
	events      [interlock.Kinds]string
	spoils      [interlock.Spoils]string
	reasons     map[interlock.Reason]string
	unconfirmed map[interlock.Unconfirmed]string
	not, and    string
	fault       string
}

func recordWords() vocabulary {
	v := vocabulary{
		reasons: map[interlock.Reason]string{
			0:                           "automatic",
			interlock.ReasonReset:       "reset",
			interlock.ReasonStart:       "start",
			interlock.ReasonNotMet:      "permissive lost: ${causes}",
			interlock.ReasonUnknown:     "permissive unknown: ${causes}",
			interlock.ReasonOverrun:     interlock.ReasonOverrun.String(),
			interlock.ReasonBackup:      interlock.ReasonBackup.String(),
			interlock.ReasonStop:        interlock.ReasonStop.String(),
			interlock.ReasonUnconfirmed: interlock.ReasonUnconfirmed.String(),
		},
		unconfirmed: map[interlock.Unconfirmed]string{
			interlock.StayedOpen:    "stayed open",
			interlock.StayedShut:    "stayed shut",
			interlock.UnknownClosed: "unknown when withheld",
			interlock.UnknownOpen:   "unknown when enabled",
		},
		not: "NOT ", and: " and ", fault: "${fault} on ${place}",
	}
	// Phases, classes, modes, events and spoils are called what they are called
	// everywhere.
	own(v.phases[:], func(i int) fmt.Stringer { return monitor.Phase(i) })
	own(v.news[:], func(i int) fmt.Stringer { return monitor.Class(i) })
	own(v.modes[:], func(i int) fmt.Stringer { return interlock.Mode(i) })
	own(v.events[:], func(i int) fmt.Stringer { return interlock.Kind(i) })
	own(v.spoils[:], func(i int) fmt.Stringer { return interlock.Spoil(i) })
	return v
}

func own(list []string, of func(i int) fmt.Stringer) {
	for i := range list {
		list[i] = of(i).String()
	}
}

// Text is what records call a transition of this model.
func (t *Transition) Text(m *model.Model) string {
	if t.Group() == OfFault {
		return FaultText(t.Fault, t.Place)
	}
	text := kinds[t.Kind].text
	if text == "" {
		text = "${event}"
	}
	return t.SubjectName(m) + ": " + os.Expand(text, func(name string) string { return t.fill(m, name) })
}

// FaultText is what records call a fault at its place.
func FaultText(fault, place string) string {
	return os.Expand(words.fault, func(name string) string { return map[string]string{"fault": fault, "place": place}[name] })
}

// SubjectName is the name of the channel, output, vessel or bypass; of a fault that
// of its place.
func (t *Transition) SubjectName(m *model.Model) string {
	if t.Group() == OfFault {
		return t.Place
	}
	return m.Names.Subject(&interlock.Event{Kind: t.Kind, Subject: t.Subject})
}

// fill is what stands for a name in the text of a kind.
func (t *Transition) fill(m *model.Model, name string) string {
	switch name {
	case "event":
		return words.events[t.Kind]
	case "before":
		return words.phases[t.Before]
	case "after":
		return words.phases[t.After]
	case "news":
		return words.news[t.News]
	case "mode":
		return words.modes[t.Mode]
	case "then":
		return words.modes[t.Then()]
	case "why":
		return os.Expand(words.reasons[t.Why.Reason], func(string) string { return t.Why.causes(m) })
	case "spoil":
		return words.spoils[t.Spoil]
	case "unconfirmed":
		return words.unconfirmed[t.Unconfirmed]
	}
	panic("graph: a text asks for ${" + name + "}, which nothing fills in")
}

func (w *Why) causes(m *model.Model) string {
	text := strings.Join(m.Names.Causes(w.Causes), words.and)
	if w.Not {
		return words.not + text
	}
	return text
}
