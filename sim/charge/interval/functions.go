package interval

import "math"

// libraryUlps is how many float64 steps a function of package math is
// distrusted by. Its documentation claims less than one for those used here.
const libraryUlps = 4

// relativeSlack is what Apply widens by: a formula of some tens of
// well-conditioned operations is correct to about 1e-14 of its value.
const relativeSlack = 1e-12

// Exp is e to the x.
func (x Interval) Exp() Interval {
	y := x.library(math.Exp, 0, math.Inf(1))
	if math.IsInf(y.Lo, 1) && !math.IsInf(x.Lo, 1) {
		y.Lo = math.MaxFloat64 // overflow: the truth is finite
	}
	if y.Hi == 0 && !math.IsInf(x.Hi, -1) {
		y.Hi = math.SmallestNonzeroFloat64 // underflow: the truth is above 0
	}
	return y
}

// Expm1 is e to the x, minus 1, accurate near 0.
func (x Interval) Expm1() Interval { return x.library(math.Expm1, -1, math.Inf(1)) }

// Log is the natural logarithm; arguments below 0 are cut off, 0 gives -Inf.
func (x Interval) Log() Interval {
	if x.Hi < 0 {
		return Whole()
	}
	return x.Max(Point(0)).library(math.Log, math.Inf(-1), math.Inf(1))
}

// Log1p is the natural logarithm of 1+x, accurate near 0; arguments below -1 are cut off.
func (x Interval) Log1p() Interval {
	if x.Hi < -1 {
		return Whole()
	}
	return x.Max(Point(-1)).library(math.Log1p, math.Inf(-1), math.Inf(1))
}

// library applies a rising function of package math whose values stay in least..most.
func (x Interval) library(f func(float64) float64, least, most float64) Interval {
	lo, hi := f(x.Lo), f(x.Hi)
	for range libraryUlps {
		lo, hi = stepUnlessExact(lo, math.Inf(-1)), stepUnlessExact(hi, math.Inf(1))
	}
	return outward(math.Max(lo, least), math.Min(hi, most))
}

// stepUnlessExact moves one step; infinities are limits, and 0 is where these
// functions are exact (log 1, expm1 0).
func stepUnlessExact(v, towards float64) float64 {
	if v == 0 || math.IsInf(v, 0) {
		return v
	}
	return math.Nextafter(v, towards)
}

// Widen moves both ends outwards by a relative amount. 0 and infinity stay.
func (x Interval) Widen(relative float64) Interval {
	lo := x.Lo - math.Abs(x.Lo)*relative
	hi := x.Hi + math.Abs(x.Hi)*relative
	if math.IsInf(x.Lo, 0) {
		lo = x.Lo
	}
	if math.IsInf(x.Hi, 0) {
		hi = x.Hi
	}
	return outward(lo, hi)
}

// Argument is an input of a function together with how the function follows it.
type Argument struct {
	of     Interval
	rising bool
}

// Rising says: more of x never makes the result smaller.
func Rising(x Interval) Argument { return Argument{of: x, rising: true} }

// Falling says: more of x never makes the result larger.
func Falling(x Interval) Argument { return Argument{of: x} }

// Apply is the range of a function that is monotone in each argument, all the
// others held anywhere in their intervals. f is called twice, at the two
// corners that matter. The result is widened by 1e-12 of its value, so f must
// be computed at least that well (write it without differences of nearly equal
// numbers) and must give limits, not NaN, at infinite ends; NaN says "nothing
// known".
func Apply(f func(at ...float64) float64, arguments ...Argument) Interval {
	least := make([]float64, len(arguments))
	most := make([]float64, len(arguments))
	for i, a := range arguments {
		least[i], most[i] = a.of.Lo, a.of.Hi
		if !a.rising {
			least[i], most[i] = most[i], least[i]
		}
	}
	return outward(f(least...), f(most...)).Widen(relativeSlack)
}
