package monitor

import (
	"math/rand"
	"reflect"
	"testing"
)

// The zero values deny: no sequence of anything makes a channel without a
// configuration fit for anything.
func TestZeroValueDenies(t *testing.T) {
	var s State
	if s.Phase.MayStart() || s.Phase.MayKeep() {
		t.Fatal("the zero state is fit for something")
	}
	if (Reading{}).Quality != Absent || Class(0) != Missing {
		t.Fatal("the zero reading says something")
	}
	var c Config
	r := rand.New(rand.NewSource(1))
	for i := 0; i < 10_000; i++ {
		in := Reading{Value: Microohm(r.Intn(3) - 1), Quality: Quality(r.Intn(4)), Stamp: uint16(i)}
		if s = Step(&c, s, in); s.Phase.MayKeep() {
			t.Fatalf("an empty configuration is bonded after %+v", in)
		}
	}
	// Even a state that cannot come about is left at once on a bad reading.
	for _, p := range []Phase{Bonded, Doubtful} {
		if Step(&c, State{Control: Control{Phase: p}}, Reading{Quality: Bad}).Phase.MayKeep() {
			t.Errorf("an empty configuration keeps a %v channel", p)
		}
	}
}

// Bonded and doubtful alone are fit to keep, bonded alone to start: doubt starts nothing.
func TestFitness(t *testing.T) {
	for p := Phase(0); p < Phases; p++ {
		if p.MayStart() != (p == Bonded) || p.MayKeep() != (p == Bonded || p == Doubtful) {
			t.Errorf("%v: start %v keep %v", p, p.MayStart(), p.MayKeep())
		}
	}
}

// Moving every stamp of a history by the same amount changes nothing but the
// stamp that is remembered; and who spent the doubt never moves the phase.
func TestStampsAreOnlyCompared(t *testing.T) {
	r := rand.New(rand.NewSource(2))
	moved := 0
	for trial := 0; trial < 5_000; trial++ {
		c := drawConfig(r)
		shift := uint16(r.Intn(1 << 16))
		var a, b State
		for _, in := range drawHistory(r, &c, 40) {
			shifted := in
			shifted.Stamp += shift
			b.Spent = [Classes]Parts{Parts(r.Uint32()), Parts(r.Uint32()), Parts(r.Uint32()), Parts(r.Uint32())}
			a, b = Step(&c, a, in), Step(&c, b, shifted)
			if a.Control != b.Control || a.Seen != b.Seen || a.Seen && b.Stamp != a.Stamp+shift {
				t.Fatalf("trial %d, shift %d: %+v and %+v", trial, shift, a, b)
			}
			if a.Phase == Bonded {
				moved++
			}
		}
	}
	if moved < 1000 {
		t.Fatalf("only %d scans were bonded", moved)
	}
}

// Without device stamps every arrival is fresh, whatever its stamp.
func TestUnstampedArrivalsAreFresh(t *testing.T) {
	c := rack()
	c.Stamped = false
	var s State
	for i := 0; i < 6; i++ {
		s = Step(&c, s, valid(8_000_000, 5))
	}
	if s.Phase != Bonded {
		t.Fatalf("six arrivals: %v", s.Phase)
	}
}

// A frozen device feeds no settling and repays no doubt.
func TestFrozenReadingNeverBonds(t *testing.T) {
	c := rack()
	s := Step(&c, State{}, valid(8_000_000, 5))
	for i := 0; i < 1000; i++ {
		if s = Step(&c, s, valid(8_000_000, 5)); s.Phase.MayKeep() {
			t.Fatalf("bonded on one measurement, after %d repeats", i)
		}
	}
	doubtful := State{Control: Control{Phase: Doubtful, Class: Good, Doubt: 3}, Stamp: 5, Seen: true}
	if got := Step(&c, doubtful, valid(8_000_000, 5)); got.Doubt != 3 || got.Phase != Doubtful {
		t.Fatalf("a repeated reading repays doubt: %+v", got)
	}
}

// In every reachable control: bonding needs the last scan to be a fresh good
// one; a reading that is worse never leaves a better phase; counters saturate.
func TestLawsOfEveryControl(t *testing.T) {
	for _, c := range charted() {
		eachControl(t, &c, func(from Control, news Class, to Control) {
			switch {
			case !from.Phase.MayStart() && to.Phase.MayStart() && news != Good:
				t.Fatalf("%+v becomes bonded on %v", from, news)
			case !from.Phase.MayKeep() && to.Phase == Doubtful:
				t.Fatalf("%+v becomes doubtful", from)
			case to.Age > c.StaleAfter+1 || to.Run > c.SettleScans || to.Count > c.SettleReadings || to.Paused > c.SettlePause || to.Doubt >= c.Full || to.Stay > c.LongestStay:
				t.Fatalf("%+v counts past what decides", to)
			case to.Phase != Doubtful && to.Doubt+Parts(to.Stay) != 0, to.Phase != Settling && to.Run+to.Count+to.Paused != 0:
				t.Fatalf("%+v carries a counter of another phase", to)
			}
			for worse := Open; worse < news; worse++ { // among classes that say how good the connection is
				if lower := Advance(&c, from, worse); lower.Phase.MayKeep() && !to.Phase.MayKeep() {
					t.Fatalf("from %+v, %v keeps but %v does not", from, worse, news)
				}
			}
		})
	}
}

// Which share of bad readings integrating counting tolerates for ever: with
// patience for P bad scans and g good scans repaying b bad ones, b in g+b.
func TestIntegratingToleratesItsShare(t *testing.T) {
	c := rack()
	c.Full, c.Repay, c.LongestStay = 16, 1, ScansMax // High: patience 4; four good repay one bad
	c.Cost = [Classes]Parts{Missing: 4, Invalid: 4, Open: 16, High: 4}
	if err := c.Validate(); err != nil {
		t.Fatal(err)
	}
	survives := func(good int) bool {
		s := Control{Phase: Bonded, Class: Good}
		for i := 0; i < 10_000; i++ {
			if s = Advance(&c, s, High); !s.Phase.MayKeep() {
				return false
			}
			for k := 0; k < good; k++ {
				s = Advance(&c, s, Good)
			}
		}
		return true
	}
	if !survives(4) || survives(3) {
		t.Errorf("4:1 survives one bad in five %v, one bad in four %v", survives(4), survives(3))
	}
}

func TestScansSaturate(t *testing.T) {
	if Scans(0).Next() != 1 || (ScansMax-1).Next() != ScansMax || ScansMax.Next() != ScansMax {
		t.Error("Next")
	}
	if limited(0, 0) != 0 || limited(4, 5) != 5 || limited(5, 5) != 5 || limited(9, 5) != 5 || limited(ScansMax, ScansMax) != ScansMax {
		t.Error("limited")
	}
	c := rack()
	c.SettlePause, c.StaleAfter = ScansMax, 0
	s := Control{Phase: Settling, Class: Invalid, Paused: ScansMax}
	if got := Advance(&c, s, Invalid); got.Paused != ScansMax || got.Phase != Settling {
		t.Errorf("pauses wrap: %+v", got)
	}
	full := State{Control: Control{Phase: Doubtful, Doubt: 1}, Spent: [Classes]Parts{High: ^Parts(0) - 1}}
	if got := Step(&c, full, valid(11_000_000, 1)).Spent[High]; got != ^Parts(0) {
		t.Errorf("who spent what wraps to %d", got)
	}
}

// State is comparable and small, and holds nothing that could be shared.
func TestStateIsPlain(t *testing.T) {
	var plain func(reflect.Type)
	plain = func(of reflect.Type) {
		switch of.Kind() {
		case reflect.Struct:
			for i := 0; i < of.NumField(); i++ {
				plain(of.Field(i).Type)
			}
		case reflect.Array:
			plain(of.Elem())
		case reflect.Bool, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Int64:
		default:
			t.Errorf("%v has kind %v", of, of.Kind())
		}
	}
	for _, v := range []any{State{}, Config{}, Reading{}} {
		plain(reflect.TypeOf(v))
	}
	if size := reflect.TypeOf(State{}).Size(); size > 64 {
		t.Errorf("a state takes %d bytes, more than a cache line", size)
	}
}

func TestStepAllocatesNothing(t *testing.T) {
	r := rand.New(rand.NewSource(3))
	c := drawConfig(r)
	history := drawHistory(r, &c, 1000)
	var s State
	if n := testing.AllocsPerRun(20, func() {
		for _, in := range history {
			s = Step(&c, s, in)
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// What is no phase, no class or no quality denies; nothing panics.
func TestNoPhaseNoClass(t *testing.T) {
	c := rack()
	for p := Phase(Phases); p != 0; p++ {
		for news := Missing; news < Classes; news++ {
			if got := Advance(&c, Control{Phase: p}, news); got.Phase != Unreadable {
				t.Fatalf("phase %d on %v: %v", p, news, got.Phase)
			}
		}
	}
	for p := Phase(0); p < Phases; p++ {
		for news := Class(Classes); news != 0; news++ {
			if got, want := Advance(&c, Control{Phase: p}, news), Advance(&c, Control{Phase: p}, Invalid); got != want {
				t.Fatalf("%v on class %d: %+v, want %+v", p, news, got, want)
			}
		}
	}
}

// Hear only listens.
func TestHearChangesNothing(t *testing.T) {
	c := rack()
	s := Step(&c, State{}, valid(8_000_000, 1))
	before := s
	if Hear(&c, &s, valid(8_000_000, 2)) != Good || s != before {
		t.Error("Hear changes the state")
	}
}

// The short way of a bonded channel is the long way: on every reading around
// every threshold and every stamp distance that decides something.
func TestShortWayIsTheLongWay(t *testing.T) {
	r := rand.New(rand.NewSource(5))
	for trial := 0; trial < 500; trial++ {
		c := drawConfig(r)
		for _, stamp := range []uint16{99, 100, 101, 100 + 1<<15 - 1, 100 + 1<<15, 100 + 1<<15 + 1, 0} {
			for _, v := range edgeValues(&c) {
				for age := Scans(0); age <= c.StaleAfter; age++ {
					for q := Absent; q <= Valid+1; q++ {
						short := State{Control: Control{Phase: Bonded, Class: Good, Age: age}, Stamp: 100, Seen: true}
						long := short
						in := Reading{Value: v, Quality: q, Stamp: stamp}
						short.Step(&c, in)
						if long.step(&c, in); short != long {
							t.Fatalf("%+v on %+v: %+v, the long way %+v", c, in, short, long)
						}
					}
				}
			}
		}
	}
}
