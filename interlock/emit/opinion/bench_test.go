package opinion

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/verify"
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

// BenchmarkAgainstOtherCheckers searches one model with our engine, with SPIN's
// exhaustive search and with rumur, in one run on one machine. Every time is
// from the start of the search to the verdict; ours includes tabulating the
// parts, theirs does not include generating and compiling. Honestly told: most
// of the ratio comes from tabulating the parts and from the dense bitset over
// rows, which a general checker cannot know; only a small part is the engine.
func BenchmarkAgainstOtherCheckers(b *testing.B) {
	need(b, "spin", "rumur", "gcc")
	for range b.N {
		model := small(b, rig)
		began := time.Now()
		ours, piece := searchOnce(b, model)
		took := time.Since(began)
		for i := 0; i < 8; i++ { // a single search is too short for the clock
			began = time.Now()
			searchOnce(b, model)
			took = min(took, time.Since(began))
		}
		s, err := Restate(piece)
		if err != nil {
			b.Fatal(err)
		}
		spin := bestSpin(b, s)
		rumur, err := Rumur(context.Background(), s, b.TempDir(), runtime.NumCPU())
		if err != nil {
			b.Fatal(err)
		}
		if ours.States() != spin.States || ours.States() != rumur.States || len(spin.Violated)+len(rumur.Violated) > 0 || ours.Bad != 0 {
			b.Fatalf("not the same model: %d, %d, %d states", ours.States(), spin.States, rumur.States)
		}
		fmt.Fprintf(os.Stderr, "one model, %d states, %d steps of ours, %d of SPIN's, %d of rumur's\n", ours.States(), ours.Transitions, spin.Steps, rumur.Steps)
		fmt.Fprintf(os.Stderr, "  ours  %10.1f ms  %.2f bytes/state\n", took.Seconds()*1e3, float64(ours.Bytes())/float64(ours.States()))
		fmt.Fprintf(os.Stderr, "  SPIN  %10.1f ms  %.0f times ours (aim 150)\n", spin.Searched.Seconds()*1e3, float64(spin.Searched)/float64(took))
		fmt.Fprintf(os.Stderr, "  rumur %10.1f ms  %.0f times ours (aim 500)\n", rumur.Searched.Seconds()*1e3, float64(rumur.Searched)/float64(took))
		b.ReportMetric(float64(spin.Searched)/float64(took), "times-SPIN")
		b.ReportMetric(float64(rumur.Searched)/float64(took), "times-rumur")
		b.ReportMetric(float64(ours.Bytes())/float64(ours.States()), "bytes/state")
	}
}

func searchOnce(b *testing.B, model *verify.Model) (*verify.Product, *verify.Piece) {
	b.Helper()
	pieces, err := verify.Pieces(model, verify.Options{})
	if err != nil {
		b.Fatal(err)
	}
	p, err := pieces[0].Search()
	if err != nil {
		b.Fatal(err)
	}
	return p, pieces[0]
}

// bestSpin is the fastest of SPIN's exhaustive modes that finishes.
func bestSpin(b *testing.B, s *Source) *Answer {
	b.Helper()
	var best *Answer
	for _, mode := range []struct{ compile, run []string }{
		{nil, []string{"-m3000000", "-w22"}},
		{[]string{"-O3", "-DNOFAIR", "-DMEMLIM=4000"}, []string{"-m3000000", "-w24"}},
		{[]string{"-DBFS"}, []string{"-w22"}},
		{[]string{"-DCOLLAPSE"}, []string{"-m3000000", "-w22"}},
	} {
		a, err := Spin(context.Background(), s, b.TempDir(), Mode{Compile: mode.compile, Run: mode.run})
		if err != nil {
			b.Log(mode.compile, err)
			continue
		}
		b.Logf("SPIN %v %v: %d states, complete %v, %v", mode.compile, mode.run, a.States, a.Complete, a.Searched)
		if a.Complete && (best == nil || a.Searched < best.Searched) {
			best = a
		}
	}
	if best == nil {
		b.Fatal("no mode of SPIN finished")
	}
	return best
}

// BenchmarkGrowth searches one output over 10, 20 and 40 channels that all
// differ, so that no search stands for another: time grows with the number of
// channels, not with the number of their combinations.
func BenchmarkGrowth(b *testing.B) {
	for range b.N {
		first := 0.0
		for _, n := range []int{10, 20, 40} {
			c := &interlock.Config{PollScans: 1, Inputs: make([]interlock.Input, 2)}
			m := &verify.Model{Site: "growth", Config: c, Names: verify.Names{Inputs: []string{"reset", "closed"}, Outputs: []string{"pump"}}}
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
			pieces, err := verify.Pieces(m, verify.Options{})
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
