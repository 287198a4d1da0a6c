package model

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
)

// randomPermissive is an expression over so many causes, each named once or more.
func randomPermissive(r *rand.Rand, causes int) interlock.Permissive {
	var p interlock.Permissive
	var tops []int
	for cause := range causes {
		p, tops = append(p, interlock.Node{Op: interlock.OpCause, Cause: cause}), append(tops, cause)
	}
	for len(tops) > 1 || r.IntN(3) == 0 {
		r.Shuffle(len(tops), func(i, j int) { tops[i], tops[j] = tops[j], tops[i] })
		take := min(len(tops), 1+r.IntN(3))
		n := interlock.Node{Op: interlock.OpNot, Args: slices.Clone(tops[:1])}
		if take > 1 {
			n = interlock.Node{Op: []interlock.Op{interlock.OpAnd, interlock.OpOr, interlock.OpXor, interlock.OpVote}[r.IntN(4)], Args: slices.Clone(tops[:take])}
			if n.Op == interlock.OpVote {
				n.M = 1 + r.IntN(take)
			}
		}
		p, tops = append(p, n), append(tops[len(n.Args):], len(p))
	}
	return p
}

// within says that one of the sets lies within another one.
func (l Cuts) within(set []int) bool {
	return slices.ContainsFunc(l, func(one []int) bool {
		return !slices.ContainsFunc(one, func(cause int) bool { return !slices.Contains(set, cause) })
	})
}

// The sets that are worked out node by node are those that trying every set of
// causes finds.
func TestCutSetsAreThoseThatTryingFinds(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 1))
	sizes := map[int]int{}
	for range 1000 {
		causes := 1 + r.IntN(6)
		p := randomPermissive(r, causes)
		var want Cuts
		for size := range causes + 1 {
			for set := range 1 << causes {
				var list []int
				for cause := range causes {
					if set>>cause&1 == 1 {
						list = append(list, cause)
					}
				}
				if len(list) == size && IsCut(p, list...) && !want.within(list) {
					want = append(want, list)
				}
			}
		}
		got, all := AllCutSets(p)
		require.True(t, all)
		slices.SortFunc(want, slices.Compare)
		sorted := slices.Clone(got)
		slices.SortFunc(sorted, slices.Compare)
		require.Equal(t, fmt.Sprint(want), fmt.Sprint(sorted), "%+v", p)
		for _, set := range got {
			sizes[len(set)]++
		}
	}
	require.Greater(t, sizes[4]+sizes[5]+sizes[6], 100, "no large set was met: %v", sizes)
}

// A vote of 8 out of 16 has more sets than are worked out, and that is said.
func TestTooManyCutSetsAreSaid(t *testing.T) {
	vote := func(m, of int) interlock.Permissive {
		var p interlock.Permissive
		n := interlock.Node{Op: interlock.OpVote, M: m}
		for cause := range of {
			p, n.Args = append(p, interlock.Node{Op: interlock.OpCause, Cause: cause}), append(n.Args, cause)
		}
		return append(p, n)
	}
	sets, all := AllCutSets(vote(8, 16))
	require.False(t, all)
	require.Len(t, sets, MaxCuts)
	sets, all = AllCutSets(vote(1, 64)) // an OR
	require.True(t, all)
	require.Len(t, sets, 1)
	sets, all = AllCutSets(vote(62, 64))
	require.False(t, all, "41,664 sets of three")
	require.NotEmpty(t, sets)
	sets, all = AllCutSets(vote(63, 64))
	require.False(t, all, "2,016 pairs")
	require.NotEmpty(t, sets)
	sets, all = AllCutSets(vote(64, 64)) // an AND
	require.True(t, all)
	require.Len(t, sets, 64)
}
