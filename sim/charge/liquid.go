package charge

import (
	"math"

	"ohmgate/sim/charge/interval"
)

// Permittivity of free space, F/m, to four digits.
const Permittivity = 8.854e-12

// PicoSiemens is 1 pS/m in S/m.
const PicoSiemens = 1e-12

// Schoen is the streaming constant of a long pipe, A/((m/s)² m²). From memory.
var Schoen = Fact{Name: "streaming constant, Schoen", Value: interval.Point(3.75e-6), Unit: "A s²/m⁴",
	Source: sourceSchoen, Confidence: FromMemory}

// CrowlLouvar is the design constant, 2.67 times Schoen's, so conservative. NFPA 77
// gives no constant that was seen, only a nomograph: do not cite it for either.
var CrowlLouvar = Fact{Name: "streaming constant, Crowl & Louvar", Value: interval.Point(1e-5), Unit: "A s²/m⁴",
	Source: sourceCrowl, Confidence: SecondHand}

// StreamingConstant spans both constants: 3.75e-6 (from memory) to 1e-5 A s²/m⁴.
func StreamingConstant() Fact {
	return Fact{Name: "streaming constant", Value: Schoen.Value.Hull(CrowlLouvar.Value), Unit: "A s²/m⁴",
		Source: sourceCrowl + " .. " + sourceSchoen, Confidence: FromMemory,
		Note: "upper end second-hand, lower end from memory"}
}

// PipeFlow is a liquid in a full round pipe.
type PipeFlow struct {
	Velocity   interval.Interval // m/s
	Diameter   interval.Interval // m, inside
	Length     interval.Interval // m; +Inf is a long pipe, the worst case
	Relaxation interval.Interval // s, of the liquid; see RelaxationTime
}

// LongPipe is a flow whose length is not known: taken as fully developed.
func LongPipe(velocity, diameter interval.Interval) PipeFlow {
	return PipeFlow{Velocity: velocity, Diameter: diameter,
		Length: interval.Point(math.Inf(1)), Relaxation: interval.Point(1)}
}

// developed is 1-exp(-L/(v tau)): how much of the long-pipe current a pipe of
// length L gives.
func developed(length, velocity, relaxation float64) float64 {
	way := velocity * relaxation // m travelled in one relaxation time
	switch {
	case length == 0:
		return 0
	case math.IsInf(length, 1) || way == 0:
		return 1
	case math.IsInf(way, 1):
		return 0
	}
	return -math.Expm1(-length / way)
}

// Current is the streaming current in A,
//
//	I = K (v d)² (1 - exp(-L/(v τ)))
//
// with K from StreamingConstant or one of its ends. It rises with K, v, d and L
// and falls with τ: d/dv of v²(1-exp(-a/v)) is never negative. Source: Crowl &
// Louvar ch. 7 (second-hand). Sign and scatter of real liquids are not in it.
func (p PipeFlow) Current(constant interval.Interval) interval.Interval {
	f := func(at ...float64) float64 {
		k, v, d, length, tau := at[0], at[1], at[2], at[3], at[4]
		return k * (v * d) * (v * d) * developed(length, v, tau)
	}
	return interval.Apply(f, interval.Rising(constant), interval.Rising(p.Velocity),
		interval.Rising(p.Diameter), interval.Rising(p.Length), interval.Falling(p.Relaxation))
}

// Density is the charge per volume in C/m³ at the end of the pipe: the current
// over the flow, 4 K v/π times the finite-pipe factor, whatever the diameter.
// The rule "5 µC/m³ per m/s" (from memory) is this with Schoen's constant.
func (p PipeFlow) Density(constant interval.Interval) interval.Interval {
	f := func(at ...float64) float64 {
		k, v, length, tau := at[0], at[1], at[2], at[3]
		return 4 / math.Pi * k * v * developed(length, v, tau)
	}
	return interval.Apply(f, interval.Rising(constant), interval.Rising(p.Velocity),
		interval.Rising(p.Length), interval.Falling(p.Relaxation))
}

// Flow is the volume flow in m³/s.
func (p PipeFlow) Flow() interval.Interval {
	f := func(at ...float64) float64 { return at[0] * math.Pi / 4 * at[1] * at[1] }
	return interval.Apply(f, interval.Rising(p.Velocity), interval.Rising(p.Diameter))
}

// VelocityOf is the velocity in m/s of a volume flow (m³/s) in a round pipe (m).
func VelocityOf(flow, diameter interval.Interval) interval.Interval {
	f := func(at ...float64) float64 { return at[0] / (math.Pi / 4 * at[1] * at[1]) }
	return interval.Apply(f, interval.Rising(flow), interval.Falling(diameter))
}

// StreamCurrent is the current in A that a stream carries: charge density
// (C/m³ or C/kg) times flow (m³/s or kg/s).
func StreamCurrent(density, flow interval.Interval) interval.Interval { return density.Mul(flow) }

// ColumnResistance is the resistance in Ω of a liquid that fills a hose or pipe
// of the given length (m), inside diameter (m) and conductivity (S/m).
func ColumnResistance(length, diameter, conductivity interval.Interval) interval.Interval {
	area := diameter.Square().Mul(interval.Between(math.Nextafter(math.Pi, 3), math.Nextafter(math.Pi, 4))).Scale(0.25)
	return length.Div(conductivity.Mul(area))
}

// RelaxationTime is τ = ε_r ε0 / σ in s, the time in which charge in a liquid at
// rest falls to 37 %; σ in S/m. A conductivity of 0 gives +Inf.
func RelaxationTime(relativePermittivity, conductivity interval.Interval) interval.Interval {
	return relativePermittivity.Scale(Permittivity).Div(conductivity)
}

// Ohmic is the density left of density (C/m³) after residence (s): ρ exp(-t/τ).
func Ohmic(density, residence, relaxation interval.Interval) interval.Interval {
	f := func(at ...float64) float64 {
		rho, t, tau := at[0], at[1], at[2]
		switch {
		case t == 0 || math.IsInf(tau, 1):
			return rho
		case tau == 0:
			return 0
		}
		return rho * math.Exp(-t/tau)
	}
	return interval.Apply(f, interval.Rising(density), interval.Falling(residence), interval.Rising(relaxation))
}

// HyperbolicMobility is the ion mobility of the hyperbolic law, m²/(V s). From memory.
var HyperbolicMobility = Fact{Name: "mobility of the hyperbolic law", Value: interval.Point(1e-8), Unit: "m²/(V s)",
	Source: "Bustin, Culbertson, Schleckser 1957", Confidence: FromMemory}

// Hyperbolic is the density left in a liquid of very low conductivity (below
// about 2 pS/m), where the charge itself carries the current:
//
//	ρ(t) = ρ0 / (1 + µ ρ0 t / (ε_r ε0))
//
// The law is from memory; it agrees with the 5 % after 100 s that CCPS gives.
func Hyperbolic(density, residence, relativePermittivity interval.Interval) interval.Interval {
	f := func(at ...float64) float64 {
		rho, t, epsilon := at[0], at[1], at[2]
		return rho / (1 + HyperbolicMobility.Value.Hi*rho*t/(epsilon*Permittivity))
	}
	return interval.Apply(f, interval.Rising(density), interval.Falling(residence), interval.Rising(relativePermittivity))
}

// ConductivityClass is the class of a liquid by NFPA 77 (2000 ed.).
type ConductivityClass string

// Classes at ε_r near 2: below 50 pS/m, 50 to 1e4 pS/m, above. Mixed when the
// interval of conductivities lies in more than one.
const (
	Nonconductive  ConductivityClass = "nonconductive"
	Semiconductive ConductivityClass = "semiconductive"
	Conductive     ConductivityClass = "conductive"
	MixedClass     ConductivityClass = "more than one class"
)

// ClassOf puts a conductivity in S/m in its class.
func ClassOf(conductivity interval.Interval) ConductivityClass {
	lowest, highest := classOf(conductivity.Lo), classOf(conductivity.Hi)
	if lowest != highest {
		return MixedClass
	}
	return lowest
}

func classOf(conductivity float64) ConductivityClass {
	switch {
	case conductivity < 50*PicoSiemens:
		return Nonconductive
	case conductivity <= 1e4*PicoSiemens:
		return Semiconductive
	default:
		return Conductive
	}
}
