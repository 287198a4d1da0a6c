package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verify/model"
)

func TestSelfCheckCatchesEveryMutant(t *testing.T) {
	r, err := SelfCheck(model.Options{})
	require.NoError(t, err)
	m, err := model.Reference()
	require.NoError(t, err)
	base, err := Verify(m, model.Options{})
	require.NoError(t, err)
	for _, x := range base.Results {
		if x.Verdict != Shown {
			t.Errorf("%s %s %s: %s", x.Output, x.Property, x.Verdict, x.Says)
		}
	}
	require.Equal(t, Shown, r.Unchanged)
	require.GreaterOrEqual(t, len(r.Mutants), 40)
	kinds := map[string]int{}
	for _, c := range r.Mutants {
		kinds[c.Kind]++
		t.Logf("%-5v %-18s %-60s %v %s", c.Caught, c.Kind, c.Mutant, c.Properties, c.Says)
		if !c.Caught {
			t.Errorf("not caught: %s", c.Mutant)
		}
	}
	require.Len(t, kinds, 6, "every class of mistake")
	for _, p := range properties {
		require.Subset(t, r.ByProperty[p.Number.String()], p.Mutants, "property %s", p.Number)
	}
	require.Equal(t, Shown, r.Verdict())
}
