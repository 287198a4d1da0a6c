package monitor

import "testing"

// rack is a metal channel as a loading rack uses it: 10 Ω is the usual limit of
// an all-metal path (NFPA 77 (2007) 6.4.1.3.1, from memory).
func rack() Config {
	return Config{
		Accept: 9_000_000, Reject: 10_000_000, OpenAbove: 1_000_000_000, Floor: 50_000, ValidMax: 2_000_000_000,
		OverRangeIsOpen: true, Stamped: true, StaleAfter: 2,
		SettleScans: 6, SettleReadings: 3, SettlePause: 2,
		Full: 12, Cost: [Classes]Parts{Missing: 4, Invalid: 6, Open: 12, High: 3}, Repay: 12, LongestStay: 9,
	}
}

func valid(v Microohm, stamp uint16) Reading {
	return Reading{Value: v, Quality: Valid, Stamp: stamp}
}

// A frozen reading between two bad frames whose stamp field is garbage stays
// the same old reading.
func TestBadFrameDoesNotRefreshAFrozenReading(t *testing.T) {
	c := rack()
	s := Step(&c, State{}, valid(8_000_000, 100))
	for i := 0; i < 40; i++ {
		for _, garbage := range []uint16{0, 40_000, 99} {
			s = Step(&c, s, Reading{Quality: Bad, Stamp: garbage})
			if got := Hear(&c, &s, valid(8_000_000, 100)); got != Missing {
				t.Fatalf("after a bad frame stamped %d the frozen reading is heard as %v", garbage, got)
			}
		}
	}
}

// A gateway that hands over two old measurements in turn is found missing, at
// every stale-after.
func TestTwoOldMeasurementsInTurnAreFoundMissing(t *testing.T) {
	for _, stale := range []Scans{0, 1, 2, 4} {
		c := rack()
		c.StaleAfter = stale
		s := Step(&c, Step(&c, State{}, valid(8_000_000, 7)), valid(8_000_000, 8))
		missing := false
		for i := 0; i < 20; i++ {
			s = Step(&c, s, valid(8_000_000, 7+uint16(i%2)))
			missing = missing || s.Class == Missing
		}
		if !missing {
			t.Errorf("stale-after %d: never missing", stale)
		}
	}
}

// A device that restarted its numbering is heard again once it was missing.
func TestRestartedDeviceIsHeardOnceStale(t *testing.T) {
	c := rack()
	s := Step(&c, State{}, valid(8_000_000, 30_000))
	for i := Scans(0); i <= c.StaleAfter; i++ {
		if s = Step(&c, s, valid(8_000_000, 10+uint16(i))); s.Age != i+1 {
			t.Fatalf("scan %d of the gap: age %d", i, s.Age)
		}
	}
	if s.Class != Missing {
		t.Fatalf("after the gap: %v", s.Class)
	}
	if s = Step(&c, s, valid(8_000_000, 20)); s.Age != 0 || s.Class != Good {
		t.Fatalf("the restarted device is not heard: %+v", s)
	}
}

// A quality that nobody declared is bad.
func TestUndeclaredQualityIsInvalid(t *testing.T) {
	c := rack()
	for q := Valid + 1; q != 0; q++ {
		s := Step(&c, State{}, Reading{Value: 8_000_000, Quality: q, Stamp: 1})
		if s.Class != Invalid || s.Seen {
			t.Fatalf("quality %d: %+v", q, s)
		}
	}
}
