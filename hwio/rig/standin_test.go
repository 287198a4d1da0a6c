package rig_test

import (
	"context"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
)

// bay is a plant behind transmitters and input modules: a car, a clamp from 3 to 6 s (after the wait of its power-up), a reset
// from 4.5 to 5 s, a valve whose end switches follow it. It stands still until a run begins.
type bay struct {
	begun atomic.Bool
	scan  int
	moved int // scan in which the valve was moved last
	open  bool
}

func (b *bay) Next(_ uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	if b.begun.Load() {
		b.scan++
	}
	at := b.scan
	in.Readings[0] = monitor.Reading{Quality: monitor.OverRange, Stamp: uint16(at)}
	if at >= 30 && at < 60 {
		in.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 300_000, Stamp: uint16(at)}
	}
	if coils.Energised(0) != b.open {
		b.open, b.moved = !b.open, at
	}
	still := at > b.moved+2
	for i, on := range []bool{true, at >= 45 && at < 50, false, still && !b.open, still && b.open} {
		in.Signals[i] = interlock.Low
		if on {
			in.Signals[i] = interlock.High
		}
	}
	return true, nil
}

// standIn is the bench of the stand-in site with a bay behind its terminals.
func standIn(t testing.TB, mode wiring.Mode, change ...string) *trial {
	const file = "../../testdata/rig/standin_siding.yaml"
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	s, problems := site.Parse(file, []byte(strings.NewReplacer(change...).Replace(string(text))))
	require.Nil(t, problems)
	m, problems := wiring.Read(s)
	require.Nil(t, problems)
	plant := &bay{}
	b := newBenchOn(t, m, twinbench.Options{Plant: plant, Identity: "meter"})
	b.order.Mode, b.order.Scans, b.order.New = mode, 80, nil
	b.order.Watch = func() ([]loop.Watcher, func() error, error) {
		plant.begun.Store(true)
		return nil, func() error { return nil }, nil
	}
	return b
}

// TestStandIn: this logic moves the valve by what the transmitter says, and each move is held against one scan.
func TestStandIn(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := standIn(t, wiring.StandIn)
		report, sheets := b.perform(t, context.Background())
		require.Equal(t, verdict.Shown, report.Verdict, report.Trouble)
		run := report.Runs[0]
		require.Len(t, run.Steps, 2, texts(run.Steps))
		require.Equal(t, []string{sheet.Energised, sheet.Withheld}, []string{run.Steps[0].Change, run.Steps[1].Change})
		for _, step := range run.Steps {
			require.Less(t, step.Measured.Most, 40.0, "the bus and the relay, not the scan of 100 ms")
		}
		require.InDelta(t, 5.1, run.Steps[0].At, 0.3)
		require.InDelta(t, 6.1, run.Steps[1].At, 0.2)
		require.Contains(t, run.Seen, "bond_1: bonded -> lost")
		require.Contains(t, run.Seen, "valve_1: enabled -> tripped")
		require.Equal(t, sheet.StateOpen, sheets[0].State())
	})
}

// TestStandInWithAMeter: its reading takes as long as it takes, beside the scan; the site's aperture is held against that.
func TestStandInWithAMeter(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := standIn(t, wiring.StandIn, "transmitter: {port: bus, kind: resistance, address: 3, turnaround: 2 ms,", "meter: {port: meter_line, kind: scpi-meter,",
			"module: transmitter, point: 0, use: reads, unit: 1 mΩ", "module: meter, point: 0, use: reads", "device_stamp: yes", "device_stamp: no",
			"  modules:\n", "    meter_line: {device: /dev/nowhere, baud: 115200, frame: 8N1}\n  modules:\n")
		report, _ := b.perform(t, context.Background())
		require.Equal(t, verdict.Shown, report.Verdict, report.Trouble)
		require.Len(t, report.Runs[0].Steps, 2, texts(report.Runs[0].Steps))
		require.NotContains(t, strings.Join(report.Runs[0].Heard, " "), "answers did not come")
	})
}

// TestStandInLosesItsTransmitter: what does not come is missing, never the last value again, and the valve falls.
func TestStandInLosesItsTransmitter(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := standIn(t, wiring.StandIn)
		watch := b.order.Watch
		b.order.Watch = func() ([]loop.Watcher, func() error, error) {
			time.AfterFunc(5500*time.Millisecond, func() { _ = b.twin.Hardware.Unplug("bus") })
			return watch()
		}
		report, _ := b.perform(t, context.Background())
		require.Equal(t, verdict.ExitLost, report.Exit)
		require.NotEqual(t, verdict.Shown, report.Verdict)
		require.Equal(t, sheet.StateUnknown, report.RigState)
		time.Sleep(2 * time.Second)
		require.Zero(t, b.twin.Closed(), "the module's own time-out")
	})
}

// TestListenMovesNothing: the history of the twin has inputs only.
func TestListenMovesNothing(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := standIn(t, wiring.Listen)
		report, _ := b.perform(t, context.Background())
		require.Equal(t, verdict.NothingChecked, report.Verdict, report.Trouble)
		require.Equal(t, sheet.StateUnmoved, report.RigState)
		require.Contains(t, strings.Join(report.Runs[0].Heard, "\n"), "4.507 s reset_1 is 1")
		for _, change := range b.twin.Hardware.History() {
			require.Equal(t, "input", change.Kind)
		}
	})
}
