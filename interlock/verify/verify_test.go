package verify

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

func allIntegrating(m *model.Model) {
	for i := range m.Config.Channels {
		integrating(&m.Config.Channels[i].Config)
	}
}

func verdicts(r *Report) map[string]Verdict {
	list := map[string]Verdict{}
	for _, x := range r.Results {
		list[x.Output+" "+x.Property] = x.Verdict
	}
	return list
}

func TestDefaultPropertiesOfASite(t *testing.T) {
	m := bay(t, 2, allIntegrating)
	r, err := Verify(m, model.Options{Audit: true})
	require.NoError(t, err)
	for _, x := range r.Results {
		require.Equal(t, Shown, x.Verdict, "%s %s: %s", x.Output, x.Property, x.Says)
		require.NotEmpty(t, x.Says)
		require.NotEmpty(t, x.Assumes)
	}
	found := verdicts(r)
	for _, property := range []string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "12", "13", "14", "15"} {
		require.Contains(t, found, "valve_1 "+property)
	}
	require.NotContains(t, found, "pump 10", "the pump reports nothing")
	require.Greater(t, r.States, uint64(1_000_000))
	require.Zero(t, r.Audit.Different)
	require.Greater(t, r.Audit.Compared, uint64(50_000))
	for _, l := range r.Lemmas {
		require.Empty(t, l.Wrong, l.Counter)
	}
}

// Every report has an audit; without --audit it is a sample, and says of how many.
func TestEveryReportIsAudited(t *testing.T) {
	r, err := Verify(bay(t, 1, nil), model.Options{Outputs: []string{"valve_1"}, Properties: []string{"2"}})
	require.NoError(t, err)
	require.NotNil(t, r.Audit)
	require.Zero(t, r.Audit.Different)
	require.Greater(t, r.Audit.Compared, uint64(1000))
	require.Greater(t, r.Audit.States, uint64(50))
	require.Less(t, r.Audit.States, r.Audit.Of)
}

// Worst cases are numbers that can be worked out by hand for a simple setting:
// 19 high readings are forgiven and the 20th is the loss; with gaps of up to
// stale-after in between, the 26th scan at the latest.
func TestWorstCases(t *testing.T) {
	m := bay(t, 1, nil)
	r, err := Verify(m, model.Options{Outputs: []string{"valve_1"}, Properties: []string{"4", "5", "6"}})
	require.NoError(t, err)
	require.Len(t, r.Channels, 1)
	w := r.Channels[0]
	require.Equal(t, model.Scans(26), w.Detect)
	require.Equal(t, map[string]model.Scans{"high": 19, "open": 0, "invalid": 5, "missing": 11}, w.Patience)
	require.Equal(t, []uint64{19, 20}, []uint64{w.ShareBad, w.ShareOf})
	require.Equal(t, model.Scans(51), w.Bond)
	require.True(t, w.Exact)
	for _, x := range r.Cuts[0].Response {
		require.Equal(t, "exact", x.Bound, x.Class)
		require.NotNil(t, x.Run, x.Class)
		require.LessOrEqual(t, len(x.Run.Lines), runs.MaxLines)
	}
	// One good reading forgives all: chatter defeats it, and the run shows it.
	require.Equal(t, Violated, verdicts(r)["valve_1 5"])
	for _, x := range r.Results {
		if x.Property == "5" {
			require.NotNil(t, x.Counterexample)
			require.Equal(t, 1, x.Counterexample.Faults)
			require.NotEmpty(t, x.Counterexample.Slice)
		}
	}
}

// An output that can never run must not be called shown.
func TestWhatNeverRunsIsNothingChecked(t *testing.T) {
	for name, change := range map[string]func(*model.Model){
		"empty permissive":   func(m *model.Model) { m.Config.Outputs[0].Permissive = nil },
		"contradiction":      func(m *model.Model) { m.Config.Outputs[0].Permissive = parse(t, m, "bond_1 AND NOT bond_1") },
		"reset that is stop": func(m *model.Model) { m.Config.Outputs[0].Stop = m.Config.Outputs[0].Reset },
	} {
		m := bay(t, 1, change)
		r, err := Verify(m, model.Options{Outputs: []string{"valve_1"}})
		require.NoError(t, err, name)
		require.NotEqual(t, Shown, r.Verdict(), name)
	}
}

func TestOwnProperties(t *testing.T) {
	high := monitor.High
	cases := []struct {
		own  model.Own
		want Verdict
	}{
		{model.Own{Kind: "within", Output: 0, When: not(0), Time: 300 * time.Millisecond}, Shown},
		{model.Own{Kind: "within", Output: 0, When: not(0), Time: 200 * time.Millisecond}, Violated},
		{model.Own{Kind: "within", Output: 0, When: not(1), Time: 300 * time.Millisecond}, Violated},
		{model.Own{Kind: "never", Output: 0, When: not(0)}, Shown},
		{model.Own{Kind: "never", Output: 0, When: not(1)}, Violated},
		{model.Own{Kind: "until", Output: 0, When: not(0), Then: is(0)}, Shown},
		{model.Own{Kind: "until", Output: 0, When: not(1), Then: is(1)}, Violated},
		{model.Own{Kind: "tolerates", Output: -1, Channel: 0, Class: high, Time: 180 * time.Millisecond}, Shown},
		{model.Own{Kind: "tolerates", Output: -1, Channel: 0, Class: high, Time: 200 * time.Millisecond}, Violated},
		{model.Own{Kind: "tolerates", Output: 0, Channel: 0, Class: high, Share: [2]uint64{1, 5}}, Shown},
		{model.Own{Kind: "tolerates", Output: 0, Channel: 0, Class: high, Share: [2]uint64{1, 2}}, Violated},
	}
	names := []string{}
	m := bay(t, 2, func(m *model.Model) {
		allIntegrating(m)
		for i := range cases {
			cases[i].own.Name = fmt.Sprintf("own_%d", i)
			names = append(names, cases[i].own.Name)
			m.Own = append(m.Own, cases[i].own)
		}
	})
	r, err := Verify(m, model.Options{Outputs: []string{"valve_1"}, Properties: names})
	require.NoError(t, err)
	require.Len(t, r.Results, len(cases))
	for i, x := range cases {
		got := r.Results[i]
		name := fmt.Sprintf("%s %v %v: %s", x.own.Kind, x.own.Time, x.own.Share, got.Says)
		require.Equal(t, x.want, got.Verdict, name)
		if x.want == Violated {
			require.NotNil(t, got.Counterexample, name)
			require.NotEmpty(t, got.Counterexample.Steps, name)
			require.Contains(t, string(got.Counterexample.Scenario(m, "run")), "expect:", name)
		} else {
			require.NotNil(t, got.Example, name)
		}
	}
}

// What looks true of one cause, or of a press alone, is not where causes take turns,
// something else must be so as well, or the channel is no matter.
func TestOwnPropertiesThatLookTrue(t *testing.T) {
	cases := []struct {
		kind, when, then string
		want             Verdict
	}{
		{"until", "NOT bond_1", "reset_pump", Shown},
		{"until", "NOT bond_1", "reset_pump OR here_car_1", Shown},
		{"until", "NOT bond_1", "reset_pump AND NOT bond_1", Violated},
		{"until", "NOT bond_1", "reset_pump XOR here_car_1", NotShown},
		{"within", "NOT bond_1 AND NOT bond_2", "", Shown},
		{"within", "NOT bond_1 OR NOT bond_2", "", NotShown},
	}
	m := bay(t, 2, func(m *model.Model) {
		allIntegrating(m)
		m.Config.Outputs[2].Permissive = parse(t, m, "bond_1 AND bond_2")
		for i, k := range cases {
			p := model.Own{Name: fmt.Sprintf("own_%d", i), Kind: k.kind, Output: 2, When: parse(t, m, k.when), Time: 300 * time.Millisecond}
			if k.then != "" {
				p.Then = parse(t, m, k.then)
			}
			m.Own = append(m.Own, p)
		}
		m.Own = append(m.Own, model.Own{Name: "other", Kind: "tolerates", Output: 0, Channel: 1, Class: monitor.High, Share: [2]uint64{5, 5}})
	})
	r, err := Verify(m, model.Options{Properties: []string{"own_0", "own_1", "own_2", "own_3", "own_4", "own_5", "other"}})
	require.NoError(t, err)
	require.Len(t, r.Results, len(cases)+1)
	for i, k := range cases {
		require.Equal(t, k.want, r.Results[i].Verdict, "%s %s %s: %s", k.kind, k.when, k.then, r.Results[i].Says)
		require.Equal(t, k.want == Violated, r.Results[i].Counterexample != nil)
	}
	require.Equal(t, Nothing, r.Results[len(cases)].Verdict, r.Results[len(cases)].Says)
}

// A bound on a response does not hold while a bypass stands in. That is said
// beside every number.
func TestBoundsNameTheBypassThatStandsIn(t *testing.T) {
	for _, bypassed := range []bool{false, true} {
		m := bay(t, 1, func(m *model.Model) {
			m.Own = append(m.Own, model.Own{Name: "soon", Kind: "within", Output: 0, When: not(0), Time: time.Second})
			if bypassed {
				m.Config.Bypasses = []interlock.Bypass{{Input: 1, Channel: 0, For: 600, Warn: 1, Gap: 1}}
				m.Names.Bypasses = []string{"key"}
			}
		})
		r, err := Verify(m, model.Options{Outputs: []string{"valve_1"}, Properties: []string{"4", "soon"}})
		require.NoError(t, err)
		require.Len(t, r.Results, 2)
		for _, x := range r.Results {
			require.Equal(t, Shown, x.Verdict, x.Says)
			require.Equal(t, bypassed, strings.Contains(x.But, "key, while it stands in for bond_1, adds up to 6 s"), x.But)
		}
		for _, x := range r.Cuts[0].Response {
			require.Equal(t, bypassed && strings.Contains(strings.Join(x.Set, " "), "bond_1"), x.Bypass != "", x.Set)
		}
	}
}

func is(cause int) interlock.Permissive {
	return interlock.Permissive{{Op: interlock.OpCause, Cause: cause}}
}

func not(cause int) interlock.Permissive {
	return append(is(cause), interlock.Node{Op: interlock.OpNot, Args: []int{0}})
}
