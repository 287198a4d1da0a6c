package fault

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/model"
)

func tabulated(t *testing.T, m *model.Model, pairs bool, output string) *Table {
	t.Helper()
	table, err := Tabulate(m, model.Options{Outputs: []string{output}}, pairs)
	require.NoError(t, err)
	return table
}

const patience = "patience: {high: 190 ms, open: 0 ms, invalid: 50 ms, missing: 50 ms}"

// What comes and goes is judged by what it can read itself: more patience for invalid
// readings, which a contact never shows, saves nobody.
func TestChatterIsJudgedByItsOwnClasses(t *testing.T) {
	for _, invalid := range []int{50, 60, 190, 200, 600} {
		m := bay(t, patience, fmt.Sprintf("patience: {high: 190 ms, open: 0 ms, invalid: %d ms, missing: 50 ms}", invalid))
		table := tabulated(t, m, true, "valve_1")
		require.Equal(t, verdict.Violated, table.Verdict(), "invalid %d ms", invalid)
		for _, name := range []string{"film", "chatter", "vibration"} {
			require.True(t, rowOf(t, table, name, "bond_1").Defeats, "%s, invalid %d ms", name, invalid)
		}
		for i := range table.Defeats {
			d := &table.Defeats[i]
			for _, at := range d.Faults {
				require.True(t, len(d.Faults) == 1 || at.Fault.Name != "film", "%v: film defeats it alone", d.Faults)
			}
		}
	}
}

// The evidence is free: a drum may stand under the lance while the clamp bites the
// gantry.
func TestTheWrongObjectMayKeepItsEvidence(t *testing.T) {
	r := rowOf(t, tabulated(t, bay(t), false, "valve_1"), "clamp_on_wrong_object", "bond_1")
	require.Equal(t, NotDetected, r.Found)
	require.True(t, r.Defeats)
	require.Equal(t, "bond_1 reads good", r.Look)
	require.Equal(t, Withheld, r.Once.Found)
}

// A leak lies in parallel: a metal channel never reads high by it, and where it is no
// more than reject it hides whatever takes the bond away.
func TestALeakHidesALoss(t *testing.T) {
	table := tabulated(t, bay(t), true, "valve_1")
	r := rowOf(t, table, "leak_path", "bond_1")
	require.Equal(t, NotDetected, r.Found)
	require.Equal(t, "leak up to 10 Ω", r.Limit)
	require.Equal(t, "bond_1 reads invalid", r.Once.Look, "below the floor; never high")
	for _, f := range catalogue.All() {
		if f.On != catalogue.OnChannel || f.Bond == catalogue.BondStays {
			continue
		}
		alone, pair := rowOf(t, table, f.Name, "bond_1").Defeats, false
		for i := range table.Defeats {
			faults := table.Defeats[i].Faults
			pair = pair || len(faults) == 2 && faults[0].Fault == f && faults[1].Fault.Name == "leak_path"
		}
		require.NotEqual(t, alone, pair, "%s with a leak", f.Name)
	}
}

// What may show nothing counts as that: small, slow and seldom enough it runs on.
func TestAsBeforeIsALook(t *testing.T) {
	table := tabulated(t, bay(t, "measures: clamp-loop", "measures: earth-path"), false, "valve_1")
	for name, rule := range map[string]Found{
		"strap_left_out": Withheld, "lead_temperature": Withheld, "coarse_adc": Announced, "repeated_samples": NotDetected, "corrosion": Withheld, "clamp_on_paint": Withheld,
	} {
		r := rowOf(t, table, name, "bond_1")
		require.Equal(t, NotDetected, r.Found, name)
		require.Equal(t, "bond_1 reads as before", r.Look, name)
		require.False(t, r.Defeats, name)
		require.Equal(t, rule, r.Once.Found, name)
	}
}

// More patience never makes a row friendlier, whatever class it is given to.
func TestPatienceNeverMakesARowFriendlier(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 25 {
		scans := []int{1, 2, 3, 4, 6, 12} // few budgets, small ones
		drawn := func(least int) int { return 10 * scans[least+r.IntN(len(scans)-least)] }
		ms := [4]int{drawn(1), drawn(0), drawn(0), drawn(0)}
		counting := []string{"consecutive", "integrating 4:1", "integrating 2:1"}[r.IntN(3)]
		text := func(ms [4]int) string {
			return fmt.Sprintf("patience: {high: %d ms, open: %d ms, invalid: %d ms, missing: %d ms}", ms[0], ms[1], ms[2], ms[3])
		}
		more := ms
		for k := r.IntN(4); more == ms; k = r.IntN(4) {
			more[k] = max(ms[k], drawn(0))
		}
		before := tabulated(t, bay(t, patience, text(ms), "counting: consecutive", "counting: "+counting), false, "valve_1")
		after := tabulated(t, bay(t, patience, text(more), "counting: consecutive", "counting: "+counting), false, "valve_1")
		require.Len(t, after.Rows, len(before.Rows))
		for i := range before.Rows {
			require.False(t, friendlier(&after.Rows[i], &before.Rows[i]), "%s, %v: %+v\n%v: %+v", counting, ms, before.Rows[i], more, after.Rows[i])
		}
		require.True(t, before.Verdict() == verdict.Shown || after.Verdict() == verdict.Violated, "%s, %v: %s, %v: %s", counting, ms, before.Verdict(), more, after.Verdict())
	}
}
