package margin

import (
	"fmt"
	"math"
	"strings"

	"ohmgate/interlock/site"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// flow is what a stream does to what it charges.
type flow struct {
	current  interval.Interval // A, capped
	uncapped interval.Interval // A
	law      charge.Law
	filter   charge.Filter
	// volume and mass flow, m³/s and kg/s; zero where not known.
	volume, mass interval.Interval
	// pipe is the current without any filter, A; zero where not known.
	pipe interval.Interval
	// covered is false for what the model leaves out, such as water in the line.
	covered bool
}

// filters are the words of the site file.
var filters = map[string]charge.Filter{
	"": charge.FilterUnknown, "none": charge.NoFilter, "strainer": charge.Strainer, "fine": charge.FineFilter,
}

// streamFlow finds the charging current of a stream.
func streamFlow(s *site.Stream, object string, n *notes) flow {
	f := flow{covered: s.Phases != "with water or solids", filter: filters[s.Filter]}
	path := "streams." + s.Name
	if s.Kind == "powder" {
		f.uncapped = powderCurrent(s, object, path, n, &f)
	} else {
		f.uncapped = liquidCurrent(s, path, n, &f)
		if f.filter == charge.NoFilter || f.filter == charge.Strainer {
			f.law = charge.CurrentAsSquare
		}
		if s.Phases == "" {
			n.word("phases", "single", path+".phases", "the file does not say; water or solids in the line are not covered")
		}
	}
	f.current = charge.CapCurrent(f.uncapped).Capped
	if f.current != f.uncapped {
		n.result("charging current, capped", f.current, "A", "at the "+charge.IndustrialCurrent.Name+": "+charge.IndustrialCurrent.Cite())
	}
	return f
}

func liquidCurrent(s *site.Stream, path string, n *notes, f *flow) interval.Interval {
	known := s.Velocity.Set && s.Bore.Set
	if known {
		velocity, bore := of(s.Velocity), of(s.Bore)
		f.volume = charge.LongPipe(velocity, bore).Flow()
	}
	if s.Current.Set {
		if s.Filter == "" {
			n.word("filter", "unknown", path+".filter", "the current is taken to fall as the velocity, not as its square")
		}
		return n.file("charging current", s.Current, "A", path+".current")
	}
	if !known {
		return n.fact("charging current", charge.UnknownCurrent, charge.UnknownCurrent.Value, path+".current")
	}
	n.file("velocity", s.Velocity, "m/s", path+".velocity")
	n.file("bore", s.Bore, "m", path+".bore")
	constant := charge.StreamingConstant()
	k := n.fact("streaming constant", constant, constant.Value, path+".current")
	pipe := pipeFlow(s, path, n)
	f.pipe = pipe.Current(k)
	current := f.pipe
	if f.filter == charge.FilterUnknown || f.filter == charge.FineFilter {
		current = filteredCurrent(s, path, n, f, pipe.Density(k))
	}
	return n.result("charging current", current, "A", "K (v d)², times the factor of a finite pipe; after a filter density times flow")
}

// pipeFlow is the line; what is not known of it is taken as a long pipe.
func pipeFlow(s *site.Stream, path string, n *notes) charge.PipeFlow {
	velocity, bore := of(s.Velocity), of(s.Bore)
	liquid, listed := charge.FindLiquid(s.Product)
	if !s.Length.Set || !(s.Conductivity.Set || listed) || !(s.Permittivity.Set || listed) {
		n.word("length of the pipe", "long", path+".length", "length, conductivity or permittivity is not known: fully developed flow, the worst case")
		return charge.LongPipe(velocity, bore)
	}
	permittivity, conductivity := liquidOf(s, liquid, listed, path, n)
	return charge.PipeFlow{
		Velocity: velocity, Diameter: bore, Length: n.file("length of the pipe", s.Length, "m", path+".length"),
		Relaxation: charge.RelaxationTime(permittivity, conductivity),
	}
}

// unknownConductivity spans everything up to conductive liquids, S/m.
var unknownConductivity = upTo(1e4 * charge.PicoSiemens)

// liquidOf are permittivity and conductivity (S/m): file, table, or everything.
func liquidOf(s *site.Stream, liquid charge.Liquid, listed bool, path string, n *notes) (permittivity, conductivity interval.Interval) {
	cite := fmt.Sprintf("%s (%s)", liquid.Source(), liquid.Confidence)
	switch {
	case s.Permittivity.Set:
		permittivity = n.file("permittivity", s.Permittivity, "", path+".permittivity")
	case listed:
		permittivity = n.assume("permittivity", interval.Point(liquid.Permittivity), "", path+".permittivity", cite)
	default:
		permittivity = n.assume("permittivity", interval.Between(1.8, 80), "", path+".permittivity", "common practice: any liquid")
	}
	switch {
	case s.Conductivity.Set:
		conductivity = n.file("conductivity", s.Conductivity, "S/m", path+".conductivity")
	case listed:
		conductivity = n.assume("conductivity", liquid.Conductivity, "S/m", path+".conductivity", cite)
	default:
		conductivity = n.assume("conductivity", unknownConductivity, "S/m", path+".conductivity", "not known: any")
	}
	return permittivity, conductivity
}

// filteredCurrent is the current behind a fine filter, or behind one that
// nobody has ruled out.
func filteredCurrent(s *site.Stream, path string, n *notes, f *flow, pipeDensity interval.Interval) interval.Interval {
	outlet := f.filter.OutletDensity(pipeDensity)
	name := "density after the filter"
	if f.filter == charge.FilterUnknown {
		name = "density, filter not known"
	}
	n.fact(name, charge.FineFilterDensity, outlet, path+".filter")
	left := outlet
	if s.FilterBefore.Set {
		residence := n.file("residence after the filter", s.FilterBefore, "s", path+".after_filter")
		liquid, listed := charge.FindLiquid(s.Product)
		permittivity, conductivity := liquidOf(s, liquid, listed, path, n)
		left = f.filter.Residual(outlet, residence, permittivity, conductivity)
		n.result("density at the receiver", left, "C/m³", "after the residence time")
	} else {
		n.assume("residence after the filter", interval.Point(0), "s", path+".after_filter", "the file does not say: none is counted")
	}
	filtered := charge.StreamCurrent(left, f.volume)
	behind := filtered.Hull(filtered.Add(f.pipe)) // the pipe behind it adds its own
	if f.filter == charge.FilterUnknown {
		return f.pipe.Hull(behind)
	}
	return behind
}

// operations are other words for the rows of the powder table.
var operations = map[string]string{
	"pneumatic": "pneumatic conveying", "conveying": "pneumatic conveying", "pneumatic transport": "pneumatic conveying",
	"screw": "scroll feed", "screw feed": "scroll feed", "milling": "grinding", "micronizing": "micronising", "filling": "pouring", "emptying": "pouring",
}

func powderCurrent(s *site.Stream, object, path string, n *notes, f *flow) interval.Interval {
	var current interval.Interval
	if s.MassFlow.Set {
		f.mass = of(s.MassFlow)
	}
	switch {
	case s.Current.Set:
		return n.file("charging current", s.Current, "A", path+".current")
	case !s.MassFlow.Set:
		current = n.fact("charging current", charge.UnknownCurrent, charge.UnknownCurrent.Value, path+".mass_flow")
	default:
		n.file("mass flow", s.MassFlow, "kg/s", path+".mass_flow")
		current = n.result("charging current", charge.StreamCurrent(powderCharge(s, path, n), f.mass), "A", "mass flow times charge per mass")
	}
	if object == "fibc" {
		current = current.Hull(interval.Point(charge.BagCurrent.Value.Hi))
		n.fact("charging current, up to the bag's bound", charge.BagCurrent, current, path+".current")
	}
	return current
}

func powderCharge(s *site.Stream, path string, n *notes) interval.Interval {
	if s.ChargePerKg.Set {
		return n.file("charge per mass", s.ChargePerKg, "C/kg", path+".charge_per_mass")
	}
	operation := strings.ToLower(strings.ReplaceAll(strings.TrimSpace(s.Operation), "_", " "))
	if other, ok := operations[operation]; ok {
		operation = other
	}
	row, known := charge.PowderCharge(operation)
	name := "charge per mass, " + row.Name
	if !known && operation != "" {
		row.Note = fmt.Sprintf("operation %q is not in the table: its widest row", s.Operation)
	}
	return n.fact(name, row, row.Value, path+".charge_per_mass")
}

// Quantity is a number in words of the plant.
type Quantity struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// inWords says what a charging current (A) is in terms of what people can
// change. For the edge below which everything wins, most is true and the
// largest flow counts; for the edge from which everything loses, the smallest.
func (f flow) inWords(s *site.Stream, current float64, most bool) []Quantity {
	end := func(x interval.Interval) float64 {
		if most {
			return x.Hi
		}
		return x.Lo
	}
	var list []Quantity
	if m := end(f.mass); m > 0 {
		list = append(list, Quantity{"charge per mass", current / m, "C/kg"})
	}
	filtered := f.filter == charge.FilterUnknown || f.filter == charge.FineFilter
	if v := end(f.volume); v > 0 && filtered {
		list = append(list, Quantity{"charge density", current / v, "C/m³"})
	}
	if full := end(f.current); full > 0 && s.Velocity.Set && !filtered {
		list = append(list, Quantity{"velocity", end(of(s.Velocity)) * math.Sqrt(current/full), "m/s"})
	}
	return list
}
