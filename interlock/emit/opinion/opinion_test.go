package opinion

import (
	"context"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify"
	"ohmgate/monitor"
)

// small is one valve on one channel, short enough for other tools.
func small(t testing.TB, change func(*interlock.Config)) *verify.Model {
	t.Helper()
	c := &interlock.Config{PollScans: 1, Inputs: make([]interlock.Input, 6)}
	channel := monitor.Config{Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, Floor: 50_000, OverRangeIsOpen: true, Stamped: true,
		StaleAfter: 1, SettleScans: 3, SettleReadings: 3, SettlePause: 1,
		Full: 2, Cost: [monitor.Classes]monitor.Parts{1, 1, 2, 1, 0, 0}, Repay: 1, LongestStay: 3}
	c.Channels = []interlock.Channel{{Config: channel}}
	c.Outputs = []interlock.Output{{
		Permissive: interlock.Permissive{{Op: interlock.OpCause, Cause: 0}},
		OnDelay:    1, Reset: 1, Press: interlock.Press{Min: 1, Max: 2}, Closed: 2, Travel: 1,
	}}
	if change != nil {
		change(c)
	}
	if err := c.Compile(); err != nil {
		t.Fatal(err)
	}
	return &verify.Model{Site: "small", Config: c, Names: verify.Names{
		Channels: []string{"bond", "other"}[:len(c.Channels)], Inputs: []string{"reset", "closed", "opened", "start", "stop", "here"}, Outputs: []string{"valve"}}}
}

// kinds are small outputs that between them use every rule.
var kinds = []struct {
	name   string
	change func(*interlock.Config)
	piece  int
}{
	{"closed switch, stop, counting consecutive", func(c *interlock.Config) {
		c.Outputs[0].Stop = 5
		c.Channels[0].Repay, c.Channels[0].StaleAfter, c.Channels[0].SettlePause = c.Channels[0].Full, 0, 0
	}, 0},
	{"both switches, long press and travel in cells", func(c *interlock.Config) {
		o := &c.Outputs[0]
		o.Opened, o.Travel, o.Press.Max, o.OnDelay = 3, 600, 299, 0
		c.Channels[0].LongestStay, c.Channels[0].StaleAfter, c.Channels[0].SettlePause = 500, 0, 0
	}, 0},
	{"start command, no switches", func(c *interlock.Config) {
		o := &c.Outputs[0]
		o.Closed, o.Travel, o.Start = 0, 0, 4
	}, 0},
	{"automatic, evidence, bypass, a second channel", func(c *interlock.Config) {
		c.Channels = append(c.Channels, c.Channels[0])
		c.Channels[0].Evidence = 6
		c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 1, Gap: 1, CoversLost: true}}
		o := &c.Outputs[0]
		o.Closed, o.Travel, o.Reset, o.Automatic = 0, 0, 0, true
		o.Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpCause, Cause: 1}, {Op: interlock.OpAnd, Args: []int{0, 1}}}
	}, 0},
	{"inverted: not while bonded", func(c *interlock.Config) {
		o := &c.Outputs[0]
		o.Closed, o.Travel = 0, 0
		o.Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpNot, Args: []int{0}}}
	}, 0},
}

var judged = Properties

// need skips without a peer, and fails where CI promised it.
func need(t testing.TB, programs ...string) {
	t.Helper()
	for _, name := range programs {
		if _, err := exec.LookPath(name); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is not installed; it is a Debian package", name)
			}
			t.Skipf("%s is not installed; it is a Debian package", name)
		}
	}
}

func ask(t testing.TB, s *Source) (spin, rumur *Answer) {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	spin, err := Spin(ctx, s, t.TempDir(), nil, []string{"-m2000000", "-w20"})
	require.NoError(t, err)
	require.True(t, spin.Complete, tail(spin.Said))
	rumur, err = Rumur(ctx, s, t.TempDir(), 2)
	require.NoError(t, err)
	return spin, rumur
}

func violatedOf(p *verify.Product) []int {
	var list []int
	for _, n := range judged {
		if p.VerdictOf(n) == verify.Violated {
			list = append(list, n)
		}
	}
	return list
}

// The same model searched by three programs: the same number of states, the same
// verdicts.
func TestThreeOpinions(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	for _, k := range kinds {
		t.Run(k.name, func(t *testing.T) {
			pieces, err := verify.Pieces(small(t, k.change), verify.Options{})
			require.NoError(t, err)
			p := pieces[k.piece]
			ours, err := p.Search()
			require.NoError(t, err)
			s, err := Restate(p, judged...)
			require.NoError(t, err)
			spin, rumur := ask(t, s)
			t.Logf("ours %d states; SPIN %d in %v, rumur %d in %v (built in %v, %v)", ours.States(), spin.States, spin.Searched, rumur.States, rumur.Searched, spin.Built, rumur.Built)
			assert.Equal(t, ours.States(), spin.States, "SPIN's states")
			assert.Equal(t, violatedOf(ours), spin.Violated, "SPIN's verdicts")
			if len(spin.Violated) == 0 {
				assert.Equal(t, ours.States(), rumur.States, "rumur's states")
			}
			assert.Equal(t, len(spin.Violated) > 0, len(rumur.Violated) > 0, "rumur's verdict")
			assert.Greater(t, ours.States(), uint64(50), "a model so small shows nothing")
		})
	}
}

// mutants are mistakes planted twice: in the Go logic and in the printed rules.
var mutants = []struct {
	name     string
	property int
	output   func(*interlock.Output, interlock.OutputControl, interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold)
	from, to string
}{
	{"runs on while its permissive is unknown", 2, func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode == interlock.Enabled && in.Keep == interlock.Unknown {
			in.Keep = interlock.True
		}
		return interlock.StepOutput(c, s, in)
	}, "shared < 2 && perm == YES", "shared < 2 && perm != NO"},
	{"starts during a wait", 3, func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		in.Shared &^= interlock.ReasonOverrun
		return interlock.StepOutput(c, s, in)
	}, "perm == YES && shared == 0 && on > ON_DELAY", "perm == YES && on > ON_DELAY"},
	{"a press counts that began too early", 7, func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		s.Ready = true
		return interlock.StepOutput(c, s, in)
	}, "wasReady := ready", "wasReady := 1"},
	{"its latch falls by itself", 10, func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		next, told := interlock.StepOutput(c, s, in)
		if s.Mode != interlock.Enabled && in.Home {
			next.Unconfirmed = 0
		}
		return next, told
	}, "# ---- the properties judge", "if running == 0 && home == 1\n  so := 0\n  ss := 0\n  uc := 0\n  uo := 0\nend"},
}

// A planted mistake is found by all three.
func TestPlantedMistakesAreFoundByAll(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	for _, m := range mutants {
		t.Run(m.name, func(t *testing.T) {
			logic := verify.Real()
			logic.Output = m.output
			pieces, err := verify.Pieces(small(t, nil), verify.Options{Logic: logic})
			require.NoError(t, err)
			ours, err := pieces[0].Search()
			require.NoError(t, err)
			require.Equal(t, verify.Violated, ours.VerdictOf(m.property))
			s, err := Restate(pieces[0], m.property)
			require.NoError(t, err)
			text := strings.Join(s.body, "\n")
			require.Equal(t, 1, strings.Count(text, m.from), "the rule to be mutated")
			s.body = lines(strings.Replace(text, m.from, m.to, 1))
			spin, rumur := ask(t, s)
			assert.Equal(t, []int{m.property}, spin.Violated, "SPIN")
			assert.Equal(t, []int{m.property}, rumur.Violated, "rumur")
		})
	}
}
