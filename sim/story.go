package sim

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Told is one line of the sequence of events.
type Told struct {
	Scan     uint64 // of the scenario
	Subject  string // a name of the site; empty: the plant or the whole logic
	Kind     string
	What     string
	Why      []string
	Rule     string // which rule did it
	FirstOut []string
	Plant    bool // it happened to the plant, the logic did not decide it
}

// story collects what is told.
type story struct {
	names  *names
	site   *site.Site
	zero   uint64
	period time.Duration
	told   []Told
	open   uint64 // outputs whose bus cycle after a trip is not over
	seen   [interlock.MaxOutputs]interlock.CauseSet
}

// mostTold bounds the sequence of events of one run; what comes after is
// counted, not kept.
const mostTold = 200_000

func (s *story) add(t Told) {
	if len(s.told) < mostTold {
		s.told = append(s.told, t)
	}
}

// plant is told what happened to the plant.
func (s *story) plant(scan uint64, text string) {
	if scan >= s.zero {
		s.add(Told{Scan: scan - s.zero, Kind: "plant", What: text, Plant: true})
	}
}

// logic tells what the logic decided in one scan.
func (s *story) logic(v *view, scan uint64) {
	if v.plant.off > 0 { // without supply there is nobody to tell
		s.open = 0
		return
	}
	for i := range v.Decision.Events {
		s.add(s.tell(v, &v.Decision.Events[i], scan))
	}
	if s.open != 0 {
		s.watchOrder(v, scan)
	}
	for i := range v.Decision.Events {
		if e := &v.Decision.Events[i]; e.Kind == interlock.OutputTripped {
			record := &v.State.Outputs[e.Subject].Trip
			s.seen[e.Subject] = record.Alongside
			if record.Window > 0 {
				s.open |= 1 << e.Subject
			}
		}
	}
}

// watchOrder tells when a second cause turns up within the bus cycle of a trip.
func (s *story) watchOrder(v *view, scan uint64) {
	for i := range v.State.Outputs {
		if s.open>>i&1 == 0 {
			continue
		}
		record := &v.State.Outputs[i].Trip
		if record.Alongside != s.seen[i] {
			s.seen[i] = record.Alongside
			both := record.FirstOut
			for w := range both {
				both[w] |= record.Alongside[w]
			}
			s.add(Told{
				Scan: scan, Subject: s.site.Outputs[i].Name, Kind: "order not known", Rule: "first-out",
				What: "within one bus cycle, order not known: " + s.names.causes(both), FirstOut: s.names.causeList(both),
			})
		}
		if record.Window == 0 || v.State.Outputs[i].Mode != interlock.Tripped {
			s.open &^= 1 << i
		}
	}
}

// causes lists a set of causes for people.
func (n *names) causes(set interlock.CauseSet) string {
	if list := n.causeList(set); len(list) > 0 {
		return strings.Join(list, ", ")
	}
	return "none"
}

func (n *names) causeList(set interlock.CauseSet) []string {
	list := []string{}
	set.Each(func(cause int) { list = append(list, n.site.CauseName(cause)) })
	return list
}

// subject is the name of what an event is about.
func (s *story) subject(e *interlock.Event) string {
	switch trace.SubjectOf(e.Kind) {
	case trace.OfChannel:
		return s.site.Channels[e.Subject].Name
	case trace.OfVessel:
		return s.site.Vessels[e.Subject].Name
	case trace.OfOutput:
		return s.site.Outputs[e.Subject].Name
	case trace.OfBypass:
		return s.site.Bypasses[e.Subject].Name
	}
	return ""
}

// tell turns one event into words.
func (s *story) tell(v *view, e *interlock.Event, scan uint64) Told {
	t := Told{Scan: scan, Subject: s.subject(e), Kind: e.Kind.String(), What: e.Kind.String(), Rule: ruleOf[e.Kind]}
	switch e.Kind {
	case interlock.PhaseChanged:
		s.tellPhase(v, e, &t)
	case interlock.AboveAccept:
		c := &s.site.Channels[e.Subject]
		t.What = fmt.Sprintf("%s is under the limit but above accept %s: clean the contact",
			Ohms(v.In.Readings[e.Subject].Value), quantity.Ohms(int64(c.Accept)))
	case interlock.MayBeCharged:
		t.What = "may be charged: do not touch; " + s.waitText(e.Subject)
	case interlock.WaitBegan:
		t.What = "flow has ended, wait begins: do not touch for " + clock(s.site.Vessels[e.Subject].Wait)
	case interlock.ReconnectedEarly:
		t.What = "reconnected early, during the wait: if it was put back, that was the dangerous act; acknowledge it"
	case interlock.OutputTripped:
		record := &v.State.Outputs[e.Subject].Trip
		t.FirstOut = s.names.causeList(record.FirstOut)
	}
	t.Why = whyList(v, e)
	if e.Kind == interlock.OutputTripped {
		t.Why = append(t.Why, decades(v, e.Subject, v.State.Outputs[e.Subject].Trip.FirstOut)...)
	}
	return t
}

// Ohms writes a reading with three digits, as people do.
func Ohms(v monitor.Microohm) string {
	unit := monitor.Microohm(1)
	for v/unit >= 1000 || v/unit <= -1000 {
		unit *= 10
	}
	return quantity.Ohms(int64((v + unit/2) / unit * unit))
}

func (s *story) waitText(vessel int) string {
	if s.site.Vessels[vessel].Wait == 0 {
		return "no wait is configured"
	}
	return "wait " + clock(s.site.Vessels[vessel].Wait) + " from the end of flow"
}

// clock writes a time as m:ss.
func clock(d time.Duration) string {
	seconds := int64((d + time.Second - 1) / time.Second)
	return fmt.Sprintf("%d:%02d", seconds/60, seconds%60)
}

func (s *story) tellPhase(v *view, e *interlock.Event, t *Told) {
	from, to := monitor.Phase(e.From), monitor.Phase(e.To)
	t.Kind = "phase"
	t.What = from.String() + " -> " + to.String()
	t.Rule = triggers[from][to]
	reading := v.In.Readings[e.Subject]
	if reading.Quality == monitor.Valid && v.State.Channels[e.Subject].Age == 0 {
		t.What += ", " + e.Class.String() + " " + Ohms(reading.Value)
	} else {
		t.What += ", " + e.Class.String()
	}
	if from.MayKeep() && !to.MayKeep() && e.Cause != e.Class {
		t.What += " (mostly " + e.Cause.String() + ")"
	}
}

// triggers is the channel's chart by phases.
var triggers = func() (table [monitor.Phases][monitor.Phases]string) {
	for _, edge := range monitor.Chart() {
		table[edge.From][edge.To] = edge.Trigger
	}
	return table
}()

// ruleOf names the rule behind each kind of event. The headings are those of
// interlock/SEMANTICS.md: keep, start, charge memory, reset, confirmation, bypass.
var ruleOf = [interlock.Kinds]string{
	interlock.PowerUp: "power-up withholds", interlock.Overrun: "overrun withholds",
	interlock.AboveAccept: "accept, not reject, makes a bond", interlock.SettlingAgain: "only a real bad value starts again",
	interlock.MayBeCharged: "charge memory", interlock.WaitBegan: "charge memory", interlock.WaitOver: "charge memory",
	interlock.ReconnectedEarly: "charge memory", interlock.Acknowledged: "own acknowledgement", interlock.AcknowledgeIgnored: "own acknowledgement",
	interlock.Released: "unclamped after the end", interlock.ReleasedTooSoon: "unclamped after the end",
	interlock.OutputEnabled: "start", interlock.OutputTripped: "keep", interlock.OutputReleased: "keep, flow ended before",
	interlock.OutputStopped: "stop asked for", interlock.ResetGiven: "reset", interlock.ResetIgnored: "reset",
	interlock.StartIgnored: "start", interlock.ActuatorUnconfirmed: "confirmation", interlock.ActuatorReported: "confirmation",
	interlock.BypassBegan: "bypass", interlock.BypassEnding: "bypass", interlock.BypassEnded: "bypass", interlock.BypassIgnored: "bypass",
}

// whyOf is all reasons of an event as one text.
func whyOf(v *view, e *interlock.Event) string { return strings.Join(whyList(v, e), "; ") }

// whyList is every reason that an event carries.
func whyList(v *view, e *interlock.Event) []string {
	var list []string
	if e.Spoil != interlock.NotSpoiled {
		list = append(list, e.Spoil.String())
	}
	if e.Kind == interlock.ResetIgnored || e.Kind == interlock.StartIgnored || e.Kind == interlock.OutputTripped || e.Kind == interlock.OutputReleased {
		// What a press needs anyway says nothing about why it was ignored.
		list = append(list, reasonList(v, e.Subject, e.Reasons&^(interlock.ReasonReset|interlock.ReasonStart))...)
	}
	for i, text := range unconfirmedTexts {
		if e.Unconfirmed>>i&1 == 1 {
			list = append(list, text)
		}
	}
	return list
}

var unconfirmedTexts = [...]string{
	"stayed open: not reported stopped in time", "stayed shut: not reported running in time",
	"its switches say nothing usable, and it may be open", "its switches say nothing usable, and it may be shut",
}

// reasonList is what withholds an output, with the causes that are not true.
func reasonList(v *view, output int, reasons interlock.Reasons) []string {
	var list []string
	o := &v.plant.Logic.Outputs[output]
	n := newCauseNames(v.plant.Site)
	reasons.Each(func(one interlock.Reason) {
		text := one.String()
		switch one {
		case interlock.ReasonNotMet, interlock.ReasonUnknown:
			var set interlock.CauseSet
			values := v.Decision.Start
			if v.State.Outputs[output].Mode == interlock.Tripped {
				values = v.Decision.Keep
			}
			o.Permissive.Culprits(values, &set)
			if set.Len() > 0 {
				text += ": " + n.causes(set)
			}
		case interlock.ReasonWait, interlock.ReasonEarly:
			text += ": " + vesselsBehind(v, output, one == interlock.ReasonWait)
		case interlock.ReasonBackup:
			text += callersText(v, output)
		}
		list = append(list, text)
	})
	return list
}

func newCauseNames(s *site.Site) *names { return &names{site: s} }

func vesselsBehind(v *view, output int, waiting bool) string {
	var list []string
	for _, i := range v.plant.Logic.VesselsOf(output) {
		state := &v.State.Vessels[i]
		if waiting && !state.Clear || !waiting && state.Early {
			list = append(list, v.plant.Site.Vessels[i].Name)
		}
	}
	return strings.Join(list, ", ")
}

func callersText(v *view, output int) string {
	var list []string
	for _, i := range v.plant.Logic.CallersOf(output) {
		if v.State.Outputs[i].Unconfirmed != 0 || v.State.Outputs[i].Mode == interlock.Tripped {
			list = append(list, v.plant.Site.Outputs[i].Name)
		}
	}
	if len(list) == 0 {
		return ""
	}
	return " by " + strings.Join(list, ", ")
}

// final says what every output is at the end, and what vessels wait for.
func (s *story) final(v *view) []string {
	var list []string
	for i := range v.State.Outputs {
		text := s.site.Outputs[i].Name + " " + v.State.Outputs[i].Mode.String()
		if v.State.Outputs[i].Mode != interlock.Enabled {
			text += ": " + strings.Join(reasonList(v, i, v.Decision.Reasons[i]), "; ")
		}
		list = append(list, text)
	}
	for i := range v.State.Vessels {
		if state := &v.State.Vessels[i]; !state.Clear {
			text := s.site.Vessels[i].Name + " may be charged"
			if wait := s.site.Vessels[i].Wait; wait > 0 {
				left := wait - time.Duration(state.Waited)*s.period
				text += ", wait " + clock(max(left, 0)) + " to go"
				if state.Waited == 0 {
					text += " after the end of flow"
				}
			}
			list = append(list, text)
		}
	}
	return list
}
