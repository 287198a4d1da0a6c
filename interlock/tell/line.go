package tell

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Scene is the scan in which something happened, and what it takes to say it.
// The state is the one after the scan.
type Scene struct {
	Names  *Names
	Config *interlock.Config
	Period time.Duration            // of one scan, as people are told
	Ohms   func(micro int64) string // writes a resistance, exactly

	In       *interlock.Inputs
	State    *interlock.State
	Decision *interlock.Decision
}

// Told is one event in words.
type Told struct {
	Subject  string   // a name of the site; empty: the whole logic
	What     string   // what happened and what to do, with the numbers
	Why      []string // every reason, with the names behind it
	FirstOut []string // causes that tripped an output
	Rule     string   // what made it, in a few words

	named bool // What names the causes already
}

// Line is what happened and why, without its subject and its rule.
func (t *Told) Line() string {
	text := t.What
	if len(t.Why) > 0 {
		text += ": " + strings.Join(t.Why, "; ")
	}
	if len(t.FirstOut) > 0 && !t.named {
		text += "; first-out " + strings.Join(t.FirstOut, ", ")
	}
	return text
}

// String is the line with its subject before it.
func (t *Told) String() string { return strings.TrimSpace(t.Subject + " " + t.Line()) }

// Tell puts one event of the scan into words.
func (s *Scene) Tell(e *interlock.Event) Told {
	k := &kinds[e.Kind]
	what := k.what
	if what == "" {
		what = e.Kind.String()
	}
	if k.do != "" {
		what += ": " + k.do
	}
	t := Told{Subject: s.Names.Subject(e), What: os.Expand(what, func(name string) string { return s.fill(name, e) }), Why: s.why(e), Rule: Rule(e)}
	if e.Kind == interlock.OutputTripped {
		t.FirstOut = s.Names.Causes(s.State.Outputs[e.Subject].Trip.FirstOut)
	}
	return t
}

// OrderNotKnown names what is told when a second cause turns up within the bus
// cycle of a trip. The logic has no event for it: its record of the trip grows.
const OrderNotKnown = "order not known"

// OrderNotKnown tells of it; both are the causes of which one came first.
func (s *Scene) OrderNotKnown(output int, both interlock.CauseSet) Told {
	causes := s.Names.Causes(both)
	return Told{
		Subject: s.Names.Outputs[output], What: "within one bus cycle, " + OrderNotKnown + ": " + strings.Join(causes, ", "),
		Rule: "first-out", FirstOut: causes, named: true,
	}
}

// fill is what stands for a name of the table.
func (s *Scene) fill(name string, e *interlock.Event) string {
	switch name {
	case "from":
		return monitor.Phase(e.From).String()
	case "to":
		return monitor.Phase(e.To).String()
	case "class":
		return s.class(e)
	case "mostly":
		if from, to := monitor.Phase(e.From), monitor.Phase(e.To); from.MayKeep() && !to.MayKeep() && e.Cause != e.Class {
			return " (mostly " + e.Cause.String() + ")"
		}
		return ""
	case "reading":
		return s.reading(e.Subject)
	case "accept":
		return s.Ohms(int64(s.Config.Channels[e.Subject].Accept))
	case "wait":
		return Clock(s.wait(e.Subject))
	case "waiting":
		if s.Config.Vessels[e.Subject].Wait == 0 {
			return "no wait is configured"
		}
		return "wait " + Clock(s.wait(e.Subject)) + " from the end of flow"
	case "acknowledge":
		return s.acknowledge(e.Subject)
	case "channel":
		return s.Names.Channels[s.Config.Bypasses[e.Subject].Channel]
	}
	panic("tell: the table asks for ${" + name + "}, which nobody fills in")
}

// class is the class of a channel's reading, with the reading where one arrived.
func (s *Scene) class(e *interlock.Event) string {
	if s.In.Readings[e.Subject].Quality == monitor.Valid && s.State.Channels[e.Subject].Age == 0 {
		return e.Class.String() + " " + s.reading(e.Subject)
	}
	return e.Class.String()
}

func (s *Scene) reading(channel int) string {
	return s.Ohms(int64(Digits(s.In.Readings[channel].Value)))
}

// wait is how long people are told to wait for a vessel.
func (s *Scene) wait(vessel int) time.Duration {
	return time.Duration(s.Config.Vessels[vessel].Wait) * s.Period
}

// why is every reason of an event that says why it happened.
func (s *Scene) why(e *interlock.Event) []string {
	var list []string
	if spoil := Spoiled(e); spoil != interlock.NotSpoiled {
		list = append(list, spoil.String())
	}
	if reasons := Reasons(e); reasons != 0 {
		list = append(list, s.Withheld(e.Subject, reasons)...)
	}
	Ways(e).Each(func(one interlock.Unconfirmed) { list = append(list, Unconfirmed(one)) })
	return list
}

// Unconfirmed is one way in which an actuator failed to report, and what
// follows from it.
func Unconfirmed(one interlock.Unconfirmed) string {
	if one.CallsBackup() {
		return one.String() + ", and it may be open"
	}
	return one.String() + ", and it may be shut"
}

// Withheld lists reasons that withhold an output, each with the names behind it.
func (s *Scene) Withheld(output int, reasons interlock.Reasons) []string {
	var list []string
	reasons.Each(func(one interlock.Reason) {
		text, names := one.String(), s.Behind(output, one)
		switch {
		case len(names) == 0:
		case one == interlock.ReasonBackup:
			text += " by " + strings.Join(names, ", ")
		default:
			text += ": " + strings.Join(names, ", ")
		}
		list = append(list, text)
	})
	return list
}

// Behind names the parts of the site that a reason is about: causes that are not
// true, vessels that are waited for, outputs that call for their backup.
func (s *Scene) Behind(output int, one interlock.Reason) []string {
	switch one {
	case interlock.ReasonNotMet, interlock.ReasonUnknown:
		return s.Names.Causes(s.culprits(output))
	case interlock.ReasonWait, interlock.ReasonEarly:
		return s.vessels(output, one == interlock.ReasonWait)
	case interlock.ReasonBackup:
		var names []string
		for _, i := range s.Config.CallersOf(output) {
			if caller := &s.State.Outputs[i]; caller.Unconfirmed != 0 || caller.Mode == interlock.Tripped {
				names = append(names, s.Names.Outputs[i])
			}
		}
		return names
	}
	return nil
}

// culprits are the causes that keep a permissive from being true: over fit-to-keep
// in the scan that ends a run, over fit-to-start while nothing runs, or where only
// the other is not true, as under a NOT.
func (s *Scene) culprits(output int) (set interlock.CauseSet) {
	first, then := s.Decision.Start, s.Decision.Keep
	if s.ended(output) {
		first, then = then, first
	}
	permissive := s.Config.Outputs[output].Permissive
	if permissive.Culprits(first, &set); set.Len() == 0 {
		permissive.Culprits(then, &set)
	}
	return set
}

// ended says that the output ran until this scan.
func (s *Scene) ended(output int) bool {
	return slices.ContainsFunc(s.Decision.Events, func(e interlock.Event) bool {
		return e.Subject == output && (e.Kind == interlock.OutputTripped || e.Kind == interlock.OutputReleased)
	})
}

func (s *Scene) vessels(output int, waiting bool) []string {
	var names []string
	for _, i := range s.Config.VesselsOf(output) {
		if v := &s.State.Vessels[i]; waiting && !v.Clear || !waiting && v.Early {
			names = append(names, s.Names.Vessels[i])
		}
	}
	return names
}

// Output says what an output is doing, and what withholds it.
func (s *Scene) Output(output int) string {
	text, mode := s.Names.Outputs[output], s.State.Outputs[output].Mode
	if mode == interlock.Enabled {
		return text + " " + mode.String()
	}
	return text + " " + mode.String() + ": " + strings.Join(s.Withheld(output, s.Decision.Reasons[output]), "; ")
}

// Vessel says of a vessel that may be charged what people should do; empty if
// it is clear.
func (s *Scene) Vessel(vessel int) string {
	v, c := &s.State.Vessels[vessel], &s.Config.Vessels[vessel]
	if v.Clear {
		return ""
	}
	text := s.Names.Vessels[vessel] + " " + Charged.String() + ": do not touch"
	switch {
	case c.Wait == 0:
		return text
	case v.Waited == 0:
		return text + "; the wait of " + Clock(s.wait(vessel)) + " begins when the flow has ended"
	}
	return text + ", wait " + Clock(time.Duration(c.Wait.Next()-min(v.Waited, c.Wait))*s.Period)
}

// Early says that an early reconnection stands, and how to end that; empty if
// none does.
func (s *Scene) Early(vessel int) string {
	if !s.State.Vessels[vessel].Early {
		return ""
	}
	return s.Names.Vessels[vessel] + " " + Early.String() + s.acknowledge(vessel)
}

// acknowledge is how to acknowledge an early reconnection, where that can be.
func (s *Scene) acknowledge(vessel int) string {
	if button := s.Config.Vessels[vessel].Acknowledge; button != 0 {
		return "; acknowledge it with " + s.Names.Inputs[button-1]
	}
	return ""
}

// Latched says how an output's actuator failed to report; empty if it did not.
func (s *Scene) Latched(output int) string {
	var ways []string
	s.State.Outputs[output].Unconfirmed.Each(func(one interlock.Unconfirmed) { ways = append(ways, Unconfirmed(one)) })
	if len(ways) == 0 {
		return ""
	}
	return s.Names.Outputs[output] + " " + interlock.ActuatorUnconfirmed.String() + ": " + strings.Join(ways, "; ")
}

// Bypass says how much longer a bypass lasts; empty if it does not act.
func (s *Scene) Bypass(bypass int) string {
	b, active := &s.Config.Bypasses[bypass], s.State.Bypasses[bypass].Active
	if active == 0 {
		return ""
	}
	return s.Names.Bypasses[bypass] + " is active for another " + Clock(time.Duration(b.For-min(active, b.For))*s.Period)
}

// Digits rounds a reading to three digits, as people read it.
func Digits(v monitor.Microohm) monitor.Microohm {
	if v < 0 {
		return -Digits(-v)
	}
	unit := monitor.Microohm(1)
	for v/unit >= 1000 {
		unit *= 10
	}
	return (v + unit/2) / unit * unit
}

// Clock writes a wait as minutes and seconds, rounded up.
func Clock(d time.Duration) string {
	seconds := int64((d + time.Second - 1) / time.Second)
	return fmt.Sprintf("%d:%02d", seconds/60, seconds%60)
}
