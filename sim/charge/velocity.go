package charge

import (
	"math"

	"ohmgate/sim/charge/interval"
)

// SpeedLimit is a velocity rule applied to a line: the limit with its conditions.
type SpeedLimit struct {
	Rule       string     `json:"rule"`
	Speed      float64    `json:"speed"` // m/s
	Source     string     `json:"source"`
	Confidence Confidence `json:"confidence"`
	// Unmet lists conditions of the rule that the line does not fulfil; the
	// limit then does not apply.
	Unmet []string `json:"unmet,omitempty"`
}

// Flow is the volume flow in m³/s at the limit through a pipe of diameter d (m).
func (s SpeedLimit) Flow(diameter float64) float64 {
	return s.Speed * math.Pi / 4 * diameter * diameter
}

// anySpeed is the limit in m/s for any low-conductivity liquid.
const anySpeed = 7

// product makes the rule v d <= vd, never above 7 m/s.
func product(rule string, vd, diameter float64, source string, c Confidence) SpeedLimit {
	return SpeedLimit{Rule: rule, Speed: math.Min(anySpeed, vd/diameter), Source: source, Confidence: c}
}

// SlowStart is the limit until the inlet is covered by two fill-line diameters.
func SlowStart() SpeedLimit {
	return SpeedLimit{Rule: "slow start, until the inlet is covered by two fill-line diameters", Speed: 1,
		Source: sourceNFPA + ", Table 7.6 item 2", Confidence: Seen}
}

// AnyLiquid is the overall limit.
func AnyLiquid() SpeedLimit {
	return SpeedLimit{Rule: "any liquid", Speed: anySpeed, Source: sourceNFPA + "; " + sourceTRGS + ", 3.29", Confidence: Seen}
}

// SinglePhase is the velocity at which a single-phase liquid in earthed
// conductive pipe generally is not dangerous.
func SinglePhase() SpeedLimit {
	return SpeedLimit{Rule: "single-phase liquid, earthed conductive pipe", Speed: 1, Source: sourceTRGS + ", 3.29", Confidence: Seen}
}

// TwoPhase is the limit with water or another second phase in the line.
func TwoPhase() SpeedLimit {
	return SpeedLimit{Rule: "two phases, throughout", Speed: 1, Source: sourceELS, Confidence: Seen}
}

// FloatingRoof is the limit until the roof is afloat.
func FloatingRoof() SpeedLimit {
	return SpeedLimit{Rule: "floating roof, until afloat", Speed: 1, Source: sourceELS, Confidence: Seen}
}

// TankTruck is min(7, 0.5/d) m/s, d the fill-line diameter in m.
func TankTruck(diameter float64) SpeedLimit {
	return product("tank truck, 0.5/d", 0.5, diameter, sourceNFPA+", Table 7.6 item 3", Seen)
}

// RailTankCar is min(7, 0.8/d) m/s. The number is from memory and unverified.
func RailTankCar(diameter float64) SpeedLimit {
	return product("rail tank car, 0.8/d", 0.8, diameter, "NFPA 77 / API RP 2003", FromMemory)
}

// RoadTanker is the rule for fuels by sulphur content and conductivity (S/m, the
// lowest counts). known is false when nobody has measured the conductivity.
func RoadTanker(diameter float64, lowSulphur bool, conductivity interval.Interval, known bool) SpeedLimit {
	lowest := conductivity.Lo / PicoSiemens
	if !known {
		lowest = 0
	}
	rule, vd := "road tanker, more than 50 ppm sulphur", 0.38
	switch {
	case lowSulphur:
		rule, vd = "road tanker, at most 50 ppm sulphur", 0.25
		if lowest > 50 {
			vd = 0.5
		} else if lowest > 10 {
			vd = 0.38
		}
	case lowest > 10:
		vd = 0.5
	}
	return product(rule, vd, diameter, sourceELS, Seen)
}

// FixedRoof is the rule for a fixed-roof tank: vd = N 0.50 with dip pipe or
// centre conductor, N 0.38 for bottom filling without; N by the diagonal L (m)
// of the tank's cross-section.
func FixedRoof(diameter, diagonal float64, centreConductor bool) SpeedLimit {
	n := 1.5
	switch {
	case diagonal < 2:
		n = 1
	case diagonal <= 4.6:
		n = math.Sqrt(diagonal / 2)
	}
	vd := 0.38
	if centreConductor {
		vd = 0.5
	}
	return product("fixed-roof tank", n*vd, diameter, sourceELS+", eq. 10.5", Seen)
}

// MediumTank is the rule for a vertical tank of diameter 1.3..10 m and liquid
// height H (m): 0.7 sqrt(D/d), if H/D >= 2/3 and 2 tau <= 12 s; it keeps the surface at or below 25 kV.
func MediumTank(pipe, tank, height float64, relaxation interval.Interval) SpeedLimit {
	limit := SpeedLimit{Rule: "medium vertical tank, 0.7 sqrt(D/d)",
		Speed: math.Min(anySpeed, 0.7*math.Sqrt(tank/pipe)), Source: sourceELS + ", eq. 10.6-10.8", Confidence: Seen}
	if tank <= 1.3 || tank > 10 {
		limit.Unmet = append(limit.Unmet, "tank diameter above 1.3 m and up to 10 m")
	}
	if height/tank < 2.0/3 {
		limit.Unmet = append(limit.Unmet, "height at least 2/3 of the diameter")
	}
	if TankRelaxation(relaxation).Hi > 12 {
		limit.Unmet = append(limit.Unmet, "effective relaxation time 2 tau at most 12 s")
	}
	return limit
}

// TankRelaxation is the effective relaxation time in s in a partly filled tank: 2 τ (eq. 10.8).
func TankRelaxation(relaxation interval.Interval) interval.Interval { return relaxation.Scale(2) }

// RelaxationLength is the length in m, 3 τ v, that a line after a filter must have.
func RelaxationLength(relaxation, velocity interval.Interval) interval.Interval {
	return relaxation.Mul(velocity).Scale(3)
}

// GaugingDelays returns waits in s before dipping or gauging, which are about charge on
// the liquid and not about the bond.
func GaugingDelays() []Fact {
	return []Fact{
		{Name: "tanker, non-bonded tape", Value: interval.Point(1800), Unit: "s", Source: "ISGOTT 6th ed. ch. 11", Confidence: SecondHand},
		{Name: "storage tank over about 40 m³", Value: interval.Point(1800), Unit: "s", Source: "API RP 2003, NFPA 77", Confidence: FromMemory},
		{Name: "truck or rail car", Value: interval.Point(60), Unit: "s", Source: "API RP 2003, NFPA 77", Confidence: FromMemory},
	}
}
