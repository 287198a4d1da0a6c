package charge

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"ohmgate/sim/charge/interval"
)

// decades draws a positive number, evenly over its decades.
func decades(t *rapid.T, name string, lo, hi float64) float64 {
	return math.Pow(10, rapid.Float64Range(math.Log10(lo), math.Log10(hi)).Draw(t, name))
}

// spread draws an interval over decades, sometimes a point.
func spread(t *rapid.T, name string, lo, hi float64) interval.Interval {
	a := decades(t, name+" a", lo, hi)
	if rapid.IntRange(0, 4).Draw(t, name+" point") == 0 {
		return at(a)
	}
	b := decades(t, name+" b", lo, hi)
	return interval.Between(math.Min(a, b), math.Max(a, b))
}

// sample draws a number inside, ends often.
func sample(t *rapid.T, name string, x interval.Interval) float64 {
	switch rapid.IntRange(0, 3).Draw(t, name+" where") {
	case 0:
		return x.Lo
	case 1:
		return x.Hi
	default:
		if x.IsPoint() || math.IsInf(x.Hi, 1) {
			return x.Lo
		}
		share := rapid.Float64Range(0, 1).Draw(t, name+" share")
		v := x.Lo + share*(x.Hi-x.Lo)
		if x.Lo > 0 {
			v = x.Lo * math.Pow(x.Hi/x.Lo, share)
		}
		return math.Min(math.Max(v, x.Lo), x.Hi)
	}
}

func leakOf(t *rapid.T, name string) interval.Interval {
	switch rapid.IntRange(0, 3).Draw(t, name+" kind") {
	case 0:
		return NoLeak()
	case 1:
		return interval.Interval{Lo: decades(t, name, 1e6, 1e13), Hi: math.Inf(1)}
	default:
		return spread(t, name, 1e6, 1e13)
	}
}

// Property: every interval result of a conductor contains the scalar result at
// every sampled point, interior extrema included.
func TestConductorContainsEverySample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i, r, c := spread(t, "current", 1e-10, 1e-4), leakOf(t, "leak"), spread(t, "capacitance", 1e-12, 1e-7)
		w, volt := spread(t, "energy", 1e-6, 1e-1), spread(t, "voltage", 10, 1e5)
		part, err := NewConductor(i, r, c)
		require.NoError(t, err)

		i1, r1, c1 := sample(t, "i", i), sample(t, "r", r), sample(t, "c", c)
		w1, v1 := sample(t, "w", w), sample(t, "v", volt)
		holds(t, "time to voltage", part.TimeToIncendive(toVoltage(volt)), timeTo(i1, r1, c1, v1).Lo)
		holds(t, "time to energy", part.TimeToIncendive(toEnergy(w)), timeTo(i1, r1, c1, math.Sqrt(2*w1/c1)).Lo)
		critical := math.Max(330, math.Sqrt(2*w1/c1))
		holds(t, "time to incendive", part.TimeToIncendive(Ignites(w)), timeTo(i1, r1, c1, critical).Lo)
		holds(t, "critical voltage", Ignites(w).Voltage(c), critical)
		holds(t, "critical charge", Ignites(w).Charge(c), critical*c1)
		limits := ResistanceLimits(i, c, Ignites(w))
		holds(t, "critical resistance", limits.Critical, critical/i1)
	})
}

// holds allows the sample its own rounding error, no more.
func holds(t *rapid.T, what string, x interval.Interval, v float64) {
	if !x.Widen(1e-11).Contains(v) {
		t.Fatalf("%s: %v is outside %v", what, v, x)
	}
}

func TestStreamContainsEverySample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, d := spread(t, "velocity", 0.01, 10), spread(t, "diameter", 0.01, 1)
		length, tau := spread(t, "length", 0.1, 1e4), spread(t, "tau", 1e-6, 1e4)
		pipe := PipeFlow{Velocity: v, Diameter: d, Length: length, Relaxation: tau}
		k := StreamingConstant().Value
		k1, v1, d1 := sample(t, "k", k), sample(t, "v", v), sample(t, "d", d)
		l1, tau1 := sample(t, "l", length), sample(t, "tau1", tau)
		current := k1 * v1 * v1 * d1 * d1 * (1 - math.Exp(-l1/(v1*tau1)))
		if x := pipe.Current(k); current < x.Lo*(1-1e-6) || current > x.Hi*(1+1e-9) { // 1-exp cancels here, not there
			t.Fatalf("current %v outside %v", current, x)
		}
		// Density times flow is the current.
		assert.True(t, pipe.Density(k).Mul(pipe.Flow()).Widen(1e-6).Contains(current))
		holds(t, "ohmic", Ohmic(at(1), length, tau), math.Exp(-l1/tau1))
	})
}

// Property: more leak never means more charge, more current never less.
func TestMoreLeakNeverMoreCharge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		loss, _ := anyLoss(t)
		smaller := loss
		factor := decades(t, "factor", 1e-3, 1)
		smaller.Leak = loss.Leak.Scale(factor)
		a, err := loss.Evaluate()
		require.NoError(t, err)
		b, err := smaller.Evaluate()
		require.NoError(t, err)
		assert.LessOrEqual(t, b.Peak.Hi, a.Peak.Hi*(1+1e-8))
		assert.LessOrEqual(t, b.Peak.Lo, a.Peak.Lo*(1+1e-8)+1e-300)
		assert.LessOrEqual(t, b.Energy.Hi, a.Energy.Hi*(1+5e-3), "within the tolerance of the enclosure")
		more := loss
		more.Current = loss.Current.Scale(1 / factor)
		c, err := more.Evaluate()
		require.NoError(t, err)
		assert.GreaterOrEqual(t, c.Peak.Hi, a.Peak.Hi*(1-1e-8))
	})
}

// anyLoss draws a loss and one definite case inside it.
func anyLoss(t *rapid.T) (Loss, Loss) {
	loss := Loss{
		Current: spread(t, "current", 1e-9, 1e-4), Leak: leakOf(t, "leak"), Capacitance: spread(t, "capacitance", 1e-11, 1e-8),
		Ignition: Ignites(spread(t, "energy", 1e-5, 1e-1)),
		RunDown: RunDown{Delay: spread(t, "delay", 0.01, 10), Travel: spread(t, "travel", 0.01, 100),
			TimeConstant: spread(t, "tau", 0.1, 30),
			Shape:        Shape(rapid.IntRange(0, 3).Draw(t, "shape")), Law: Law(rapid.IntRange(0, 1).Draw(t, "law"))},
	}
	if rapid.Bool().Draw(t, "charged before") {
		loss.Start = spread(t, "start", 1, 1e4)
	}
	if rapid.IntRange(0, 2).Draw(t, "lifted") == 0 {
		loss.Lowest = spread(t, "lowest", 1e-12, 1e-10)
	}
	one := loss
	for _, input := range []Input{InputCurrent, InputLeak, InputCapacitance, InputLowest, InputEnergy, InputDelay, InputTravel, InputTimeConstant} {
		one = one.With(input, at(sample(t, input.String(), loss.Value(input))))
	}
	one.Start = at(sample(t, "start", loss.Start))
	return loss, one
}

const bruteSteps = 20000

// bruteForce steps through the run-down with exact exponential steps of a
// piecewise constant current: it shares no formula with held or peak.
func bruteForce(l Loss) (peak, atStop float64) {
	run := l.RunDown.course(true)
	k, q := rate(l.Leak.Lo, l.Capacitance.Lo), l.Start.Lo*l.Capacitance.Lo
	peak = q
	advance := func(from, to float64) {
		for i := range bruteSteps {
			// Finer at the beginning, where a short time constant acts.
			a, b := float64(i)/bruteSteps, float64(i+1)/bruteSteps
			width := (to - from) * (b*b - a*a)
			s := from + (to-from)*(a*a+b*b)/2
			q = q*math.Exp(-k*width) + l.Current.Lo*run.factor(s)*width*phi1(k*width)
			peak = math.Max(peak, q)
		}
	}
	advance(0, run.delay)
	advance(run.delay, run.end())
	return peak, q
}

// Property: the outcome contains what happens at every sampled case.
func TestLossContainsEverySample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		loss, one := anyLoss(t)
		out, err := loss.Evaluate()
		require.NoError(t, err)
		peak, atStop := bruteForce(one)
		spark := one.sparkCapacitance().Lo
		near := func(what string, x interval.Interval, v, within float64) {
			if v < x.Lo*(1-within) || v > x.Hi*(1+within) {
				t.Fatalf("%s: %v outside %v", what, v, x)
			}
		}
		// The error of the brute force itself.
		inside := func(what string, x interval.Interval, v float64) { near(what, x, v, 1e-5) }
		inside("peak", out.Peak, peak)
		// What is left at the end came in the last 1/k: the last step is coarse for it.
		perStep := rate(one.Leak.Lo, one.Capacitance.Lo) * 2 * one.RunDown.Travel.Lo / bruteSteps
		if perStep < 0.05 {
			near("at stop", out.AtStop, atStop, 1e-5+perStep*perStep)
		}
		inside("voltage", out.Voltage, peak/spark)
		inside("energy", out.Energy, peak*peak/spark/2)
		critical := math.Max(math.Sqrt(2*one.Ignition.Energy.Lo*spark), 330*spark)
		inside("ratio", out.Ratio, peak/critical)
		inside("ratio capped", out.RatioCapped, math.Min(peak, 30e3*spark)/critical)
		inside("energy capped", out.EnergyCapped, spark/2*math.Pow(math.Min(peak/spark, 30e3), 2))
		if out.Verdict == WinsEverywhere && peak >= critical*(1+1e-5) {
			t.Fatalf("wins everywhere, but a case inside ignites")
		}
		if out.Verdict == LosesEverywhere && peak < critical*(1-1e-5) {
			t.Fatalf("loses everywhere, but a case inside does not")
		}
	})
}

// gonum's integrator against the closed forms of charge under a run-down, with
// and without a leak, at every shape and law.
func TestRunDownAgainstQuadrature(t *testing.T) {
	count := 0
	for shape := FullUntilConfirmed; shape <= Reciprocal; shape++ {
		for _, law := range []Law{CurrentAsVelocity, CurrentAsSquare} {
			for _, k := range []float64{0, 1e-6, 0.03, 0.4, 1, 7} {
				run := course{shape: shape, power: law.power(), delay: 0.7, travel: 12, tau: 2.5}
				for _, end := range []float64{0.3, 0.7, 1, 5, 12.7, 15} {
					count++
					f := func(s float64) float64 { return run.factor(s) * math.Exp(-k*(end-s)) }
					want := 0.0
					for _, piece := range [][2]float64{{0, 0.7}, {0.7, 3}, {3, 12.7}} {
						if to := math.Min(piece[1], end); to > piece[0] {
							want += quad.Fixed(f, piece[0], to, 200, quad.Legendre{}, 0)
						}
					}
					assert.InEpsilon(t, want, run.held(k, end), 1e-9, "%v %v k %v end %v", shape, law, k, end)
					if k == 0 {
						assert.InEpsilon(t, want, run.delivered(end), 1e-9)
					}
				}
			}
		}
	}
	assert.Equal(t, 4*2*6*6, count)
}

// The textbook totals: I0 T/3, I0 T/2, I0 τ/2, I0 τ, I0 τ ln(1+T/τ).
func TestRunDownTotals(t *testing.T) {
	i := at(1 * uA)
	total := func(shape Shape, law Law, travel float64) float64 {
		run := RunDown{Shape: shape, Law: law, Travel: at(travel), TimeConstant: at(4)}
		require.NoError(t, run.Check())
		return run.Delivered(i).Middle() / uA
	}
	assert.InEpsilon(t, 10.0, total(Linear, CurrentAsSquare, 30), 1e-9)
	assert.InEpsilon(t, 15.0, total(Linear, CurrentAsVelocity, 30), 1e-9)
	assert.InEpsilon(t, 30.0, total(FullUntilConfirmed, CurrentAsSquare, 30), 1e-9)
	assert.InEpsilon(t, 4.0, total(FirstOrder, CurrentAsVelocity, 1e4), 1e-9)
	assert.InEpsilon(t, 2.0, total(FirstOrder, CurrentAsSquare, 1e4), 1e-9)
	assert.InEpsilon(t, 4.0, total(Reciprocal, CurrentAsSquare, 1e12), 1e-9, "I0 τ")
	assert.InEpsilon(t, 4*math.Log1p(25), total(Reciprocal, CurrentAsVelocity, 100), 1e-9, "diverges, so capped by time")

	run := RunDown{Delay: interval.Between(0.1, 0.2), Shape: Linear, Travel: interval.Between(6, 15)}
	assert.Equal(t, interval.Between(1, 1), run.Factor(0.1))
	assert.Equal(t, 0.0, run.Factor(15.2).Hi)
	assert.InDelta(t, 0.5, run.Factor(7.7).Hi, 1e-12)
	assert.Equal(t, 0.0, run.Factor(7.7).Lo)
	assert.InDelta(t, 15.2, run.End().Hi, 1e-12)
}

// chargeAt is the closed form of dQ/dt = I - Q/(RC), in C after t (s) from 0.
func chargeAt(current, leak, capacitance, t float64) float64 {
	if math.IsInf(leak, 1) {
		return current * t
	}
	return -current * leak * capacitance * math.Expm1(-t/(leak*capacitance))
}

// A step integrator that knows only dQ/dt = I - Q/(RC) against the closed forms.
func TestConductorAgainstRungeKutta(t *testing.T) {
	const i, r, c = 1e-6, 2e9, 3e-10
	q, steps, end := 0.0, 4000, 2.0
	slope := func(q float64) float64 { return i - q/(r*c) }
	h := end / float64(steps)
	for range steps {
		a := slope(q)
		b := slope(q + h/2*a)
		d := slope(q + h/2*b)
		e := slope(q + h*d)
		q += h / 6 * (a + 2*b + 2*d + e)
	}
	assert.InEpsilon(t, q, chargeAt(i, r, c, end), 1e-10)
	reach := must(t, at(i), at(r), at(c)).TimeToIncendive(toVoltage(at(q / c))).Middle()
	assert.InEpsilon(t, end, reach, 1e-9, "time to level is the inverse of level at time")
}

func TestWait(t *testing.T) {
	w := WaitFor(at(10e3), at(330), NoLeak(), at(nF))
	assert.Equal(t, CannotBeComputed, w.Kind)
	assert.Equal(t, Wait{}.Kind, w.Kind, "the zero value denies")
	_, ok := w.Time()
	assert.False(t, ok)
	_, ok = w.Governing()
	assert.False(t, ok)
	assert.Contains(t, w.Why, "100 MΩ")
	// A leak known from one side only is not known.
	assert.Equal(t, CannotBeComputed, WaitFor(at(10e3), at(330), interval.Interval{Lo: 1e8, Hi: math.Inf(1)}, at(nF)).Kind)
	assert.Equal(t, CannotBeComputed, WaitFor(interval.Interval{Lo: 1, Hi: math.Inf(1)}, at(330), at(1e8), at(nF)).Kind)
	assert.Equal(t, CannotBeComputed, WaitFor(at(1), at(0), at(1e8), at(nF)).Kind)

	data, err := json.Marshal(w)
	require.NoError(t, err)
	assert.NotContains(t, string(data), "time\":")
	assert.Contains(t, string(data), `"kind":"cannot be computed"`)

	w = WaitFor(at(300), at(330), NoLeak(), at(nF))
	assert.Equal(t, AlreadyBelow, w.Kind)
	seconds, ok := w.Governing()
	assert.True(t, ok)
	assert.Equal(t, 0.0, seconds)

	w = WaitFor(interval.Between(100, 10e3), at(330), interval.Between(1e8, 1e12), interval.Between(100*pF, nF))
	time, ok := w.Time()
	require.True(t, ok)
	assert.Equal(t, 0.0, time.Lo)
	assert.InEpsilon(t, 1e12*nF*math.Log(10e3/330), time.Hi, 1e-9)
	data, err = json.Marshal(w)
	require.NoError(t, err)
	assert.Contains(t, string(data), `"time":{"lo":0,`)
}

// Property: waiting the governing time brings every sampled case to the target.
func TestWaitIsLongEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, r, c := spread(t, "voltage", 100, 3e4), spread(t, "leak", 1e6, 1e13), spread(t, "capacitance", 1e-11, 1e-8)
		target := spread(t, "target", 10, 1e4)
		seconds, ok := WaitFor(v, target, r, c).Governing()
		require.True(t, ok)
		left := sample(t, "v", v) * math.Exp(-seconds/(sample(t, "r", r)*sample(t, "c", c)))
		if aim := sample(t, "aim", target); left > aim*(1+1e-9) {
			t.Fatalf("after %v s %v V are left, %v is the target", seconds, left, aim)
		}
	})
}

func TestTravelDefault(t *testing.T) {
	assert.InEpsilon(t, 4.0, TravelDefault(0.1016).Value.Hi, 1e-12, "4 inch, common practice")
}

func TestLossRefusesAndExplains(t *testing.T) {
	good := Loss{Current: at(uA), Leak: NoLeak(), Capacitance: at(nF), Ignition: Ignites(at(mJ)), RunDown: RunDown{Delay: at(1)}}
	require.NoError(t, good.Check())
	cases := []struct {
		break_ func(*Loss)
		says   string
	}{
		{func(l *Loss) { l.Current = interval.Interval{Lo: -1, Hi: 1} }, "charging current"},
		{func(l *Loss) { l.Current = interval.Whole() }, "charging current"},
		{func(l *Loss) { l.Capacitance = interval.Interval{} }, "capacitance"},
		{func(l *Loss) { l.Ignition = Criterion{} }, "ignition energy"},
		{func(l *Loss) { l.RunDown.Travel = NoLeak() }, "longest run-down"},
		{func(l *Loss) { l.RunDown.Shape = Reciprocal }, "time constant"},
		{func(l *Loss) { l.RunDown.Shape = 9 }, "not known"},
		{func(l *Loss) { l.Lowest = interval.Interval{Lo: 0, Hi: 1} }, "lowest capacitance"},
		{func(l *Loss) { l.Start = interval.Interval{Lo: 2, Hi: 1} }, "voltage at the loss"},
		{func(l *Loss) { l.Leak = interval.Interval{Lo: math.NaN(), Hi: 1} }, "leak resistance"},
	}
	for _, c := range cases {
		bad := good
		c.break_(&bad)
		_, err := bad.Evaluate()
		assert.ErrorContains(t, err, c.says)
	}
	_, err := NewConductor(at(1), at(1), at(0))
	assert.Error(t, err)
	assert.Equal(t, "not calculated", Outcome{}.Verdict.String())
}

// A drum filled on film at 30 V and lifted off: 16 µJ become 7.9 mJ.
func TestLowestCapacitanceEver(t *testing.T) {
	drum := Loss{Current: at(35 * nF * 30), Leak: NoLeak(), Capacitance: at(35 * nF), Ignition: Ignites(at(0.24 * mJ)), RunDown: RunDown{Delay: at(1)}}
	onFilm, err := drum.Evaluate()
	require.NoError(t, err)
	assert.InEpsilon(t, 16e-6, onFilm.Energy.Hi, 0.02)
	assert.Equal(t, WinsEverywhere, onFilm.Verdict)
	drum.Lowest = at(70 * pF)
	lifted, err := drum.Evaluate()
	require.NoError(t, err)
	assert.InEpsilon(t, 7.9*mJ, lifted.Energy.Hi, 0.01)
	assert.InEpsilon(t, 15e3, lifted.Voltage.Hi, 0.001)
	assert.Equal(t, LosesEverywhere, lifted.Verdict)
	assert.Greater(t, onFilm.TimeToIncendive.Lo, 10.0)
	assert.Less(t, lifted.TimeToIncendive.Hi, 1.0)
}

func TestBreakEvenAndSwings(t *testing.T) {
	loss := Loss{Current: interval.Between(1e-9, 1e-6), Leak: NoLeak(), Capacitance: interval.Between(100*pF, 200*pF),
		Ignition: Ignites(at(0.2 * mJ)), RunDown: RunDown{Delay: interval.Between(0.5, 1)}}
	out, err := loss.Evaluate()
	require.NoError(t, err)
	require.Equal(t, Depends, out.Verdict)
	// By hand: wins if I x 1 s < sqrt(2 x 0.2 mJ x 100 pF) = 0.2 µC.
	edge, err := loss.BreakEvenOf(InputCurrent, interval.Between(1e-12, 1e-3))
	require.NoError(t, err)
	require.True(t, edge.HasWins && edge.HasLoses && edge.Rising)
	assert.InEpsilon(t, 0.2e-6, edge.Wins, 3e-3)
	assert.LessOrEqual(t, edge.Wins, 0.2e-6)
	assert.InEpsilon(t, math.Sqrt(2*0.2e-3*200e-12)/0.5, edge.Loses, 3e-3)
	// Below the edge it does win, above it does not.
	below, _ := loss.With(InputCurrent, interval.Between(1e-9, edge.Wins*0.99)).Evaluate()
	assert.Equal(t, WinsEverywhere, below.Verdict)
	above, _ := loss.With(InputCurrent, interval.Between(edge.Loses*1.01, 1e-3)).Evaluate()
	assert.Equal(t, LosesEverywhere, above.Verdict)

	energy, err := loss.BreakEvenOf(InputEnergy, interval.Between(1e-9, 1))
	require.NoError(t, err)
	assert.False(t, energy.Rising)
	assert.InEpsilon(t, 1e-12/(2*100e-12), energy.Wins, 6e-3, "(It)²/2C")
	data, err := json.Marshal(edge)
	require.NoError(t, err)
	assert.Contains(t, string(data), `"input":"current"`)
	_, err = loss.BreakEvenOf(InputCapacitance, interval.Between(1e-12, 1e-6))
	assert.ErrorContains(t, err, "no single break-even")
	_, err = loss.BreakEvenOf(InputCurrent, interval.Between(-1, 1))
	assert.ErrorContains(t, err, "search range")
	none, err := loss.BreakEvenOf(InputCurrent, interval.Between(1e-12, 1e-11))
	require.NoError(t, err)
	assert.True(t, none.WinsAll && !none.HasWins)

	swings, err := loss.Swings()
	require.NoError(t, err)
	require.Len(t, swings, len(loss.Inputs()))
	assert.InDelta(t, 3, swings[0].Decades, 0.01, "three decades of current are three decades of charge")
	assert.Equal(t, 0.0, swings[1].Decades, "a leak that is a point does not swing")
	for _, s := range swings[1:] {
		assert.Less(t, s.Decades, swings[0].Decades)
	}
}

// A tail so long that current and charge both underflow to 0 at its end: the
// peak must still be found at its beginning (it once came out as 0).
func TestPeakBeforeATailThatUnderflows(t *testing.T) {
	for _, shape := range []Shape{FirstOrder, Reciprocal, Linear, FullUntilConfirmed} {
		loss := Loss{Current: at(1e-4), Leak: at(1e6), Capacitance: at(10 * nF), Ignition: Ignites(at(0.1)),
			RunDown: RunDown{Delay: at(10), Shape: shape, Travel: at(75), TimeConstant: at(0.1)}}
		out, err := loss.Evaluate()
		require.NoError(t, err)
		assert.InEpsilon(t, 1e-4*1e6*10*nF, out.Peak.Middle(), 1e-6, shape.String())
	}
}
