package charge

import (
	"fmt"
	"math"

	"ohmgate/sim/charge/interval"
)

// Shape is how a flow dies away once the actuator has begun to move.
type Shape uint8

// The zero value is the worst, and the default when nothing is known.
const (
	// FullUntilConfirmed: the whole current until the end position is reported.
	FullUntilConfirmed Shape = iota
	// Linear: velocity falls in proportion to time, to nothing at Travel.
	Linear
	// FirstOrder: velocity falls as exp(-t/TimeConstant); taken as stopped at Travel.
	FirstOrder
	// Reciprocal: velocity falls as 1/(1+t/TimeConstant), as a coasting rotor does;
	// taken as stopped at Travel.
	Reciprocal
)

var shapeNames = [...]string{"full until confirmed", "linear", "first order", "reciprocal"}

func (s Shape) String() string { return shapeNames[min(int(s), len(shapeNames)-1)] }

// Law is how the current follows the velocity. The zero value is the worse one.
type Law uint8

const (
	// CurrentAsVelocity: I ~ v; powders, and a cautious choice for liquids.
	CurrentAsVelocity Law = iota
	// CurrentAsSquare: I ~ v², as the streaming current of liquids.
	CurrentAsSquare
)

func (l Law) String() string {
	if l == CurrentAsSquare {
		return "I ~ v²"
	}
	return "I ~ v"
}

func (l Law) power() float64 {
	if l == CurrentAsSquare {
		return 2
	}
	return 1
}

// RunDown is what happens to the flow after the bond is lost: first the full
// current for Delay (sampling, patience or worst detection, scan, output, dead
// time of the valve), then Shape for Travel. All in s.
type RunDown struct {
	Delay        interval.Interval
	Shape        Shape
	Law          Law
	Travel       interval.Interval // from first movement to confirmed end, or the cap of a tail
	TimeConstant interval.Interval // of FirstOrder and Reciprocal
}

// TravelDefault is the travel time in s to assume of a valve until it has been
// measured: 1 s per inch of bore (m).
func TravelDefault(bore float64) Fact {
	const inch = 0.0254
	return Fact{Name: "valve travel, 1 s per inch", Value: interval.Point(bore / inch), Unit: "s",
		Source: sourcePractice, Confidence: FromMemory, Note: "until measured"}
}

// Check refuses what cannot be evaluated. Times must be finite: an end of flow
// that nobody confirms needs a declared longest run-down.
func (r RunDown) Check() error {
	err := firstError(
		checkMagnitude("delay", "s", r.Delay, true, false),
		checkMagnitude("travel or longest run-down", "s", r.Travel, true, false))
	if err != nil {
		return err
	}
	if r.Shape > Reciprocal {
		return fmt.Errorf("run-down shape %d is not known", r.Shape)
	}
	if r.Shape == FirstOrder || r.Shape == Reciprocal {
		return checkMagnitude("time constant of the run-down", "s", r.TimeConstant, false, false)
	}
	return nil
}

// End is the time in s from the loss to the confirmed end of flow.
func (r RunDown) End() interval.Interval { return r.Delay.Add(r.Travel) }

// Delivered is the charge in C that a full current (A) still brings from the loss
// to the end of flow, on top of nothing and without a leak. Closed forms, with T
// = Travel and τ = TimeConstant:
//
//	full         I0 (D + T)
//	linear       I0 (D + T/2) for I ~ v, I0 (D + T/3) for I ~ v²
//	first order  I0 (D + (τ/n)(1-exp(-nT/τ))), n the power of v
//	reciprocal   I0 (D + τ ln(1+T/τ)) for I ~ v, I0 (D + Tτ/(T+τ)) for I ~ v²
//
// The reciprocal I ~ v tail diverges without the cap T.
func (r RunDown) Delivered(current interval.Interval) interval.Interval {
	f := func(at ...float64) float64 {
		course := course{shape: r.Shape, power: r.Law.power(), delay: at[1], travel: at[2], tau: at[3]}
		return at[0] * course.delivered(course.end())
	}
	return interval.Apply(f, interval.Rising(current), interval.Rising(r.Delay),
		interval.Rising(r.Travel), interval.Rising(r.TimeConstant))
}

// Factor is the current at time t (s) after the loss as a share of the full
// current, for the longest (upper end) and shortest (lower end) run-down.
func (r RunDown) Factor(t float64) interval.Interval {
	return interval.Interval{Lo: r.course(false).factor(t), Hi: r.course(true).factor(t)}
}

// course picks the longest or the shortest run-down.
func (r RunDown) course(longest bool) course {
	if longest {
		return course{r.Shape, r.Law.power(), r.Delay.Hi, r.Travel.Hi, r.TimeConstant.Hi}
	}
	return course{r.Shape, r.Law.power(), r.Delay.Lo, r.Travel.Lo, r.TimeConstant.Lo}
}

// course is one run-down with definite numbers.
type course struct {
	shape              Shape
	power              float64
	delay, travel, tau float64
}

func (c course) end() float64 { return c.delay + c.travel }

// factor never rises with t: 1 during the delay, 0 from the end on.
func (c course) factor(t float64) float64 {
	switch {
	case t <= c.delay:
		return 1
	case t >= c.end():
		return 0
	}
	return c.raise(c.velocity(t - c.delay))
}

// raise turns a share of the velocity into a share of the current.
func (c course) raise(velocity float64) float64 {
	if c.power == 2 {
		return velocity * velocity
	}
	return velocity
}

// velocity is the share of the full velocity at s (s) after first movement.
func (c course) velocity(s float64) float64 {
	switch c.shape {
	case Linear:
		return 1 - s/c.travel
	case FirstOrder:
		return math.Exp(-s / c.tau)
	case Reciprocal:
		return 1 / (1 + s/c.tau)
	default:
		return 1
	}
}

// delivered is the integral of factor from 0 to t, in s.
func (c course) delivered(t float64) float64 {
	if t <= c.delay {
		return t
	}
	s := math.Min(t-c.delay, c.travel)
	switch c.shape {
	case Linear:
		return c.delay + c.linearArea(s)
	case FirstOrder:
		return c.delay + s*phi1(c.power*s/c.tau)
	case Reciprocal:
		if c.power == 1 {
			return c.delay + c.tau*math.Log1p(s/c.tau)
		}
		return c.delay + s/(1+s/c.tau)
	default:
		return c.delay + s
	}
}

// linearArea is the integral of (1-s/T)^n, written without differences of
// nearly equal numbers for s <= T.
func (c course) linearArea(s float64) float64 {
	if c.travel == 0 {
		return 0
	}
	left := 1 - s/c.travel
	if c.power == 1 {
		return s * (1 + left) / 2
	}
	return s * (1 + left + left*left) / 3
}
