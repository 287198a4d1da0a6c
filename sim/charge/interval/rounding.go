package interval

import "math"

// Directed rounding without touching the CPU's rounding mode: the operation is
// done to nearest, its exact error is recovered (TwoSum for sums, math.FMA for
// products, quotients and roots), and the result moves one float64 down or up
// only when the error says that it must. An exact result stays exact.

// tiny is the magnitude below which the recovered error may itself underflow;
// results under it are always widened. 2^-960 leaves room for 53+53 bits.
var tiny = math.Ldexp(1, -960)

func below(x float64) float64 { return math.Nextafter(x, math.Inf(-1)) }
func above(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }

// settle turns a rounded result and its error (true minus rounded) into a pair
// (lower, upper) that brackets the truth. An overflow of finite operands is
// bracketed by the largest float64 and infinity.
func settle(rounded, remainder float64, finiteOperands bool) (float64, float64) {
	if math.IsInf(rounded, 0) {
		switch {
		case !finiteOperands:
			return rounded, rounded
		case rounded > 0:
			return math.MaxFloat64, rounded
		default:
			return rounded, -math.MaxFloat64
		}
	}
	switch {
	case remainder == 0:
		return rounded, rounded
	case remainder > 0:
		return rounded, above(rounded)
	case remainder < 0:
		return below(rounded), rounded
	default: // NaN: the error could not be recovered
		return below(rounded), above(rounded)
	}
}

func finite(a, b float64) bool { return !math.IsInf(a, 0) && !math.IsInf(b, 0) }

// sum brackets a+b. Inf-Inf gives the whole line.
func sum(a, b float64) (float64, float64) {
	s := a + b
	if math.IsNaN(s) {
		return math.Inf(-1), math.Inf(1)
	}
	part := s - a
	return settle(s, (a-(s-part))+(b-part), finite(a, b))
}

// product brackets a*b. 0*Inf is 0: the infinite end is a limit, and nothing
// times anything is nothing.
func product(a, b float64) (float64, float64) {
	if a == 0 || b == 0 {
		return 0, 0
	}
	p := a * b
	if math.Abs(p) < tiny {
		return below(p), above(p)
	}
	return settle(p, math.FMA(a, b, -p), finite(a, b))
}

// quotient brackets a/b for b != 0. Inf/Inf gives everything of its sign.
func quotient(a, b float64) (float64, float64) {
	if a == 0 {
		return 0, 0
	}
	if math.IsInf(a, 0) && math.IsInf(b, 0) {
		if math.Signbit(a) == math.Signbit(b) {
			return 0, math.Inf(1)
		}
		return math.Inf(-1), 0
	}
	q := a / b
	if math.IsInf(b, 0) {
		return 0, 0
	}
	if math.Abs(q) < tiny || math.Abs(a) < tiny {
		return below(q), above(q)
	}
	remainder := -math.FMA(q, b, -a)
	if math.Signbit(b) {
		remainder = -remainder
	}
	return settle(q, remainder, finite(a, b))
}

// root brackets the square root of a >= 0.
func root(a float64) (float64, float64) {
	s := math.Sqrt(a)
	if math.IsInf(s, 1) || s == 0 {
		return s, s
	}
	if a < tiny {
		return math.Max(0, below(s)), above(s)
	}
	return settle(s, -math.FMA(s, s, -a), true)
}
