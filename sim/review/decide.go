package review

import "ohmgate/interlock"

// wish is what an expression should come to.
type wish struct {
	of   interlock.Permissive
	true bool
}

// searchLimit bounds a search; an expression beyond it is told as undecided.
const searchLimit = 200_000

// possible reports whether some values of the causes fulfil all wishes. It tries
// the causes one after the other and lets three-valued logic cut what cannot
// succeed any more. decided is false where it gave up.
func possible(wishes ...wish) (can, decided bool) {
	var causes []int
	listed := map[int]bool{}
	for _, w := range wishes {
		for i := range w.of {
			if n := &w.of[i]; n.Op == interlock.OpCause && !listed[n.Cause] {
				listed[n.Cause] = true
				causes = append(causes, n.Cause)
			}
		}
	}
	size := 1
	for _, c := range causes {
		size = max(size, c+1)
	}
	try := attempt{wishes: wishes, causes: causes, value: make([]interlock.Truth, size), left: searchLimit}
	can = try.from(0)
	return can, can || try.left > 0
}

type attempt struct {
	wishes []wish
	causes []int
	value  []interlock.Truth
	left   int
}

// from tries all values of the causes from number i on; earlier ones stand.
func (a *attempt) from(i int) bool {
	if a.left--; a.left <= 0 {
		return false
	}
	open := false
	for _, w := range a.wishes {
		want := interlock.False
		if w.true {
			want = interlock.True
		}
		switch w.of.Eval(a.value) {
		case want:
		case interlock.Unknown:
			open = true
		default:
			return false
		}
	}
	if !open {
		return true
	}
	if i == len(a.causes) {
		return false // an empty expression stays unknown for ever
	}
	for _, v := range [...]interlock.Truth{interlock.True, interlock.False} {
		a.value[a.causes[i]] = v
		if a.from(i + 1) {
			return true
		}
	}
	a.value[a.causes[i]] = interlock.Unknown
	return false
}
