package charge

import (
	"math"

	"ohmgate/sim/charge/interval"
)

// CriticalResistance holds the forms in use; all are Ω. A resistance to earth at
// or above one of them lets the part reach the level that it stands for.
type CriticalResistance struct {
	// Energy is sqrt(2W/(C I²)): the steady spark energy reaches W. High C is the
	// bad end.
	Energy interval.Interval
	// Spark is V_spark/I, 330 V by default: the steady voltage can spark at all.
	Spark interval.Interval
	// Critical is the larger of both, V_crit/I: what ignites.
	Critical interval.Interval
	// Design is 100 V/I, the form behind the limits in the codes.
	Design interval.Interval
}

// ResistanceLimits calculates the critical resistances for a charging current
// (A), a capacitance (F) and a criterion. A current of 0 gives +Inf.
func ResistanceLimits(current, capacitance interval.Interval, c Criterion) CriticalResistance {
	energy := c.Energy.Scale(2).Div(capacitance).Sqrt().Div(current)
	spark := c.SparkVoltage.Div(current)
	return CriticalResistance{
		Energy: energy, Spark: spark, Critical: c.Voltage(capacitance).Div(current),
		Design: DesignVoltage.Value.Div(current),
	}
}

// Decades is how many powers of ten lie between a resistance threshold (Ω) and
// the critical one, from the worst to the best pairing; negative when the
// threshold is above it.
func Decades(threshold, critical interval.Interval) interval.Interval {
	return critical.Div(threshold).Log().Div(interval.Point(math.Ln10))
}

// HeldVoltage is the steady voltage I R in V that a current (A) keeps up on a
// part with resistance R (Ω) to earth.
func HeldVoltage(current, resistance interval.Interval) interval.Interval {
	return current.Mul(resistance)
}

// EarthingLimits returns the resistance limits of section and code, Ω.
func EarthingLimits() []Fact {
	row := func(name string, ohm float64, source string, c Confidence, note string) Fact {
		return Fact{Name: name, Value: interval.Point(ohm), Unit: "Ω", Source: source, Confidence: c, Note: note}
	}
	return []Fact{
		row("conductor", 1e6, sourceTRGS+", 7.3, 7.21", Seen, "upper limit"),
		row("tank truck bond wire", 1e6, sourceFire, Seen, "upper limit"),
		row("rail tank car", 25, sourceFire, Seen, "bond required where car to ground via rails is this or more"),
		row("static dissipation", 1e6, sourceTM, Seen, "upper limit; avoid below 25 kΩ where shock from wiring matters"),
		row("metal path", 10, "NFPA 77 (2007 ed.), 6.4.1.3.1", FromMemory, "more suggests a loose or corroded joint"),
		row("person", 1e8, sourceNFPA+", 6.6.3.1", Seen, "upper limit, skin to ground; at least 1e6 against shock"),
		row("bulk bag type C", 1e8, "IEC 61340-4-4:2018", Seen, "upper limit; 1e7 in the 2012 edition"),
		row("rigid intermediate bulk container", 1e6, sourceTRGS+", 3.42", Seen, "upper limit, liquid to earthed envelope"),
		row("hose or pipe interior", 1e7, sourceNBS, Seen, "from any part to ground removes the hazard"),
		row("slow discharge contact", 1e8, sourceTRGS+", 7.10", Seen, "at least; contact element for a charged drum"),
	}
}

// RailBondRequired reports whether a rail tank car with this resistance to earth
// via the rails (Ω) must be bonded: from 25 Ω on (Fire Code, seen). mixed is set
// when the interval lies on both sides; required is then true.
func RailBondRequired(viaRails interval.Interval) (required, mixed bool) {
	const limit = 25
	return viaRails.Hi >= limit, viaRails.Lo < limit && viaRails.Hi >= limit
}
