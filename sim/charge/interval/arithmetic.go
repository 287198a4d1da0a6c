package interval

import "math"

// Add is x+y.
func (x Interval) Add(y Interval) Interval {
	lo, _ := sum(x.Lo, y.Lo)
	_, hi := sum(x.Hi, y.Hi)
	return outward(lo, hi)
}

// Neg is -x.
func (x Interval) Neg() Interval { return Interval{Lo: -x.Hi, Hi: -x.Lo} }

// Sub is x-y.
func (x Interval) Sub(y Interval) Interval { return x.Add(y.Neg()) }

// Mul is x*y; 0 times infinity counts as 0.
func (x Interval) Mul(y Interval) Interval {
	return corners(x, y, product)
}

// Scale is x times the exact number k.
func (x Interval) Scale(k float64) Interval { return x.Mul(Point(k)) }

// Div is x/y. A y that reaches down to 0 is taken as its limit from above (and
// one that reaches up to 0 as the limit from below), because the divisors here
// are magnitudes: a positive x over 0..h reaches +Inf. A y with 0 strictly
// inside, or 0/0, gives Whole.
func (x Interval) Div(y Interval) Interval {
	switch {
	case y.Lo < 0 && y.Hi > 0:
		return Whole()
	case y.Lo == 0:
		return x.overMagnitude(y.Hi)
	case y.Hi == 0:
		return x.Neg().overMagnitude(-y.Lo)
	}
	return corners(x, y, quotient)
}

// overMagnitude divides by the interval 0..h.
func (x Interval) overMagnitude(h float64) Interval {
	if x.Lo < 0 && x.Hi > 0 || x.Lo == 0 && x.Hi == 0 && h == 0 {
		return Whole()
	}
	if x.Hi <= 0 && x.Lo < 0 {
		return x.Neg().overMagnitude(h).Neg()
	}
	result := Interval{Lo: math.Inf(1), Hi: math.Inf(1)}
	if h > 0 {
		result.Lo, _ = quotient(x.Lo, h)
	} else if x.Lo == 0 {
		result.Lo = 0
	}
	if x.Hi == 0 {
		result.Hi = 0
	}
	return result
}

// corners applies a bracketed operation that is monotone in each operand.
func corners(x, y Interval, op func(a, b float64) (float64, float64)) Interval {
	lo, hi := op(x.Lo, y.Lo)
	for _, pair := range [3][2]float64{{x.Lo, y.Hi}, {x.Hi, y.Lo}, {x.Hi, y.Hi}} {
		l, h := op(pair[0], pair[1])
		lo, hi = math.Min(lo, l), math.Max(hi, h)
	}
	return outward(lo, hi)
}

// Abs is the magnitude of x.
func (x Interval) Abs() Interval {
	switch {
	case x.Lo >= 0:
		return x
	case x.Hi <= 0:
		return x.Neg()
	default:
		return Interval{Lo: 0, Hi: math.Max(-x.Lo, x.Hi)}
	}
}

// Square is x*x, which is sharper than x.Mul(x) when x reaches below 0.
func (x Interval) Square() Interval {
	a := x.Abs()
	lo, _ := product(a.Lo, a.Lo)
	_, hi := product(a.Hi, a.Hi)
	return Interval{Lo: math.Max(0, lo), Hi: hi}
}

// Sqrt is the square root of the part of x that is not negative; an x wholly
// below 0 gives Whole.
func (x Interval) Sqrt() Interval {
	if x.Hi < 0 {
		return Whole()
	}
	lo, _ := root(math.Max(0, x.Lo))
	_, hi := root(x.Hi)
	return Interval{Lo: lo, Hi: hi}
}

// Min is the smaller of x and y, for every choice of both.
func (x Interval) Min(y Interval) Interval {
	return Interval{Lo: math.Min(x.Lo, y.Lo), Hi: math.Min(x.Hi, y.Hi)}
}

// Max is the larger of x and y, for every choice of both.
func (x Interval) Max(y Interval) Interval {
	return Interval{Lo: math.Max(x.Lo, y.Lo), Hi: math.Max(x.Hi, y.Hi)}
}
