package opinion

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verify"
)

// demoPieces lists every product of the demo sites' search plans that differs.
func demoPieces(t testing.TB) (all []*verify.Piece) {
	t.Helper()
	files, err := filepath.Glob("../../../testdata/sites/*.yaml")
	require.NoError(t, err)
	require.Len(t, files, 3)
	for _, file := range files {
		s, problems := site.Read(file)
		require.Nil(t, problems)
		m, err := verify.FromSite(s)
		require.NoError(t, err)
		pieces, err := verify.Pieces(m, verify.Options{})
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
