package joint_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	. "ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
)

// Every cut set alone trips the output from every joint state, as it does on the
// whole site; what is not alone one does not.
func TestEveryCutSetAloneTripsIt(t *testing.T) {
	m := yard(t, 3, "bond_1 AND (bond_2 OR bond_3) AND here", nil)
	e, _ := run(t, m, model.Options{}, 1<<30)
	const here = 3 + 5
	for _, k := range []struct {
		channels []string
		inputs   []int
		trips    bool
	}{
		{[]string{"bond_1"}, nil, true}, {[]string{"bond_2", "bond_3"}, nil, true}, {nil, []int{here}, true}, {[]string{"bond_2"}, []int{here}, true},
		{[]string{"bond_2"}, nil, false}, {[]string{"bond_3"}, nil, false}, {nil, nil, false},
	} {
		scans, err := e.Alone(k.channels, k.inputs, 100)
		require.NoError(t, err)
		assert.Equal(t, k.trips, scans > 0, "%v: %d", k, scans)
		assert.Equal(t, !k.trips, scans == Endless, "%v: %d", k, scans)
	}
	report, err := verify.Verify(m, model.Options{Properties: []string{"12"}})
	require.NoError(t, err)
	assert.Equal(t, verdict.Shown, report.Results[0].Verdict)
	jointly := one(t, m, model.Options{}, "12")
	assert.Equal(t, report.Results[0].Verdict, jointly.Verdict, jointly.Says)
	assert.Contains(t, jointly.Says, "3 minimal cut sets trip it, 3 causes outside its cone do not touch it; each alone within ")
}

// Where all is never well but for the cut set there is nothing to say.
func TestAloneWithoutARunningOutput(t *testing.T) {
	e, _ := run(t, yard(t, 2, "bond_1 AND NOT bond_1 AND bond_2", nil), model.Options{}, 1<<30)
	scans, err := e.Alone([]string{"bond_1"}, nil, 100)
	require.NoError(t, err)
	assert.Zero(t, scans)
}

// An output that does not ask its permissive while it runs is caught: by the
// search where the mistake is in the part, by both engines where it is in Step.
func TestAnOutputThatNothingTripsIsCaught(t *testing.T) {
	deaf := model.Real()
	deaf.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode == interlock.Enabled {
			in.Keep = interlock.True
		}
		return interlock.StepOutput(c, s, in)
	}
	m := yard(t, 2, "bond_1 AND bond_2", nil)
	results, _ := judged(t, m, model.Options{Logic: deaf, Properties: []string{"12"}})
	assert.Equal(t, verdict.Violated, results["12"].Verdict, results["12"].Says)
	assert.Contains(t, results["12"].Says, "alone bad does not trip it from every joint state")

	both := *deaf
	both.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
		was := s.Outputs[0]
		interlock.Step(c, s, in, d)
		if was.Mode == interlock.Enabled && d.Reasons[0]&^(interlock.ReasonNotMet|interlock.ReasonUnknown) == 0 {
			s.Outputs[0] = was
			d.Coils = 1
		}
	}
	results, _ = judged(t, m, model.Options{Logic: &both, Properties: []string{"12"}})
	report, err := verify.Verify(m, model.Options{Logic: &both, Properties: []string{"12"}})
	require.NoError(t, err)
	assert.Equal(t, verdict.Violated, report.Results[0].Verdict, report.Results[0].Says)
	assert.Equal(t, verdict.Violated, results["12"].Verdict, results["12"].Says)
}
