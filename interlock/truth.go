package interlock

import "math/bits"

// Truth is one of three values. Unknown is the zero value and never helps.
type Truth int8

const (
	False   Truth = -1
	Unknown Truth = 0
	True    Truth = 1
)

// Kleene's strong three-valued logic; with these numbers AND is the minimum,
// OR the maximum and NOT the negation.
func (t Truth) not() Truth { return -t }

func (t Truth) String() string {
	switch t {
	case True:
		return "true"
	case False:
		return "false"
	}
	return "unknown"
}

func truthOf(b bool) Truth {
	if b {
		return True
	}
	return False
}

// Limits of one site. They bound the sets below; the site file is refused
// beyond them.
const (
	MaxChannels = 128
	MaxInputs   = 384
	MaxOutputs  = 64
	MaxCauses   = MaxChannels + MaxInputs
)

// CauseSet is a set of causes by number: the channels come first, then the
// inputs. Comparable, and its zero value is empty.
type CauseSet [MaxCauses / 64]uint64

// Add puts a cause into the set.
func (s *CauseSet) Add(cause int) { s[cause/64] |= 1 << (cause % 64) }

// Has reports whether a cause is in the set.
func (s *CauseSet) Has(cause int) bool { return s[cause/64]>>(cause%64)&1 == 1 }

// has is Has for a number that may be no cause at all.
func (s *CauseSet) has(cause int) bool { return cause >= 0 && cause < MaxCauses && s.Has(cause) }

// Len is the number of causes in the set.
func (s *CauseSet) Len() int {
	n := 0
	for _, word := range s {
		n += bits.OnesCount64(word)
	}
	return n
}

// Each calls f for every cause in rising order.
func (s *CauseSet) Each(f func(cause int)) {
	for i, word := range s {
		for ; word != 0; word &= word - 1 {
			f(i*64 + bits.TrailingZeros64(word))
		}
	}
}

// CoilSet is the set of outputs that are energised. The zero value stops all.
type CoilSet uint64

// Energised reports whether output i may run.
func (c CoilSet) Energised(i int) bool { return i >= 0 && i < MaxOutputs && c>>i&1 == 1 }
