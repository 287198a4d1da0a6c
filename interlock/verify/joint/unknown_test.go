package joint_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	. "ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// walkPairs counts pairs of states one by one, the slow way.
func walkPairs(t *table.ChannelTable) (count int, wrong bool) {
	next := make([][monitor.Classes][]uint32, len(t.States))
	t.EachStep(func(from, to uint32, news monitor.Class, _ bool) {
		next[from][news] = append(next[from][news], to)
	})
	seen, queue := map[[2]uint32]bool{}, [][2]uint32{}
	add := func(p [2]uint32) {
		if !seen[p] {
			seen[p] = true
			queue = append(queue, p)
		}
	}
	for s := range t.States {
		if t.States[s].Phase.MayKeep() {
			add([2]uint32{uint32(s), uint32(s)})
		}
	}
	for ; len(queue) > 0; queue = queue[1:] {
		for news, ones := range next[queue[0][0]] {
			others := next[queue[0][1]]
			less := others[news]
			if news == int(monitor.Good) {
				less = append(append(append([]uint32(nil), less...), others[monitor.Missing]...), others[monitor.Invalid]...)
			}
			for _, a := range ones {
				for _, b := range less {
					is, worse := t.States[a].Phase, t.States[b].Phase
					wrong = wrong || worse.MayKeep() && !is.MayKeep() || worse.MayStart() && !is.MayStart()
					if worse.MayKeep() {
						add([2]uint32{a, b})
					}
				}
			}
		}
	}
	return len(seen), wrong
}

// As many pairs of states as a walk through every one of them finds.
func TestPairsAgreeWithAWalk(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	for range 4 {
		j := of(t, yard(t, 1, "bond_1", func(c *interlock.Config) {
			vary(random, c)
			c.Channels[0].Full, c.Channels[0].StaleAfter = 24, 2
		}), model.Options{})
		endless, err := j.Endless(&j.Channels[0])
		require.NoError(t, err)
		found, err := Pairs(endless, 1<<30)
		require.NoError(t, err)
		count, wrong := walkPairs(endless)
		assert.Equal(t, fmt.Sprint(count), found.Pairs.String())
		assert.False(t, wrong)
		assert.Empty(t, found.Wrong)
		assert.True(t, found.Kept)
		assert.Greater(t, count, 100)
	}
}

// Property 9 gets the explicit verdict, for outputs of every shape.
func TestUnknownAgrees(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	for _, text := range []string{"bond_1", "bond_1 AND bond_2 AND bond_3", "2oo3(bond_1, bond_2, bond_3)", "bond_1 XOR here", "NOT bond_1", "bond_1 AND (bond_2 OR NOT here)"} {
		m := yard(t, 3, text, func(c *interlock.Config) { vary(random, c) })
		got := one(t, m, model.Options{}, "9")
		report, err := verify.Verify(m, model.Options{Properties: []string{"9"}})
		require.NoError(t, err)
		assert.Equal(t, report.Results[0].Verdict, got.Verdict, "%s: %s; jointly: %s", text, report.Results[0].Says, got.Says)
		inverted := slices.Contains([]string{"bond_1 XOR here", "NOT bond_1"}, text) // what keeps such a clamp from bonding prolongs a run
		assert.Equal(t, inverted, got.Verdict != verdict.Shown, "%s: %s", text, got.Says)
	}
}

// A wrong rule for unknown, in a permissive or in a channel, is met by the joint
// letters or by the pairs themselves, without the explicit engine; where that finds
// none neither do they.
func TestPlantedMutantsOfUnknownAreCaught(t *testing.T) {
	hopeful := model.Real()
	hopeful.Eval = func(p interlock.Permissive, values []interlock.Truth) interlock.Truth {
		if p.Eval(values) == interlock.Unknown {
			return interlock.True
		}
		return p.Eval(values)
	}
	swapped := model.Real()
	swapped.Eval = func(p interlock.Permissive, values []interlock.Truth) interlock.Truth {
		q := append(interlock.Permissive(nil), p...)
		for i := range q {
			if q[i].Op == interlock.OpAnd {
				q[i].Op = interlock.OpOr
			}
		}
		return q.Eval(values)
	}
	m := yard(t, 2, "bond_1 AND bond_2", func(c *interlock.Config) {
		c.Channels[0].Full, c.Channels[0].Cost, c.Channels[0].LongestStay = 6, [monitor.Classes]monitor.Parts{3, 2, 6, 2, 0, 0}, 8
	})
	logics := map[string]*model.Logic{"unknown counts as true": hopeful, "AND is OR": swapped}
	for _, news := range []monitor.Class{monitor.Missing, monitor.Invalid} {
		clears := model.Real()
		clears.Advance = func(c *monitor.Config, s monitor.Control, n monitor.Class) monitor.Control {
			next := monitor.Advance(c, s, n)
			if n == news && next.Phase == monitor.Doubtful {
				next.Phase, next.Doubt = monitor.Bonded, 0
			}
			return next
		}
		logics[news.String()+" clears doubt"] = clears
	}
	for _, mutant := range verify.Mutants() {
		if logic, ok := mutant.PlantedInChannel(); ok {
			logics[mutant.Name] = logic
		}
	}
	caught := map[string]int{}
	for name, logic := range logics {
		o := model.Options{Logic: logic, Properties: []string{"9"}}
		j, err := Of(runs.NewBench(m, o), 0, nil)
		require.NoError(t, err)
		said, err := Letters(j, 1<<30)
		require.NoError(t, err)
		endless, err := j.Endless(&j.Channels[0])
		require.NoError(t, err)
		pairs, err := Pairs(endless, 1<<30)
		require.NoError(t, err)
		if said != "" {
			caught["letters"]++
		}
		if pairs.Wrong != "" {
			caught["pairs"]++
			t.Log(name, pairs.Wrong)
		}
		got := one(t, m, o, "9")
		report, err := verify.Verify(m, o)
		require.NoError(t, err)
		assert.Equal(t, report.Results[0].Verdict, got.Verdict, "%s: %s; jointly: %s", name, report.Results[0].Says, got.Says)
	}
	assert.Equal(t, 2, caught["letters"])
	assert.GreaterOrEqual(t, caught["pairs"], 3)
}
