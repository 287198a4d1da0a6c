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

// chargeAt is the charge in C at time t (s) from a bonded start, scalar closed form.
func chargeAt(current, leak, capacitance, t float64) float64 {
	k := rate(leak, capacitance)
	switch {
	case current == 0 || t == 0 || leak == 0:
		return 0
	case k == 0:
		return current * t
	case math.IsInf(t, 1):
		return current * leak * capacitance
	}
	return current * t * phi1(k*t)
}

// SteadyVoltage is I R in V: what the part ends at.
func (c Conductor) SteadyVoltage() interval.Interval { return c.current.Mul(c.leak) }

// SteadyEnergy is C (I R)²/2 in J; high C is the bad end.
func (c Conductor) SteadyEnergy() interval.Interval {
	return SparkEnergy(c.capacitance, c.SteadyVoltage())
}

// Charge is the charge in C at time t (s) from a bonded start: I R C
// (1-exp(-t/RC)), I t without a leak. It rises with I, R, C and t.
func (c Conductor) Charge(t interval.Interval) interval.Interval {
	f := func(at ...float64) float64 { return chargeAt(at[0], at[1], at[2], at[3]) }
	return interval.Apply(f, interval.Rising(c.current), interval.Rising(c.leak),
		interval.Rising(c.capacitance), interval.Rising(t))
}

// Voltage is the voltage in V at time t (s) from a start at voltage start (V; 0
// for a bonded start):
//
//	V = V0 exp(-t/RC) + I R (1-exp(-t/RC))
//
// It rises with I, R and V0. In C and t it moves towards I R, up or down, so both
// ends of both are looked at.
func (c Conductor) Voltage(start, t interval.Interval) interval.Interval {
	worst := func(best bool) float64 {
		i, r, v0, result := c.current.Lo, c.leak.Lo, start.Lo, math.Inf(1)
		if best {
			i, r, v0, result = c.current.Hi, c.leak.Hi, start.Hi, 0
		}
		for _, at := range [2]float64{t.Lo, t.Hi} {
			for _, farad := range [2]float64{c.capacitance.Lo, c.capacitance.Hi} {
				v := chargeAt(i, r, farad, at)/farad + v0*decayed(r, farad, at)
				if best {
					result = math.Max(result, v)
				} else {
					result = math.Min(result, v)
				}
			}
		}
		return result
	}
	return interval.Interval{Lo: worst(false), Hi: worst(true)}.Widen(closedFormSlack)
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

// energyPeak solves exp(y) = 1+2y: the y = t/RC at which, for given I, R and t,
// the energy is greatest over C; the voltage is then 0.7153 I R. The same C is
// the quickest one to a given energy.
const energyPeak = 1.2564312086261695

// VoltageShare is 1-exp(-y) at that point: the critical voltage is 0.7153 I R
// when the time to a given energy is least over C.
const VoltageShare = 0.7153318629591615

// quickest is the least of -ln(1-x)/x² times 2: the time to energy W is never
// under 4.911 W/(I² R), whatever C.
const quickest = 4.910814964568256

// QuickestTime is the least time in s in which a part with a leak can reach an
// energy (J), over all capacitances: 4.911 W/(I² R). It is attained at
// C = 2W/(0.7153 I R)². Without a leak it is 0 (C near 0 at any high voltage).
func (c Conductor) QuickestTime(energy interval.Interval) interval.Interval {
	return energy.Div(c.current.Square().Mul(c.leak)).Mul(interval.Point(quickest).Widen(closedFormSlack))
}

// Energy is the spark energy in J at time t (s) from a bonded start. In C it
// rises and then falls: the greatest, 0.2036 I² R t, lies at C = t/(1.256 R) and
// is looked at when it is inside.
func (c Conductor) Energy(t interval.Interval) interval.Interval {
	lowest := energyAt(c.current.Lo, c.leak.Lo, t.Lo)
	highest := energyAt(c.current.Hi, c.leak.Hi, t.Hi)
	return interval.Interval{
		Lo: interval.Turns(lowest, c.capacitance).Lo, // a single hump is least at an end
		Hi: interval.Turns(highest, c.capacitance, t.Hi/(energyPeak*c.leak.Hi)).Hi,
	}
}

func energyAt(current, leak, t float64) func(capacitance float64) float64 {
	return func(farad float64) float64 {
		q := chargeAt(current, leak, farad, t)
		return q * q / farad / 2
	}
}

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

// TimeToVoltage is the time in s from a bonded start to a voltage (V). +Inf is
// "never". It rises with C and the voltage and falls with I and R.
func (c Conductor) TimeToVoltage(v interval.Interval) interval.Interval {
	return interval.Interval{
		Lo: timeTo(c.current.Hi, c.leak.Hi, c.capacitance.Lo, v.Lo).Lo,
		Hi: timeTo(c.current.Lo, c.leak.Lo, c.capacitance.Hi, v.Hi).Hi,
	}
}

// TimeToEnergy is the time in s from a bonded start to a spark energy (J),
// without regard to a sparking voltage. With a leak it is not monotone in C: a
// small part never gets there (C <= 2W/(IR)²), a large one is slow; the least
// time, 4.911 W/(I² R) at V = 0.7153 I R, is looked at when it is inside.
func (c Conductor) TimeToEnergy(energy interval.Interval) interval.Interval {
	return c.TimeToIncendive(Criterion{Energy: energy})
}

// TimeToIncendive is the time in s from a bonded start until a spark could
// ignite: the critical voltage max(sqrt(2W/C), V_spark) is reached. +Inf is
// "never"; an interval that ends in +Inf says that some values inside never do.
func (c Conductor) TimeToIncendive(criterion Criterion) interval.Interval {
	quick := timeAtCapacitance(c.current.Hi, c.leak.Hi, criterion.Energy.Lo, criterion.SparkVoltage.Lo)
	slow := timeAtCapacitance(c.current.Lo, c.leak.Lo, criterion.Energy.Hi, criterion.SparkVoltage.Hi)
	result := interval.Interval{Lo: math.Inf(1)}
	steady := VoltageShare * c.current.Hi * c.leak.Hi
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

// NeverBelow is the capacitance in F up to which a part with a leak never
// reaches an energy (J): 2W/(I R)². Reference case 33 says "never" only below it.
func (c Conductor) NeverBelow(energy interval.Interval) interval.Interval {
	return CapacitanceOfSpark(energy, c.SteadyVoltage())
}
