package sim

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
)

// played turns a stage by hand.
type played struct {
	*Stage
	turns *loop.Loop
	scan  uint64
}

func onStage(t *testing.T, begin string) *played {
	t.Helper()
	s, problems := site.Read("../testdata/sites/kestrel_siding.yaml")
	require.Nil(t, problems)
	logic, problems := s.Logic()
	require.Nil(t, problems)
	sc, problems := ParseScenario("test", []byte("scenario: test\nbegin: "+begin+"\nwith: [pump_ready]\nlasts: 1 s\n"), s)
	require.Nil(t, problems)
	return &played{Stage: NewStage(s, logic, sc, 0), turns: loop.New(logic)}
}

func (p *played) turn(t *testing.T, scans uint64) {
	t.Helper()
	for range scans {
		more, err := p.turns.Once(p.Stage)
		require.NoError(t, err)
		require.True(t, more)
		p.scan++
	}
}

func (p *played) mode(output int) interlock.Mode { return p.turns.State.Outputs[output].Mode }

func TestStageGoesOnAndTakesHands(t *testing.T) {
	p := onStage(t, "running")
	p.turn(t, p.Prelude+500) // well past the end of the scenario
	require.Equal(t, interlock.Enabled, p.mode(0))
	require.Empty(t, p.Acting())
	require.NoError(t, p.Do(p.scan, true, "fault: clamp_removed, on: bond_1"))
	p.turn(t, 20)
	require.Equal(t, []string{"clamp_removed bond_1"}, p.Acting())
	require.Equal(t, interlock.Tripped, p.mode(0))
	require.Contains(t, p.Deeds(), Deed{"clamp taken off on bond_1", "bond_1"})
	require.NoError(t, p.Clear(p.scan, "clamp_removed", "bond_1"))
	p.turn(t, 20)
	require.Empty(t, p.Acting())
	require.True(t, p.Truth().Bonded[0])
	require.ErrorContains(t, p.Clear(p.scan, "clamp_removed", "bond_1"), "nothing to clear")
	require.ErrorContains(t, p.Do(p.scan, true, "fault: clamp_remove, on: bond_1"), "clamp_removed")
	require.ErrorContains(t, p.Do(p.scan, false, "do: press, on: bond_1, for: 1 s"), "bond_1")
}

func TestFaultClearedByHandDoesNotEndTwice(t *testing.T) {
	p := onStage(t, "running")
	p.turn(t, p.Prelude)
	require.NoError(t, p.Do(p.scan, true, "fault: bus_cut, until: 100 scans, on: [bond_2, bond_3]"))
	p.turn(t, 10)
	require.NoError(t, p.Clear(p.scan, "bus_cut", ""))
	p.turn(t, 200)
	require.Equal(t, 0, p.channels[1].cut)
}

func TestSameDeedsGiveTheSameRun(t *testing.T) {
	play := func() []interlock.ChannelState {
		p := onStage(t, "running")
		p.turn(t, p.Prelude+100)
		require.NoError(t, p.Do(p.scan, true, "fault: chatter, on: bond_4"))
		p.turn(t, 1000)
		return p.turns.State.Channels
	}
	require.Equal(t, play(), play())
}
