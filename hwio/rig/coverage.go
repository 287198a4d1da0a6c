package rig

import (
	"fmt"
	"sort"

	"ohmgate/interlock"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// Transition is one change of a channel's phase or of an output's mode.
type Transition struct {
	Name string `json:"name"`
	From string `json:"from"`
	To   string `json:"to"`
}

// String is the transition for people; it is how sheets write it.
func (t Transition) String() string { return t.Name + ": " + t.From + " -> " + t.To }

// Gap is a transition that the bench has not seen, and what would show it.
type Gap struct {
	Transition
	Suggest string `json:"suggestion"`
	Cannot  bool   `json:"this_bench_cannot"` // a bench of contacts and resistors cannot
}

// ChartCoverage is what of the charts the bench has seen. It is over the declared charts, not over the product of all states that
// a verification walks: two channels that go wrong together are not in it.
type ChartCoverage struct {
	Seen []Transition `json:"seen"`
	Gaps []Gap        `json:"not_seen"`
}

// Cover compares what was seen with the charts of the channels that are wired and the outputs that are read.
func (m *Map) Cover(logic *interlock.Config, seen map[string]bool) ChartCoverage {
	made := ChartCoverage{Seen: []Transition{}, Gaps: []Gap{}}
	add := func(t Transition, suggest string, cannot bool) {
		if seen[t.String()] {
			made.Seen = append(made.Seen, t)
		} else {
			made.Gaps = append(made.Gaps, Gap{t, suggest, cannot})
		}
	}
	for i := range m.Site.Channels {
		if !m.wired(i) && m.Channels[i].Reads == nil {
			continue
		}
		name := m.Site.Channels[i].Name
		for _, edge := range monitor.Chart() {
			suggest, cannot := m.channelHint(i, &logic.Channels[i].Config, edge)
			add(Transition{name, edge.From.String(), edge.To.String()}, suggest, cannot)
		}
	}
	for i, contact := range m.Contacts {
		if contact == nil && m.Moves[i] == nil {
			continue
		}
		name := m.Site.Outputs[i].Name
		for _, hint := range m.outputHints(i) {
			add(Transition{name, hint.from.String(), hint.to.String()}, hint.text, false)
		}
	}
	sort.SliceStable(made.Gaps, func(a, b int) bool { return !made.Gaps[a].Cannot && made.Gaps[b].Cannot })
	return made
}

// channelHint is the shortest thing to do for one edge of the channel's chart.
func (m *Map) channelHint(channel int, c *monitor.Config, edge monitor.Edge) (text string, cannot bool) {
	name := m.Site.Channels[channel].Name
	bad, patient := m.badClass(channel, c)
	if edge.To == monitor.Unreadable || edge.From == monitor.Unreadable || edge.Trigger == "too many pauses while settling" {
		if m.Channels[channel].Reads != nil {
			return "cut the transmitter's line for longer than stale-after, and plug it in again", false
		}
		if m.Channels[channel].Short != nil && c.Floor > 0 {
			return fmt.Sprintf("{fault: shorted_leads, on: %s}: below the plausible floor is invalid", name), false
		}
		return "needs a transmitter in the loop (missing or invalid readings), or a relay with use: short and a plausible floor", true
	}
	switch [2]monitor.Phase{edge.From, edge.To} {
	case [2]monitor.Phase{monitor.Unconnected, monitor.Settling}, [2]monitor.Phase{monitor.Settling, monitor.Bonded}:
		return fmt.Sprintf("{do: connect, on: %s} and wait %s", name, quantity.Duration(m.Site.Channels[channel].SettleTime)), false
	case [2]monitor.Phase{monitor.Settling, monitor.Unconnected}:
		return fmt.Sprintf("{do: connect, on: %s}, and {do: disconnect} after half of %s", name, quantity.Duration(m.Site.Channels[channel].SettleTime)), false
	case [2]monitor.Phase{monitor.Bonded, monitor.Doubtful}, [2]monitor.Phase{monitor.Doubtful, monitor.Bonded}:
		if !patient {
			return "no class that this bench can show has any patience", true
		}
		return fmt.Sprintf("{read: %s, on: %s, for: half of its patience}, then good again", bad, name), false
	case [2]monitor.Phase{monitor.Bonded, monitor.Lost}:
		if c.Cost[monitor.Open] >= c.Full || c.Cost[monitor.High] >= c.Full {
			return fmt.Sprintf("{fault: clamp_removed, on: %s} while bonded", name), false
		}
		return "every class that this bench can show has some patience", true
	case [2]monitor.Phase{monitor.Doubtful, monitor.Lost}:
		if !patient {
			return "no class that this bench can show has any patience", true
		}
		return fmt.Sprintf("{read: %s, on: %s, for: longer than its patience}", bad, name), false
	}
	return fmt.Sprintf("{fault: clamp_removed, on: %s}, then {do: connect, on: %s}", name, name), false
}

// badClass is a bad class that the bench can show, best one with patience.
func (m *Map) badClass(channel int, c *monitor.Config) (class monitor.Class, patient bool) {
	for _, class := range []monitor.Class{monitor.High, monitor.Open} {
		if c.Cost[class] < c.Full {
			return class, true
		}
	}
	return monitor.Open, false
}

type outputHint struct {
	from, to interlock.Mode
	text     string
}

// outputHints are the changes of an output's mode that its restart rule allows.
func (m *Map) outputHints(output int) []outputHint {
	o := &m.Site.Outputs[output]
	start := "let its permissive hold for its on-delay"
	if o.Reset != "" {
		start = fmt.Sprintf("with its permissive met, {do: press, on: %s, for: 0.5 s}", o.Reset)
	}
	if o.Start != "" {
		start += fmt.Sprintf(", then {do: press, on: %s}", o.Start)
	}
	hints := []outputHint{
		{interlock.KeptOut, interlock.Enabled, start},
		{interlock.Enabled, interlock.Tripped, "while it runs, take away what its permissive needs"},
		{interlock.Tripped, interlock.Enabled, "after a trip, wait, make good, acknowledge; " + start},
	}
	if o.Stop != "" {
		hints = append(hints, outputHint{interlock.Enabled, interlock.KeptOut, fmt.Sprintf("{do: press, on: %s}", o.Stop)})
	}
	return hints
}
