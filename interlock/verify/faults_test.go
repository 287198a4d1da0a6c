package verify

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestFaultTable(t *testing.T) {
	m, err := Reference()
	require.NoError(t, err)
	table, err := Faults(m, Options{Outputs: []string{"valve"}}, true)
	require.NoError(t, err)
	require.NotZero(t, table.Singles)
	require.NotZero(t, table.Pairs)
	for _, r := range table.Rows {
		require.NotEmpty(t, r.Rule, "%+v", r)
		require.NotEmpty(t, r.Effect, "%+v", r)
		if !r.Seen {
			require.Equal(t, "NOT detected: proof test", r.Effect)
			require.NotEmpty(t, r.Instead)
		}
		if r.Second == "" {
			t.Logf("%-22s %-10s %-5v %3d %-60s %s %s", r.Fault, r.On, r.Seen, r.Scans, r.Rule, r.Effect, r.Instead)
		}
	}
	for _, d := range table.Defeats {
		t.Log(d.Output, d.Faults, d.Run.Sentence, d.Run.Scans)
	}
	var b bytes.Buffer
	require.NoError(t, table.WriteCSV(&b))
	require.Equal(t, len(table.Rows)+1, bytes.Count(b.Bytes(), []byte("\n")))
}
