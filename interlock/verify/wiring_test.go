package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// Four clamps of which one is enough are a cut set of four: what all of them may read
// for ever is judged like what one may.
func TestFourClampsOfWhichOneIsEnoughAreJudged(t *testing.T) {
	m := bay(t, 5, func(m *model.Model) {
		integrating(&m.Config.Channels[4].Config)
		m.Config.Outputs[0].Permissive = parse(t, m, "bond_5 AND (bond_1 OR bond_2 OR bond_3 OR bond_4)")
	})
	report, err := Verify(m, model.Options{Outputs: []string{"valve_1"}, Properties: []string{"4", "5"}})
	require.NoError(t, err)
	require.Equal(t, [][]string{{"bond_5"}, {"bond_1", "bond_2", "bond_3", "bond_4"}}, report.Cuts[0].Sets)
	for _, r := range report.Results {
		if r.Property == "5" {
			require.Equal(t, Violated, r.Verdict, r.Says)
			require.NotNil(t, r.Counterexample)
			require.Contains(t, r.Counterexample.Sentence, "on bond_1 and bond_2 and bond_3 and bond_4")
		}
	}
}

// A verdict does not depend on which other outputs are verified, nor on their order:
// valve_2 asks its own end switch for what valve_1 asks a free input for, and can
// never stay on.
func TestAVerdictDoesNotDependOnTheOtherOutputs(t *testing.T) {
	var own interlock.Ref
	m := bay(t, 2, func(m *model.Model) {
		m.Config.Outputs[0].Permissive = parse(t, m, "bond_1 AND here_car_2")
		m.Config.Outputs[1].Permissive = parse(t, m, "bond_2 AND closed_car_2")
		own = m.Config.Outputs[1].Closed
	})
	require.Equal(t, "closed_car_2", m.Names.Inputs[own-1])
	properties := []string{"2", "12", "15"}
	whole, err := Verify(m, model.Options{Properties: properties})
	require.NoError(t, err)
	compared := 0
	for _, output := range m.Names.Outputs {
		alone, err := Verify(m, model.Options{Properties: properties, Outputs: []string{output}})
		require.NoError(t, err)
		for _, want := range alone.Results {
			for _, got := range whole.Results {
				if got.Output == want.Output && got.Property == want.Property {
					require.Equal(t, want.Verdict, got.Verdict, "%s, property %s: alone %q, among others %q", output, want.Property, want.Says, got.Says)
					compared++
				}
			}
			if output == "valve_2" && want.Property == "15" {
				require.NotEqual(t, Shown, want.Verdict, want.Says)
			}
		}
	}
	require.Equal(t, len(whole.Results), compared)
}

// Where there are more minimal cut sets than are worked out, what goes through them is
// not shown.
func TestWhatIsLeftOutIsNotShown(t *testing.T) {
	m := bay(t, 2, func(m *model.Model) {
		m.Config.Outputs[0].Permissive = parse(t, m, "bond_1")
		vote := interlock.Node{Op: interlock.OpVote, M: 6}
		for range 12 {
			m.Config.Inputs = append(m.Config.Inputs, interlock.Input{StaleAfter: 6})
			m.Names.Inputs = append(m.Names.Inputs, "level")
			m.Config.Outputs[0].Permissive = append(m.Config.Outputs[0].Permissive, interlock.Node{Op: interlock.OpCause, Cause: 2 + len(m.Config.Inputs) - 1})
			vote.Args = append(vote.Args, len(m.Config.Outputs[0].Permissive)-1)
		}
		all := len(vote.Args) + 1
		m.Config.Outputs[0].Permissive = append(m.Config.Outputs[0].Permissive, vote, interlock.Node{Op: interlock.OpAnd, Args: []int{0, all}})
	})
	v, err := newVerification(m, model.Options{})
	require.NoError(t, err)
	v.tried[0] = trialsFound{} // looked at already
	for i := range properties {
		p := &properties[i]
		r := v.conclude(p, 0, &Result{Verdict: Shown}, &Sampling{})
		if p.byCuts {
			require.Equal(t, NotShown, r.Verdict, p.Title)
			require.Contains(t, r.Says, "minimal cut sets")
		} else {
			require.Equal(t, Shown, r.Verdict, p.Title)
		}
	}
}

// A clamp that must be off ends a run when it bonds: unusable readings in place of
// good ones delay that, and so prolong the run.
func TestUnknownUnderANotProlongsARun(t *testing.T) {
	m := bay(t, 2, func(m *model.Model) { m.Config.Outputs[0].Permissive = parse(t, m, "bond_1 AND NOT bond_2") })
	v, err := newVerification(m, model.Options{})
	require.NoError(t, err)
	r := v.unknown(0)
	require.Equal(t, Violated, r.Verdict, r.Says)
	require.NotNil(t, r.Counterexample)
	t.Log(r.Says, r.Counterexample.Expect)
	require.Equal(t, Shown, v.unknown(1).Verdict, "no channel is read inverted")
}
