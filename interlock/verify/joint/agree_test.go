package joint_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// judged is all that the joint search says of the first output.
func judged(t testing.TB, m *model.Model, o model.Options) (map[string]verify.Result, []verify.Response) {
	t.Helper()
	if o.Memory = 1 << 30; o.Properties == nil { // what has no search of its own
		o.Properties = []string{"1", "2", "3", "4", "5", "6", "7", "10", "12", "13", "14", "15"}
	}
	found, err := verify.Jointly(m, o, 0)
	require.NoError(t, err)
	require.Empty(t, found.Incomplete)
	results, responses := found.Results, found.Response
	by := map[string]verify.Result{}
	for _, r := range results {
		by[r.Property] = r
	}
	return by, responses
}

// Small random outputs: every property that both engines judge gets the same
// verdict, and every response the same number; exact wherever the explicit one is.
func TestRandomOutputsAgree(t *testing.T) {
	seen := map[string]int{}
	random := rand.New(rand.NewPCG(5, 8))
	texts := []string{"bond_1", "bond_1 AND bond_2", "bond_1 OR bond_2", "bond_1 AND here", "bond_1 XOR bond_2", "bond_1 AND NOT bond_2", "NOT bond_1", "bond_1 AND (bond_2 OR here)"}
	for i := range len(texts) {
		text := texts[i]
		m := yard(t, 2, text, func(c *interlock.Config) { vary(random, c) })
		joint, responses := judged(t, m, model.Options{})
		report, err := verify.Verify(m, model.Options{})
		require.NoError(t, err)
		for _, want := range report.Results {
			got, ok := joint[want.Property]
			if !ok {
				continue
			}
			assert.Equal(t, want.Verdict, got.Verdict, "%s: property %s: %s; jointly: %s", text, want.Property, want.Says, got.Says)
			seen[want.Property]++
		}
		for k, want := range report.Cuts[0].Response {
			got := responses[k]
			require.Equal(t, want.Set, got.Set)
			assert.Equal(t, want.Scans, got.Scans, "%s: %v %s", text, want.Set, want.Class)
			if want.Bound == "exact" {
				assert.Equal(t, "exact", got.Bound, "%s: %v %s", text, want.Set, want.Class)
			}
		}
	}
	for _, n := range []string{"1", "2", "3", "4", "5", "6", "7", "10", "12", "14", "15"} {
		assert.NotZero(t, seen[n], "property %s was never compared", n)
	}
	t.Log(seen)
}

// vary changes what a site can choose.
func vary(random *rand.Rand, c *interlock.Config) {
	for i := range c.Channels {
		ch := &c.Channels[i].Config
		ch.SettleScans, ch.SettleReadings = monitor.Scans(3+random.IntN(3)), 3
		ch.StaleAfter = monitor.Scans(random.IntN(2))
		ch.Full = monitor.Parts(2 + random.IntN(4))
		for class := range ch.Cost[:monitor.Between] {
			ch.Cost[class] = monitor.Parts(1 + random.IntN(int(ch.Full)))
		}
		ch.Repay = monitor.Parts(1 + random.IntN(2))
		ch.LongestStay = monitor.Scans(1 + random.IntN(4))
	}
	o := &c.Outputs[0]
	o.OnDelay = interlock.Scans(random.IntN(3))
	if random.IntN(3) == 0 {
		o.Automatic, o.Reset = true, 0
		o.Closed, o.Travel = 0, 0
	}
}

// Where both of a pair must be bad, the run that takes as long has both in full
// detail, and the real Step takes as long.
func TestResponseOfAPairIsAttained(t *testing.T) {
	m := yard(t, 3, "bond_1 AND (bond_2 OR bond_3)", func(c *interlock.Config) {
		c.Channels[2].Full, c.Channels[2].Cost = 12, [monitor.Classes]monitor.Parts{4, 4, 12, 3, 0, 0}
		c.Channels[2].LongestStay = 9
	})
	_, responses := judged(t, m, model.Options{})
	compared := 0
	for _, r := range responses {
		if r.Class != "any mixture" {
			continue
		}
		compared++
		t.Logf("%v: %d scans, %s", r.Set, r.Scans, r.Bound)
		assert.Equal(t, "exact", r.Bound, "%v", r.Set)
		require.NotNil(t, r.Run)
		assert.LessOrEqual(t, len(r.Run.Lines), 12)
	}
	assert.Equal(t, 2, compared)
}

// A mistake that is planted in the part and in the whole Step alike is told with a
// run of the whole Step; planted in the part alone there is none to be shown.
func TestAPlantedMistakeIsShownByARun(t *testing.T) {
	hasty := func(c *interlock.Output) *interlock.Output {
		o := *c
		o.Automatic = true
		return &o
	}
	part := model.Real()
	part.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		return interlock.StepOutput(hasty(c), s, in)
	}
	both := *part
	both.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
		same := *c
		same.Outputs = []interlock.Output{*hasty(&c.Outputs[0])}
		interlock.Step(&same, s, in, d)
	}
	for name, logic := range map[string]*model.Logic{"part": part, "both": &both} {
		m := yard(t, 2, "bond_1 AND bond_2", nil)
		results, _ := judged(t, m, model.Options{Logic: logic})
		r := results["7"]
		assert.Equal(t, verdict.Violated, r.Verdict, name)
		if name == "part" {
			assert.Nil(t, r.Counterexample)
			continue
		}
		require.NotNil(t, r.Counterexample, r.Says)
		assert.LessOrEqual(t, len(r.Counterexample.Lines), 12)
		assert.Contains(t, string(r.Counterexample.Scenario(m, "x")), "never: valve is enabled")
		t.Log(r.Says, r.Counterexample.Sentence, fmt.Sprint(r.Counterexample.Lines))
	}
}

// The way back takes as long as the slowest channel.
func TestRecoveryAgrees(t *testing.T) {
	m := yard(t, 2, "bond_1 AND bond_2", nil)
	e, _ := run(t, m, model.Options{}, 1<<30)
	scans, runs, err := e.Recovery()
	require.NoError(t, err)
	report, err := verify.Verify(m, model.Options{Properties: []string{"15"}})
	require.NoError(t, err)
	longest := 0
	for _, w := range report.Channels {
		longest = max(longest, int(w.Recover))
	}
	assert.Positive(t, longest)
	assert.Equal(t, longest, scans)
	assert.True(t, runs)
	// A clamp that must be off is taken off.
	e, _ = run(t, yard(t, 2, "bond_1 AND NOT bond_2", nil), model.Options{}, 1<<30)
	_, runs, err = e.Recovery()
	require.NoError(t, err)
	assert.True(t, runs)
	// Where all well means withheld there is no way back, and nothing is shown.
	e, _ = run(t, yard(t, 2, "bond_1 AND NOT bond_1 AND bond_2", nil), model.Options{}, 1<<30)
	_, runs, err = e.Recovery()
	require.NoError(t, err)
	assert.False(t, runs)
}

// Two that are lost in one scan are both named, and a Step that forgets the later
// one of them is caught.
func TestLossesInOneScan(t *testing.T) {
	m := yard(t, 2, "bond_1 AND bond_2", nil)
	results, _ := judged(t, m, model.Options{Properties: []string{"13"}})
	assert.Equal(t, verdict.Shown, results["13"].Verdict)
	assert.Contains(t, results["13"].Says, "1 of 1 pairs can be lost in one scan, both were named in the 1 that")
	forgets := model.Real()
	forgets.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
		interlock.Step(c, s, in, d)
		if trip := &s.Outputs[0].Trip; trip.FirstOut.Has(0) && trip.FirstOut.Has(1) {
			trip.FirstOut = interlock.CauseSet{}
			trip.FirstOut.Add(0)
		}
	}
	results, _ = judged(t, m, model.Options{Properties: []string{"13"}, Logic: forgets})
	assert.Equal(t, verdict.Violated, results["13"].Verdict, results["13"].Says)
	require.NotNil(t, results["13"].Counterexample)
}

// Every mistake in a part that the explicit engine catches in an output is caught
// jointly; the benchmark plants all of them, the test every third.
func TestPlantedMutantsAreCaught(t *testing.T) {
	caught, parts := plantEvery(t, 3)
	t.Logf("%d of %d caught", caught, parts)
	assert.GreaterOrEqual(t, caught, 8)
}

func BenchmarkPlantedMutants(b *testing.B) {
	for range b.N {
		caught, parts := plantEvery(b, 1)
		assert.Greater(b, caught, 30)
		fmt.Fprintf(os.Stderr, "%d of %d mutants of parts caught jointly\n", caught, parts)
	}
}

// plantEvery tries every nth mutant of a part. What no property that is judged
// jointly sees, the explicit engine must not see by one of these either.
func plantEvery(t testing.TB, n int) (caught, parts int) {
	m := yard(t, 1, "bond_1", nil)
	for i, mutant := range verify.Mutants() {
		logic, ok := mutant.Planted()
		if !ok || i%n != 0 {
			continue
		}
		parts++
		results, _ := judged(t, m, model.Options{Logic: logic})
		if len(violated(results)) > 0 {
			caught++
			continue
		}
		report, err := verify.Verify(m, model.Options{Logic: logic})
		require.NoError(t, err)
		for _, want := range report.Results {
			if _, ok := results[want.Property]; ok {
				assert.NotEqual(t, verdict.Violated, want.Verdict, "%s: property %s: %s", mutant.Name, want.Property, want.Says)
			}
		}
	}
	return caught, parts
}

func violated(results map[string]verify.Result) (list []string) {
	for _, r := range results {
		if r.Verdict == verdict.Violated {
			list = append(list, r.Property)
		}
	}
	return list
}
