package sim_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/sim"
)

// TestFollowedRunsSayWhatRunSays: whoever turns the loop himself gets the same outcomes; of a run that broke off only what
// was decided by then.
func TestFollowedRunsSayWhatRunSays(t *testing.T) {
	s, problems := site.Read("../testdata/rig/bench_siding.yaml")
	require.Nil(t, problems)
	logic, problems := s.Logic()
	require.Nil(t, problems)
	for _, name := range []string{"pulled", "put_back", "limits"} {
		scenario, problems := sim.ReadScenario("../testdata/rig/"+name+".yaml", s)
		require.Nil(t, problems)
		alone, err := sim.Run(s, scenario, sim.Options{})
		require.NoError(t, err)
		plant, zero, length := sim.Prepare(s, logic, scenario, scenario.Seed)
		follower := sim.Follow(s, scenario, plant, zero, length)
		turns := loop.New(logic)
		for range 150 { // 3 s
			more, err := turns.Once(plant, follower)
			require.NoError(t, err)
			require.True(t, more)
		}
		early := follower.Outcomes(false)
		require.NoError(t, turns.Run(plant, follower))
		require.Equal(t, alone.Outcomes, follower.Outcomes(true), name)
		open := 0
		for i := range early {
			if !early[i].Decided {
				open++
			}
		}
		require.Positive(t, open, name)
	}
}
