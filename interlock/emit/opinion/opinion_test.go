package opinion

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/search"
	"ohmgate/monitor"
)

// small is one valve on one channel, short enough for other tools.
func small(t testing.TB, change func(*interlock.Config)) *model.Model {
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
	return &model.Model{Site: "small", Config: c, Names: model.Names{
		Channels: []string{"bond", "other"}[:len(c.Channels)], Inputs: []string{"reset", "closed", "opened", "start", "stop", "here"}, Outputs: []string{"valve"}}}
}

// kinds are small outputs that between them use every rule.
var kinds = []struct {
	name   string
	change func(*interlock.Config)
	piece  int
	never  bool // it can never be enabled, so that nothing is checked
}{
	{"closed switch, stop, counting consecutive", func(c *interlock.Config) {
		c.Outputs[0].Stop = 5
		few(&c.Channels[0].Config)
	}, 0, false},
	{"both switches, long press and travel in cells", func(c *interlock.Config) {
		o := &c.Outputs[0]
		o.Opened, o.Travel, o.Press.Max, o.OnDelay = 3, 600, 299, 0
		few(&c.Channels[0].Config)
		c.Channels[0].LongestStay = 500
	}, 0, false},
	{"start command, no switches", func(c *interlock.Config) {
		o := &c.Outputs[0]
		o.Closed, o.Travel, o.Start = 0, 0, 4
	}, 0, false},
	{"automatic, evidence, bypass, a second channel", func(c *interlock.Config) {
		c.Channels = append(c.Channels, c.Channels[0])
		c.Channels[0].Evidence = 6
		c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 1, Gap: 1, CoversLost: true}}
		o := &c.Outputs[0]
		o.Closed, o.Travel, o.Reset, o.Automatic = 0, 0, 0, true
		o.Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpCause, Cause: 1}, {Op: interlock.OpAnd, Args: []int{0, 1}}}
	}, 0, false},
	{"slowly repaid: lost on a good reading", func(c *interlock.Config) {
		without(&c.Outputs[0])
		ch := &c.Channels[0]
		ch.Full, ch.Repay, ch.LongestStay, ch.StaleAfter, ch.SettlePause = 12, 1, 9, 0, 0
		ch.Cost = [monitor.Classes]monitor.Parts{6, 6, 12, 4, 0, 0}
	}, 0, false},
	{"never enabled: bonded and not bonded", func(c *interlock.Config) {
		c.Outputs[0].Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpNot, Args: []int{0}}, {Op: interlock.OpAnd, Args: []int{0, 1}}}
		c.Channels[0].StaleAfter, c.Channels[0].SettlePause = 0, 0
	}, 0, true},
	{"inverted: not while bonded", func(c *interlock.Config) {
		o := &c.Outputs[0]
		o.Closed, o.Travel = 0, 0
		o.Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpNot, Args: []int{0}}}
	}, 0, false},
}

// charged is the small valve with a vessel that it charges.
func charged(t testing.TB, change func(*interlock.Config)) *model.Model {
	m := small(t, func(c *interlock.Config) {
		c.Inputs = make([]interlock.Input, 8)
		few(&c.Channels[0].Config)
		c.Vessels = []interlock.Vessel{{BondedBy: interlock.Permissive{{Op: interlock.OpCause, Cause: 0}}, Wait: 2, Rest: 1, Acknowledge: 7, Press: interlock.Press{Min: 1, Max: 2}}}
		c.Streams = []interlock.Stream{{Through: []int{0}, Charges: []int{0}, RunDown: 1}}
		if change != nil {
			change(c)
		}
	})
	m.Names.Inputs = append(m.Names.Inputs, "ack", "flow")
	m.Names.Outputs = []string{"valve", "pump", "third"}[:len(m.Config.Outputs)]
	m.Names.Vessels = []string{"drum", "vat"}[:len(m.Config.Vessels)]
	m.Names.Streams = []string{"first", "second", "third"}[:len(m.Config.Streams)]
	return m
}

// without takes the end switches off the valve.
func without(o *interlock.Output) { o.Closed, o.Opened, o.Travel = 0, 0, 0 }

// few leaves a channel four classes of reading, none between and none high.
func few(c *monitor.Config) {
	c.StaleAfter, c.SettlePause, c.Repay = 0, 0, c.Full
	c.Accept, c.OpenAbove = c.Reject, c.Reject+1
}

// every lets each class of reading reach a channel again.
func every(c *monitor.Config) { c.Accept, c.OpenAbove, c.Repay, c.StaleAfter = 9e6, 1e9, 1, 1 }

// waits are small vessels that between them use every rule of the charge memory.
var waits = []struct {
	name   string
	change func(*interlock.Config)
}{
	{"closed switch, run-down, acknowledge", nil},
	{"both switches, believed at once", func(c *interlock.Config) {
		c.Outputs[0].Opened, c.Vessels[0].Wait, c.Streams[0].RunDown = 3, 1, 0
	}},
	{"flow switch, everything long in cells", func(c *interlock.Config) {
		without(&c.Outputs[0])
		c.Streams[0].Flow, c.Streams[0].RunDown, c.Vessels[0].Wait = 8, 100, 6000
	}},
	{"no confirmation, start and stop, every class of reading", func(c *interlock.Config) {
		without(&c.Outputs[0])
		every(&c.Channels[0].Config)
		c.Outputs[0].Start, c.Outputs[0].Stop = 4, 5
		c.Streams[0].RunDown = 9
	}},
	{"no wait, no acknowledge, automatic", func(c *interlock.Config) {
		o := &c.Outputs[0]
		without(o)
		every(&c.Channels[0].Config)
		o.Reset, o.Automatic = 0, true
		c.Vessels[0].Wait, c.Vessels[0].Acknowledge = 0, 0
	}},
	{"two streams, one of them not through the valve", func(c *interlock.Config) {
		without(&c.Outputs[0])
		c.Outputs = append(c.Outputs, c.Outputs[0])
		c.Streams = append(c.Streams, interlock.Stream{Through: []int{1}, Charges: []int{0}, RunDown: 2})
	}},
	{"a pump in series that reports, a stream that charges nothing", func(c *interlock.Config) {
		pump := c.Outputs[0]
		without(&c.Outputs[0])
		c.Outputs = append(c.Outputs, pump)
		c.Streams[0].Through = []int{0, 1}
		c.Streams = append(c.Streams, interlock.Stream{Through: []int{0}})
	}},
	{"three streams, two of them free", func(c *interlock.Config) {
		without(&c.Outputs[0])
		for range 2 {
			c.Outputs = append(c.Outputs, c.Outputs[0])
			c.Streams = append(c.Streams, interlock.Stream{Through: []int{len(c.Outputs) - 1}, Charges: []int{0}, RunDown: 1})
		}
	}},
	{"evidence and bypass", func(c *interlock.Config) {
		without(&c.Outputs[0])
		c.Channels[0].Evidence = 6
		c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 1, Gap: 1}}
	}},
	{"a second channel, a second vessel", func(c *interlock.Config) {
		without(&c.Outputs[0])
		c.Channels = append(c.Channels, c.Channels[0])
		both := interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpCause, Cause: 1}, {Op: interlock.OpOr, Args: []int{0, 1}}}
		c.Vessels[0].BondedBy = both
		c.Vessels = append(c.Vessels, c.Vessels[0])
		c.Streams[0].Charges = []int{0, 1}
	}},
	{"never enabled: bonded and not bonded", func(c *interlock.Config) {
		without(&c.Outputs[0])
		every(&c.Channels[0].Config)
		c.Outputs[0].Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpNot, Args: []int{0}}, {Op: interlock.OpAnd, Args: []int{0, 1}}}
	}},
}

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

// fast is how a checker is compiled that runs for less long than that takes.
func (s *Source) fast(states uint64) []string {
	if most, _ := s.choices(); states*uint64(most) < 100_000 {
		return []string{"-O0"}
	}
	return []string{"-O1"}
}

// ask lets both peers search a source of so many states for violations.
func ask(t testing.TB, s *Source, states uint64) (spin, rumur *Answer) {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	spin = askSpin(ctx, t, s, states)
	rumur, err := Rumur(ctx, s, t.TempDir(), 1, s.fast(states)...)
	require.NoError(t, err)
	return spin, rumur
}

// askSpin gives SPIN as deep a stack as a run through every state once can need,
// each input being a step of its own: a deeper one costs more time than the search.
func askSpin(ctx context.Context, t testing.TB, s *Source, states uint64, define ...string) *Answer {
	t.Helper()
	deep := (states + 1) * uint64(len(s.inputs)+2)
	a, err := Spin(ctx, s, t.TempDir(), Mode{Define: define, Compile: s.fast(states), Run: []string{fmt.Sprintf("-m%d", deep), "-w18"}})
	require.NoError(t, err)
	require.True(t, a.Complete, tail(a.Said))
	return a
}

// said lists what our search says: the properties that are violated, and those
// that had something to say. Property 1, which our engine reads off the channel's
// own graph, has something to say wherever 3 has, and the channel alone decides.
func said(p *search.Product, s *Source) (violated, met []model.Property) {
	for _, n := range s.judged {
		if n == 1 && p.Hit>>3&1 == 1 && s.valueOf("CUT") == 1 {
			met = append(met, 1)
		}
		if verify.VerdictOf(p, n) == verify.Violated {
			violated = append(violated, n)
		}
		if p.Hit>>n&1 == 1 {
			met = append(met, n)
		}
	}
	return violated, met
}

// compare demands that three programs say the same of one product.
func compare(t *testing.T, p *verify.Piece) (met []model.Property) {
	t.Helper()
	ours, err := p.Search()
	require.NoError(t, err)
	s, err := Restate(p, Judged(p)...)
	require.NoError(t, err)
	spin, rumur := ask(t, s, ours.States())
	reverse := askSpin(context.Background(), t, s, ours.States(), "-DMET")
	violated, met := said(ours, s)
	t.Logf("ours %d states; SPIN %d in %v, rumur %d in %v (built in %v, %v); met %v", ours.States(), spin.States, spin.Searched, rumur.States, rumur.Searched, spin.Built, rumur.Built, met)
	assert.Greater(t, ours.States(), uint64(50), "a model so small shows nothing")
	assert.Equal(t, ours.States(), spin.States, "SPIN's states")
	assert.Equal(t, violated, spin.Violated, "SPIN's verdicts")
	assert.Equal(t, ours.States(), reverse.States, "SPIN's states, asked for the reverse")
	assert.Equal(t, met, reverse.Met, "what SPIN meets")
	assert.Equal(t, len(violated) > 0, len(rumur.Violated) > 0, "rumur's verdict")
	if len(violated) == 0 {
		assert.Equal(t, ours.States(), rumur.States, "rumur's states")
		assert.Equal(t, met, rumur.Met, "what rumur meets")
	}
	return met
}

// The same model searched by three programs: the same number of states, the same
// verdicts, and the same properties that had nothing to say.
func TestThreeOpinions(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	for _, k := range kinds {
		t.Run(k.name, func(t *testing.T) {
			t.Parallel()
			pieces, err := verify.Pieces(small(t, k.change), model.Options{})
			require.NoError(t, err)
			met := compare(t, pieces[k.piece])
			assert.Equal(t, k.never, !slices.Contains(met, 3), "is it ever enabled")
		})
	}
}

// waitOf is the product of the first output and vessel.
func waitOf(t *testing.T, m *model.Model, o model.Options) *verify.Piece {
	t.Helper()
	pieces, err := verify.Pieces(m, o)
	require.NoError(t, err)
	for _, p := range pieces {
		if p.Kind == "wait" && p.Output == "valve" {
			return p
		}
	}
	t.Fatal("no vessel is charged")
	return nil
}

// The same of an output with the charge memory of a vessel.
func TestThreeOpinionsOfAWait(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	for _, k := range waits {
		t.Run(k.name, func(t *testing.T) {
			t.Parallel()
			met := compare(t, waitOf(t, charged(t, k.change), model.Options{}))
			assert.Equal(t, strings.HasPrefix(k.name, "never"), !slices.Contains(met, 8), "is it ever enabled")
		})
	}
}

// mutants are mistakes planted twice: in the Go logic and in the printed rules.
var mutants = []struct {
	name     string
	property model.Property
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
		if s.Mode != interlock.Enabled {
			in.Shared = 0
		}
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

// waitMutants are the same for the charge memory and what feeds it.
var waitMutants = []struct {
	name     string
	plant    func(*model.Logic)
	from, to string
}{
	{"the wait ends one scan early", func(l *model.Logic) {
		l.Vessel = func(c *interlock.Vessel, s interlock.VesselState, in interlock.VesselScan) (interlock.VesselState, interlock.VesselTold) {
			shorter := *c
			shorter.Wait--
			return interlock.StepVessel(&shorter, s, in)
		}
	}, "if uncharged == 0 && waited > WAIT", "if uncharged == 0 && waited >= WAIT"},
	{"flow without a bond charges nothing", func(l *model.Logic) {
		l.Vessel = func(c *interlock.Vessel, s interlock.VesselState, in interlock.VesselScan) (interlock.VesselState, interlock.VesselTold) {
			in.FlowSeen = false
			return interlock.StepVessel(c, s, in)
		}
	}, "if loss == 1 && still == 0 || vheld == 0 && seen == 1", "if loss == 1 && still == 0"},
	{"a loss under flow charges nothing", func(l *model.Logic) {
		l.Vessel = func(c *interlock.Vessel, s interlock.VesselState, in interlock.VesselScan) (interlock.VesselState, interlock.VesselTold) {
			s.Held = s.Held && in.Still
			return interlock.StepVessel(c, s, in)
		}
	}, "if loss == 1 && still == 0 || vheld == 0 && seen == 1", "if vheld == 0 && seen == 1"},
	{"an early reconnection is not latched", func(l *model.Logic) {
		l.Vessel = func(c *interlock.Vessel, s interlock.VesselState, in interlock.VesselScan) (interlock.VesselState, interlock.VesselTold) {
			in.Reconnected = false
			return interlock.StepVessel(c, s, in)
		}
	}, "  happened := 1\n  if ACKNOWLEDGED == 1\n    early := 1\n  end", "  happened := 0"},
	{"starts during a wait", func(l *model.Logic) {
		l.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
			in.Shared &^= interlock.ReasonWait
			return interlock.StepOutput(c, s, in)
		}
	}, "  if shared == 0 && on > ON_DELAY", "  if shared <= 1 && on > ON_DELAY"},
}

// Property 1 keeps a count of its own; it sees a bond that is given too early,
// and one that is given on repeated readings.
func TestPeersJudgePropertyOne(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	for _, m := range []struct{ name, from, to string }{
		{"one scan early", "    if srun < SETTLE_SCANS\n      srun := srun + 1", "    if srun < SETTLE_SCANS\n      srun := srun + 1\n    end\n    if srun == SETTLE_SCANS - 1\n      srun := SETTLE_SCANS"},
		{"a repeated reading counts", "    if fresh == 1\n      if scount", "    if fresh <= 1\n      if scount"},
	} {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			pieces, err := verify.Pieces(small(t, func(c *interlock.Config) {
				few(&c.Channels[0].Config)
				without(&c.Outputs[0])
				c.Channels[0].SettleScans, c.Channels[0].StaleAfter = 5, 2
			}), model.Options{})
			require.NoError(t, err)
			s, err := Restate(pieces[0], 1)
			require.NoError(t, err)
			text := strings.Join(s.body, "\n")
			require.Equal(t, 1, strings.Count(text, m.from), "the rule to be mutated")
			s.body = lines(strings.Replace(text, m.from, m.to, 1))
			spin, rumur := ask(t, s, 100_000)
			assert.Equal(t, []model.Property{1}, spin.Violated, "SPIN")
			assert.Equal(t, []model.Property{1}, rumur.Violated, "rumur")
		})
	}
}

// A planted mistake is found by all three.
func TestPlantedMistakesAreFoundByAll(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	for _, m := range mutants {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			logic := model.Real()
			logic.Output = m.output
			pieces, err := verify.Pieces(small(t, func(c *interlock.Config) { few(&c.Channels[0].Config) }), model.Options{Logic: logic})
			require.NoError(t, err)
			foundByAll(t, pieces[0], m.property, m.from, m.to)
		})
	}
	for _, m := range waitMutants {
		t.Run(m.name+", with the charge memory", func(t *testing.T) {
			t.Parallel()
			logic := model.Real()
			m.plant(logic)
			foundByAll(t, waitOf(t, charged(t, nil), model.Options{Logic: logic}), 8, m.from, m.to)
		})
	}
}

// foundByAll plants a mistake in the printed rules as well, and demands that
// each program finds that the property is violated.
func foundByAll(t *testing.T, p *verify.Piece, property model.Property, from, to string) {
	t.Helper()
	ours, err := p.Search()
	require.NoError(t, err)
	require.Equal(t, verify.Violated, verify.VerdictOf(ours, property))
	s, err := Restate(p, property)
	require.NoError(t, err)
	text := strings.Join(s.body, "\n")
	require.Equal(t, 1, strings.Count(text, from), "the rule to be mutated")
	s.body = lines(strings.Replace(text, from, to, 1))
	spin, rumur := ask(t, s, ours.States())
	assert.Equal(t, ours.States(), spin.States, "SPIN's states")
	assert.Equal(t, []model.Property{property}, spin.Violated, "SPIN")
	assert.Equal(t, []model.Property{property}, rumur.Violated, "rumur")
}

// What can have nothing to say is not demanded, and refused when asked for. The
// model then has as many states as our own search, which counts no readings for
// property 1.
func TestOnlyWhatHasSomethingToSayIsDemanded(t *testing.T) {
	demanded := func(change func(*interlock.Config)) (*verify.Piece, []model.Property) {
		pieces, err := verify.Pieces(small(t, change), model.Options{})
		require.NoError(t, err)
		s, err := Restate(pieces[0])
		require.NoError(t, err)
		return pieces[0], s.judged
	}
	_, all := demanded(nil)
	assert.Equal(t, []model.Property{2, 3, 7, 10}, all)
	unconfirmed, some := demanded(func(c *interlock.Config) { without(&c.Outputs[0]) })
	assert.Equal(t, []model.Property{2, 3, 7}, some)
	_, err := Restate(unconfirmed, 10)
	assert.ErrorContains(t, err, "no end switch confirms the output; write some of 1 2 3 7")
	automatic, some := demanded(func(c *interlock.Config) {
		c.Outputs[0].Reset, c.Outputs[0].Automatic = 0, true
		without(&c.Outputs[0])
	})
	assert.Equal(t, []model.Property{2, 3}, some)
	_, err = Restate(automatic, 7)
	assert.ErrorContains(t, err, "starts by itself")
	either, _ := demanded(func(c *interlock.Config) {
		c.Channels = append(c.Channels, c.Channels[0])
		c.Outputs[0].Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpCause, Cause: 1}, {Op: interlock.OpOr, Args: []int{0, 1}}}
	})
	_, err = Restate(either, 1)
	assert.ErrorContains(t, err, "alone does not stop")
}
