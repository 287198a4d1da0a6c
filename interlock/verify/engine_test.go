package verify

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/search"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// The engine must find the same states whatever the number of workers.
func TestWorkersDoNotChangeTheResult(t *testing.T) {
	p := oneChannel(t)
	type result struct {
		states, steps uint64
		levels        int
		hit, bad      model.PropertySet
		firstHit      [32]int
	}
	var all []result
	for _, workers := range []int{1, 2, 5} {
		q := &search.Product{Channel: p.Channel, Stem: p.Stem, Workers: workers}
		require.NoError(t, q.Run())
		all = append(all, result{q.States(), q.Transitions, q.Levels, q.Hit, q.Bad, q.FirstHit})
	}
	require.Equal(t, all[0], all[1])
	require.Equal(t, all[0], all[2])
	require.Greater(t, all[0].states, uint64(1_000_000))
}

// oneChannel is one channel at 10 ms under an output with confirmation.
func oneChannel(t testing.TB) *search.Product {
	t.Helper()
	m := bay(t, 1, nil)
	v, err := newVerification(m, model.Options{Outputs: []string{"valve_1"}})
	require.NoError(t, err)
	p, err := v.product(v.plan()[0], 1<<30)
	require.NoError(t, err)
	return p
}

// A plain search with a hash set and no row tricks must reach the same number of
// states by the same number of levels.
func TestRowsReachWhatAHashSetReaches(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	v, err := newVerification(m, model.Options{})
	require.NoError(t, err)
	compared := 0
	for _, job := range v.plan() {
		p, err := v.product(job, 1<<30)
		require.NoError(t, err)
		if p.Stem.Rows > 400 {
			continue // a hash set takes too long for these
		}
		compared++
		require.NoError(t, p.Run())
		states, levels := plain(p)
		require.Equal(t, states, p.States(), job.Output)
		require.Equal(t, levels, p.Levels, job.Output)
		require.Zero(t, p.Open())
	}
	require.Greater(t, compared, 4)
}

func plain(p *search.Product) (states uint64, levels int) {
	type pair struct{ row, column uint32 }
	seen := map[pair]bool{{}: true}
	level := []pair{{}}
	for len(level) > 0 {
		levels++
		var next []pair
		for _, s := range level {
			for _, e := range p.Channel.FromAll(s.column) {
				for _, f := range p.Stem.From(int(s.row), p.Stem.Class[e.Letter]) {
					to := pair{f.Next, e.Next}
					if !seen[to] {
						seen[to] = true
						next = append(next, to)
					}
				}
			}
		}
		level = next
	}
	return uint64(len(seen)), levels
}

func TestMemoryLimitEndsNotShown(t *testing.T) {
	m := bay(t, 1, nil)
	r, err := Verify(m, model.Options{Memory: 1 << 20, Outputs: []string{"valve_1"}, Properties: []string{"2", "7", "8"}})
	require.NoError(t, err)
	require.Equal(t, NotShown, r.Verdict())
	require.NotEmpty(t, r.Results)
	require.Contains(t, r.Results[0].Says, "memory limit")
}

// Every letter and every memory that was left out of the tables behaves like one
// that was kept.
func TestLeftOutLettersAreAlike(t *testing.T) {
	o := demoOutput()
	h := table.ShapeOf(&o, false)
	steps, err := table.TabulateOutput(model.Real(), h, 1<<30)
	require.NoError(t, err)
	checked := 0
	for i := 0; i < len(steps.States); i += 29 {
		h.Each(uint32(steps.States[i]&(1<<table.WatchShift-1)), func(s interlock.OutputControl) {
			if s.Mode == interlock.Enabled {
				return
			}
			for reset := range table.Levels {
				l := table.OutputScan{Perm: interlock.True, Reset: uint8(reset), Shared: table.SharedHard}
				hard, _ := interlock.StepOutput(&o, s, l.Arm(h))
				for _, shared := range []uint8{table.SharedWait, table.SharedStop} {
					l.Shared = shared
					other, _ := interlock.StepOutput(&o, s, l.Arm(h))
					require.Equal(t, hard, other)
				}
				l.Ended = true
				other, _ := interlock.StepOutput(&o, s, l.Arm(h))
				require.Equal(t, hard, other)
				checked++
			}
		})
	}
	require.Greater(t, checked, 1000)
}

// In brief form an output must be able to do all that it can do in full form.
func TestBriefFormCoversFullForm(t *testing.T) {
	o := demoOutput()
	full, err := table.TabulateOutput(model.Real(), table.ShapeOf(&o, false), 1<<30)
	require.NoError(t, err)
	brief, err := table.TabulateOutput(model.Real(), table.ShapeOf(&o, true), 1<<30)
	require.NoError(t, err)
	words := map[uint32]int{}
	for i, w := range brief.States {
		words[uint32(w&(1<<table.WatchShift-1))] = i
	}
	checked := 0
	for i := 0; i < len(full.States); i += 23 {
		word := full.States[i]
		full.Shape.Each(uint32(word&(1<<table.WatchShift-1)), func(s interlock.OutputControl) {
			from, known := words[brief.Shape.Pack(s)]
			require.True(t, known)
			full.Shape.EachScan(s.Mode == interlock.Enabled, func(l *table.OutputScan) {
				next, _ := interlock.StepOutput(&o, s, l.Arm(full.Shape))
				require.True(t, brief.HasEdge(uint32(from), l, brief.Shape.Pack(next)), "%+v under %+v", s, l)
				checked++
			})
		})
	}
	require.Greater(t, checked, 10_000)
}

func TestCutSets(t *testing.T) {
	m := bay(t, 4, nil)
	for text, want := range map[string]string{
		"bond_1 AND bond_2":                         "[[0] [1]]",
		"bond_1 OR bond_2":                          "[[0 1]]",
		"2oo3(bond_1, bond_2, bond_3)":              "[[0 1] [0 2] [1 2]]",
		"bond_1 AND 2oo3(bond_2, bond_3, bond_4)":   "[[0] [1 2] [1 3] [2 3]]",
		"bond_1 OR bond_2 OR bond_3":                "[[0 1 2]]",
		"NOT bond_1":                                "[]",
		"(bond_1 OR bond_2) AND (bond_1 OR bond_3)": "[[0 1] [0 2]]",
	} {
		require.Equal(t, want, fmt.Sprint(model.CutSets(parse(t, m, text))), text)
	}
}

func TestShareIsTheMaximumCycleMean(t *testing.T) {
	c := demoChannel()
	for _, x := range []struct {
		repay   monitor.Parts
		bad, of uint64
	}{{60, 19, 20}, {3, 1, 2}, {6, 2, 3}, {1, 1, 4}} {
		c.Repay = x.repay
		steps, err := table.Tabulate(model.Real(), &c, 1<<30)
		require.NoError(t, err)
		got := steps.Share(1 << 30)
		require.False(t, got.Bound)
		require.Equal(t, x.bad*got.Of, got.Bad*x.of, "repay %d: %d of %d", x.repay, got.Bad, got.Of)
		// The pattern is what it says, and it is tolerated for ever.
		bad, s := uint64(0), monitor.Control{Phase: monitor.Bonded, Class: monitor.Good}
		for turn := 0; turn < 2000; turn++ {
			for _, news := range got.Pattern {
				s = monitor.Advance(&c, s, news)
				require.True(t, s.Phase.MayKeep())
				if turn == 0 && news != monitor.Good {
					bad++
				}
			}
		}
		require.Equal(t, got.Bad, bad)
		require.Equal(t, got.Of, uint64(len(got.Pattern)))
	}
}

func BenchmarkProductOfOneChannel(b *testing.B) {
	p := oneChannel(b)
	b.ReportAllocs()
	var states, bytes uint64
	for b.Loop() {
		q := &search.Product{Channel: p.Channel, Stem: p.Stem, Workers: 1}
		if err := q.Run(); err != nil {
			b.Fatal(err)
		}
		states, bytes = q.States(), q.Bytes()
	}
	b.ReportMetric(float64(states)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mstates/s")
	b.ReportMetric(float64(bytes)/float64(states), "bytes/state")
}

// BenchmarkChannels grows the number of channels, all set differently so that no
// two are the same search, under one output: what is searched grows in proportion.
func BenchmarkChannels(b *testing.B) {
	for _, n := range []int{10, 20, 40} {
		b.Run(fmt.Sprintf("channels=%d", n), func(b *testing.B) {
			m := bay(b, n, func(m *model.Model) {
				for i := range m.Config.Channels {
					m.Config.Channels[i].LongestStay += model.Scans(i)
				}
			})
			states := uint64(0)
			for b.Loop() {
				v, err := newVerification(m, model.Options{Outputs: []string{"pump"}})
				require.NoError(b, err)
				jobs := v.plan()
				require.NoError(b, v.search(jobs))
				states = 0
				for _, s := range jobs {
					if s.SameAs == "" {
						states += s.States
					}
				}
			}
			b.ReportMetric(float64(states), "states")
		})
	}
}

// The audit compares the tables with the whole Step: a table that was made from
// another logic than the one that runs must differ.
func TestAuditSeesTablesOfAnotherLogic(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	reached := 0
	for _, mutant := range Mutants() {
		if mutant.part != partOutput && mutant.part != partVessel && mutant.part != partChannel {
			continue
		}
		l := model.Real()
		mutant.plant(l)
		v, err := newVerification(m, model.Options{Logic: l, Outputs: []string{"valve", "mixer"}})
		require.NoError(t, err)
		v.auditEvery = 17
		_, err = v.ChannelTable(&m.Config.Channels[0].Config)
		require.NoError(t, err)
		for _, o := range v.outputs {
			_, err = v.OutputTable(&m.Config.Outputs[o], false)
			require.NoError(t, err)
		}
		a := v.audit()
		require.Greater(t, a.Compared, uint64(10_000))
		require.NotZero(t, a.Different, mutant.Name)
		reached++
	}
	require.Greater(t, reached, 30)
}

// What ties the parts together is compared as well: a whole Step that forgets that
// an early reconnection forbids a start, or that somebody calls a backup, is not
// what was searched, and then nothing is shown.
func TestAuditSeesAnotherWiring(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	forgets := map[string]func(s *interlock.State){
		"early reconnection": func(s *interlock.State) {
			for i := range s.Vessels {
				s.Vessels[i].Early = false
			}
		},
		"call of a backup": func(s *interlock.State) {
			for i := range s.Outputs {
				s.Outputs[i].Unconfirmed = 0
			}
		},
		"power-up": func(s *interlock.State) { s.Running = true },
	}
	for name, forget := range forgets {
		l := model.Real()
		l.Step = func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
			forget(s)
			interlock.Step(c, s, in, d)
		}
		v, err := newVerification(m, model.Options{Logic: l, Outputs: []string{"valve"}, Properties: []string{"2"}, Audit: true})
		require.NoError(t, err)
		r, err := v.run()
		require.NoError(t, err)
		require.NotZero(t, r.Audit.Different, name)
		require.NotEqual(t, Shown, r.Verdict(), name)
	}
}
