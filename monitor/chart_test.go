package monitor

import (
	"context"
	"testing"
)

// charted are configurations small enough to enumerate every control that they
// can reach, and different enough to show every edge: at-once classes, classes
// with patience, integrating and consecutive counting, no gap allowed.
func charted() []Config {
	small := rack()
	atOnce := rack()
	atOnce.StaleAfter, atOnce.SettlePause = 0, 0
	atOnce.Cost = [Classes]Parts{Missing: 12, Invalid: 12, Open: 12, High: 12}
	integrating := rack()
	integrating.Repay, integrating.LongestStay = 1, 4
	return []Config{small, atOnce, integrating}
}

// eachControl calls f with every control that c can reach from power-up, each
// with every news. It is the exhaustive walk that several tests share.
func eachControl(t testing.TB, c *Config, f func(from Control, news Class, to Control)) (controls int) {
	t.Helper()
	seen := map[Control]bool{{}: true}
	for queue := []Control{{}}; len(queue) > 0; queue = queue[1:] {
		for news := Missing; news < Classes; news++ {
			to := Advance(c, queue[0], news)
			f(queue[0], news, to)
			if !seen[to] {
				seen[to] = true
				queue = append(queue, to)
			}
		}
		if len(seen) > 1<<20 {
			t.Fatal("too many controls to enumerate")
		}
	}
	return len(seen)
}

// The transitions that Advance and Step can make and those in the chart are the
// same set, both ways.
func TestStepMakesExactlyTheChart(t *testing.T) {
	var made [Phases][Phases]bool
	for _, c := range charted() {
		if err := c.Validate(); err != nil {
			t.Fatal(err)
		}
		steps := 0
		controls := eachControl(t, &c, func(from Control, news Class, to Control) {
			made[from.Phase][to.Phase] = true
			if from.Age > 0 || news == Missing { // Step itself, on a reading of that class
				before := State{Control: from, Stamp: 7, Seen: true}
				if got := Step(&c, before, readingOf(&c, news)).Control; got != to {
					t.Fatalf("Advance(%+v, %v) = %+v, Step gives %+v", from, news, to, got)
				}
				steps++
			}
		})
		if controls < 15 || steps < 20 {
			t.Fatalf("only %d controls and %d steps enumerated", controls, steps)
		}
	}
	var declared [Phases][Phases]bool
	for _, e := range Chart() {
		declared[e.From][e.To] = true
	}
	for from := Phase(0); from < Phases; from++ {
		made[from][from] = false // staying is no transition
		for to := Phase(0); to < Phases; to++ {
			if made[from][to] && !declared[from][to] {
				t.Errorf("Step goes from %v to %v, the chart does not", from, to)
			}
			if !made[from][to] && declared[from][to] {
				t.Errorf("the chart goes from %v to %v, Step never does", from, to)
			}
		}
	}
}

// readingOf is a reading that is heard as the given news with stamp 8.
func readingOf(c *Config, news Class) Reading {
	switch news {
	case Missing:
		return Reading{}
	case Invalid:
		return Reading{Quality: Bad, Stamp: 8}
	}
	return valid([Classes]Microohm{Open: c.OpenAbove, High: c.Reject + 1, Between: c.Accept + 1, Good: c.Accept}[news], 8)
}

// The library drops what it does not understand, so the chart is checked here:
// known names, no duplicates, no phase without a way in and a way out. TestMirror
// shows that the library kept every edge.
func TestChartIsTotal(t *testing.T) {
	in, out := map[Phase]bool{}, map[Phase]bool{}
	triggers, edges := map[string]Phase{}, map[[2]Phase]bool{}
	for _, e := range Chart() {
		if e.Trigger == "" || e.From >= Phases || e.To >= Phases || e.From == e.To {
			t.Errorf("%+v is no edge", e)
		}
		if from, twice := triggers[e.Trigger]; twice {
			t.Errorf("%q is declared from %v and from %v", e.Trigger, from, e.From)
		}
		if edges[[2]Phase{e.From, e.To}] {
			t.Errorf("%v to %v is declared twice", e.From, e.To)
		}
		triggers[e.Trigger], edges[[2]Phase{e.From, e.To}] = e.From, true
		in[e.To], out[e.From] = true, true
	}
	for p := Phase(0); p < Phases; p++ {
		if !in[p] || !out[p] {
			t.Errorf("%v has no way in or no way out", p)
		}
	}
	Chart()[0].From = Lost
	if Chart()[0].From == Lost {
		t.Error("Chart hands out the chart itself")
	}
}

func TestNames(t *testing.T) {
	names := map[string]bool{}
	for p := Phase(0); p < Phases; p++ {
		names[p.String()] = true
	}
	for c := Missing; c < Classes; c++ {
		names[c.String()] = true
	}
	if len(names) != Phases+Classes || names[""] {
		t.Errorf("names %v", names)
	}
}

// The mirror follows the logic along every edge, and refuses what the chart
// does not know.
func TestMirror(t *testing.T) {
	m := NewMirror()
	if m.Current() != "unconnected" {
		t.Fatal("a mirror starts ", m.Current())
	}
	for _, e := range Chart() {
		m.SetState(e.From.String())
		if err := m.Event(context.Background(), e.Trigger); err != nil || m.Current() != e.To.String() {
			t.Errorf("%q from %v: %v, %v", e.Trigger, e.From, m.Current(), err)
		}
		m.SetState(e.To.String())
		if err := m.Event(context.Background(), e.Trigger); err == nil {
			t.Errorf("%q from %v is not refused", e.Trigger, e.To)
		}
	}
}
