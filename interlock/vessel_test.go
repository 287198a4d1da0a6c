package interlock

import (
	"testing"

	"ohmgate/monitor"
)

// An early reconnection that happens while somebody acknowledges the one before
// is not acknowledged with it.
func TestPressDoesNotAcknowledgeALaterReconnection(t *testing.T) {
	v := Vessel{Wait: 100, Acknowledge: 1, Press: Press{Min: 2, Max: 9}}
	s := VesselState{}
	scan := func(reconnected bool, level Truth) (given bool) {
		next, news := stepVessel(&v, s, vesselInput{bonded: False, still: true, reconnected: reconnected})
		given, _ = stepAcknowledge(&v, &s, &next, news.early, level, true)
		s = next
		return given
	}
	for moment := 0; moment < 5; moment++ {
		s = VesselState{}
		scan(true, False)
		given := false
		for i, level := range []Truth{False, True, True, False, False} {
			given = given || scan(i == moment, level)
		}
		// At moment 0 it happens before the press, so the press counts for both.
		if given != (moment == 0) || s.Early == (moment == 0) {
			t.Errorf("a reconnection in scan %d of the press: given %v, latched %v", moment, given, s.Early)
		}
	}
}

// Without an acknowledge input, which Compile allows only without a wait, the
// event is told but nothing locks for ever.
func TestEarlyReconnectionWithoutAButtonIsNotLatched(t *testing.T) {
	next, news := stepVessel(&Vessel{}, VesselState{}, vesselInput{reconnected: true})
	if !news.early || next.Early {
		t.Errorf("told %v, latched %v", news.early, next.Early)
	}
}

// parted over every phase before: a connection that was there and went dark, or
// was seen open, has parted; one of which nothing was ever known has not.
func TestParted(t *testing.T) {
	c := quickChannel()
	step := func(s monitor.State, r monitor.Reading) monitor.State { return monitor.Step(&c, s, r) }
	follow := func(readings ...monitor.Reading) (now, again bool) {
		var s monitor.State
		for _, r := range readings {
			before := s
			s = step(s, r)
			now, again = parted(now, &before, &s)
		}
		return now, again
	}
	g, x, o, h, n, b := readGood, readBad, readOpen, readHigh, readNothing, readBetween
	cases := []struct {
		name       string
		readings   []monitor.Reading
		now, again bool
	}{
		{"first reading of all", []monitor.Reading{g}, false, false},
		{"nothing since power-up, then good", []monitor.Reading{n, n, n, g}, false, false},
		{"seen open", []monitor.Reading{n, o}, true, false},
		{"seen open, then good", []monitor.Reading{n, o, g}, false, true},
		{"seen high, then good", []monitor.Reading{h, g}, false, true},
		{"between is still connected", []monitor.Reading{g, b, g}, false, false},
		{"good without a settling went dark", []monitor.Reading{x, g, x}, true, false},
		{"settling went dark", []monitor.Reading{g, g, x, x}, true, false},
		{"settling paused", []monitor.Reading{g, g, x, g}, false, false},
		{"settling went dark, then good", []monitor.Reading{g, g, x, x, g}, false, true},
		{"settling fell silent, then good", []monitor.Reading{g, g, n, n, n, n, g}, false, true},
		{"bonded rode through bad frames", []monitor.Reading{g, g, g, x, g}, false, false},
		{"bonded went dark, then good", []monitor.Reading{g, g, g, x, x, g}, false, true},
		{"again is said once", []monitor.Reading{g, g, g, o, g, g}, false, false},
	}
	for _, k := range cases {
		if now, again := follow(k.readings...); now != k.now || again != k.again {
			t.Errorf("%s: parted %v again %v, want %v %v", k.name, now, again, k.now, k.again)
		}
	}
}

// TestPartedOncePerLoss: a channel that longest_doubt ends on a good reading is
// lost with good in effect; the repeated good of the scans after is no second
// parting, so one loss never tells two early reconnections.
func TestPartedOncePerLoss(t *testing.T) {
	state := func(p monitor.Phase, age Scans) *monitor.State {
		return &monitor.State{Control: monitor.Control{Phase: p, Class: monitor.Good, Age: age}}
	}
	now, again := parted(false, state(monitor.Doubtful, 0), state(monitor.Lost, 0))
	if now || !again {
		t.Fatalf("the good reading of the loss scan reconnects: parted %v, again %v", now, again)
	}
	now, again = parted(now, state(monitor.Lost, 0), state(monitor.Lost, 1))
	if now || again {
		t.Fatalf("a scan without news parted it again: parted %v, again %v", now, again)
	}
}

func TestNoWaitIsNotTold(t *testing.T) {
	for wait, told := range []bool{false, true} {
		s := VesselState{}
		for range 5 {
			var news vesselNews
			s, news = stepVessel(&Vessel{Wait: Scans(wait)}, s, vesselInput{bonded: False, still: true})
			if news.over && !told {
				t.Fatal("a vessel without a wait tells that it is over")
			}
			told = told && !news.over
		}
		if told || !s.Clear {
			t.Fatalf("wait of %d: cleared %v, still to be told %v", wait, s.Clear, told)
		}
	}
}
