package charge

import (
	"math"
	"strings"

	"ohmgate/sim/charge/interval"
)

// Liquid is a row of the liquid table. A conductivity printed as "< x" is 0..x.
type Liquid struct {
	Name          string
	Conductivity  interval.Interval // S/m
	Permittivity  float64           // relative
	PublishedTime interval.Interval // s, relaxation time as printed; +Inf where "more than"
	// Dissipation is set where the table prints "100 s dissipation" (hyperbolic)
	// instead of an ohmic relaxation time.
	Dissipation bool
	Confidence  Confidence
}

// Source is the table all rows come from.
func (l Liquid) Source() string { return sourceNFPA + ", Table B.2" }

// Liquids returns the table: NFPA 77 (2000 ed.) Table B.2, as far as it was read.
func Liquids() []Liquid {
	at := func(v float64) interval.Interval { return interval.Point(v * PicoSiemens) }
	upTo := func(v float64) interval.Interval { return interval.Between(0, v*PicoSiemens) }
	over := func(lo, hi float64) interval.Interval { return interval.Between(lo*PicoSiemens, hi*PicoSiemens) }
	is := interval.Point
	moreThan := func(v float64) interval.Interval { return interval.Between(v, math.Inf(1)) }
	const m, mc, rf, s = FromMemory, FromMemoryConsistent, RecoveredFactor, Seen
	return []Liquid{
		{"methanol", at(4.4e7), 32.70, is(6.6e-6), false, s},
		{"methyl formate", at(1.92e8), 8.5, is(3.9e-7), false, s},
		{"methyl cyanoacetate", at(4.49e7), 29.30, is(5.8e-6), false, s},
		{"methyl isobutyl ketone", upTo(5.2e6), 13.11, moreThan(2.2e-5), false, s},
		{"methyl ethyl ketone", at(1e7), 18.51, is(1.6e-5), false, rf},
		{"N-methyl-2-pyrrolidone", at(2e6), 32.0, is(1.4e-4), false, rf},
		{"nitrobenzene", at(5e5), 34.82, is(6.2e-4), false, rf},
		{"nitroethane", at(5e7), 28.06, is(5.0e-6), false, rf},
		{"nitromethane", at(6e7), 35.87, is(5.3e-6), false, rf},
		{"toluene", upTo(1), 2.38, moreThan(21), false, mc},
		{"ethyl benzene", at(30), 2.3, is(0.68), false, mc},
		{"styrene", at(10), 2.43, is(2.2), false, mc},
		{"diethyl ether", at(30), 4.6, is(1.4), false, mc},
		{"kerosene", over(1, 50), 2.2, interval.Between(0.39, 19), false, mc},
		{"cyclohexane", upTo(2), 2.0, moreThan(8.8), false, mc},
		{"ethanol", at(1.35e5), 24.55, is(1.6e-3), false, mc},
		{"ethyl acetate", at(4.6e4), 6.02, is(1.2e-3), false, mc},
		{"acetone", at(6e6), 20.7, is(3.0e-5), false, mc},
		{"isopropanol", at(3.5e8), 19.92, is(5.0e-7), false, mc},
		{"acetaldehyde", at(1.7e8), 21.1, is(1.1e-6), false, mc},
		{"benzene", at(5e-3), 2.3, is(100), true, m},
		{"n-heptane", at(3e-2), 2.0, is(100), true, m},
		{"diesel", at(0.1), 2.0, is(100), true, m},
	}
}

// FindLiquid looks a liquid up by its name in the table, in any case.
func FindLiquid(name string) (Liquid, bool) {
	for _, l := range Liquids() {
		if strings.EqualFold(l.Name, strings.TrimSpace(name)) {
			return l, true
		}
	}
	return Liquid{}, false
}
