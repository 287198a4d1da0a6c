// Package tracetest is a small invented works for tests of recordings: some
// loading bays, each with a clamp, a valve and a car, one pump behind them all,
// and a story in which most of what can happen does. It is no simulation: its
// physics is a few lines, and the same call gives the same run.
package tracetest

import (
	"fmt"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Period is the scan period of every run.
const Period = 10 * time.Millisecond

// inputs of each bay, in this order.
const (
	reset = iota
	acknowledge
	closed
	perBay
)

// Config is the logic of a works with that many bays.
func Config(bays int) *interlock.Config {
	c := &interlock.Config{PollScans: 1}
	any := ""
	find := func(name string) (int, bool) {
		var n int
		_, err := fmt.Sscanf(name, "bond_%d", &n)
		return n - 1, err == nil && n <= bays
	}
	for b := 0; b < bays; b++ {
		ref := func(input int) interlock.Ref { return interlock.Ref(b*perBay + input + 1) }
		c.Channels = append(c.Channels, interlock.Channel{Config: monitor.Config{
			Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, OverRangeIsOpen: true, Stamped: true,
			StaleAfter: 6, SettleScans: 51, SettleReadings: 5, SettlePause: 5,
			Full: 60, Cost: [monitor.Classes]monitor.Parts{monitor.Missing: 10, monitor.Invalid: 10, monitor.Open: 60, monitor.High: 3},
			Repay: 60, LongestStay: 500,
		}})
		c.Inputs = append(c.Inputs, interlock.Input{StaleAfter: 6}, interlock.Input{StaleAfter: 6}, interlock.Input{StaleAfter: 6})
		c.Outputs = append(c.Outputs, interlock.Output{
			Permissive: parse(fmt.Sprintf("bond_%d", b+1), find), OnDelay: 20,
			Reset: ref(reset), Press: interlock.Press{Min: 11, Max: 299}, Closed: ref(closed), Travel: 120, Backup: []int{bays},
		})
		c.Vessels = append(c.Vessels, interlock.Vessel{
			BondedBy: parse(fmt.Sprintf("bond_%d", b+1), find), Wait: 400, Rest: 200,
			Acknowledge: ref(acknowledge), Press: interlock.Press{Min: 11, Max: 299},
		})
		c.Streams = append(c.Streams, interlock.Stream{Through: []int{b, bays}, Charges: []int{b}, RunDown: 100})
		if b > 0 {
			any += " OR "
		}
		any += fmt.Sprintf("bond_%d", b+1)
	}
	c.Outputs = append(c.Outputs, interlock.Output{Permissive: parse(any, find), Reset: 1, Press: interlock.Press{Min: 11, Max: 299}})
	if err := c.Compile(); err != nil {
		panic(err)
	}
	return c
}

func parse(text string, find func(string) (int, bool)) interlock.Permissive {
	p, err := interlock.ParsePermissive(text, find)
	if err != nil {
		panic(err)
	}
	return p
}

// Header names the parts of Config(bays).
func Header(bays int) *trace.Header {
	h := &trace.Header{
		Site: "quarry_road", SiteHash: "5175e0", Scenario: "story", ScenarioHash: "5ce0a1", Tool: "0.0.0+test",
		Period: Period, Simulated: true,
	}
	for b := 1; b <= bays; b++ {
		h.Channels = append(h.Channels, fmt.Sprintf("bond_%d", b))
		h.Inputs = append(h.Inputs, fmt.Sprintf("reset_%d", b), fmt.Sprintf("ack_%d", b), fmt.Sprintf("valve_%d_closed", b))
		h.Outputs = append(h.Outputs, fmt.Sprintf("valve_%d", b))
		h.Vessels = append(h.Vessels, fmt.Sprintf("car_%d", b))
		h.Streams = append(h.Streams, fmt.Sprintf("toluene_%d", b))
	}
	h.Outputs = append(h.Outputs, "pump")
	return h
}

// story is the plant and the people of a run.
type story struct {
	bays   int
	truth  trace.Truth
	opened []int // per valve: scans since it was told to open, 0 is shut, up to 40
	random uint64
	long   int // scans of one cycle; those beyond the story's own are spent loading
}

// below draws a number in 0..n-1.
func (s *story) below(n uint64) uint64 {
	s.random = s.random*6364136223846793005 + 1442695040888963407
	return s.random >> 33 % n
}

// cycle is how many scans the story of one bay takes before it begins anew.
const cycle = 4000

// Run plays the story for that many scans and gives every scan to w. Begin and
// Close are the caller's.
func Run(bays, scans int, w trace.Writer) error { return play(bays, scans, cycle, w) }

// Day is the same story as a working day has it: each car loads for twenty
// minutes.
func Day(bays, scans int, w trace.Writer) error { return play(bays, scans, 120000, w) }

func play(bays, scans, long int, w trace.Writer) error {
	c := Config(bays)
	state, in, d := interlock.NewState(c), interlock.NewInputs(c), interlock.NewDecision(c)
	s := &story{bays: bays, opened: make([]int, bays), random: 7, long: long}
	s.truth = trace.Truth{Ohms: make([]float64, bays), Bonded: make([]bool, bays), Flowing: make([]bool, bays)}
	for k := 0; k < scans; k++ {
		row := trace.Row{Scan: uint64(k), Time: time.Duration(k) * Period, In: in, State: state, Decision: d, Truth: &s.truth}
		s.plant(k, d.Coils, in)
		if k%(7*long) == 5*long+17 {
			row.PowerUp = true
			state.PowerUp()
		}
		interlock.Step(c, state, in, d)
		if err := w.Write(&row); err != nil {
			return err
		}
	}
	return nil
}

func (s *story) plant(k int, coils interlock.CoilSet, in *interlock.Inputs) {
	s.truth.Faults = s.truth.Faults[:0]
	for b := 0; b < s.bays; b++ {
		at := (k + b*131*(s.long/cycle)) % s.long
		switch extra := s.long - cycle; {
		case at > 1600+extra:
			at -= extra
		case at > 1600:
			at = 1600
		}
		s.clamp(b, at, coils)
		in.Readings[b] = s.read(b, at, k)
		pressed := func(from int) bool { return at >= from && at < from+30 }
		in.Signals[b*perBay+reset] = signal(pressed(900) || pressed(1500) || pressed(3300) || pressed(3900))
		in.Signals[b*perBay+acknowledge] = signal(pressed(700) || pressed(2900))
		in.Signals[b*perBay+closed] = signal(s.opened[b] == 0)
		if s.below(1000) == 0 {
			in.Signals[b*perBay+int(s.below(perBay))] = interlock.Signal(s.below(2)) // nothing, or faulty
		}
	}
	in.Overrun = k%(3*s.long) == 2*s.long+1777
}

// clamp moves the clamp and the valve of one bay.
func (s *story) clamp(b, at int, coils interlock.CoilSet) {
	off := at < 300 || at >= 2000 && at < 2300 || at >= 3700
	s.truth.Ohms[b], s.truth.Bonded[b] = 0.4+0.01*float64(b), !off
	switch {
	case off:
		s.truth.Ohms[b] = inf
		s.truth.Faults = append(s.truth.Faults, fmt.Sprintf("clamp_removed %s", fmt.Sprintf("bond_%d", b+1)))
	case at >= 3450 && at < 3550: // rust: doubtful, then lost
		s.truth.Ohms[b] = 11
	}
	if coils.Energised(b) {
		s.opened[b] = min(s.opened[b]+1, 40)
	} else {
		s.opened[b] = max(s.opened[b]-1, 0)
	}
	s.truth.Flowing[b] = s.opened[b] > 0 && coils.Energised(s.bays)
}

// read is what the transmitter of one bay says.
func (s *story) read(b, at, k int) monitor.Reading {
	r := monitor.Reading{Quality: monitor.Valid, Stamp: uint16(k)}
	switch {
	case s.truth.Ohms[b] == inf:
		r.Quality = monitor.OverRange
	case at >= 1200 && at < 1204: // a short gap
		return monitor.Reading{}
	case at == 1300:
		r.Quality = monitor.Bad
	default:
		r.Value = monitor.Microohm(s.truth.Ohms[b]*1e6) + monitor.Microohm(s.below(20000))
	}
	return r
}

func signal(on bool) interlock.Signal {
	if on {
		return interlock.High
	}
	return interlock.Low
}
