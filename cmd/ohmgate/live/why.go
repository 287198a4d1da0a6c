package live

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// whyChannel explains a change of phase: the reading, the counters as they
// stood before this scan, and the line of the chart.
func (t *teller) whyChannel(e interlock.Event, w *Why) {
	c := &t.names.Config.Channels[e.Subject].Config
	before, after := &t.before.Channels[e.Subject].State, &t.state.Channels[e.Subject].State
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

func (t *teller) whyVessel(e interlock.Event, w *Why) {
	c, s := &t.names.Config.Vessels[e.Subject], &t.state.Vessels[e.Subject]
	set := c.BondedBy.Causes()
	w.add("its bond", "%s", t.causeValues(&set, t.d.Keep))
	for _, i := range t.names.Config.ChargedBy(e.Subject) {
		stream, stopped := &t.names.Config.Streams[i], t.state.Streams[i].Stopped
		value := streamValue(t.state.Streams[i], stream)
		word := streamWords[value]
		if value == streamRunDown {
			word += fmt.Sprintf(", stopped for %s of %s", t.names.Long(stopped), t.names.Long(stream.RunDown))
		}
		w.add("stream "+t.names.Stream(i), "%s", word)
	}
	w.add("waited", "%s of %s", t.names.Long(s.Waited), t.names.Long(c.Wait))
}

func (t *teller) causeValues(set *interlock.CauseSet, value []interlock.Truth) string {
	var at []int
	set.Each(func(cause int) { at = append(at, cause) })
	return values(t.called.Causes(*set), value, at)
}

func (t *teller) whyOutput(e interlock.Event, w *Why) {
	o, s := &t.names.Config.Outputs[e.Subject], &t.state.Outputs[e.Subject]
	if e.Reasons != 0 {
		w.add("withheld by", "%s", and(tell.Texts(e.Reasons)))
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
}

func (t *teller) whyBypass(e interlock.Event, w *Why) {
	b := &t.names.Config.Bypasses[e.Subject]
	w.add("active", "%s of %s", t.names.Long(t.state.Bypasses[e.Subject].Active), t.names.Long(b.For))
	w.add("covers", "%s", map[bool]string{false: "unreadable", true: "unreadable and lost"}[b.CoversLost])
}

func (t *teller) whyTripped(trip *interlock.TripRecord, w *Why) {
	w.add("first-out", "%s", and(t.called.Causes(trip.FirstOut)))
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
