package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
)

// A rebuilt run starts at power-up, is made of steps of the tables, ends where
// one more scan violates the property, and is as short as the search says.
func TestShortestRunIsARunAndShortest(t *testing.T) {
	m, err := Reference()
	require.NoError(t, err)
	logic := Real()
	logic.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		next, told := interlock.StepOutput(c, s, in)
		if s.Unconfirmed != 0 && in.Home {
			next.Unconfirmed = 0
		}
		return next, told
	}
	v, err := newVerification(m, Options{Logic: logic})
	require.NoError(t, err)
	checked, inGoes := 0, 0
	for _, job := range v.plan() {
		p, err := v.product(job, 1<<30)
		require.NoError(t, err)
		require.NoError(t, p.Run())
		require.Nil(t, p.Shortest(15), "no search judges it")
		if p.Bad>>10&1 == 0 {
			continue
		}
		run := p.Shortest(10)
		require.Len(t, run, p.FirstBad[10])
		require.Greater(t, len(run), 3)
		checkRun(p, t, run)
		require.True(t, leadsTo(p, run[len(run)-1], func(e *StemEdge, _ uint32) bool { return e.Bad>>10&1 == 1 }))
		deepest := p.Deepest()
		require.Len(t, deepest, p.Levels)
		checkRun(p, t, deepest)
		tight := *p
		tight.traced = 0
		tight.Memory = p.seenBytes() + p.Bytes() + longestFront(p)
		near := tight.levelsTo(p.Levels)
		inGoes += b2i(near.from > 0)
		require.LessOrEqual(t, near.bytes, tight.room())
		require.Equal(t, deepest, tight.Deepest(), "in several goes")
		require.Equal(t, run, tight.Shortest(10), "in several goes")
		require.LessOrEqual(t, tight.TracedBytes(), tight.Memory)
		tight.Memory -= longestFront(p)
		require.Nil(t, tight.Deepest(), "no room for a level")
		checked++
	}
	require.Positive(t, checked)
	require.Positive(t, inGoes, "all levels fitted at once")
}

// longestFront is the room that the largest level takes.
func longestFront(p *Product) (most uint64) {
	roomy := *p
	roomy.Memory = 0
	roomy.peak = 1 << 40
	for _, l := range roomy.levelsTo(p.Levels).fronts {
		most = max(most, l.bytes())
	}
	return most
}

// checkRun demands a run from power-up that is made of steps of the tables.
func checkRun(p *Product, t *testing.T, run []Visited) {
	t.Helper()
	require.Equal(t, Visited{}, run[0])
	for i := 1; i < len(run); i++ {
		require.True(t, leadsTo(p, run[i-1], func(e *StemEdge, column uint32) bool {
			return e.Next == run[i].Row && column == run[i].Column
		}), "step %d", i)
	}
}

// leadsTo says that a state has a step that f wants.
func leadsTo(p *Product, v Visited, f func(e *StemEdge, column uint32) bool) bool {
	for _, c := range p.Channel.fromAll(v.Column) {
		edges := p.Stem.From(int(v.Row), p.Stem.Class[c.letter])
		for i := range edges {
			if f(&edges[i], c.next) {
				return true
			}
		}
	}
	return false
}
