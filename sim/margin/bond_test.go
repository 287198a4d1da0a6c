package margin

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
)

const fewCauses = 5

// drawn is a random permissive over a few causes.
func drawn(t *rapid.T, name string) interlock.Permissive {
	var p interlock.Permissive
	for cause := range fewCauses {
		p = append(p, interlock.Node{Op: interlock.OpCause, Cause: cause})
	}
	for i := range rapid.IntRange(1, 6).Draw(t, name+" nodes") {
		pick := func() int { return rapid.IntRange(0, fewCauses+i-1).Draw(t, name+" argument") }
		switch rapid.IntRange(0, 4).Draw(t, name+" operator") {
		case 0:
			p = append(p, interlock.Node{Op: interlock.OpNot, Args: []int{pick()}})
		case 1:
			p = append(p, interlock.Node{Op: interlock.OpXor, Args: []int{pick(), pick()}})
		case 2:
			p = append(p, interlock.Node{Op: interlock.OpOr, Args: []int{pick(), pick()}})
		case 3:
			p = append(p, interlock.Node{Op: interlock.OpVote, M: 2, Args: []int{pick(), pick(), pick()}})
		default:
			p = append(p, interlock.Node{Op: interlock.OpAnd, Args: []int{pick(), pick()}})
		}
	}
	return p
}

// The search for a case without the bond against looking at all cases.
func TestSearchAgainstAllCases(t *testing.T) {
	b := &bench{site: &site.Site{Inputs: make([]site.Input, fewCauses)}}
	rapid.Check(t, func(t *rapid.T) {
		all := []interlock.Permissive{drawn(t, "a"), drawn(t, "b")}
		bond := drawn(t, "bond")
		exists := false
		for bits := range 1 << fewCauses {
			values := make([]interlock.Truth, fewCauses)
			for i := range values {
				values[i] = interlock.False
				if bits>>i&1 == 1 {
					values[i] = interlock.True
				}
			}
			if all[0].Eval(values) == interlock.True && all[1].Eval(values) == interlock.True && bond.Eval(values) != interlock.True {
				exists = true
			}
		}
		s := b.search(all, bond, nil)
		got := s.run()
		if exists != (got == found) || got == cutOff {
			t.Fatalf("all cases say %v, the search %v", exists, got)
		}
		if got == found && (all[0].Eval(s.values) != interlock.True || all[1].Eval(s.values) != interlock.True || bond.Eval(s.values) == interlock.True) {
			t.Fatal("the example is none")
		}
	})
}

// A permissive with too many cases is not decided rather than guessed.
func TestSearchGivesUpHonestly(t *testing.T) {
	s := &search{values: make([]interlock.Truth, 64)}
	var p interlock.Permissive
	for cause := range 64 {
		p = append(p, interlock.Node{Op: interlock.OpCause, Cause: cause})
		s.order = append(s.order, cause)
	}
	last := 0
	for cause := 1; cause < 64; cause++ {
		p = append(p, interlock.Node{Op: interlock.OpXor, Args: []int{last, cause}})
		last = len(p) - 1
	}
	no := append(append(interlock.Permissive{}, p...), interlock.Node{Op: interlock.OpNot, Args: []int{last}})
	s.all = []interlock.Permissive{p, no}
	assert.Equal(t, cutOff, s.run())
}

// Redundant clamps: the loss is the loss of all of them; one that is left keeps
// the stream running rightly.
func TestEitherClampWillDo(t *testing.T) {
	s := read(t, "hazel_works.yaml")
	l := lineOf(t, studied(t, s), "tub_2")
	require.Len(t, l.Channels, 2)
	assert.Contains(t, l.Start.Why, " OR ")
	assert.NotEmpty(t, l.Loss.Stops)
	assert.Len(t, l.Loss.Classes, 4, "one row a class: the slowest channel's")
}
