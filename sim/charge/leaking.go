package charge

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// Charge under a run-down with a leak: L(t) = integral of f(s) exp(-k(t-s)) ds,
// in s, so that the charge is I0 L(t) + Q0 exp(-kt). k is 1/(RC). All terms
// are sums of positive numbers, so nothing cancels.

// held is L(t): what is left at time t of everything delivered, per ampere.
func (c course) held(k, t float64) float64 {
	if k == 0 {
		return c.delivered(t)
	}
	if math.IsInf(k, 1) {
		return 0
	}
	if t <= c.delay {
		return t * phi1(k*t)
	}
	moving := math.Min(t-c.delay, c.travel)
	atRest := t - c.delay - moving
	kept := c.delay * phi1(k*c.delay) * math.Exp(-k*moving)
	return (kept + c.heldMoving(k, moving)) * math.Exp(-k*atRest)
}

// heldMoving is the part delivered during the first s of movement that is left then.
func (c course) heldMoving(k, s float64) float64 {
	switch {
	case s == 0:
		return 0
	case c.shape == Linear:
		return c.heldLinear(k, s)
	case c.shape == FirstOrder:
		a := c.power / c.tau
		return s * math.Exp(-math.Min(a, k)*s) * phi1(math.Abs(k-a)*s)
	case c.shape == Reciprocal:
		return c.heldByPanels(k, s)
	default:
		return s * phi1(k*s)
	}
}

// heldLinear expands (1-s/T)^n around the end of the interval, v + u/T with u
// counted backwards, where every term is positive.
func (c course) heldLinear(k, s float64) float64 {
	v := 1 - s/c.travel
	if c.power == 1 {
		return v*moment(0, k, s) + moment(1, k, s)/c.travel
	}
	return v*v*moment(0, k, s) + 2*v*moment(1, k, s)/c.travel + moment(2, k, s)/(c.travel*c.travel)
}

// moment is the integral of u^n exp(-ku) from 0 to s, for n = 0, 1, 2, from the
// series exp(-x) sum x^i/((n+1)...(n+1+i)) for small x = ks, else in closed form.
func moment(n int, k, s float64) float64 {
	x := k * s
	if x < 4 {
		term := 1 / float64(n+1)
		total := term
		for i := 1; i < 60 && term > 1e-17*total; i++ {
			term *= x / float64(n+1+i)
			total += term
		}
		return power(s, n+1) * math.Exp(-x) * total
	}
	switch n {
	case 0:
		return -math.Expm1(-x) / k
	case 1:
		return (1 - math.Exp(-x)*(1+x)) / (k * k)
	default:
		return (2 - math.Exp(-x)*(2+2*x+x*x)) / (k * k * k)
	}
}

func power(x float64, n int) float64 {
	result := x
	for range n - 1 {
		result *= x
	}
	return result
}

// panelPoints is the order of the Gauss-Legendre rule on each panel.
const panelPoints = 16

// panelNodes and panelWeights are the rule on -1..1, worked out once.
var panelNodes, panelWeights = func() (x, w [panelPoints]float64) {
	quad.Legendre{}.FixedLocations(x[:], w[:], -1, 1)
	return x, w
}()

func panel(f func(float64) float64, from, to float64) float64 {
	middle, half := (from+to)/2, (to-from)/2
	total := 0.0
	for i, x := range panelNodes {
		total += panelWeights[i] * f(middle+half*x)
	}
	return total * half
}

// forgotten is the number of time constants after which what came is counted as
// gone: exp(-42) is 6e-19.
const forgotten = 42

// heldByPanels integrates numerically, where there is no closed form without
// the exponential integral. Panels double in width away from the start (scale
// τ) and away from the end (scale 1/k), so that both are resolved.
func (c course) heldByPanels(k, s float64) float64 {
	f := func(u float64) float64 { // u counts backwards from the end
		return c.raise(c.velocity(s-u)) * math.Exp(-k*u)
	}
	half := s / 2
	total := 0.0
	doubling(math.Min(half, forgotten/k), 1/k, func(from, to float64) {
		total += panel(f, from, to)
	})
	if k*half > 2*forgotten { // twice, because the current was greater then
		return total
	}
	doubling(half, c.tau, func(from, to float64) {
		total += panel(f, s-to, s-from)
	})
	return total
}

// doubling calls visit on panels that cover 0..length and double in width,
// beginning at half the scale.
func doubling(length, scale float64, visit func(from, to float64)) {
	width := math.Max(scale/2, length*1e-15)
	for from := 0.0; from < length; {
		to := math.Min(from+width, length)
		visit(from, to)
		from, width = to, width*2
	}
}

// peak is the time at which the charge is greatest and L there, given a charge
// of start (C per ampere of full current, in s) at the loss. Because the current
// never rises again, the charge has one peak: where f(t) = k Q.
func (c course) peak(k, start float64) (at, charge float64) {
	level := func(t float64) float64 { return c.held(k, t) + start*math.Exp(-k*t) }
	if math.IsInf(k, 1) {
		return 0, start
	}
	// Falls from the beginning. To be asked first: near the steady charge the next
	// comparison is decided by rounding.
	if k*start > 1 {
		return 0, start
	}
	lo, hi := 0.0, c.end()
	if k == 0 || c.factor(math.Nextafter(hi, 0)) > k*level(hi) {
		return hi, level(hi)
	}
	// From here on a tie, also one of underflow (0 and 0), means "later than the peak".
	for range 40 { // the charge is flat at its peak: the time need not be exact
		middle := lo/2 + hi/2
		if c.factor(middle) > k*level(middle) {
			lo = middle
		} else {
			hi = middle
		}
	}
	return lo, math.Max(level(lo), level(hi))
}
