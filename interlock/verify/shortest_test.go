package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/search"
	"ohmgate/interlock/verify/table"
)

// A rebuilt run starts at power-up, is made of steps of the tables, ends where
// one more scan violates the property, and is as short as the search says.
func TestShortestRunIsARunAndShortest(t *testing.T) {
	m, err := model.Reference()
	require.NoError(t, err)
	logic := model.Real()
	logic.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
		next, told := interlock.StepOutput(c, s, in)
		if s.Unconfirmed != 0 && in.Home {
			next.Unconfirmed = 0
		}
		return next, told
	}
	v, err := newVerification(m, model.Options{Logic: logic})
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
		require.True(t, leadsTo(p, run[len(run)-1], func(e *table.StemEdge, _ uint32) bool { return e.Bad>>10&1 == 1 }))
		deepest := p.Deepest()
		require.Len(t, deepest, p.Levels)
		checkRun(p, t, deepest)
		tight := *p
		tight.Traced = 0
		tight.Memory = p.SeenBytes() + p.Bytes() + longestFront(p)
		near := tight.LevelsTo(p.Levels)
		inGoes += model.Int(near.From > 0)
		require.LessOrEqual(t, near.Bytes, tight.Room())
		require.Equal(t, deepest, tight.Deepest(), "in several goes")
		require.Equal(t, run, tight.Shortest(10), "in several goes")
		require.LessOrEqual(t, tight.Traced, tight.Memory)
		tight.Memory -= longestFront(p)
		require.Nil(t, tight.Deepest(), "no room for a level")
		checked++
	}
	require.Positive(t, checked)
	require.Positive(t, inGoes, "all levels fitted at once")
}

// longestFront is the room that the largest level takes.
func longestFront(p *search.Product) (most uint64) {
	roomy := *p
	roomy.Memory = 0
	roomy.Peak = 1 << 40
	for _, l := range roomy.LevelsTo(p.Levels).Fronts {
		most = max(most, l.Bytes())
	}
	return most
}

// checkRun demands a run from power-up that is made of steps of the tables.
func checkRun(p *search.Product, t *testing.T, run []search.Visited) {
	t.Helper()
	require.Equal(t, search.Visited{}, run[0])
	for i := 1; i < len(run); i++ {
		require.True(t, leadsTo(p, run[i-1], func(e *table.StemEdge, column uint32) bool {
			return e.Next == run[i].Row && column == run[i].Column
		}), "step %d", i)
	}
}

// leadsTo says that a state has a step that f wants.
func leadsTo(p *search.Product, v search.Visited, f func(e *table.StemEdge, column uint32) bool) bool {
	for _, c := range p.Channel.FromAll(v.Column) {
		edges := p.Stem.From(int(v.Row), p.Stem.Class[c.Letter])
		for i := range edges {
			if f(&edges[i], c.Next) {
				return true
			}
		}
	}
	return false
}
