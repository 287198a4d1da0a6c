package sim

import (
	"math/bits"
	"sync"
)

// Stream is one endless row of random numbers that can be read at any place: a
// key made of a seed and names. Two streams with different names have nothing
// to do with each other, however often either is read.
type Stream uint64

// NewStream is the stream of a seed for a thing and what disturbs it.
func NewStream(seed uint64, names ...string) Stream {
	key := mix(seed + golden)
	for _, name := range names {
		for i := 0; i < len(name); i++ {
			key = (key ^ uint64(name[i])) * 0x100000001b3
		}
		key = mix(key + golden)
	}
	return Stream(key)
}

const golden = 0x9e3779b97f4a7c15

// mix is the finalizer of the SplitMix64 generator: every bit of the input
// moves every bit of the output.
func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// Bits is 64 random bits at a place of the stream.
func (s Stream) Bits(at uint64) uint64 { return mix(uint64(s) + at*golden) }

// Uniform is a number from 0 up to, but not including, 1.
func (s Stream) Uniform(at uint64) float64 { return float64(s.Bits(at)>>11) * (1.0 / (1 << 53)) }

// Below is a whole number from 0 up to, but not including, n.
func (s Stream) Below(at, n uint64) uint64 {
	high, _ := bits.Mul64(s.Bits(at), n)
	return high
}

// Hit is true with the given share.
func (s Stream) Hit(at uint64, share float64) bool { return s.Uniform(at) < share }

// Normal is a number of the normal distribution with deviation 1. It is read
// from a table of quantiles, straight lines between, and ends at 5.2.
func (s Stream) Normal(at uint64) float64 { return normals().at(s.Bits(at)) }

// quantiles tabulates the upper half of the normal distribution: body for all
// of it, tail for what lies in the last step of body, which would otherwise be
// cut off at 3.3 deviations.
type quantiles struct {
	body, tail [quantileSteps + 1]float64
}

const (
	quantileBits  = 10
	quantileSteps = 1 << quantileBits
)

// at turns random bits into a quantile: one bit the sign, ten the step, the
// rest the place within the step.
func (q *quantiles) at(random uint64) float64 {
	step := random >> (63 - quantileBits) & (quantileSteps - 1)
	table, rest := &q.body, random<<(quantileBits+1)
	if step == quantileSteps-1 {
		step = rest >> (64 - quantileBits)
		table, rest = &q.tail, rest<<quantileBits
	}
	share := float64(rest>>12) * (1.0 / (1 << 52))
	low := table[step]
	value := low + float64((table[step+1]-low)*share)
	if random>>63 == 1 {
		return -value
	}
	return value
}

// normals makes the table once. Its values are rounded to 2^-24, far above any
// difference that the last bit of the arithmetic could make.
var normals = sync.OnceValue(func() *quantiles {
	var q quantiles
	x := 0.0
	for i := range q.body {
		x = normalQuantile(x, float64(i)/quantileSteps)
		q.body[i] = onGrid(x)
	}
	x = q.body[quantileSteps-1]
	for i := range q.tail {
		x = normalQuantile(x, 1-float64(quantileSteps-i)/(quantileSteps*quantileSteps))
		q.tail[i] = onGrid(x)
	}
	return &q
})

func onGrid(x float64) float64 { return float64(int64(x*(1<<24)+0.5)) / (1 << 24) }

// normalQuantile finds x so that a share of the normal distribution lies within
// ±x, from a start below it. The share 1 gives the end of the table.
func normalQuantile(start, share float64) float64 {
	const last = 1 - 0.25/(quantileSteps*quantileSteps)
	if share > last {
		share = last
	}
	x := start
	for range 40 {
		sum, density := normalWithin(x)
		move := (share - sum) / density
		x += move
		if move < 1e-9 && move > -1e-9 {
			break
		}
	}
	return x
}

// normalWithin is the share of the normal distribution within ±x, and its
// derivative, from the series x + x³/3 + x⁵/15 + …
func normalWithin(x float64) (share, density float64) {
	const twoOverPiRoot = 0.7978845608028654
	square := float64(x * x)
	density = float64(twoOverPiRoot * expNegative(float64(square*0.5)))
	term, sum := x, x
	for n := 3.0; n < 200; n += 2 {
		term = float64(term*square) / n
		sum += term
		if term < 1e-18 {
			break
		}
	}
	return float64(sum * density), density
}

// expNegative is e^-x without the library's, which differs in its last bits
// from processor to processor.
func expNegative(x float64) float64 {
	halvings := 0
	for ; x > 0.125; halvings++ {
		x *= 0.5
	}
	term, sum := 1.0, 1.0
	for n := 1.0; n < 14; n++ {
		term = float64(term*-x) / n
		sum += term
	}
	for ; halvings > 0; halvings-- {
		sum = float64(sum * sum)
	}
	return sum
}

// sine is sin(2πx) for x in turns, by a series that rounds alike everywhere.
func sine(turns float64) float64 {
	turns -= float64(int64(turns))
	if turns < 0 {
		turns++
	}
	sign := 1.0
	if turns >= 0.5 {
		turns, sign = turns-0.5, -1
	}
	if turns > 0.25 {
		turns = 0.5 - turns
	}
	x := float64(turns * 6.283185307179586)
	square := float64(x * x)
	term, sum := x, x
	for n := 2.0; n < 18; n += 2 {
		term = -float64(term*square) / float64(n*(n+1))
		sum += term
	}
	return float64(sign * sum)
}
