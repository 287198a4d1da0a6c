package charge

import (
	"math"

	"ohmgate/sim/charge/interval"
)

// Filter is what stands in the line before the receiver.
type Filter uint8

// The zero value is the worst: nobody has said that there is no filter.
const (
	// FilterUnknown is taken as anything from none to a fine filter.
	FilterUnknown Filter = iota
	NoFilter
	// Strainer is coarse: its charge is about that of pipe flow.
	Strainer
	// FineFilter is a microfilter or filter-separator.
	FineFilter
)

func (f Filter) String() string {
	return [...]string{"unknown filter", "no filter", "strainer", "fine filter"}[min(f, 3)]
}

// FineFilterDensity is the charge density right after a fine filter, C/m³.
var FineFilterDensity = Fact{Name: "density after a fine filter", Value: interval.Between(10e-6, 5000e-6), Unit: "C/m³",
	Source: sourceIEC + " / API RP 2003", Confidence: FromMemoryUnsure, Note: "10..200 times pipe flow"}

// FilterResidence is the time in s after a fine filter that usual practice asks for.
var FilterResidence = Fact{Name: "residence after a fine filter", Value: interval.Point(30), Unit: "s",
	Source: sourceNFPA + ", Table 7.6 item 4", Confidence: Seen}

// OutletDensity is the charge density in C/m³ right after the filter, given the
// density that pipe flow alone would give.
func (f Filter) OutletDensity(pipe interval.Interval) interval.Interval {
	switch f {
	case NoFilter, Strainer:
		return pipe
	case FineFilter:
		return FineFilterDensity.Value
	default:
		return pipe.Hull(FineFilterDensity.Value)
	}
}

// lowConductivity is where the hyperbolic regime begins, S/m (CCPS, seen).
const lowConductivity = 2 * PicoSiemens

// slowFactor is how much longer than ohmic the relaxation time is downstream of
// a fine filter, for liquids above 2 pS/m (CCPS, seen: 3 to 4 times).
var slowFactor = interval.Between(3, 4)

// Residual is the density in C/m³ that is left after residence (s) between the
// filter and the receiver. Below 2 pS/m rest conductivity it spans the
// hyperbolic law (from memory) and the ohmic one; above, after a fine filter,
// the ohmic time is taken 3 to 4 times longer (CCPS); for an unknown filter 1 to 4.
func (f Filter) Residual(density, residence, relativePermittivity, conductivity interval.Interval) interval.Interval {
	var left interval.Interval
	started := false
	add := func(x interval.Interval) {
		if !started {
			left, started = x, true
			return
		}
		left = left.Hull(x)
	}
	if low, ok := conductivity.Intersect(interval.Between(0, lowConductivity)); ok {
		add(Hyperbolic(density, residence, relativePermittivity))
		add(Ohmic(density, residence, RelaxationTime(relativePermittivity, low)))
	}
	if high, ok := conductivity.Intersect(interval.Between(lowConductivity, math.Inf(1))); ok {
		tau := RelaxationTime(relativePermittivity, high)
		switch f {
		case FineFilter:
			tau = tau.Mul(slowFactor)
		case FilterUnknown:
			tau = tau.Mul(interval.Between(1, slowFactor.Hi))
		}
		add(Ohmic(density, residence, tau))
	}
	return left
}
