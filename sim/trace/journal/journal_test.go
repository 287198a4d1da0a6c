package journal

import (
	"bufio"
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/tracetest"
)

type counting func(*trace.Row)

func (counting) Begin(*trace.Header) error  { return nil }
func (c counting) Write(r *trace.Row) error { c(r); return nil }
func (counting) Close() error               { return nil }

// Every event is one line that can be read alone, in order, between a first line
// that says who wrote and a last one that counts.
func TestJournalHoldsEveryEvent(t *testing.T) {
	var out bytes.Buffer
	events, firstOuts := 0, 0
	w := &Writer{to: bufio.NewWriter(&out)}
	group := trace.Group{w, counting(func(r *trace.Row) {
		events += len(r.Decision.Events)
		for _, e := range r.Decision.Events {
			if e.Kind == interlock.OutputTripped && r.State.Outputs[e.Subject].Trip.FirstOut.Len() > 0 {
				firstOuts++
			}
		}
	})}
	require.NoError(t, group.Begin(tracetest.Header(2)))
	require.NoError(t, tracetest.Run(2, 30000, group))
	require.NoError(t, group.Close())
	lines := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
	var head Head
	require.NoError(t, json.Unmarshal([]byte(lines[0]), &head))
	require.Equal(t, Head{"ohmgate events", SchemaVersion, "quarry_road", "5175e0", "story", "5ce0a1", "0.0.0+test", 0.01}, head)
	var foot Foot
	require.NoError(t, json.Unmarshal([]byte(lines[len(lines)-1]), &foot))
	require.Equal(t, Foot{true, 30000, events}, foot)
	require.Len(t, lines, events+2)
	require.Greater(t, events, 100)
	last, found := uint64(0), 0
	for _, line := range lines[1 : len(lines)-1] {
		var e Entry
		decoder := json.NewDecoder(strings.NewReader(line))
		decoder.DisallowUnknownFields()
		require.NoError(t, decoder.Decode(&e))
		require.GreaterOrEqual(t, e.Scan, last)
		require.InDelta(t, float64(e.Scan)*0.01, e.Time, 1e-9)
		require.True(t, strings.HasPrefix(e.Text, e.Subject))
		if len(e.FirstOut) > 0 {
			found++
		}
		if e.Event == "phase" {
			require.NotEmpty(t, e.From)
			require.NotEqual(t, e.From, e.To)
		}
		last = e.Scan
	}
	require.Equal(t, firstOuts, found)
	require.Positive(t, found)
}
