package sim

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/monitor"
)

// effect is one fault played on a site and what it must do there.
type effect struct {
	site  string
	line  string // what stands in the scenario, from 5 s on
	steps string
	check func(t *testing.T, r *tape)
}

const (
	bond1 = 0 // of the Kestrel siding
	bag   = 4 // of the Amber line
)

// values of the readings of a channel in a stretch, in Ω.
func values(t *testing.T, r *tape, channel int, from, to time.Duration) []float64 {
	t.Helper()
	var list []float64
	for _, reading := range r.between(channel, from, to) {
		require.Equal(t, monitor.Valid, reading.Quality)
		list = append(list, float64(reading.Value)/1e6)
	}
	require.NotEmpty(t, list)
	return list
}

func mean(list []float64) float64 {
	sum := 0.0
	for _, v := range list {
		sum += v
	}
	return sum / float64(len(list))
}

func deviation(list []float64) float64 {
	m, sum := mean(list), 0.0
	for _, v := range list {
		sum += (v - m) * (v - m)
	}
	return math.Sqrt(sum / float64(len(list)))
}

func least(list []float64) float64 {
	v := list[0]
	for _, x := range list {
		v = math.Min(v, x)
	}
	return v
}

func most(list []float64) float64 {
	v := list[0]
	for _, x := range list {
		v = math.Max(v, x)
	}
	return v
}

const (
	second = time.Second
	// The undisturbed loop of the Kestrel siding: 0.18 Ω of contact, 0.21 Ω of lead.
	healthy = 0.39
)

// overRange demands that nothing but over-range arrives.
func overRange(from, to time.Duration) func(*testing.T, *tape) {
	return func(t *testing.T, r *tape) {
		list := r.between(bond1, from, to)
		require.NotEmpty(t, list)
		for _, reading := range list {
			require.Equal(t, monitor.OverRange, reading.Quality)
		}
	}
}

// countQualities counts what arrived, nothing included.
func countQualities(r *tape, channel int, from, to time.Duration) map[monitor.Quality]int {
	counts := map[monitor.Quality]int{}
	for scan := r.at(from); scan < r.at(to); scan++ {
		counts[r.readings[scan][channel].Quality]++
	}
	return counts
}

func inputOf(r *tape, name string) int {
	for i, n := range r.header.Inputs {
		if n == name {
			return i
		}
	}
	panic("no input " + name)
}

func signals(r *tape, name string, from, to time.Duration) map[interlock.Signal]int {
	counts := map[interlock.Signal]int{}
	for scan := r.at(from); scan < r.at(to); scan++ {
		counts[r.signals[scan][inputOf(r, name)]]++
	}
	return counts
}

// changes counts how often a row of signals changes.
func changes(r *tape, name string, from, to time.Duration) int {
	n := 0
	for scan := r.at(from) + 1; scan < r.at(to); scan++ {
		if r.signals[scan][inputOf(r, name)] != r.signals[scan-1][inputOf(r, name)] {
			n++
		}
	}
	return n
}

var effects = map[string]effect{
	"clamp_removed": {line: "on: bond_1", check: func(t *testing.T, r *tape) {
		overRange(5*second, 10*second)(t, r)
		require.InDelta(t, healthy, mean(values(t, r, bond1, 0, 5*second)), 0.01)
		require.True(t, math.IsInf(r.ohms[r.at(6*second)][bond1], 1) || r.ohms[r.at(6*second)][bond1] == 25, "the rails are left")
	}},
	"clamp_put_back": {line: "on: bond_1, contact: 1.5 Ω", steps: "{at: 3 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		overRange(3*second, 5*second)(t, r)
		require.InDelta(t, 1.71, mean(values(t, r, bond1, 5*second, 10*second)), 0.01)
	}},
	"clamp_on_paint": {line: "on: bond_1, film: 500 Ω, until: 8 s", check: func(t *testing.T, r *tape) {
		require.InDelta(t, 500.39, mean(values(t, r, bond1, 5*second, 8*second)), 0.05)
		require.InDelta(t, healthy, mean(values(t, r, bond1, 8*second, 10*second)), 0.01)
	}},
	"clamp_on_wrong_object": {site: "amber_line", line: "on: bond_drum, object: 0.2 Ω", check: func(t *testing.T, r *tape) {
		require.InDelta(t, 0.29, mean(values(t, r, 1, 5*second, 10*second)), 0.01, "a perfect reading")
		require.True(t, r.bonded[r.at(4*second)][1])
		require.False(t, r.bonded[r.at(6*second)][1], "and the drum floats")
	}},
	"strap_left_out": {site: "hazel_works", line: "on: [bond_tub_1, bond_cage], through: 1 MΩ, until: 9 s", check: func(t *testing.T, r *tape) {
		const tub1, cage = 0, 4
		require.InDelta(t, 0.29, mean(values(t, r, tub1, 5*second, 9*second)), 0.01, "a clamp loop sees nothing of it")
		require.InDelta(t, 1e6, r.ohms[r.at(6*second)][tub1], 10, "but the tub has lost its earth")
		require.Equal(t, map[monitor.Quality]int{monitor.OverRange: 100, monitor.Absent: 100}, countQualities(r, cage, 5*second, 9*second), "an earth path opens")
	}},
	"corrosion": {line: "on: bond_1, from: 1 Ω, to: 5 Ω, over: 4 s", check: func(t *testing.T, r *tape) {
		require.InDelta(t, healthy+1, mean(values(t, r, bond1, 5*second, 5*second+60*time.Millisecond)), 0.1)
		require.InDelta(t, healthy+3, mean(values(t, r, bond1, 6900*time.Millisecond, 7100*time.Millisecond)), 0.05)
		require.InDelta(t, healthy+5, mean(values(t, r, bond1, 9100*time.Millisecond, 10*second)), 0.02)
	}},
	"film": {line: "on: bond_1, film: 7 Ω, broken: 0 mΩ, breaks_after: 200 ms, heals_after: 200 ms", check: func(t *testing.T, r *tape) {
		twoLevels(t, values(t, r, bond1, 5*second, 10*second), healthy, healthy+7, 0.2, 0.8)
	}},
	"chatter": {line: "on: bond_1, open: 6 Ω, made: 300 ms, broken: 100 ms", check: func(t *testing.T, r *tape) {
		twoLevels(t, values(t, r, bond1, 5*second, 10*second), healthy, healthy+6, 0.1, 0.45)
	}},
	"vibration": {line: "on: bond_1, peak: 8 Ω, every: 1 s, lasts: 200 ms", check: func(t *testing.T, r *tape) {
		require.InDelta(t, healthy+4, mean(values(t, r, bond1, 5*second, 5200*time.Millisecond)), 2)
		require.InDelta(t, healthy, mean(values(t, r, bond1, 5220*time.Millisecond, 6*second)), 0.02)
		require.Greater(t, most(values(t, r, bond1, 7*second, 7200*time.Millisecond)), 3.0)
	}},
	// With an aperture of 5 ms a contact open for a tenth of a turn of 40.5 ms is
	// seen in part of the readings, and as a mean: 2 kΩ of full scale while open.
	"rotation": {line: "on: bond_1, speed: 1480 /min, share: 10 %", check: func(t *testing.T, r *tape) {
		var over, good, part int
		for _, reading := range r.between(bond1, 5*second, 10*second) {
			switch {
			case reading.Quality == monitor.OverRange:
				over++
			case reading.Value < 1e6:
				good++
			default:
				part++
			}
		}
		require.Greater(t, good, 100)
		require.Greater(t, part, 20)
		require.Less(t, over, good)
	}},
	"leak_path": {site: "amber_line", steps: "{at: 3 s, do: disconnect, on: bond_bag}", line: "on: bond_bag, leak: 50 MΩ", check: func(t *testing.T, r *tape) {
		require.InEpsilon(t, 2e9, mean(values(t, r, bag, 4800*time.Millisecond, 5*second)), 0.03, "hanging free")
		require.InEpsilon(t, 48.8e6, mean(values(t, r, bag, 8*second, 10*second)), 0.02, "50 MΩ beside 2 GΩ")
	}},
	"broken_wire": {line: "on: bond_1, until: 8 s", check: func(t *testing.T, r *tape) {
		overRange(5*second, 8*second)(t, r)
		require.InDelta(t, 0.18, r.ohms[r.at(6*second)][bond1], 0.02, "the clamp itself still sits")
	}},
	"shorted_leads": {line: "on: bond_1, along: 50 %, short: 0 mΩ", steps: "{at: 7 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		require.InDelta(t, 0.105, mean(values(t, r, bond1, 5*second, 7*second)), 0.01)
		require.InDelta(t, 0.105, mean(values(t, r, bond1, 7*second, 10*second)), 0.01, "the clamp can be taken off: nothing moves")
	}},
	// IEC 60228 and NBS Handbook 100: copper at 70 °C has 1.1965 times its
	// resistance at 20 °C (0.00393 /K, from memory).
	"lead_temperature": {line: "on: bond_1, to: 70 °C, over: 2 s", check: func(t *testing.T, r *tape) {
		require.InDelta(t, healthy+0.21*0.1965, mean(values(t, r, bond1, 7100*time.Millisecond, 10*second)), 0.005)
		require.InDelta(t, healthy+0.21*0.098, mean(values(t, r, bond1, 5900*time.Millisecond, 6100*time.Millisecond)), 0.02)
	}},
	// 5 mV in a loop of 1 mA are 5 Ω; an aperture of 5 ms leaves sinc(1/4) of 50 Hz.
	"mains_pickup": {line: "on: bond_1, amplitude: 5 mV, frequency: 47 Hz", check: func(t *testing.T, r *tape) {
		list := values(t, r, bond1, 5*second, 10*second)
		x := math.Pi * 47 * 0.005
		require.InDelta(t, 5*math.Sin(x)/x, most(list)-healthy, 0.1)
		require.InDelta(t, healthy, mean(list), 0.1)
	}},
	"stray_dc": {site: "amber_line", line: "on: bond_bag, voltage: -10 V", check: func(t *testing.T, r *tape) {
		// One polarity, 1 µA: -10 V are -10 MΩ, and 6 MΩ become negative.
		require.InEpsilon(t, -4e6, mean(values(t, r, bag, 6*second, 10*second)), 0.05)
	}},
	"noise": {line: "on: bond_1, deviation: 0.5 Ω", check: func(t *testing.T, r *tape) {
		list := values(t, r, bond1, 5*second, 10*second)
		require.InDelta(t, 0.5, deviation(list), 0.08)
		require.InDelta(t, healthy, mean(list), 0.12)
	}},
	"fast_bursts": {line: "on: bond_1, amplitude: 500 Ω, every: 300 ms, lasts: 30 ms, hits: 100 %", check: func(t *testing.T, r *tape) {
		list := values(t, r, bond1, 5*second, 10*second)
		wild := 0
		for _, v := range list {
			if math.Abs(v-healthy) > 1 {
				wild++
			}
		}
		require.InDelta(t, 0.1, float64(wild)/float64(len(list)), 0.04)
		require.Less(t, least(list), -50.0)
		require.Greater(t, most(list), 50.0)
	}},
	"coarse_adc": {line: "on: bond_1, step: 1 Ω", check: func(t *testing.T, r *tape) {
		require.InDelta(t, 0, mean(values(t, r, bond1, 5*second, 10*second)), 0.01, "0.39 Ω rounds to nothing")
	}},
	"saturation": {line: "on: bond_1, top: 5 Ω", steps: "{at: 7 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		require.InDelta(t, healthy, mean(values(t, r, bond1, 5*second, 7*second)), 0.01)
		require.InDelta(t, 5, mean(values(t, r, bond1, 7*second, 10*second)), 0.01, "an open end looks like 5 Ω")
	}},
	"over_range": {line: "on: bond_1", check: overRange(5*second, 10*second)},
	"bad_quality": {line: "on: bond_1", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[monitor.Quality]int{monitor.Bad: 250, monitor.Absent: 250}, countQualities(r, bond1, 5*second, 10*second))
	}},
	"frozen_reading": {line: "on: bond_1, stamp: runs, until: 9 s", steps: "{at: 7 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		list := r.between(bond1, 5*second, 9*second)
		for i, reading := range list {
			require.Equal(t, list[0].Value, reading.Value, "not frozen")
			require.Equal(t, list[0].Stamp+uint16(2*i), reading.Stamp)
		}
		require.Equal(t, monitor.Bonded, r.phases[r.at(8900*time.Millisecond)][bond1], "NOT detected, although the clamp is off")
		overRange(9*second, 10*second)(t, r)
	}},
	"drift": {line: "on: bond_1, by: -2 Ω, over: 4 s", check: func(t *testing.T, r *tape) {
		require.InDelta(t, healthy-2, mean(values(t, r, bond1, 9100*time.Millisecond, 10*second)), 0.02, "negative stays negative")
	}},
	"lost_samples": {line: "on: bond_1, share: 20 %", check: func(t *testing.T, r *tape) {
		require.InDelta(t, 250+50, countQualities(r, bond1, 5*second, 10*second)[monitor.Absent], 20)
	}},
	"late_samples": {line: "on: bond_1, delay: 400 ms", steps: "{at: 7 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		require.InDelta(t, healthy, mean(values(t, r, bond1, 5500*time.Millisecond, 7400*time.Millisecond)), 0.02)
		overRange(7420*time.Millisecond, 10*second)(t, r)
	}},
	"repeated_samples": {line: "on: bond_1, share: 50 %", check: func(t *testing.T, r *tape) {
		list := r.between(bond1, 5*second, 10*second)
		again := 0
		for i := 1; i < len(list); i++ {
			if list[i].Stamp == list[i-1].Stamp {
				require.Equal(t, list[i-1], list[i])
				again++
			}
		}
		require.InDelta(t, 0.5, float64(again)/float64(len(list)), 0.12)
	}},
	"report_on_change": {line: "on: bond_1, deadband: 1 Ω", steps: "{at: 7 s, do: connect, on: bond_1, contact: 3 Ω}", check: func(t *testing.T, r *tape) {
		require.Len(t, r.between(bond1, 5*second, 7*second), 1, "the first, then silence")
		require.Len(t, r.between(bond1, 7*second, 10*second), 1, "one change")
	}},
	"bus_cut": {line: "on: [bond_1, car_here_1], until: 8 s", check: func(t *testing.T, r *tape) {
		require.Empty(t, r.between(bond1, 5*second, 8*second))
		require.NotEmpty(t, r.between(1, 5*second, 8*second), "bay 2 is on another line")
		require.Equal(t, map[interlock.Signal]int{interlock.NoSignal: 300}, signals(r, "car_here_1", 5*second, 8*second))
		require.Equal(t, map[interlock.Signal]int{interlock.High: 200}, signals(r, "car_here_1", 8*second, 10*second))
	}},
	"input_lost": {line: "on: car_here_1, shows: faulty", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.Faulty: 500}, signals(r, "car_here_1", 5*second, 10*second))
	}},
	"input_stuck": {line: "on: stop_pump, reads: 0", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.Low: 500}, signals(r, "stop_pump", 5*second, 10*second))
		require.False(t, r.coils[r.at(6*second)].Energised(8), "a broken wire at an inverted stop button stops")
	}},
	"welded_contact": {line: "on: valve_1", steps: "{at: 6 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		require.False(t, r.coils[r.at(7*second)].Energised(0))
		require.True(t, r.flowing[r.at(20*second)][0], "withheld, and it flows all the same, until the pump is called")
		require.False(t, r.flowing[r.at(39*second)][0])
		require.Equal(t, map[interlock.Signal]int{interlock.Low: 3400}, signals(r, "valve_1_closed", 6*second, 40*second))
	}},
	"slow_valve": {line: "on: valve_1, by: 20 s", steps: "{at: 6 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		require.True(t, r.flowing[r.at(20*second)][0], "it takes 11 s without the fault")
		require.Equal(t, interlock.Low, r.signals[r.at(36*second)][inputOf(r, "valve_1_closed")])
		require.Equal(t, interlock.High, r.signals[r.at(39*second)][inputOf(r, "valve_1_closed")])
	}},
	"stuck_valve": {line: "on: valve_1", steps: "{at: 4 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		both := r.at(39 * second)
		require.Equal(t, interlock.Low, r.signals[both][inputOf(r, "valve_1_closed")])
		require.Equal(t, interlock.Low, r.signals[both][inputOf(r, "valve_1_open")], "stuck half-way")
	}},
	"end_switch_on": {line: "on: valve_1_open", steps: "{at: 6 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.High: 3400}, signals(r, "valve_1_open", 6*second, 40*second))
		require.Equal(t, interlock.High, r.signals[r.at(39*second)][inputOf(r, "valve_1_closed")], "both ends at once: a contradiction")
	}},
	"end_switch_off": {line: "on: valve_1_closed", steps: "{at: 6 s, do: disconnect, on: bond_1}", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.Low: 3400}, signals(r, "valve_1_closed", 6*second, 40*second))
		require.False(t, r.flowing[r.at(39*second)][0], "it has shut, and nobody says so")
	}},
	"button_pressed": {line: "on: reset_1, for: 0.3 s", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.High: 30, interlock.Low: 470}, signals(r, "reset_1", 5*second, 10*second))
	}},
	"button_held": {line: "on: reset_1, until: 8 s", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.High: 300, interlock.Low: 200}, signals(r, "reset_1", 5*second, 10*second))
	}},
	"button_taped": {line: "on: reset_1", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.High: 500}, signals(r, "reset_1", 5*second, 10*second))
	}},
	"button_bouncing": {line: "on: reset_1, bounce: 200 ms", steps: "{at: 6 s, do: press, on: reset_1, for: 1 s}", check: func(t *testing.T, r *tape) {
		require.Greater(t, changes(r, "reset_1", 6*second, 6200*time.Millisecond), 3)
		require.Greater(t, changes(r, "reset_1", 7*second, 7200*time.Millisecond), 3)
		require.Zero(t, changes(r, "reset_1", 6220*time.Millisecond, 7*second))
	}},
	"bypass_used": {line: "on: bypass_6", check: func(t *testing.T, r *tape) {
		require.Equal(t, map[interlock.Signal]int{interlock.High: 50, interlock.Low: 450}, signals(r, "key_6", 5*second, 10*second))
	}},
	"scan_overrun": {line: "share: 30 %, until: 8 s", check: func(t *testing.T, r *tape) {
		n := 0
		for scan := r.at(5 * second); scan < r.at(10*second); scan++ {
			if r.overruns[scan] {
				require.Zero(t, r.coils[scan], "an overrun withholds")
				n++
			}
		}
		require.InDelta(t, 90, n, 25)
	}},
	"power_dip": {line: "until: 8 s", check: func(t *testing.T, r *tape) {
		for scan := r.at(5 * second); scan < r.at(8*second); scan++ {
			require.True(t, r.powerUps[scan])
			require.Zero(t, r.coils[scan])
			require.Equal(t, monitor.Absent, r.readings[scan][bond1].Quality)
		}
		require.True(t, r.powerUps[r.at(8*second)], "the first scan with supply")
		require.False(t, r.powerUps[r.at(8*second)+1])
		require.False(t, r.flowing[r.at(30*second)][0], "the plant stopped meanwhile")
	}},
}

// twoLevels demands that values lie on two levels, the upper one for a share.
func twoLevels(t *testing.T, list []float64, low, high, from, to float64) {
	t.Helper()
	upper := 0
	for _, v := range list {
		if math.Abs(v-high) < 0.2 {
			upper++
		} else {
			require.InDelta(t, low, v, 0.2)
		}
	}
	share := float64(upper) / float64(len(list))
	require.True(t, share >= from && share <= to, "the upper level takes %.2f", share)
}

// begins are how each site is brought into operation.
var begins = map[string]string{
	"kestrel_siding": "begin: running\nwith: [pump_ready]",
	"amber_line":     "begin: ready",
	"hazel_works":    "begin: ready",
}

// TestEveryFaultShowsItsEffect plays every fault of the catalogue. A fault
// without a line in the table fails.
// TestACleanContactIsNotBelowTheFloor: where the site says that no real connection
// reads below a floor, its own clean contacts do not either.
func TestACleanContactIsNotBelowTheFloor(t *testing.T) {
	s := small(t)
	c := s.Channels[0]
	c.Accept, c.Kind, c.Floor = 10e6, "metal", 0
	require.InDelta(t, 0.2, defaultTouch(&c, 0), 1e-9)
	c.Floor = 1e6
	require.InDelta(t, 5.5, defaultTouch(&c, 0), 1e-9)
	require.InDelta(t, 5.0, defaultTouch(&c, 0.5), 1e-9)
	require.InDelta(t, 0.2, defaultTouch(&c, 2), 1e-9, "the lead alone is above the floor")
}

func TestEveryFaultShowsItsEffect(t *testing.T) {
	for _, f := range fault.All() {
		t.Run(f.Name, func(t *testing.T) {
			t.Parallel()
			e, ok := effects[f.Name]
			require.True(t, ok, "nobody has written down what %s must do", f.Name)
			if e.site == "" {
				e.site = "kestrel_siding"
			}
			s := readSite(t, e.site)
			_, r := play(t, s, fmt.Sprintf("scenario: %s\n%s\nlasts: 40 s\nsteps: [%s]\nfaults:\n  - {at: 5 s, fault: %s, %s}\n", f.Name, begins[e.site], e.steps, f.Name, e.line))
			e.check(t, r)
			if !f.Act && f.On != fault.OnLogic {
				require.NotEmpty(t, r.faults[r.at(5*second)], "the recording does not name the fault")
			}
			require.Empty(t, r.faults[r.at(4*second)])
		})
	}
	require.Len(t, effects, len(fault.All()), "an effect of a fault that does not exist")
}

// TestDefaultsOfTheCatalogueCanBeRead: every fault can be written with nothing
// but what it must be told.
func TestDefaultsOfTheCatalogueCanBeRead(t *testing.T) {
	s := readSite(t, "kestrel_siding")
	on := map[fault.Target]string{fault.OnChannel: "on: bond_1", fault.OnInput: "on: reset_1", fault.OnOutput: "on: valve_1", fault.OnBypass: "on: bypass_6"}
	for _, f := range fault.All() {
		text := "scenario: x\nlasts: 1 s\nfaults:\n  - {at: 0 s, fault: " + f.Name
		if on[f.On] != "" {
			text += ", " + on[f.On]
		}
		for _, p := range f.Params {
			if p.Default == "" {
				text += ", " + p.Name + ": " + dimensions[p.Unit].Example()
			}
		}
		_, problems := ParseScenario("x.yaml", []byte(text+"}\n"), s)
		require.Nil(t, problems, "%v", problems)
	}
}

func TestATripOnARisingResistanceTellsHowFarItWasFromIgnition(t *testing.T) {
	s := readSite(t, "kestrel_siding")
	sc, problems := ReadScenario("../testdata/scenarios/slow_rust.yaml", s)
	require.Nil(t, problems)
	r, err := Run(s, sc, Options{})
	require.NoError(t, err)
	for _, told := range r.Told {
		if told.Subject == "valve_2" && told.Kind == "tripped" {
			// sqrt(2·0.24 mJ/2000 pF)/1.6 µA = 306 MΩ, 7.48 decades above 10.1 Ω.
			require.Contains(t, told.Why, "bond_2 at 10.1 Ω, 7.4 decades below what could ignite")
			return
		}
	}
	t.Fatal("valve_2 did not trip")
}
