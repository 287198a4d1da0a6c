package opinion

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/search"
	"ohmgate/monitor"
)

// rig is a model of more than a million states that SPIN and rumur can still
// finish while one waits.
func rig(c *interlock.Config) {
	ch, o := &c.Channels[0], &c.Outputs[0]
	ch.SettleScans, ch.SettleReadings, ch.StaleAfter, ch.SettlePause = 40, 6, 3, 2
	ch.Full, ch.Repay, ch.LongestStay = 12, 1, 9
	ch.Cost = [monitor.Classes]monitor.Parts{6, 6, 12, 4, 0, 0}
	o.OnDelay, o.Travel, o.Press = 6, 30, interlock.Press{Min: 4, Max: 20}
	o.Opened, o.Stop = 3, 5
}

// middle is the same, small enough to try every mode of SPIN.
func middle(c *interlock.Config) {
	rig(c)
	ch := &c.Channels[0]
	ch.SettleScans, ch.SettleReadings, ch.StaleAfter, ch.SettlePause = 4, 3, 0, 0
}

// BenchmarkAgainstOtherCheckers searches one model with our engine, with SPIN and
// with rumur, in one run on one machine: the verdict on the whole model, ours with
// a run to one of its deepest states rebuilt, and then the first violation of a
// mistake planted deep in it, with its trace. Ours
// includes tabulating the parts; theirs does not include generating and compiling.
// Honestly told: most of the ratio comes from tabulating the parts and from the
// dense bitset over rows, which a general checker cannot know. SPIN over the very
// same tables, without a single rule to evaluate, is measured too: what is left
// of the ratio there is the engine.
func BenchmarkAgainstOtherCheckers(b *testing.B) {
	need(b, "spin", "rumur", "gcc")
	for range b.N {
		ours := oursBest(b, model.Options{}, (*search.Product).Deepest)
		p := ours.product
		require.Zero(b, p.Bad)
		perState := float64(p.Bytes()) / float64(p.States())
		traced := float64(p.Traced) / float64(p.States())
		say("one model, %d states, %d steps of our tables; wall time, and work of all cores", p.States(), p.Transitions)
		say("  ours                 %9.1f ms, %9.1f ms  and the run of %d scans to a deepest state; %.2f bytes/state to search, %.2f for the run",
			ms(ours.took), ms(ours.worked), len(ours.run), perState, traced)
		s, err := Restate(ours.piece) // what our search judges
		require.NoError(b, err)
		spin, err := Spin(context.Background(), s, b.TempDir(), bestMode(b))
		require.NoError(b, err)
		require.True(b, spin.Complete, tail(spin.Said))
		ours.against(b, spin, "times-SPIN", "aim 150; its best exhaustive mode")
		ours.against(b, spinOnTables(b, p), "times-SPIN-on-tables", "the share of the engine in that")
		rumur, err := Rumur(context.Background(), s, b.TempDir(), runtime.NumCPU())
		require.NoError(b, err)
		ours.against(b, rumur, "times-rumur", "aim 500")
		b.ReportMetric(perState, "bytes/state")
		b.ReportMetric(traced, "bytes/state-traced")
		deepMistake(b)
	}
}

func ms(d time.Duration) float64 { return d.Seconds() * 1e3 }

// against compares a peer's whole search with ours: the same states, no
// violation, and how many times as long it took.
func (o *searched) against(b *testing.B, a *Answer, unit, what string) {
	b.Helper()
	require.Equal(b, o.product.States(), a.States, "not the same model")
	require.Empty(b, a.Violated)
	o.say(a, what)
	b.ReportMetric(float64(a.Searched)/float64(o.took), unit)
}

func (o *searched) say(a *Answer, what string) {
	say("  %-20s %9.1f ms, %9.1f ms  %.0f times ours, %.0f times the work (%s)", a.Checker, ms(a.Searched), ms(a.Worked),
		float64(a.Searched)/float64(o.took), float64(a.Worked)/float64(o.worked), what)
}

func say(format string, args ...any) { fmt.Fprintf(os.Stderr, format+"\n", args...) }

// searched is one search of ours.
type searched struct {
	piece   *verify.Piece
	product *search.Product
	run     []search.Visited

	took, worked time.Duration
}

// worked is how long all cores worked for this process so far.
func worked() time.Duration {
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// oursBest is the fastest of some whole searches, one being too short for the
// clock. Each rebuilds a run from its levels.
func oursBest(b *testing.B, o model.Options, trace func(*search.Product) []search.Visited) (best searched) {
	b.Helper()
	model := small(b, rig)
	for i := range 9 {
		runtime.GC()
		began, work := time.Now(), worked()
		pieces, err := verify.Pieces(model, o)
		require.NoError(b, err)
		p, err := pieces[0].Search()
		require.NoError(b, err)
		run := trace(p)
		if d := time.Since(began); i == 0 || d < best.took {
			best = searched{pieces[0], p, run, d, worked() - work}
		}
	}
	return best
}

// modes are SPIN's exhaustive ones. Its breadth-first search is none for this
// model: it stores the states between the choices of one scan as well.
var modes = []Mode{
	{Run: []string{"-m4000000", "-w23"}},
	{Compile: []string{"-O3", "-march=native", "-DNOFAIR"}, Run: []string{"-m4000000", "-w23"}},
	{Compile: []string{"-O3", "-march=native", "-DCOLLAPSE"}, Run: []string{"-m4000000", "-w23"}},
	{Define: []string{"-DBFS"}, Compile: []string{"-O3", "-DNCORE=2"}, Run: []string{"-m4000000", "-w23"}},
}

// bestMode is the fastest of SPIN's modes on the smaller model.
func bestMode(b *testing.B) (best Mode) {
	b.Helper()
	pieces, err := verify.Pieces(small(b, middle), model.Options{})
	require.NoError(b, err)
	s, err := Restate(pieces[0])
	require.NoError(b, err)
	took := time.Duration(0)
	for _, mode := range modes {
		a, err := Spin(context.Background(), s, b.TempDir(), mode)
		if err != nil {
			say("    SPIN %v: %v", mode.Compile, err)
			continue
		}
		say("    of the modes of SPIN, on %d states: %v %v, work %v", a.States, mode.Compile, a.Searched.Round(time.Millisecond), a.Worked.Round(time.Millisecond))
		if a.Complete && (took == 0 || a.Searched < took) {
			best, took = mode, a.Searched
		}
	}
	require.NotZero(b, took, "no mode of SPIN finished")
	return best
}

// deepMistake plants one mistake that needs a long story, and measures the time
// to the violation with a trace: the shortest of ours and of rumur, the first
// that SPIN's depth-first search comes to.
func deepMistake(b *testing.B) {
	b.Helper()
	const latch = interlock.StayedOpen | interlock.UnknownClosed | interlock.UnknownOpen
	logic := model.Real()
	logic.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		next, told := interlock.StepOutput(c, s, in)
		if s.Mode != interlock.Enabled && s.Unconfirmed == latch && s.SeenAway && in.Home {
			next.Unconfirmed = 0
		}
		return next, told
	}
	ours := oursBest(b, model.Options{Logic: logic}, func(p *search.Product) []search.Visited { return p.Shortest(10) })
	require.Greater(b, len(ours.run), 40, "not deep")
	s, err := Restate(ours.piece, 10)
	require.NoError(b, err)
	text := strings.Join(s.body, "\n")
	text = strings.Replace(text, "# ---- the logic: confirmation", "falls := 0\nif running == 0 && so == 1 && ss == 0 && uc == 1 && uo == 1 && seenAway == 1 && home == 1\n  falls := 1\nend\n# ---- the logic: confirmation", 1)
	s.body = lines(strings.Replace(text, "# ---- the properties judge", "if falls == 1\n  so := 0\n  ss := 0\n  uc := 0\n  uo := 0\nend\n# ---- the properties judge", 1))
	s.scratch = nil
	s.findScratch()
	spin, err := Spin(context.Background(), s, b.TempDir(), Mode{Run: []string{"-c1", "-m4000000", "-w23"}})
	require.NoError(b, err)
	rumur, err := Rumur(context.Background(), s, b.TempDir(), runtime.NumCPU())
	require.NoError(b, err)
	require.Equal(b, []model.Property{10}, spin.Violated)
	require.Equal(b, []model.Property{10}, rumur.Violated)
	say("a mistake that takes %d scans to show, of %d levels", len(ours.run), ours.product.Levels)
	say("  ours                 %9.1f ms, %9.1f ms  every state, and the shortest run", ms(ours.took), ms(ours.worked))
	ours.say(spin, "the first run that its depth-first search comes to")
	ours.say(rumur, "the shortest run; it ends there")
}

// BenchmarkGrowth searches one output over 10, 20 and 40 channels that all
// differ, so that no search stands for another: time grows with the number of
// channels, not with the number of their combinations.
func BenchmarkGrowth(b *testing.B) {
	for range b.N {
		first := 0.0
		for _, n := range []int{10, 20, 40} {
			c := &interlock.Config{PollScans: 1, Inputs: make([]interlock.Input, 2)}
			m := &model.Model{Site: "growth", Config: c, Names: model.Names{Inputs: []string{"reset", "closed"}, Outputs: []string{"pump"}}}
			var permissive interlock.Permissive
			var args []int
			for i := 0; i < n; i++ {
				ch := small(b, rig).Config.Channels[0]
				ch.SettleScans = 30
				ch.Reject += monitor.Microohm(i)
				c.Channels = append(c.Channels, ch)
				m.Names.Channels = append(m.Names.Channels, fmt.Sprintf("bond_%d", i+1))
				permissive = append(permissive, interlock.Node{Op: interlock.OpCause, Cause: i})
				args = append(args, i)
			}
			permissive = append(permissive, interlock.Node{Op: interlock.OpAnd, Args: args})
			c.Outputs = []interlock.Output{{Permissive: permissive, OnDelay: 2, Reset: 1, Press: interlock.Press{Min: 2, Max: 20}, Closed: 2, Travel: 100}}
			if err := c.Compile(); err != nil {
				b.Fatal(err)
			}
			began := time.Now()
			pieces, err := verify.Pieces(m, model.Options{})
			if err != nil {
				b.Fatal(err)
			}
			states := uint64(0)
			for _, p := range pieces {
				r, err := p.Search()
				if err != nil {
					b.Fatal(err)
				}
				states += r.States()
			}
			took := time.Since(began).Seconds()
			if n == 10 {
				first = took
			}
			fmt.Fprintf(os.Stderr, "%d channels under one output: %d searches, %d states, %.2f s, %.2f times that of 10\n", n, len(pieces), states, took, took/first)
			b.ReportMetric(took, fmt.Sprintf("s/%dch", n))
		}
	}
}
