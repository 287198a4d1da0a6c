package verify

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// slowReference is the reference site with times long enough to be leapt over.
func slowReference(t *testing.T) *model.Model {
	t.Helper()
	m, err := model.Reference()
	require.NoError(t, err)
	c := m.Config
	c.Outputs[0].Travel, c.Outputs[0].OnDelay = 230, 60
	c.Vessels[0].Wait, c.Vessels[0].Rest, c.Streams[0].RunDown = 100, 70, 21
	c.Bypasses[0].For, c.Bypasses[0].Warn, c.Bypasses[0].Gap = 160, 50, 25
	require.NoError(t, c.Compile())
	return m
}

// turned is a trial that counts the scans that are really turned, and logs what a
// counter brings about: the rest can repeat itself, and leaps take it along.
type turned struct {
	*trial
	now   *ordeal
	scans int
	log   []logged
}

type logged struct {
	at      model.Scans
	kind    interlock.Kind
	subject int
}

func turnedTrial(t *testing.T, m *model.Model, output int, everyScan bool) *turned {
	t.Helper()
	logic, x, step := model.Real(), &turned{}, model.Real().Step
	logic.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
		step(c, s, in, d)
		x.scans++
		for _, e := range d.Events {
			switch e.Kind {
			case interlock.WaitOver, interlock.ActuatorUnconfirmed, interlock.BypassEnding, interlock.BypassEnded:
				if x.now != nil {
					x.log = append(x.log, logged{x.now.at, e.Kind, e.Subject})
				}
			}
		}
	}
	v, err := newVerification(m, model.Options{Logic: logic})
	require.NoError(t, err)
	x.trial = v.newTrial(output)
	require.True(t, x.s.Runs)
	x.everyScan = everyScan
	return x
}

func (x *turned) undergo(does deed) (outcome, interlock.CoilSet) {
	x.now, x.log = x.ordeal(does), nil
	came, coils := x.now.undergo()
	x.now.lasts()
	return came, coils
}

// What is leapt over leaves the very state behind that every scan in turn leaves,
// and nothing is told in it.
func TestLeapsChangeNothing(t *testing.T) {
	m := slowReference(t)
	for output := range 2 {
		leaping, walking := turnedTrial(t, m, output, false), turnedTrial(t, m, output, true)
		require.Equal(t, walking.restart, leaping.restart)
		leaping.scans, walking.scans = 0, 0
		places, seen := leaping.places(), map[string]bool{}
		for i := range places {
			for k := i; k < len(places); k += 1 + min(2, i) { // all of them take a minute
				for _, looks := range together(&places[i], &places[k]) {
					does := deedOf(looks)
					if seen[does.key()] {
						continue
					}
					seen[does.key()] = true
					came, coils := leaping.undergo(does)
					wanted, wantedCoils := walking.undergo(does)
					require.Equal(t, wanted, came, textOf(looks))
					require.Equal(t, wantedCoils, coils, textOf(looks))
					require.Equal(t, walking.now.at, leaping.now.at, textOf(looks))
					require.Equal(t, walking.log, leaping.log, textOf(looks))
					require.Equal(t, walking.now.d.Stamp, leaping.now.d.Stamp, textOf(looks))
					require.Equal(t, walking.now.d.State, leaping.now.d.State, textOf(looks))
				}
			}
		}
		require.Greater(t, len(seen), 500)
		require.Less(t, 2*leaping.scans, walking.scans, "most scans are leapt over")
	}
}

// Wherever scans are said to repeat, for as long as that is said, every scan
// decides and tells what the one a period before did.
func TestWhatRepeatsRepeats(t *testing.T) {
	m := slowReference(t)
	x := turnedTrial(t, m, 0, true)
	places, foretold := x.places(), 0
	for i := range places {
		for k := range places[i].looks {
			r := x.ordeal(deedOf(places[i].looks[k : k+1]))
			for _, overrun := range []bool{false, true, false} {
				foretold += foretellRepeats(t, r, overrun, 420)
			}
		}
	}
	require.Greater(t, foretold, 100_000)
}

// foretellRepeats walks n scans, and says how many of them were foretold.
func foretellRepeats(t *testing.T, r *ordeal, overrun bool, n int) (foretold int) {
	t.Helper()
	c, period := r.v.Model.Config, int(r.does.period())
	states, stamps, decided := make([]*interlock.State, n), make([]uint16, n), make([]interlock.Decision, n)
	for i := range n {
		r.scan(overrun)
		states[i], stamps[i] = interlock.NewState(c), r.d.Stamp
		states[i].CopyFrom(r.d.State)
		decided[i] = *r.d.Decision
		decided[i].Events, decided[i].Reasons = slices.Clone(r.d.Decision.Events), slices.Clone(r.d.Decision.Reasons)
	}
	for i := 0; i+period < n; i++ {
		k := repeats(c, states[i], states[i+period], stamps[i+period], model.Scans(period))
		for j := i + period + 1; uint64(j) <= uint64(i+period)+uint64(k)*uint64(period) && j < n; j++ {
			foretold++
			if was := &decided[j-period]; decided[j].Coils != was.Coils || !slices.Equal(decided[j].Reasons, was.Reasons) || !slices.Equal(decided[j].Events, was.Events) {
				require.Fail(t, "does not repeat", "%+v: scan %d, foretold in %d for %d periods of %d", r.does, j, i+period, k, period)
			}
		}
	}
	return foretold
}

// Deeds are laid over each other in order; what a healthy plant shows anyway is
// nothing done, and a sequence that never changes is told in short.
func TestDeedsLieOverEachOther(t *testing.T) {
	bad := deed{reads: showing(3, monitor.High)}
	flutter := deed{reads: showing[monitor.Class](3, monitor.Open, asBefore)}
	hide := deed{reads: showing(3, monitor.Good)}
	other := deed{signals: showing(1, interlock.Low)}
	both := func(list ...deed) deed {
		var d deed
		for _, x := range list {
			d = d.then(x)
		}
		return d
	}
	require.Equal(t, showing(3, monitor.Open, monitor.High), both(bad, flutter).reads)
	require.Equal(t, bad.reads, both(flutter, bad).reads)
	require.Empty(t, both(bad, flutter, hide).reads)
	for _, x := range [][2]deed{{both(bad, other), both(other, bad)}, {both(bad, hide), {}}, {both(bad, other, deed{silent: true}), {silent: true}}} {
		require.Equal(t, x[1].key(), x[0].key())
	}
	for _, x := range [][2]deed{{bad, flutter}, {both(bad, flutter), both(flutter, bad)}, {other, {signals: showing(1, interlock.High)}}, {{overruns: true}, {unpowered: true}}} {
		require.NotEqual(t, x[1].key(), x[0].key())
	}
	a, b := both(bad, flutter), both(flutter, deed{signals: showing(1, interlock.Low, interlock.High, interlock.Faulty)})
	require.EqualValues(t, 2, a.period())
	require.EqualValues(t, 6, b.period())
}
