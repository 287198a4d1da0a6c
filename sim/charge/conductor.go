package charge

import (
	"math"

	"ohmgate/sim/charge/interval"
)

// Conductor is a conductive part that a current charges while it leaks to
// earth: dQ/dt = I - V/R, V = Q/C. Make one with NewConductor.
type Conductor struct {
	current, leak, capacitance interval.Interval
}

// NewConductor takes the charging current (A, 0 or more), the leak resistance (Ω,
// +Inf for none) and the capacitance to earth (F, above 0, finite).
func NewConductor(current, leak, capacitance interval.Interval) (Conductor, error) {
	err := firstError(
		checkMagnitude("charging current", "A", current, true, false),
		checkMagnitude("leak resistance", "Ω", leak, true, true),
		checkMagnitude("capacitance", "F", capacitance, false, false))
	return Conductor{current: current, leak: leak, capacitance: capacitance}, err
}

// NoLeak is the leak of a wholly isolated part.
func NoLeak() interval.Interval { return interval.Point(math.Inf(1)) }

// phi1 is (1-exp(-x))/x, 1 at 0: the share of the isolated charge that a leak leaves.
func phi1(x float64) float64 {
	if x == 0 {
		return 1
	}
	return -math.Expm1(-x) / x
}

// rate is 1/(RC) in 1/s.
func rate(leak, capacitance float64) float64 {
	if math.IsInf(leak, 1) {
		return 0
	}
	return 1 / leak / capacitance
}

// closedFormSlack is the relative error allowed to a closed form of this package
// before its ends are moved outwards by it.
const closedFormSlack = 1e-12

// decayed is exp(-t/RC), 1 without a leak.
func decayed(leak, capacitance, t float64) float64 {
	k := rate(leak, capacitance)
	if k == 0 || t == 0 {
		return 1
	}
	return math.Exp(-k * t)
}

// voltageShare is 1-exp(-y), where exp(y) = 1+2y: the time to a given energy is
// least over C, 4.911 W/(I² R), where the critical voltage is 0.7153 I R.
const voltageShare = 0.7153318629591615

// timeTo is the time in s from a bonded start to voltage v (V) at one corner, in
// interval arithmetic because ln(1-v/IR) is badly conditioned near v = IR:
//
//	t(V) = -R C ln(1 - V/(I R)), +Inf if V >= I R; C V/I without a leak.
func timeTo(current, leak, capacitance, v float64) interval.Interval {
	i, r, farad, volt := interval.Point(current), interval.Point(leak), interval.Point(capacitance), interval.Point(v)
	never := interval.Point(math.Inf(1))
	switch {
	case v == 0:
		return interval.Point(0)
	case current == 0 || leak == 0:
		return never
	case math.IsInf(leak, 1):
		return farad.Mul(volt).Div(i)
	}
	share := volt.Div(i.Mul(r))
	if share.Lo >= 1 {
		return never
	}
	return r.Mul(farad).Mul(share.Neg().Log1p()).Neg()
}

// TimeToIncendive is the time in s from a bonded start until a spark could
// ignite: the critical voltage max(sqrt(2W/C), V_spark) is reached. +Inf is
// "never"; an interval that ends in +Inf says that some values inside never do.
func (c Conductor) TimeToIncendive(criterion Criterion) interval.Interval {
	quick := timeAtCapacitance(c.current.Hi, c.leak.Hi, criterion.Energy.Lo, criterion.SparkVoltage.Lo)
	slow := timeAtCapacitance(c.current.Lo, c.leak.Lo, criterion.Energy.Hi, criterion.SparkVoltage.Hi)
	result := interval.Interval{Lo: math.Inf(1)}
	steady := voltageShare * c.current.Hi * c.leak.Hi
	candidates := []float64{c.capacitance.Lo, c.capacitance.Hi,
		2 * criterion.Energy.Lo / (steady * steady), kink(criterion.Energy.Lo, criterion.SparkVoltage.Lo)}
	for _, farad := range candidates {
		if c.capacitance.Contains(farad) {
			result.Lo = math.Min(result.Lo, quick(farad).Lo)
		}
	}
	// Falls, then rises: the longest time is at an end.
	result.Hi = math.Max(slow(c.capacitance.Lo).Hi, slow(c.capacitance.Hi).Hi)
	// The turning point itself is rounded; time is flat there to second order.
	result.Lo *= 1 - closedFormSlack
	return result
}

func timeAtCapacitance(current, leak, energy, sparkVoltage float64) func(float64) interval.Interval {
	return func(farad float64) interval.Interval {
		criterion := Criterion{Energy: interval.Point(energy), SparkVoltage: interval.Point(sparkVoltage)}
		v := criterion.Voltage(interval.Point(farad))
		return interval.Interval{
			Lo: timeTo(current, leak, farad, v.Lo).Lo,
			Hi: timeTo(current, leak, farad, v.Hi).Hi,
		}
	}
}
