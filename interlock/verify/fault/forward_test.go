package fault

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

// slowReference is the reference site with times long enough to be skipped.
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

// turned is a campaign that counts the scans that are really turned, and logs what a
// counter brings about: the rest can repeat itself, and fast-forward takes it along.
type turned struct {
	*campaign
	now   *trial
	scans int
	log   []logged
}

type logged struct {
	at      model.Scans
	kind    interlock.Kind
	subject int
}

func turnedCampaign(t *testing.T, m *model.Model, output int, everyScan bool) *turned {
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
	p := placerOn(runs.NewBench(m, model.Options{Logic: logic}))
	x.campaign = p.newCampaign(output)
	require.True(t, x.s.Runs)
	x.everyScan = everyScan
	return x
}

func (x *turned) run(does injection) (outcome, interlock.CoilSet) {
	x.now, x.log = x.trial(does), nil
	came, coils := x.now.run()
	x.now.lasts()
	return came, coils
}

// What is skipped leaves the very state behind that every scan in turn leaves,
// and nothing is told in it.
func TestFastForwardChangesNothing(t *testing.T) {
	m := slowReference(t)
	for output := range 2 {
		fast, slow := turnedCampaign(t, m, output, false), turnedCampaign(t, m, output, true)
		require.Equal(t, slow.restart, fast.restart)
		fast.scans, slow.scans = 0, 0
		places, seen := fast.around(), map[string]bool{}
		for i := range places {
			for k := i; k < len(places); k += 1 + min(2, i) { // all of them take a minute
				for _, looks := range together(&places[i], &places[k]) {
					does := injectionOf(looks)
					if seen[does.key()] {
						continue
					}
					seen[does.key()] = true
					came, coils := fast.run(does)
					wanted, wantedCoils := slow.run(does)
					require.Equal(t, wanted, came, textOf(looks))
					require.Equal(t, wantedCoils, coils, textOf(looks))
					require.Equal(t, slow.now.at, fast.now.at, textOf(looks))
					require.Equal(t, slow.log, fast.log, textOf(looks))
					require.Equal(t, slow.now.d.Stamp, fast.now.d.Stamp, textOf(looks))
					require.Equal(t, slow.now.d.State, fast.now.d.State, textOf(looks))
				}
			}
		}
		require.Greater(t, len(seen), 500)
		require.Less(t, 2*fast.scans, slow.scans, "most scans are skipped")
	}
}

// Wherever scans are said to repeat, for as long as that is said, every scan
// decides and tells what the one a period before did.
func TestWhatRepeatsRepeats(t *testing.T) {
	m := slowReference(t)
	x := turnedCampaign(t, m, 0, true)
	places, foretold := x.around(), 0
	for i := range places {
		for k := range places[i].looks {
			r := x.trial(injectionOf(places[i].looks[k : k+1]))
			for _, overrun := range []bool{false, true, false} {
				foretold += foretellRepeats(t, r, overrun, 420)
			}
		}
	}
	require.Greater(t, foretold, 100_000)
}

// foretellRepeats walks n scans, and says how many of them were foretold.
func foretellRepeats(t *testing.T, r *trial, overrun bool, n int) (foretold int) {
	t.Helper()
	c, period := r.Model.Config, int(r.does.period())
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

// Injections are laid over each other in order; what a healthy plant shows anyway is
// nothing done, and a sequence that never changes is told in short.
func TestDeedsLieOverEachOther(t *testing.T) {
	bad := injection{reads: showing(3, monitor.High)}
	flutter := injection{reads: showing[monitor.Class](3, monitor.Open, asBefore)}
	hide := injection{reads: showing(3, monitor.Good)}
	other := injection{signals: showing(1, interlock.Low)}
	both := func(list ...injection) injection {
		var d injection
		for _, x := range list {
			d = d.then(x)
		}
		return d
	}
	require.Equal(t, showing(3, monitor.Open, monitor.High), both(bad, flutter).reads)
	require.Equal(t, bad.reads, both(flutter, bad).reads)
	require.Empty(t, both(bad, flutter, hide).reads)
	for _, x := range [][2]injection{{both(bad, other), both(other, bad)}, {both(bad, hide), {}}, {both(bad, other, injection{silent: true}), {silent: true}}} {
		require.Equal(t, x[1].key(), x[0].key())
	}
	for _, x := range [][2]injection{{bad, flutter}, {both(bad, flutter), both(flutter, bad)}, {other, {signals: showing(1, interlock.High)}}, {{overruns: true}, {unpowered: true}}} {
		require.NotEqual(t, x[1].key(), x[0].key())
	}
	a, b := both(bad, flutter), both(flutter, injection{signals: showing(1, interlock.Low, interlock.High, interlock.Faulty)})
	require.EqualValues(t, 2, a.period())
	require.EqualValues(t, 6, b.period())
}
