package interval

import (
	"container/heap"
	"math"
)

// Inclusion maps an interval to bounds of a function over it: any bounds that
// hold and that close in as the interval shrinks. At a point they are as wide as
// everything else that the function depends on makes them.
type Inclusion func(Interval) Interval

// Enclose bounds a function over x by splitting x where the bounds are worst
// (branch and bound). The bounds hold in every case, also when the search is
// cut off. It splits until no end can be drawn in by more than the relative
// tolerance (it is compared with the bounds at single points), or the budget of
// cells per end is spent; tight tells which.
func Enclose(f Inclusion, x Interval, tolerance float64, budget int) (bounds Interval, tight bool) {
	lo, tightLo := EncloseLo(f, x, tolerance, budget)
	hi, tightHi := EncloseHi(f, x, tolerance, budget)
	return outward(lo, hi), tightHi && tightLo
}

// EncloseHi is the upper end of Enclose alone.
func EncloseHi(f Inclusion, x Interval, tolerance float64, budget int) (hi float64, tight bool) {
	return upperBound(f, x, tolerance, budget)
}

// EncloseLo is the lower end of Enclose alone.
func EncloseLo(f Inclusion, x Interval, tolerance float64, budget int) (lo float64, tight bool) {
	hi, tight := upperBound(func(y Interval) Interval { return f(y).Neg() }, x, tolerance, budget)
	return -hi, tight
}

type cell struct {
	at    Interval
	bound float64 // nothing in the cell is above this
}

// cells is a heap with the largest bound on top.
type cells []cell

func (c cells) Len() int           { return len(c) }
func (c cells) Less(i, j int) bool { return c[i].bound > c[j].bound }
func (c cells) Swap(i, j int)      { c[i], c[j] = c[j], c[i] }
func (c *cells) Push(v any)        { *c = append(*c, v.(cell)) }
func (c *cells) Pop() any {
	old := *c
	last := old[len(old)-1]
	*c = old[:len(old)-1]
	return last
}

// upperBound returns a number that the function does not exceed on x. Invariant:
// the least upper bound that splitting x can give lies between seen, the bound at
// some point, and the top's bound.
func upperBound(f Inclusion, x Interval, tolerance float64, budget int) (float64, bool) {
	open := &cells{{at: x, bound: f(x).Hi}}
	seen := math.Max(f(Point(x.Lo)).Hi, f(Point(x.Hi)).Hi)
	for range budget {
		top := (*open)[0]
		if top.bound-seen <= tolerance*math.Abs(top.bound) || top.bound == seen {
			return top.bound, true
		}
		middle, ok := split(top.at)
		if !ok {
			return top.bound, false
		}
		seen = math.Max(seen, f(Point(middle)).Hi)
		heap.Pop(open)
		for _, half := range [2]Interval{{top.at.Lo, middle}, {middle, top.at.Hi}} {
			// A half cannot exceed its parent, whatever its own bounds say.
			heap.Push(open, cell{at: half, bound: math.Min(f(half).Hi, top.bound)})
		}
	}
	return (*open)[0].bound, false
}

// split finds a number strictly inside x: by ratio for positive numbers, whose
// decades matter here, else half-way.
func split(x Interval) (float64, bool) {
	lo, hi := math.Max(x.Lo, -math.MaxFloat64), math.Min(x.Hi, math.MaxFloat64)
	middle := lo/2 + hi/2
	if lo > 0 {
		middle = math.Sqrt(lo) * math.Sqrt(hi)
	}
	return middle, lo < middle && middle < hi
}

// goldenRatio is the share of the bracket kept at each step of Minimum.
const goldenRatio = 0.6180339887498949

// Minimum finds where a function that falls and then rises is least, by golden
// section (by ratio when x is positive). It is an estimate from inside: the
// true minimum is at most the value returned, and the place is good to about
// 1e-8 of x. Use Enclose where a guarantee is needed. x must be finite.
func Minimum(f func(float64) float64, x Interval) (at, value float64) {
	to, from := func(v float64) float64 { return v }, func(v float64) float64 { return v }
	if x.Lo > 0 {
		to, from = math.Log, math.Exp
	}
	a, b := to(x.Lo), to(x.Hi)
	left, right := b-goldenRatio*(b-a), a+goldenRatio*(b-a)
	atLeft, atRight := f(from(left)), f(from(right))
	for range 80 {
		if atLeft <= atRight {
			b, right, atRight = right, left, atLeft
			left = b - goldenRatio*(b-a)
			atLeft = f(from(left))
		} else {
			a, left, atLeft = left, right, atRight
			right = a + goldenRatio*(b-a)
			atRight = f(from(right))
		}
	}
	at, value = x.clamp(from((a+b)/2)), math.Inf(1)
	for _, candidate := range [3]float64{at, x.Lo, x.Hi} {
		if v := f(candidate); v < value {
			at, value = candidate, v
		}
	}
	return at, value
}

// Maximum is Minimum for a function that rises and then falls.
func Maximum(f func(float64) float64, x Interval) (at, value float64) {
	at, value = Minimum(func(v float64) float64 { return -f(v) }, x)
	return at, -value
}

// Crossing finds where a monotone function passes the target inside x, by
// halving (by ratio when x is positive). ok is false when it does not pass
// inside x. The answer is good to about 1e-12 of its value.
func Crossing(f func(float64) float64, target float64, x Interval) (at float64, ok bool) {
	lo, hi := x.Lo, x.Hi
	belowAtLo := f(lo) < target
	if belowAtLo == (f(hi) < target) {
		return 0, false
	}
	for range 2100 { // more than the bits of any float64 bracket
		middle, inside := split(Interval{Lo: lo, Hi: hi})
		if !inside || hi-lo <= 1e-12*math.Max(math.Abs(lo), math.Abs(hi)) {
			break
		}
		if (f(middle) < target) == belowAtLo {
			lo = middle
		} else {
			hi = middle
		}
	}
	return lo, true
}
