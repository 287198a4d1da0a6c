package rig_test

import (
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
)

// stepper is a plant of the demo bench: a car, a clamp at 1.9 s, a reset at 2.4 s, and the resistance stepped at 3.2 s.
type stepper struct {
	scan  int
	stamp uint16
	last  monitor.Microohm
}

func (s *stepper) Next(_ uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	at := s.scan
	s.scan++
	s.stamp++
	in.Readings[0] = monitor.Reading{Quality: monitor.OverRange, Stamp: s.stamp}
	if at >= 95 {
		in.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 300_000, Stamp: s.stamp}
	}
	if at >= 160 {
		in.Readings[0].Value = s.last
	}
	for i, on := range []bool{true, at >= 120 && at < 135, false, !coils.Energised(0), coils.Energised(0)} {
		in.Signals[i] = interlock.Low
		if on {
			in.Signals[i] = interlock.High
		}
	}
	return at < 190, nil
}

// demoWith is the demo bench with another decade, and with or without a bridge.
func demoWith(t *testing.T, breakTime string, bridge bool) (*wiring.Map, *interlock.Config) {
	const file = "../../testdata/rig/bench_siding.yaml"
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	lines := strings.Split(string(text), "\n")
	var kept []string
	for _, line := range lines {
		switch {
		case strings.Contains(line, "break_time:"), strings.Contains(line, "use: bridge"):
			continue
		}
		kept = append(kept, line)
		if strings.Contains(line, "kind: scpi-decade") && breakTime != "" {
			kept = append(kept, "      break_time: "+breakTime)
		}
		if strings.Contains(line, "use: series-break") && bridge {
			kept = append(kept, "    - {name: bond_1, module: relays, point: 7, use: bridge, resistor: 0.3 Ω}")
		}
	}
	s, problems := site.Parse(file, []byte(strings.Join(kept, "\n")))
	require.Nil(t, problems)
	m, problems := wiring.Read(s)
	require.Nil(t, problems)
	logic, problems := s.Logic()
	require.Nil(t, problems)
	return m, logic
}

// TestStepsUnderTheUnitsEyes are warned of before anything moves.
func TestStepsUnderTheUnitsEyes(t *testing.T) {
	for _, c := range []struct {
		breakTime string
		bridge    bool
		last      monitor.Microohm
		said      string
	}{
		{"", false, 9_500_000, "for up to 20 ms it may be open"},
		{"30 ms", false, 9_500_000, "for up to 30 ms it may be open"},
		{"0 ms", false, 9_500_000, ""},
		{"30 ms", true, 9_500_000, ""},        // the floor's patience of 40 ms rides out what is nearly nothing
		{"80 ms", true, 9_500_000, "invalid"}, // and not this
		{"30 ms", true, 12_000_000, ""},
		{"30 ms", false, 300_000, ""}, // no step
	} {
		m, logic := demoWith(t, c.breakTime, c.bridge)
		made, err := stimulus.DryRun(m, logic, &stepper{last: c.last}, time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC))
		require.NoError(t, err)
		text := strings.Join(made.Warnings, "\n")
		if c.said == "" {
			require.Empty(t, text, "%+v", c)
		} else {
			require.Contains(t, text, c.said)
			require.Len(t, made.Warnings, 1)
		}
	}
}

// TestGlitchOfADecade: a unit that trips on it is not found violated; behind a bridge it does not trip.
func TestGlitchOfADecade(t *testing.T) {
	for _, bridge := range []bool{false, true} {
		t.Run(map[bool]string{false: "open", true: "bridged"}[bridge], func(t *testing.T) {
			hwtest.OnFakeClock(t, func(t *testing.T) {
				m, _ := demoWith(t, "50 ms", bridge)
				b := newBenchOn(t, m, twinbench.Options{Identity: "decade"})
				b.order.New = func() (loop.Source, error) { return &stepper{last: 9_500_000}, nil }
				var said string
				for range 8 { // a busy machine may have the unit miss the glitch, or the bench be late
					b.book = sheet.NewBook(&sink{left: 1 << 20})
					report := rig.Perform(context.Background(), b.order, b.book)
					require.Contains(t, []verdict.Exit{3, 5}, report.Exit, "%s %v", report.Trouble, report.Runs)
					require.Equal(t, sheet.StateOpen, report.RigState)
					if len(report.Runs) == 0 {
						continue
					}
					said = texts(report.Runs[0].Steps)
					require.NotContains(t, said, sheet.Violated)
					if bridge && !strings.Contains(said, "withheld") || strings.Contains(said, "may have been open for a moment") {
						return
					}
				}
				t.Fatal(said)
			})
		})
	}
}
