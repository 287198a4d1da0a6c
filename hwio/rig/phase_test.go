package rig

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestPhasesAreSpread: however many runs, no gap between neighbouring phases is larger than three times the even share.
func TestPhasesAreSpread(t *testing.T) {
	for _, runs := range []int{2, 5, 20, 100} {
		taken := make([]bool, runs)
		for run := range runs {
			share := float64(Phase(run, time.Second)) / float64(time.Second)
			require.True(t, share >= 0 && share < 1)
			taken[int(share*float64(runs))] = true
		}
		empty := 0
		for _, one := range taken {
			if !one {
				empty++
			}
		}
		require.LessOrEqual(t, empty, runs/3)
	}
}
