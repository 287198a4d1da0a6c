package rig_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// clamped is a plant whose clamp is on from scan zero: reset is pressed from 0.5 to 0.65 s, after the wait of 0.3 s.
type clamped struct{ scan int }

func (c *clamped) Next(_ uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	at := c.scan
	c.scan++
	in.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 300_000, Stamp: uint16(c.scan)}
	in.Signals = []interlock.Signal{interlock.Low, interlock.Low, interlock.High}
	if at >= 50 && at < 65 {
		in.Signals[0] = interlock.High
	}
	if coils.Energised(0) {
		in.Signals[2] = interlock.Low
	}
	return at < 110, nil
}

// TestClampOnAtPowerUp: a unit that is right follows, as the clamp is there before it has its supply. A unit that is fed
// first would see a reconnection in its wait, and rightly withhold.
func TestClampOnAtPowerUp(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		b := newBench(t, twinbench.Options{})
		b.order.Edges = bench.LeastEdges
		b.order.New = func() (loop.Source, error) { return &clamped{}, nil }
		report, _ := b.perform(t, context.Background())
		require.Len(t, report.Runs, 1, report.Trouble)
		steps := report.Runs[0].Steps
		require.Len(t, steps, 1, texts(steps))
		require.Equal(t, sheet.Consistent, steps[0].Verdict, texts(steps))
		require.Equal(t, "reset_1 1 -> 0", steps[0].Stimulus)
		require.InDelta(t, 0.66, steps[0].At, 0.02)
	})
}

// TestClampOnAtPowerUpNeedsTheSupply: where nobody can feed the unit afterwards, such a scenario is refused.
func TestClampOnAtPowerUpNeedsTheSupply(t *testing.T) {
	s, problems := site.Parse("quick.yaml", []byte(quickSite[:len(quickSite)-len("  supply: {module: relays, point: 6}\n")]))
	require.Nil(t, problems)
	m, problems := wiring.Read(s)
	require.Nil(t, problems)
	logic, problems := s.Logic()
	require.Nil(t, problems)
	_, err := stimulus.DryRun(m, logic, &clamped{}, time.Now())
	require.ErrorContains(t, err, "in scan 0 bond_1: it is there at power-up")
	_, err = stimulus.DryRun(m, logic, &script{ends: 250}, time.Now())
	require.NoError(t, err)
}
