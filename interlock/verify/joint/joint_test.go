package joint_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	. "ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// yard is one output over n small channels that differ a little.
func yard(t testing.TB, n int, text string, change func(*interlock.Config)) *model.Model {
	t.Helper()
	c := &interlock.Config{PollScans: 1, Inputs: make([]interlock.Input, 6)}
	m := &model.Model{Site: "yard", Config: c, PeriodMin: time.Millisecond, PeriodMax: time.Millisecond, Names: model.Names{Inputs: []string{"reset", "closed", "opened", "start", "stop", "here"}, Outputs: []string{"valve"}}}
	for i := range n {
		c.Channels = append(c.Channels, interlock.Channel{Config: monitor.Config{Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, Floor: 50_000, OverRangeIsOpen: true, Stamped: true,
			StaleAfter: 1, SettleScans: 3, SettleReadings: 3, SettlePause: monitor.Scans(i & 1),
			Full: 2, Cost: [monitor.Classes]monitor.Parts{1, 1, 2, 1, 0, 0}, Repay: monitor.Parts(1 + i&1), LongestStay: 3}})
		m.Names.Channels = append(m.Names.Channels, fmt.Sprintf("bond_%d", i+1))
	}
	p, err := interlock.ParsePermissive(text, func(name string) (int, bool) {
		for i, have := range append(append([]string(nil), m.Names.Channels...), m.Names.Inputs...) {
			if have == name {
				return i, true
			}
		}
		return 0, false
	})
	require.NoError(t, err)
	c.Outputs = []interlock.Output{{Permissive: p, OnDelay: 1, Reset: 1, Press: interlock.Press{Min: 1, Max: 2}, Closed: 2, Travel: 1}}
	if change != nil {
		change(c)
	}
	require.NoError(t, c.Compile())
	for i := range c.Bypasses {
		m.Names.Bypasses = append(m.Names.Bypasses, fmt.Sprintf("bypass_%d", i+1))
	}
	for i := range c.Vessels {
		m.Names.Vessels = append(m.Names.Vessels, fmt.Sprintf("vessel_%d", i+1))
	}
	for i := range c.Streams {
		m.Names.Streams = append(m.Names.Streams, fmt.Sprintf("stream_%d", i+1))
	}
	return m
}

// ofTheOutput are the properties that the steps of an output know of.
var ofTheOutput = []model.Property{model.PropertyWithhold, model.PropertyStart, model.PropertyReset, model.PropertyUnconfirmed}

// of is the first output of a site with its parts tabulated.
func of(t testing.TB, m *model.Model, o model.Options) *Problem {
	t.Helper()
	j, err := Of(runs.NewBench(m, o), 0, ofTheOutput)
	require.NoError(t, err)
	return j
}

// one is what verify says jointly of one property of the first output; nil where it
// has no meaning there.
func one(t testing.TB, m *model.Model, o model.Options, property string) *verify.Result {
	t.Helper()
	if o.Properties = []string{property}; o.Memory == 0 {
		o.Memory = 1 << 30
	}
	found, err := verify.Jointly(m, o, 0)
	require.NoError(t, err)
	for i := range found.Results {
		if found.Results[i].Property == property {
			return &found.Results[i]
		}
	}
	return nil
}

func run(t testing.TB, m *model.Model, o model.Options, memory uint64) (*Engine, *Problem) {
	t.Helper()
	j, err := Of(runs.NewBench(m, o), 0, ofTheOutput)
	require.NoError(t, err)
	e, err := New(j, memory)
	require.NoError(t, err)
	require.NoError(t, e.Run(nil))
	return e, j
}

// With one channel the joint search is the explicit one: same states, same
// scans, same verdicts.
func TestOneChannelAgreesWithTheExplicitSearch(t *testing.T) {
	for name, change := range map[string]func(*interlock.Config){
		"plain": nil,
		"evidence and bypass": func(c *interlock.Config) {
			c.Channels[0].Evidence = 6
			c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 1, Gap: 1, CoversLost: true}}
		},
		"stop, both switches": func(c *interlock.Config) { c.Outputs[0].Stop, c.Outputs[0].Opened = 5, 3 },
	} {
		t.Run(name, func(t *testing.T) {
			for _, text := range []string{"bond_1", "bond_1 OR here", "NOT bond_1", "bond_1 XOR here"} {
				m := yard(t, 1, text, change)
				e, _ := run(t, m, model.Options{}, 1<<30)
				pieces, err := verify.Pieces(m, model.Options{})
				require.NoError(t, err)
				p, err := pieces[0].Search()
				require.NoError(t, err)
				assert.Equal(t, fmt.Sprint(p.States()), e.States().String(), text)
				assert.Equal(t, p.Levels, e.Scans, text)
				for _, n := range ofTheOutput {
					verdict, err := e.Verdict(n)
					require.NoError(t, err)
					assert.Equal(t, verify.VerdictOf(p, n), verdict, "%s: property %d", text, n)
				}
				t.Logf("%s: %s states, %d scans", text, e.States(), e.Scans)
			}
		})
	}
}

// walk counts the product of all parts state by state, the slow way, with the
// logic's own evaluation of the permissive.
func walk(j *Problem) int {
	row := map[uint64]int{}
	for i, w := range j.Words {
		row[w] = i
	}
	output := make([][3][]int, len(j.Words))
	j.EachStep(func(s Step) {
		output[row[s.From]][s.Letter] = append(output[row[s.From]][s.Letter], row[s.To])
	})
	next := make([][][]uint32, len(j.Channels))
	for i := range j.Channels {
		next[i] = make([][]uint32, len(j.Channels[i].Table.States))
		j.Channels[i].Table.EachStep(func(from, to uint32, _ monitor.Class, _ bool) {
			if !slices.Contains(next[i][from], to) {
				next[i][from] = append(next[i][from], to)
			}
		})
	}
	timer := len(j.Channels) + 1 // stands behind the channels, if there is one
	if j.Timer != nil {
		next = append(next, make([][]uint32, len(j.Timer.Words)))
		for _, s := range j.Timer.Steps {
			next[timer-1][s.From] = append(next[timer-1][s.From], s.To)
		}
	}
	// What the permissive says, by what every channel says of both questions.
	perms := map[uint32][2]interlock.Truth{}
	permOf := func(to [5]uint32) [2]interlock.Truth {
		key := uint32(0)
		keep, start := make([]interlock.Truth, len(j.Channels)), make([]interlock.Truth, len(j.Channels))
		for k := range j.Channels {
			phase := j.Channels[k].Table.States[to[k+1]].Phase
			keep[k], start[k] = interlock.Fitness(phase)
			if j.Timer != nil && j.Timer.Channel == j.Channels[k].Name && phase == monitor.Unreadable && j.Timer.On(j.Timer.Words[to[timer]]) {
				keep[k], start[k] = interlock.True, interlock.True
			}
			key = key<<4 | uint32(keep[k]+1)<<2 | uint32(start[k]+1)
		}
		perm, ok := perms[key]
		if !ok {
			on := j.Permissive.Eval(keep)
			perm = [2]interlock.Truth{min(on, j.Permissive.Eval(start)), on}
			perms[key] = perm
		}
		return perm
	}
	type state [5]uint32 // the output, then the channels
	seen := map[state]bool{{}: true}
	queue := []state{{}}
	var spread func(s, to state, i int)
	spread = func(s, to state, i int) {
		if i < len(next) {
			for _, n := range next[i][s[i+1]] {
				to[i+1] = n
				spread(s, to, i+1)
			}
			return
		}
		perm := permOf(to)[model.Int(j.Running(j.Words[s[0]]))]
		for _, o := range output[s[0]][perm+1] {
			to[0] = uint32(o)
			if !seen[to] {
				seen[to] = true
				queue = append(queue, to)
			}
		}
	}
	for len(queue) > 0 {
		s := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		spread(s, state{}, 0)
	}
	return len(seen)
}

// tiny keeps an output and its channels so small that their product can be
// walked.
func tiny(c *interlock.Config) {
	o := &c.Outputs[0]
	o.Automatic, o.Reset, o.Closed, o.Travel = true, 0, 0, 0
	for i := range c.Channels {
		ch := &c.Channels[i]
		ch.OverRangeIsOpen, ch.ValidMax, ch.StaleAfter, ch.SettlePause = false, 20e6, 0, 0
		ch.Cost = [monitor.Classes]monitor.Parts{2, 2, 2, 1, 0, 0}
	}
}

// Two and three channels: as many states as a walk through every one of them finds.
func TestStatesAgreeWithAWalk(t *testing.T) {
	for _, k := range []struct {
		n      int
		text   string
		change func(*interlock.Config)
	}{
		{2, "bond_1 AND bond_2", tiny},
		{2, "bond_1 XOR bond_2", tiny},
		{2, "bond_1 AND NOT bond_2", tiny},
		{2, "bond_1 OR bond_2", func(c *interlock.Config) {
			tiny(c)
			o := &c.Outputs[0]
			o.Automatic, o.Reset = false, 1
		}},
		{3, "2oo3(bond_1, bond_2, bond_3)", tiny},
		{3, "bond_1 AND (bond_2 OR bond_3)", tiny},
	} {
		walkAgrees(t, k.n, k.text, k.change)
	}
}

// BenchmarkWalkOfFour is the same for four channels: the walk takes its time.
func BenchmarkWalkOfFour(b *testing.B) {
	for range b.N {
		walkAgrees(b, 4, "2oo4(bond_1, bond_2, bond_3, bond_4)", func(c *interlock.Config) {
			tiny(c)
			for i := range c.Channels {
				ch := &c.Channels[i]
				ch.Full, ch.Repay, ch.Cost = 1, 1, [monitor.Classes]monitor.Parts{1, 1, 1, 1, 0, 0}
			}
		})
	}
}

func walkAgrees(t testing.TB, n int, text string, change func(*interlock.Config)) {
	t.Helper()
	began := time.Now()
	e, j := run(t, yard(t, n, text, change), model.Options{}, 1<<30)
	joint := time.Since(began)
	walked := walk(j)
	assert.Equal(t, fmt.Sprint(walked), e.States().String(), text)
	assert.Greater(t, walked, 600, "a model so small shows nothing")
	t.Logf("%s: %d states; jointly %v, walked %v", text, walked, joint, time.Since(began)-joint)
}

// Several channels: the verdict of every property is that of the explicit
// searches, each of which holds one channel in full and the others free; with a
// mistake planted as well.
func TestVerdictsAgree(t *testing.T) {
	planted := model.Real()
	planted.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode == interlock.Enabled && in.Keep == interlock.Unknown {
			in.Keep = interlock.True
		}
		return interlock.StepOutput(c, s, in)
	}
	violated := 0
	for name, logic := range map[string]*model.Logic{"real": model.Real(), "unknown keeps": planted} {
		for _, text := range []string{"bond_1 AND bond_2 AND bond_3", "2oo3(bond_1, bond_2, bond_3)", "bond_1 AND (bond_2 OR bond_3)"} {
			m := yard(t, 3, text, nil)
			e, _ := run(t, m, model.Options{Logic: logic}, 1<<30)
			pieces, err := verify.Pieces(m, model.Options{Logic: logic})
			require.NoError(t, err)
			want := map[model.Property]verdict.Verdict{}
			for _, p := range pieces {
				product, err := p.Search()
				require.NoError(t, err)
				for _, n := range ofTheOutput {
					if want[n] != verdict.Violated && want[n] != verdict.Shown || verify.VerdictOf(product, n) == verdict.Violated {
						want[n] = verify.VerdictOf(product, n)
					}
				}
			}
			for _, n := range ofTheOutput {
				said, err := e.Verdict(n)
				require.NoError(t, err)
				assert.Equal(t, want[n], said, "%s, %s: property %d", name, text, n)
				violated += model.Int(said == verdict.Violated)
			}
			t.Logf("%s, %s: %s states", name, text, e.States())
		}
	}
	assert.Equal(t, 3, violated, "the planted mistake, once for each permissive")
}

// The worst response that the explicit verifier reports for every cut set is
// the one that is found jointly.
func TestResponseAgrees(t *testing.T) {
	m := yard(t, 3, "bond_1 AND (bond_2 OR bond_3)", nil)
	m.Config.Channels[2].Full, m.Config.Channels[2].Cost = 12, [monitor.Classes]monitor.Parts{4, 4, 12, 3, 0, 0}
	m.Config.Channels[2].LongestStay = 9
	e, _ := run(t, m, model.Options{}, 1<<30)
	report, err := verify.Verify(m, model.Options{Properties: []string{"4"}})
	require.NoError(t, err)
	compared := 0
	for _, r := range report.Cuts[0].Response {
		if r.Class != "any mixture" {
			continue
		}
		scans, err := e.Response(r.Set, 100)
		require.NoError(t, err)
		assert.Equal(t, int(r.Scans), scans, "%v, which the verifier calls %s", r.Set, r.Bound)
		t.Logf("%v: %d scans, %s", r.Set, scans, r.Bound)
		compared++
	}
	assert.Equal(t, 2, compared, "cut sets")
}

// A bypass that stands in prolongs no response: how long it may is property 11.
func TestResponseLeavesTheBypassToItsProperty(t *testing.T) {
	bypassed := func(c *interlock.Config) {
		c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 1, Gap: 1}}
	}
	var scans [2]int
	for i, change := range []func(*interlock.Config){nil, bypassed} {
		m := yard(t, 1, "bond_1", change)
		e, _ := run(t, m, model.Options{}, 1<<30)
		var err error
		scans[i], err = e.Response([]string{"bond_1"}, 100)
		require.NoError(t, err)
		results, _ := judged(t, m, model.Options{Properties: []string{"4"}})
		assert.Equal(t, verdict.Shown, results["4"].Verdict, results["4"].Says)
		assert.Equal(t, i == 1, strings.Contains(results["4"].But, "stands in for bond_1, adds up to"), results["4"].But)
	}
	assert.Positive(t, scans[0])
	assert.Equal(t, scans[0], scans[1])
}

// What composition can only bound: two losses in one scan.
func TestTogether(t *testing.T) {
	e, _ := run(t, yard(t, 3, "bond_1 AND (bond_2 OR bond_3)", nil), model.Options{}, 1<<30)
	for _, names := range [][]string{{"bond_1", "bond_2"}, {"bond_1", "bond_2", "bond_3"}} {
		can, err := e.Together(names)
		require.NoError(t, err)
		assert.True(t, can, "%v", names)
	}
	// Under an exclusive or only one of them is ever fit while it runs.
	e, _ = run(t, yard(t, 2, "bond_1 XOR bond_2", nil), model.Options{}, 1<<30)
	can, err := e.Together([]string{"bond_1", "bond_2"})
	require.NoError(t, err)
	assert.False(t, can)
}

// Beyond its memory the search says how far it came.
func TestMemoryIsBounded(t *testing.T) {
	for _, memory := range []uint64{200_000, 1_500_000, 3_500_000, 5_000_000} {
		j := of(t, yard(t, 3, "bond_1 AND bond_2 AND bond_3", nil), model.Options{})
		e, err := New(j, memory)
		if err == nil {
			err = e.Run(nil)
		}
		var cut *table.CutOff
		require.ErrorAs(t, err, &cut)
		t.Log(cut)
	}
}
