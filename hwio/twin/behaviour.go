package twin

import (
	"hash/fnv"
	"math/rand/v2"
	"time"

	"ohmgate/hwio/port"
)

// Behaviour is how a line and its devices behave. The zero Behaviour is an ideal line without wire times.
type Behaviour struct {
	// Line gives the wire times; the zero Line means that bytes take no time.
	Line port.Line
	// Turnaround is how long a device thinks before it answers, plus up to Jitter more.
	Turnaround, Jitter time.Duration
	// Seed makes the dice repeatable.
	Seed uint64
	// Out of a thousand:
	LoseQuestion int // not heard, not done
	LoseAnswer   int // done, not answered
	LateAnswer   int // done, answered LateBy later
	FlipBit      int // one bit of the answer flipped
	Noise        int // one to three wild bytes before the answer
	// LateBy is how late a late answer is.
	LateBy time.Duration
	// Echo repeats every byte to its sender, as two-wire adapters do.
	Echo bool
	// Pieces cuts each answer into pieces this long, PieceGap apart; zero: whole.
	Pieces   int
	PieceGap time.Duration
}

// dice are one stream per kind of fault, so that more of one does not move the others.
type dice struct {
	jitter, question, answer, late, flip, noise *rand.Rand
}

func newDice(seed uint64, line string) dice {
	stream := func(kind string) *rand.Rand {
		sum := fnv.New64a()
		_, _ = sum.Write([]byte(line + "/" + kind))
		return rand.New(rand.NewPCG(seed, sum.Sum64()))
	}
	return dice{stream("jitter"), stream("question"), stream("answer"), stream("late"), stream("flip"), stream("noise")}
}

// falls says whether something that happens so often in a thousand happens now.
func falls(r *rand.Rand, perMille int) bool { return perMille > 0 && r.IntN(1000) < perMille }

func (d dice) delay(b Behaviour) time.Duration {
	if b.Jitter <= 0 {
		return b.Turnaround
	}
	return b.Turnaround + time.Duration(d.jitter.Int64N(int64(b.Jitter)))
}

// spoil flips a bit and puts noise in front, where the dice say so.
func (d dice) spoil(b Behaviour, answer []byte) []byte {
	answer = append([]byte(nil), answer...)
	if falls(d.flip, b.FlipBit) && len(answer) > 0 {
		answer[d.flip.IntN(len(answer))] ^= 1 << d.flip.IntN(8)
	}
	if falls(d.noise, b.Noise) {
		wild := make([]byte, 1+d.noise.IntN(3))
		for index := range wild {
			wild[index] = byte(d.noise.IntN(256))
		}
		answer = append(wild, answer...)
	}
	return answer
}
