package joint_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	. "ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// charging lets the output charge a vessel that the first n channels bond, of which
// the first suffices to be judged alone.
func charging(n int) func(*interlock.Config) {
	return func(c *interlock.Config) {
		bond := interlock.Permissive{{Op: interlock.OpCause, Cause: 0}}
		var args []int
		for i := range n {
			bond = append(bond[:i:i], interlock.Node{Op: interlock.OpCause, Cause: i})
			args = append(args, i)
		}
		if n > 1 {
			bond = append(bond, interlock.Node{Op: interlock.OpAnd, Args: args})
		}
		c.Vessels = []interlock.Vessel{{BondedBy: bond, Wait: 7, Rest: 2, Acknowledge: 4, Press: interlock.Press{Min: 1, Max: 2}}}
		c.Streams = []interlock.Stream{{Through: []int{0}, Charges: []int{0}, RunDown: 3, Flow: 5}}
	}
}

// waitOf is what the search with the first vessel says alone.
func waitOf(t testing.TB, m *model.Model, o model.Options) verdict.Verdict {
	t.Helper()
	j := of(t, m, o)
	with, err := j.WithVessel(j.Vessels()[0])
	require.NoError(t, err)
	said, _, err := Wait(with, 1<<30, nil)
	require.NoError(t, err)
	return said
}

// With one channel the joint search of a wait is the explicit one: same states,
// same scans, same verdict.
func TestWaitOfOneChannelAgreesWithTheExplicitSearch(t *testing.T) {
	for name, change := range map[string]func(*interlock.Config){
		"plain": charging(1),
		"no flow switch, two streams": func(c *interlock.Config) {
			charging(1)(c)
			c.Streams[0].Flow = 0
			c.Streams = append(c.Streams, interlock.Stream{Through: []int{0}, Charges: []int{0}, RunDown: 1})
		},
		"stop, both switches": func(c *interlock.Config) {
			charging(1)(c)
			c.Outputs[0].Stop, c.Outputs[0].Opened = 6, 3
		},
	} {
		t.Run(name, func(t *testing.T) {
			m := yard(t, 1, "bond_1", change)
			j, err := Of(runs.NewBench(m, model.Options{}), 0, nil)
			require.NoError(t, err)
			with, err := j.WithVessel("vessel_1")
			require.NoError(t, err)
			e, err := New(with, 1<<30)
			require.NoError(t, err)
			require.NoError(t, e.Run(nil))
			piece, err := verify.PieceOf(m, model.Options{}, 0, 0, 0)
			require.NoError(t, err)
			p, err := piece.Search()
			require.NoError(t, err)
			assert.Equal(t, fmt.Sprint(p.States()), e.States().String())
			assert.Equal(t, p.Levels, e.Scans)
			said, err := e.Verdict(model.PropertyWait)
			require.NoError(t, err)
			assert.Equal(t, verdict.Shown, said)
			assert.Equal(t, verify.VerdictOf(p, model.PropertyWait), said)
			t.Logf("%s states, %d scans", e.States(), e.Scans)
		})
	}
}

// Several channels and permissives: property 8 gets the explicit verdict.
func TestWaitsAgree(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 13))
	for _, text := range []string{"bond_1", "bond_1 AND bond_2", "bond_1 OR bond_2", "bond_1 AND (bond_2 OR here)", "here"} {
		m := yard(t, 2, text, func(c *interlock.Config) {
			vary(random, c)
			c.Outputs[0].Automatic, c.Outputs[0].Reset = false, 1
			charging(2)(c)
		})
		got := one(t, m, model.Options{}, "8")
		require.NotNil(t, got)
		report, err := verify.Verify(m, model.Options{Properties: []string{"8"}})
		require.NoError(t, err)
		assert.Equal(t, report.Results[0].Verdict, got.Verdict, "%s: %s; jointly: %s", text, report.Results[0].Says, got.Says)
		assert.Equal(t, verdict.Shown, got.Verdict, "%s: %s", text, got.Says)
		assert.Regexp(t, "^joint states: [0-9]+ with vessel_1$", got.Says)
	}
}

// Where the output never runs, no wait was asked for.
func TestAWaitThatIsNeverAskedForIsNothingChecked(t *testing.T) {
	m := yard(t, 2, "bond_1 AND NOT bond_1 AND bond_2", charging(1))
	assert.Equal(t, verdict.NothingChecked, waitOf(t, m, model.Options{}))
	assert.Equal(t, verdict.NothingChecked, one(t, m, model.Options{}, "8").Verdict)
}

// Every mistake in a vessel or a stream that breaks property 8 in the explicit
// engine breaks it jointly, and no other does; one in an output as well.
func TestPlantedMutantsOfTheWaitAreCaught(t *testing.T) {
	m := yard(t, 1, "bond_1", charging(1))
	caught := 0
	for _, mutant := range verify.Mutants() {
		logic, ok := mutant.PlantedAside()
		if mutant.Name == "a running wait is not asked" {
			logic, ok = mutant.Planted()
		}
		if !ok {
			continue
		}
		o := model.Options{Logic: logic, Properties: []string{"8"}}
		report, err := verify.Verify(m, o)
		require.NoError(t, err)
		want := report.Results[0]
		got := one(t, m, o, "8")
		assert.Equal(t, want.Verdict, got.Verdict, "%s: %s; jointly: %s", mutant.Name, want.Says, got.Says)
		if waitOf(t, m, o) == verdict.Violated {
			caught++
		}
	}
	assert.GreaterOrEqual(t, caught, 8)
}
