package loop

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// restless is a source in which long stretches of nothing are broken by
// whatever can happen: other classes, old stamps, presses, dead inputs,
// overruns, lost memory.
type restless struct {
	random *rand.Rand
	stamp  uint16
	scans  uint64
	calm   int
	last   interlock.Inputs
	power  bool
}

func (r *restless) Next(scan uint64, _ interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	r.stamp++
	r.power = false
	if r.calm--; r.calm < 0 {
		r.calm = r.random.IntN(400)
		r.power = r.random.IntN(40) == 0
		for i := range r.last.Readings {
			r.last.Readings[i] = monitor.Reading{Value: []monitor.Microohm{300_000, 9_500_000, 12_000_000, 2e9, -5}[min(4, r.random.IntN(12)/2)], Quality: []monitor.Quality{monitor.Valid, monitor.Valid, monitor.Valid, monitor.Valid, monitor.Absent, monitor.Bad, monitor.OverRange}[r.random.IntN(7)]}
			if r.random.IntN(2) == 0 {
				r.last.Readings[i] = monitor.Reading{Value: 300_000, Quality: monitor.Valid}
			}
		}
		for i := range r.last.Signals {
			r.last.Signals[i] = []interlock.Signal{interlock.Low, interlock.High, interlock.High, interlock.Low, interlock.NoSignal, interlock.Faulty}[r.random.IntN(6)]
		}
	}
	in.Overrun = r.random.IntN(500) == 0
	copy(in.Signals, r.last.Signals)
	for i := range in.Readings {
		in.Readings[i] = r.last.Readings[i]
		in.Readings[i].Stamp = r.stamp
		if r.random.IntN(3000) == 0 {
			in.Readings[i].Stamp--
		}
		if (scan+uint64(i))%3 != 0 { // a bus slower than the logic
			in.Readings[i] = monitor.Reading{}
		}
		in.Readings[i].Value += monitor.Microohm(r.random.IntN(50_000))
	}
	return scan < r.scans, nil
}

func (r *restless) PowerUp(uint64) bool { return r.power }

// TestSkimmedRunsAreTheSame turns two loops with the same inputs, one of which
// leaves out what can not change anything.
func TestSkimmedRunsAreTheSame(t *testing.T) {
	s, problems := site.Read("../../testdata/sites/kestrel_siding.yaml")
	require.Nil(t, problems)
	c, problems := s.Logic()
	require.Nil(t, problems)
	for i := range c.Vessels { // short times, or nothing is ever over
		c.Vessels[i].Wait, c.Vessels[i].Rest = 30, 20
	}
	for i := range c.Streams {
		c.Streams[i].RunDown = 5
	}
	for i := range c.Outputs {
		c.Outputs[i].Travel = min(c.Outputs[i].Travel, 40)
	}
	source := func() *restless {
		r := &restless{random: rand.New(rand.NewPCG(1, 2)), scans: 40_000}
		r.last = *interlock.NewInputs(c)
		return r
	}
	plain, skimmed := New(c), New(c)
	skimmed.Skim = true
	a, b := source(), source()
	quiet := 0
	for {
		more, err := plain.Once(a)
		require.NoError(t, err)
		again, err := skimmed.Once(b)
		require.NoError(t, err)
		require.Equal(t, more, again)
		if !more {
			break
		}
		if skimmed.turn.Quiet {
			quiet++
		}
		require.Equal(t, plain.State, skimmed.State, "scan %d", plain.scan)
		require.Equal(t, plain.Decision.Coils, skimmed.Decision.Coils, "scan %d", plain.scan)
		require.Equal(t, plain.Decision.Kick, skimmed.Decision.Kick, "scan %d", plain.scan)
		require.Equal(t, plain.Decision.Events, skimmed.Decision.Events, "scan %d", plain.scan)
		require.Equal(t, plain.Decision.Reasons, skimmed.Decision.Reasons, "scan %d", plain.scan)
		require.Equal(t, plain.Decision.Keep, skimmed.Decision.Keep, "scan %d", plain.scan)
		require.Equal(t, plain.Decision.Start, skimmed.Decision.Start, "scan %d", plain.scan)
	}
	require.Greater(t, quiet, 4_000, "nothing was left out, so nothing was compared")
	require.Less(t, quiet, 36_000)
}
