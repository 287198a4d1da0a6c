package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// An output that needs a clamp to be off is brought to run by a plant that takes
// it off, so that what it does while it runs is looked at.
func TestAnOutputThatNeedsAClampOffIsBroughtToRun(t *testing.T) {
	m := bay(t, 2, func(m *model.Model) {
		m.Config.Outputs[0].Permissive = parse(t, m, "bond_1 AND NOT bond_2")
	})
	r, err := Verify(m, model.Options{Outputs: []string{"valve_1"}, Properties: []string{"2", "3", "7", "8", "9", "10", "12", "13", "14", "15"}})
	require.NoError(t, err)
	require.Len(t, r.Results, 10)
	for _, x := range r.Results {
		want := Shown
		if x.Property == model.PropertyUnknown.String() { // a clamp that does not bond for want of readings prolongs the run
			want = Violated
		}
		require.Equal(t, want, x.Verdict, "%s: %s", x.Property, x.Says)
	}
}

// The values that help are found together: of two terms of an XOR one is true.
func TestHelpfulValuesGoTogether(t *testing.T) {
	m := bay(t, 3, nil)
	for text, want := range map[string][3]interlock.Truth{
		"bond_1 AND NOT bond_2":             {interlock.True, interlock.False, interlock.True},
		"bond_1 XOR bond_2":                 {interlock.True, interlock.False, interlock.True},
		"NOT (bond_1 OR bond_2) AND bond_3": {interlock.False, interlock.False, interlock.True},
		"bond_1 OR bond_2":                  {interlock.True, interlock.True, interlock.True},
	} {
		p := parse(t, m, text)
		list := runs.Helpful(p, 3)
		require.Equal(t, want[:], list, text)
		require.Equal(t, interlock.True, model.Evaluate(p, func(c int) interlock.Truth { return list[c] }), text)
	}
}

// Under an XOR either side is to blame for a trip, and both are named.
func TestBothSidesOfAnXorAreNamed(t *testing.T) {
	m := bay(t, 2, func(m *model.Model) { m.Config.Outputs[0].Permissive = parse(t, m, "bond_1 XOR bond_2") })
	r, err := Verify(m, model.Options{Outputs: []string{"valve_1"}, Properties: []string{"13"}})
	require.NoError(t, err)
	require.Len(t, r.Results, 1)
	require.Equal(t, Shown, r.Results[0].Verdict, r.Results[0].Says)
}
