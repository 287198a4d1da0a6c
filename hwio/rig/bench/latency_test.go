package bench

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/rig/interval"
)

func TestSpreadIsWhatIntervalsDoNotExplain(t *testing.T) {
	var edges []interval.Span
	for range 99 {
		edges = append(edges, interval.Span{Least: 2 * time.Millisecond, Most: 6 * time.Millisecond})
	}
	require.Zero(t, spreadOf(edges))
	// Held up while waiting: the interval is wider by as much as it is later.
	held := append(edges[:99:99], interval.Span{Least: 2 * time.Millisecond, Most: 60 * time.Millisecond})
	require.Zero(t, spreadOf(held))
	// Late without being wide: that is the rig's own scatter.
	late := append(edges[:99:99], interval.Span{Least: 12 * time.Millisecond, Most: 16 * time.Millisecond})
	require.Equal(t, 10*time.Millisecond, spreadOf(late))
}
