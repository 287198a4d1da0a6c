// Package interval computes with quantities that are known only between two
// ends.
//
// Picture: nobody knows that a drum has 100 pF; somewhere between 50 and 300 pF
// is what can be said. An Interval carries those two ends through a
// calculation, and every operation promises that the true answer, for any
// value between the ends of what went in, lies between the ends of what comes
// out. Rounding always goes outwards: an exact result keeps its exact ends, an
// inexact one is widened to the next float64.
//
// The two classical mistakes are guarded against:
//
//   - Corners are not enough when a function rises and falls again. Enclose finds
//     what lies inside, with a guarantee.
//   - A result may be wider than it need be when one input is used twice (x-x is
//     not 0). It is then still true, only less sharp; write such a formula once
//     and hand it to Apply or Enclose.
//
// Infinity is a legal end. For a leak resistance +Inf means "no leak at all";
// for a time +Inf means "never". There is no empty interval and no NaN: a
// calculation that leaves the real numbers gives an end at infinity, which says
// less, never more, than is known.
//
// Results of transcendental functions may differ in the last digits between
// CPUs; the widening (see Apply) is far larger than that difference.
package interval

import (
	"encoding/json"
	"fmt"
	"math"
)

// Interval is every number from Lo to Hi, both included. Lo <= Hi, never NaN.
// The zero value is the single number 0. Build one with New, Between or Point.
type Interval struct {
	Lo, Hi float64
}

// New makes the interval from lo to hi. It refuses NaN and ends in the wrong order.
func New(lo, hi float64) (Interval, error) {
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return Interval{}, fmt.Errorf("interval %v..%v: an end is not a number", lo, hi)
	}
	if lo > hi {
		return Interval{}, fmt.Errorf("interval %v..%v: the first end is above the second; write %v..%v", lo, hi, hi, lo)
	}
	return Interval{Lo: lo, Hi: hi}, nil
}

// Between is New for constants in source code; a wrong one is a programming
// error and panics.
func Between(lo, hi float64) Interval {
	x, err := New(lo, hi)
	if err != nil {
		panic(err)
	}
	return x
}

// Point is the interval that holds only x. NaN means "nothing is known" and
// gives Whole.
func Point(x float64) Interval { return outward(x, x) }

// Whole is the interval of which nothing is known.
func Whole() Interval { return Interval{Lo: math.Inf(-1), Hi: math.Inf(1)} }

// outward builds a result of arithmetic: an end that is NaN is moved to infinity.
func outward(lo, hi float64) Interval {
	if math.IsNaN(lo) {
		lo = math.Inf(-1)
	}
	if math.IsNaN(hi) {
		hi = math.Inf(1)
	}
	return Interval{Lo: lo, Hi: hi}
}

// Contains reports whether v lies in x.
func (x Interval) Contains(v float64) bool { return x.Lo <= v && v <= x.Hi }

// Encloses reports whether all of y lies in x.
func (x Interval) Encloses(y Interval) bool { return x.Lo <= y.Lo && y.Hi <= x.Hi }

// IsPoint reports whether x holds one number only.
func (x Interval) IsPoint() bool { return x.Lo == x.Hi }

// Valid reports whether x keeps the invariant; a hand-made literal may not.
func (x Interval) Valid() bool { return x.Lo <= x.Hi }

// Finite reports whether both ends are finite.
func (x Interval) Finite() bool { return !math.IsInf(x.Lo, 0) && !math.IsInf(x.Hi, 0) }

// Hull is the smallest interval that holds x and y.
func (x Interval) Hull(y Interval) Interval {
	return Interval{Lo: math.Min(x.Lo, y.Lo), Hi: math.Max(x.Hi, y.Hi)}
}

// Intersect is what x and y have in common, and whether there is anything.
func (x Interval) Intersect(y Interval) (Interval, bool) {
	lo, hi := math.Max(x.Lo, y.Lo), math.Min(x.Hi, y.Hi)
	if lo > hi {
		return Interval{}, false
	}
	return Interval{Lo: lo, Hi: hi}, true
}

// Decades is the width of a positive interval in powers of ten; +Inf when it
// touches zero or infinity, 0 for a point. It ranks inputs by what not knowing
// them costs.
func (x Interval) Decades() float64 {
	if x.IsPoint() {
		return 0
	}
	if x.Lo <= 0 || math.IsInf(x.Hi, 1) {
		return math.Inf(1)
	}
	return math.Log10(x.Hi) - math.Log10(x.Lo)
}

// Middle is a number inside x to calculate one example with: the geometric
// middle of a positive interval, else the arithmetic one. An infinite end
// gives the other end, or 0 when both are infinite.
func (x Interval) Middle() float64 {
	loInf, hiInf := math.IsInf(x.Lo, 0), math.IsInf(x.Hi, 0)
	switch {
	case x.IsPoint():
		return x.Lo
	case loInf && hiInf:
		return 0
	case hiInf:
		return x.Lo
	case loInf:
		return x.Hi
	case x.Lo > 0:
		return x.clamp(math.Sqrt(x.Lo) * math.Sqrt(x.Hi))
	default:
		return x.clamp(x.Lo/2 + x.Hi/2)
	}
}

func (x Interval) clamp(v float64) float64 { return math.Min(math.Max(v, x.Lo), x.Hi) }

// jsonEnds is the wire form. JSON has no infinity, so an infinite end is text.
type jsonEnds struct {
	Lo any `json:"lo"`
	Hi any `json:"hi"`
}

// MarshalJSON writes {"lo":..,"hi":..}; an infinite end is "inf" or "-inf".
func (x Interval) MarshalJSON() ([]byte, error) {
	return json.Marshal(jsonEnds{Lo: jsonEnd(x.Lo), Hi: jsonEnd(x.Hi)})
}

func jsonEnd(v float64) any {
	switch {
	case math.IsInf(v, 1):
		return "inf"
	case math.IsInf(v, -1):
		return "-inf"
	default:
		return v
	}
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (x *Interval) UnmarshalJSON(data []byte) error {
	var ends jsonEnds
	if err := json.Unmarshal(data, &ends); err != nil {
		return err
	}
	lo, err := endFromJSON(ends.Lo)
	if err != nil {
		return err
	}
	hi, err := endFromJSON(ends.Hi)
	if err != nil {
		return err
	}
	*x, err = New(lo, hi)
	return err
}

func endFromJSON(v any) (float64, error) {
	switch v := v.(type) {
	case float64:
		return v, nil
	case string:
		if v == "inf" {
			return math.Inf(1), nil
		}
		if v == "-inf" {
			return math.Inf(-1), nil
		}
	}
	return 0, fmt.Errorf("end of an interval %v: write a number, \"inf\" or \"-inf\"", v)
}
