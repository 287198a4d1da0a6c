package table

import (
	"math/rand"
	"testing"

	"ohmgate/monitor"
)

// loadingRack is a channel of eight-car rack size at 10 ms: settle 0.5 s and 5
// readings, patience 200 ms of high, 60 ms of silence or bad frames, open at
// once, at most 1 s of doubt.
func loadingRack() monitor.Config {
	return monitor.Config{
		Accept: 9_000_000, Reject: 10_000_000, OpenAbove: 1_000_000_000, Floor: 50_000, ValidMax: 2_000_000_000,
		OverRangeIsOpen: true, Stamped: true, StaleAfter: 6,
		SettleScans: 51, SettleReadings: 5, SettlePause: 5,
		Full: 60, Cost: [monitor.Classes]monitor.Parts{monitor.Missing: 10, monitor.Invalid: 10, monitor.Open: 60, monitor.High: 3},
		Repay: 60, LongestStay: 100,
	}
}

func bagStation() monitor.Config {
	c := loadingRack()
	c.Accept, c.Reject, c.OpenAbove, c.Floor, c.ValidMax = 90_000_000_000_000, 100_000_000_000_000, 1_000_000_000_000_000, 1_000_000_000, 0
	c.SettleScans, c.SettleReadings, c.SettlePause, c.StaleAfter = 9, 3, 2, 2
	c.Full, c.Repay, c.LongestStay = 8, 1, 12
	c.Cost = [monitor.Classes]monitor.Parts{monitor.Missing: 4, monitor.Invalid: 2, monitor.Open: 4, monitor.High: 2}
	return c
}

// On every reachable pair of state and news the table says what Advance says;
// every state of the table is reachable and stands for its own control.
func TestTableIsAdvance(t *testing.T) {
	for name, c := range map[string]monitor.Config{"loading rack": loadingRack(), "bag station": bagStation()} {
		if err := c.Validate(); err != nil {
			t.Fatal(name, err)
		}
		tab, ok := Build(&c, 1<<20)
		if !ok {
			t.Fatal(name, "does not fit")
		}
		if tab.Control(0) != (monitor.Control{}) || tab.Phase(0) != monitor.Unconnected {
			t.Fatal(name, "does not start at power-up")
		}
		seen, pairs := map[monitor.Control]bool{}, 0
		reached := make([]bool, tab.Len())
		reached[0] = true
		for i := 0; i < tab.Len(); i++ {
			s := tab.At(i)
			control := tab.Control(s)
			if seen[control] || tab.Phase(s) != control.Phase {
				t.Fatalf("%s: state %d is %+v twice, or shows %v", name, i, control, tab.Phase(s))
			}
			seen[control] = true
			for news := monitor.Class(0); news < monitor.Classes; news++ {
				next := tab.Next(s, news)
				if got, want := tab.Control(next), monitor.Advance(&c, control, news); got != want {
					t.Fatalf("%s: %+v, %v: table %+v, Advance %+v", name, control, news, got, want)
				}
				reached[next>>rowShift] = true
				pairs++
			}
			for news := monitor.Class(monitor.Classes); news < 1<<rowShift; news++ {
				if tab.Next(s, news) != tab.Next(s, monitor.Invalid) {
					t.Fatalf("%s: news that does not exist is not taken as invalid", name)
				}
			}
		}
		for i, yes := range reached {
			if !yes {
				t.Fatalf("%s: state %d is never reached", name, i)
			}
		}
		if pairs < 500*monitor.Classes {
			t.Fatalf("%s: only %d pairs compared", name, pairs)
		}
		t.Logf("%s: %d states, %d pairs", name, tab.Len(), pairs)
	}
}

// The table follows Step, stamps and all, when it is fed what Hear hears.
func TestTableFollowsStep(t *testing.T) {
	c := bagStation()
	tab, _ := Build(&c, 1<<20)
	r := rand.New(rand.NewSource(4))
	var s monitor.State
	at, bonded := State(0), 0
	for i, in := range readings(r, &c, 200_000, 20) {
		at = tab.Next(at, monitor.Hear(&c, &s, in))
		if s = monitor.Step(&c, s, in); s.Control != tab.Control(at) || s.Phase != tab.Phase(at) {
			t.Fatalf("scan %d: Step %+v, table %+v", i, s.Control, tab.Control(at))
		}
		if s.Phase == monitor.Bonded {
			bonded++
		}
	}
	if bonded < 1000 {
		t.Fatalf("bonded in %d scans only", bonded)
	}
}

func TestLimit(t *testing.T) {
	c := bagStation()
	tab, ok := Build(&c, MostStates+1)
	if !ok {
		t.Fatal("does not fit")
	}
	if exact, ok := Build(&c, tab.Len()); !ok || exact.Len() != tab.Len() {
		t.Error("a limit of exactly its size is refused")
	}
	for _, limit := range []int{-1, 0, 1, tab.Len() - 1} {
		if got, ok := Build(&c, limit); ok || got != nil {
			t.Errorf("limit %d: %d states", limit, got.Len())
		}
	}
}

// readings draws what a channel reads: good, with a short disturbance about
// once in `apart` scans.
func readings(r *rand.Rand, c *monitor.Config, n, apart int) []monitor.Reading {
	all := make([]monitor.Reading, n)
	values := []monitor.Microohm{c.Accept + 1, c.Reject + 1, c.OpenAbove, -1}
	left, now := 0, monitor.Reading{}
	for i := range all {
		all[i] = monitor.Reading{Value: c.Accept - monitor.Microohm(r.Intn(1000)), Quality: monitor.Valid, Stamp: uint16(i)}
		if left == 0 && r.Intn(apart) == 0 {
			left = 1 + r.Intn(4)
			now = monitor.Reading{Quality: monitor.Quality(r.Intn(4)), Value: values[r.Intn(len(values))]}
		}
		if left > 0 {
			all[i], left = now, left-1
			all[i].Stamp = uint16(i)
		}
	}
	return all
}

// randomReadings draws every reading on its own.
func randomReadings(r *rand.Rand, c *monitor.Config, n int) []monitor.Reading {
	values := []monitor.Microohm{c.Accept, c.Accept + 1, c.Reject + 1, c.OpenAbove, -1}
	all := make([]monitor.Reading, n)
	for i := range all {
		all[i] = monitor.Reading{Value: values[r.Intn(len(values))], Quality: monitor.Quality(r.Intn(4)), Stamp: uint16(i - r.Intn(2))}
	}
	return all
}
