package live

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// whyChannel explains a change of phase: the reading, the counters as they
// stood before this scan, and the line of the chart.
func (t *teller) whyChannel(e interlock.Event) *Why {
	c := &t.names.Config.Channels[e.Subject].Config
	before, after := &t.before.Channels[e.Subject].State, &t.state.Channels[e.Subject].State
	w := &Why{Rule: ruleOf(e)}
	w.add("reading", "%s", readingText(t.in.Readings[e.Subject]))
	w.add("class", "%s", classText(c, after.Class))
	w.add("limits", "accept %s, reject %s, open above %s", Ohms(c.Accept), Ohms(c.Reject), Ohms(c.OpenAbove))
	if after.Age > 0 {
		w.add("last fresh reading", "%s ago; stale after %s", t.names.Long(after.Age), t.names.Long(c.StaleAfter))
	}
	switch {
	case before.Phase == monitor.Settling || after.Phase == monitor.Settling:
		run, count := max(before.Run, after.Run), max(before.Count, after.Count)
		if after.Phase == monitor.Bonded {
			run, count = c.SettleScans, c.SettleReadings
		}
		w.add("settled for", "%s of %s", t.names.Long(run), t.names.Long(c.SettleScans))
		w.add("fresh good readings", "%d of %d", count, c.SettleReadings)
		w.add("pauses", "%d of %d", max(before.Paused, after.Paused), c.SettlePause)
	case before.Phase.MayKeep():
		w.add("doubt before this scan", "%d of %d parts", before.Doubt, c.Full)
		if cost := c.Cost[after.Class]; cost > 0 {
			w.add("spent in this scan", "%d parts for %s", cost, after.Class)
		} else if after.Class == monitor.Good {
			w.add("repaid in this scan", "%d parts", min(before.Doubt, c.Repay))
		}
		w.add("doubtful for", "%s of %s", t.names.Long(before.Stay), t.names.Long(c.LongestStay))
		if text := spentText(after); text != "" {
			w.add("doubt was spent by", "%s", text)
		}
	}
	return w
}

// ruleOf is the line of the chart that acted.
func ruleOf(e interlock.Event) string {
	switch e.Kind {
	case interlock.AboveAccept:
		return "between accept and reject is neither good nor bad: it never makes a bond"
	case interlock.SettlingAgain:
		return "a reading above accept restarts the settle time"
	}
	for _, edge := range monitor.Chart() {
		if uint32(edge.From) == e.From && uint32(edge.To) == e.To {
			return edge.Trigger
		}
	}
	return "the chart knows no such change"
}

func readingText(r monitor.Reading) string {
	switch r.Quality {
	case monitor.Valid:
		return Ohms(r.Value)
	case monitor.OverRange:
		return "over-range"
	case monitor.Bad:
		return "of bad quality"
	}
	return "nothing arrived"
}

// classText says what a class means with this channel's numbers.
func classText(c *monitor.Config, class monitor.Class) string {
	switch class {
	case monitor.Good:
		return "good: at or below accept " + Ohms(c.Accept)
	case monitor.Between:
		return fmt.Sprintf("between accept %s and reject %s", Ohms(c.Accept), Ohms(c.Reject))
	case monitor.High:
		return "high: above reject " + Ohms(c.Reject)
	case monitor.Open:
		return "open: over-range, or at or above " + Ohms(c.OpenAbove)
	case monitor.Invalid:
		return "invalid: not to be believed"
	}
	return "missing: no fresh reading for longer than stale-after"
}

func spentText(s *monitor.State) string {
	var parts []string
	for class := monitor.Missing; class < monitor.Good; class++ {
		if s.Spent[class] > 0 {
			parts = append(parts, fmt.Sprintf("%s %d", class, s.Spent[class]))
		}
	}
	return strings.Join(parts, ", ")
}

var vesselRules = map[interlock.Kind]string{
	interlock.MayBeCharged:       "a loss of the bond while a stream that charges it is not confirmed stopped, or flow without a bond",
	interlock.WaitBegan:          "counted from the confirmed end of flow and its run-down; any sign of flow starts it again",
	interlock.WaitOver:           "the whole wait has passed since the confirmed end of flow",
	interlock.ReconnectedEarly:   "a parted connection read good again before the wait was over",
	interlock.Acknowledged:       "a deliberate press of its own acknowledge",
	interlock.AcknowledgeIgnored: "only a deliberate press counts",
	interlock.Released:           "unclamped after the confirmed end of flow and its rest: no loss, no wait",
	interlock.ReleasedTooSoon:    "unclamped after the confirmed end of flow, but before its rest was over",
}

func (t *teller) whyVessel(e interlock.Event) *Why {
	c, s := &t.names.Config.Vessels[e.Subject], &t.state.Vessels[e.Subject]
	w := &Why{Rule: vesselRules[e.Kind]}
	set := c.BondedBy.Causes()
	w.add("its bond", "%s", t.causeValues(&set, t.d.Keep))
	for _, i := range t.names.Config.ChargedBy(e.Subject) {
		stream, stopped := &t.names.Config.Streams[i], t.state.Streams[i].Stopped
		word := "may flow"
		switch {
		case t.state.Streams[i].Still(stream):
			word = "ended and run down"
		case stopped > 0:
			word = fmt.Sprintf("stopped for %s of a run-down of %s", t.names.Long(stopped), t.names.Long(stream.RunDown))
		}
		w.add("stream "+t.names.Stream(i), "%s", word)
	}
	w.add("waited", "%s of %s", t.names.Long(s.Waited), t.names.Long(c.Wait))
	return w
}

func (t *teller) causeValues(set *interlock.CauseSet, value []interlock.Truth) string {
	var at []int
	set.Each(func(cause int) { at = append(at, cause) })
	return values(t.names.Causes(set), value, at)
}

var outputRules = map[interlock.Kind]string{
	interlock.OutputEnabled:       "its permissive over fit-to-start was true for the on-delay, its restart rule is met, no wait runs, nothing is unconfirmed",
	interlock.OutputTripped:       "withheld in the very scan in which something that it needs was not true",
	interlock.OutputReleased:      "its permissive went after every stream through it had ended and run down: no trip",
	interlock.OutputStopped:       "a stop was asked for",
	interlock.ResetGiven:          "a deliberate press, seen from 0 to 1 and back, with every condition true throughout",
	interlock.ResetIgnored:        "a press counts only when every condition was true before it and through it",
	interlock.StartIgnored:        "a start counts only when nothing else withholds",
	interlock.ActuatorUnconfirmed: "the actuator did not report its end within the travel time; stands until both ends were seen and a reset",
	interlock.ActuatorReported:    "the ends that were missing have been seen; a reset is still needed",
}

func (t *teller) whyOutput(e interlock.Event) *Why {
	o, s := &t.names.Config.Outputs[e.Subject], &t.state.Outputs[e.Subject]
	w := &Why{Rule: outputRules[e.Kind]}
	if e.Reasons != 0 {
		w.add("withheld by", "%s", and(reasonTexts(e.Reasons)))
	}
	if e.Kind == interlock.OutputTripped {
		t.whyTripped(&s.Trip, w)
	}
	set, value := o.Permissive.Causes(), t.d.Start
	if t.before.Outputs[e.Subject].Mode == interlock.Enabled {
		value = t.d.Keep
	}
	w.add("permissive", "%s", t.names.Site.Outputs[e.Subject].Permissive)
	w.add("values", "%s", t.causeValues(&set, value))
	if o.Closed != 0 || o.Opened != 0 {
		w.add("end switches", "closed %s, opened %s", t.switchText(o.Closed), t.switchText(o.Opened))
		w.add("disagreed for", "%s of a travel time of %s", t.names.Long(s.Disagree), t.names.Long(o.Travel))
	}
	return w
}

func (t *teller) whyTripped(trip *interlock.TripRecord, w *Why) {
	w.add("first-out", "%s", and(t.names.Causes(&trip.FirstOut)))
	if trip.OrderUnknown() {
		w.add("order", "not known: within one bus cycle of %s", t.names.Long(t.names.Config.PollScans))
	}
	if trip.Callers != 0 {
		w.add("called as backup by", "%s", and(t.names.Callers(trip.Callers)))
	}
}

func (t *teller) switchText(r interlock.Ref) string {
	if r == 0 {
		return "not fitted"
	}
	return t.names.Ref(r) + " = " + t.state.Inputs[r-1].Level.String()
}
