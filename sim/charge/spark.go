package charge

import (
	"math"

	"ohmgate/sim/charge/interval"
)

// SparkVoltage is the lowest voltage in V at which a spark is held possible. The
// minimum of the Paschen curve of air is 327 V (second-hand).
var SparkVoltage = Fact{Name: "minimum sparking voltage", Value: interval.Point(330), Unit: "V",
	Source: sourceELS, Confidence: Seen}

// DesignVoltage is the potential in V behind the rule R <= 100 V / I.
var DesignVoltage = Fact{Name: "design potential", Value: interval.Point(100), Unit: "V",
	Source: sourceELS + ", A.12", Confidence: Seen}

// FlashoverVoltage is where corona and flashover hold an isolated part, V: pipes
// were seen at 0 to more than 30 kV. Report the capped and the uncapped number.
var FlashoverVoltage = Fact{Name: "flashover cap", Value: interval.Point(30e3), Unit: "V",
	Source: sourceNBS, Confidence: Seen, Note: "as a cap: " + sourcePractice}

// SparkEnergy is C V²/2 in J.
func SparkEnergy(capacitance, voltage interval.Interval) interval.Interval {
	return capacitance.Mul(voltage.Square()).Scale(0.5)
}

// EnergyOfCharge is Q²/(2C) in J. With a charge that came onto a part earlier,
// give the lowest capacitance that the part will ever have: lifting a drum off a
// plastic film multiplies energy at unchanged charge.
func EnergyOfCharge(charge, capacitance interval.Interval) interval.Interval {
	return charge.Square().Div(capacitance).Scale(0.5)
}

// CapVoltage cuts a voltage at the flashover cap.
func CapVoltage(v interval.Interval) interval.Interval { return v.Min(FlashoverVoltage.Value) }

// Criterion says what ignites: the energy, and the voltage below which nothing
// sparks. With the zero value everything ignites.
type Criterion struct {
	Energy       interval.Interval // J, minimum ignition energy
	SparkVoltage interval.Interval // V, minimum sparking voltage
}

// Ignites is the criterion for an ignition energy (J) with the 330 V threshold.
func Ignites(energy interval.Interval) Criterion {
	return Criterion{Energy: energy, SparkVoltage: SparkVoltage.Value}
}

// Check refuses what is not a criterion.
func (c Criterion) Check() error {
	return firstError(
		checkMagnitude("ignition energy", "J", c.Energy, false, false),
		checkMagnitude("sparking voltage", "V", c.SparkVoltage, true, false))
}

// Voltage is the critical voltage in V at capacitance C (F):
// max(sqrt(2W/C), sparking voltage). For a large C the energy threshold of a
// sensitive vapour lies below 330 V, and then the sparking threshold governs.
func (c Criterion) Voltage(capacitance interval.Interval) interval.Interval {
	return c.Energy.Scale(2).Div(capacitance).Sqrt().Max(c.SparkVoltage)
}

// Charge is the critical charge in C at capacitance C (F): the charge at the
// critical voltage, max(sqrt(2WC), C V_spark).
func (c Criterion) Charge(capacitance interval.Interval) interval.Interval {
	return c.Energy.Scale(2).Mul(capacitance).Sqrt().Max(capacitance.Mul(c.SparkVoltage))
}

// kink is the capacitance in F above which the sparking voltage governs.
func kink(energy, sparkVoltage float64) float64 {
	if sparkVoltage == 0 {
		return math.Inf(1)
	}
	return 2 * energy / (sparkVoltage * sparkVoltage)
}
