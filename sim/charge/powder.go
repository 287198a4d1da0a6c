package charge

import (
	"strings"

	"ohmgate/sim/charge/interval"
)

// microPerKilogram is 1 µC/kg in C/kg.
const microPerKilogram = 1e-6

// PowderCharges returns the charge per mass in C/kg that medium-resistivity
// powders acquire, by operation (CLC TR 50404 family, Table 5, seen).
func PowderCharges() []Fact {
	row := func(operation string, lo, hi float64) Fact {
		return Fact{Name: operation, Value: interval.Between(lo*microPerKilogram, hi*microPerKilogram), Unit: "C/kg",
			Source: sourcePowder, Confidence: Seen}
	}
	return []Fact{
		row("sieving", 1e-5, 1e-3),
		row("pouring", 1e-3, 1e-1),
		row("scroll feed", 1e-2, 1),
		row("grinding", 1e-1, 1),
		row("micronising", 1e-1, 1e2),
		row("pneumatic conveying", 1e-1, 1e3),
	}
}

// PowderCharge looks an operation up. An operation that is not in the table gets
// 0.1..1000 µC/kg, the widest row, and known is false: print it as a default.
func PowderCharge(operation string) (fact Fact, known bool) {
	for _, f := range PowderCharges() {
		if strings.EqualFold(f.Name, strings.TrimSpace(operation)) {
			return f, true
		}
	}
	return Fact{Name: "unknown operation", Value: interval.Between(1e-7, 1e-3), Unit: "C/kg", Source: sourcePowder,
		Confidence: Seen, Note: "operation not in the table: the widest row"}, false
}

// BagCurrent bounds the charging current of filling or emptying a flexible bulk
// bag, A; the standard holds for ignition energies of 0.14 mJ and more.
var BagCurrent = Fact{Name: "bulk bag filling or emptying", Value: interval.Between(0, 3e-6), Unit: "A",
	Source: sourceIECFIBC, Confidence: Seen}

// IndustrialCurrent is the largest industrial charging current of equipment, A.
// Powder tables and this bound cannot both be attained: 1 kg/s at 1e3 µC/kg
// would be 1 mA. Report the capped and the uncapped number.
var IndustrialCurrent = Fact{Name: "largest industrial charging current", Value: interval.Point(1e-4), Unit: "A",
	Source: sourceELS + ", 6.2", Confidence: Seen}

// PersonCurrent is the largest charging current of a person, A.
var PersonCurrent = Fact{Name: "largest charging current of a person", Value: interval.Point(1e-6), Unit: "A",
	Source: sourceELS + ", 6.3", Confidence: Seen}

// FilterPipeCurrent is the largest pipe-wall current measured with filter-charged fuel, A.
var FilterPipeCurrent = Fact{Name: "pipe-wall current, filter-charged fuel", Value: interval.Between(1e-6, 6e-6), Unit: "A",
	Source: sourceNBS, Confidence: Seen}

// UnknownCurrent is the range of process charging currents, A: the default when
// nothing at all is known.
var UnknownCurrent = Fact{Name: "process charging current", Value: interval.Between(1e-11, 1e-4), Unit: "A",
	Source: sourceIEC + ", earthing clause; BS 5958", Confidence: FromMemory}

// Current pairs a charging current with its cap at the industrial bound, A.
type Current struct {
	Uncapped, Capped interval.Interval
}

// CapCurrent cuts a current at 1e-4 A and keeps both.
func CapCurrent(i interval.Interval) Current {
	return Current{Uncapped: i, Capped: i.Min(IndustrialCurrent.Value)}
}

// ResistivityClass is the class of a powder by resistivity (Ω m): low to 1e6,
// medium to 1e10, high from there (CLC TR 50404 family, seen).
func ResistivityClass(ohmMetre float64) string {
	switch {
	case ohmMetre <= 1e6:
		return "low"
	case ohmMetre < 1e10:
		return "medium"
	default:
		return "high"
	}
}
