package opinion

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

func demoSites(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob("../../../testdata/sites/*.yaml")
	require.NoError(t, err)
	require.Len(t, files, 3)
	return files
}

func demoModel(t testing.TB, file string) *model.Model {
	t.Helper()
	s, problems := site.Read(file)
	require.Nil(t, problems)
	m, err := model.FromSite(s)
	require.NoError(t, err)
	return m
}

// demoPieces lists every product of the demo sites' search plans that differs.
func demoPieces(t testing.TB) (all []*verify.Piece) {
	t.Helper()
	for _, file := range demoSites(t) {
		m := demoModel(t, file)
		pieces, err := verify.Pieces(m, model.Options{})
		require.NoError(t, err)
		all = append(all, pieces...)
	}
	return all
}

// accepted lets both peers read a model and compile what they make of it.
func accepted(t testing.TB, s *Source) {
	t.Helper()
	directory := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(directory, "scan.pml"), s.Promela(), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(directory, "scan.m"), s.Murphi(), 0o600))
	for _, command := range [][]string{
		{"spin", "-a", "scan.pml"}, {"gcc", "-O0", "-w", "-DSAFETY", "-o", "pan", "pan.c"},
		{"spin", "-DMET", "-a", "scan.pml"}, {"spin", "-DBFS", "-a", "scan.pml"},
		{"rumur", "--output", "scan.c", "scan.m"}, {"gcc", "-O0", "-w", "-mcx16", "-o", "scan", "scan.c", "-lpthread"},
	} {
		text, err := in(context.Background(), directory, command[0], command[1:]...)
		require.NoError(t, err, "%s: %v: %s", s.Title, command, text)
	}
}

// Every product of the demo sites can be printed, and the peers take the first
// of each kind. BenchmarkDemoModels lets them take all.
func TestPeersTakeDemoModels(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	taken := map[string]bool{}
	for _, p := range demoPieces(t) {
		s, err := Restate(p)
		require.NoError(t, err, p.Output)
		require.NotEmpty(t, s.Promela())
		require.NotEmpty(t, s.Murphi())
		if !taken[p.Kind] {
			accepted(t, s)
			taken[p.Kind] = true
		}
	}
	require.Equal(t, map[string]bool{"reset": true, "wait": true}, taken)
}

// BenchmarkDemoModels lets both peers read and compile every product.
func BenchmarkDemoModels(b *testing.B) {
	need(b, "spin", "rumur", "gcc")
	for range b.N {
		pieces := demoPieces(b)
		for _, p := range pieces {
			s, err := Restate(p)
			require.NoError(b, err, p.Output)
			accepted(b, s)
		}
		b.ReportMetric(float64(len(pieces)), "models")
	}
}

// demoChannels lists the channels of the demo sites that differ in more than
// their limits, by what they are called.
func demoChannels(t testing.TB) map[string]*verify.Alone {
	t.Helper()
	all, seen := map[string]*verify.Alone{}, map[monitor.Config]bool{}
	for _, file := range demoSites(t) {
		m := demoModel(t, file)
		for i := range m.Config.Channels {
			key := m.Config.Channels[i].Config
			key.Accept, key.Reject, key.OpenAbove, key.Floor, key.ValidMax = 0, 0, 0, 0, 0
			if seen[key] {
				continue
			}
			seen[key] = true
			a, err := verify.AloneOf(m, model.Options{}, i)
			require.NoError(t, err)
			all[filepath.Base(file)+": "+a.Channel] = a
		}
	}
	return all
}

// A channel of a demo site, with the numbers that the README and the dossiers
// print of such: the peers count what we count, and say what verify says.
func TestPeersJudgeADemoChannel(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	a := demoChannels(t)["amber_line.yaml: bond_drum"]
	require.NotNil(t, a)
	for _, q := range []asked{{4, "", false, true}, {4, "9", true, true}, {5, "", true, true}, {6, "", false, true}, {15, "", false, true}} {
		t.Run(fmt.Sprintf("%d %s", q.property, q.bound), func(t *testing.T) {
			t.Parallel()
			s, mine := restated(t, a, real(&a.Config), q)
			require.Greater(t, mine.states, uint64(4000))
			agree(t, s, mine, q)
		})
	}
}

// BenchmarkChannels lets the peers count the channels of the demo sites: with every
// number from both sides where a channel is short, else with the numbers that were
// found. What has too many states is named, such as most channels side by side.
func BenchmarkChannels(b *testing.B) {
	need(b, "spin", "rumur", "gcc")
	const short, limit = 10_000, 1_000_000
	for range b.N {
		models, states := 1, demoBypass(b)
		channels := demoChannels(b)
		for _, name := range slices.Sorted(maps.Keys(channels)) {
			a := channels[name]
			if doubts := uint64(a.Config.LongestStay) * uint64(a.Config.Full); doubts > limit/10 {
				say("%s: not counted, %d amounts of doubt in time", name, doubts)
				continue
			}
			for _, q := range numbered(a) {
				if a.Facts.States > short && (q.bound != "" || q.property == 9) {
					continue
				}
				s, mine := restated(b, a, real(&a.Config), q)
				if mine.states > limit {
					say("%s: property %d %s, %d states by ours: not asked of the peers", name, q.property, q.bound, mine.states)
					continue
				}
				agree(b, s, mine, q)
				models, states = models+1, states+mine.states
			}
			say("%s: %d models so far, %d states", name, models, states)
		}
		b.ReportMetric(float64(models), "models")
		b.ReportMetric(float64(states), "states")
	}
}

// demoBypass counts the bypass of a demo site, at its real length.
func demoBypass(b *testing.B) uint64 {
	b.Helper()
	m := demoModel(b, "../../../testdata/sites/kestrel_siding.yaml")
	c := m.Config
	bypass := &c.Bypasses[0]
	s, err := RestateBypass(m.Names.Bypasses[0], bypass, &c.Inputs[bypass.Input-1], nil)
	require.NoError(b, err)
	mine := oursBypass(&interlock.Config{Inputs: c.Inputs, Channels: c.Channels, Bypasses: c.Bypasses, PollScans: 1}, uint64(bypass.For))
	agree(b, s, mine, asked{11, "", false, true})
	return mine.states
}
