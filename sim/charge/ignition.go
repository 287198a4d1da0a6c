package charge

import (
	"strings"

	"ohmgate/sim/charge/interval"
)

// Atmosphere says what kind of thing ignites.
type Atmosphere uint8

// Kinds of rows in the ignition table.
const (
	Vapour Atmosphere = iota
	Dust
)

// Ignition is one row: the minimum ignition energy that one named source gives.
// Sources disagree by up to 30 % on hydrogen and methane; pin a check to one row.
type Ignition struct {
	Substance  string
	Kind       Atmosphere
	Energy     interval.Interval // J
	Percent    float64           // by volume, of the most ignitable mixture; 0 where not given
	Source     string
	Confidence Confidence
}

// Ignitions returns the table, rows of one substance beside each other.
func Ignitions() []Ignition {
	const b1 = sourceNFPA + ", Table B.1"
	vapour := func(name string, millijoule, percent float64, source string, c Confidence) Ignition {
		return Ignition{name, Vapour, interval.Point(millijoule * 1e-3), percent, source, c}
	}
	dust := func(name string, millijoule float64) Ignition {
		return Ignition{name, Dust, interval.Point(millijoule * 1e-3), 0, sourceOHM, SecondHand}
	}
	return []Ignition{
		vapour("carbon disulfide", 0.009, 7.8, b1, Seen),
		vapour("hydrogen", 0.016, 0, b1, FromMemory),
		vapour("hydrogen", 0.019, 0, sourceNFPA921, SecondHand),
		vapour("hydrogen", 0.019, 0, sourceOHM, SecondHand),
		vapour("acetylene", 0.017, 8.5, b1, Seen),
		vapour("ethylene oxide", 0.065, 0, b1, FromMemory),
		{"ethylene", Vapour, interval.Between(0.07e-3, 0.084e-3), 0, b1, FromMemory},
		vapour("acrolein", 0.13, 0, b1, Seen),
		vapour("1,3-butadiene", 0.13, 5.2, b1, Seen),
		vapour("methanol", 0.14, 0, "IEC 61340-4-4:2005, note", Seen),
		vapour("acrylonitrile", 0.16, 9.0, b1, Seen),
		vapour("cyclopropane", 0.17, 6.3, b1, Seen),
		vapour("diethyl ether", 0.19, 0, b1, FromMemory),
		vapour("benzene", 0.20, 4.7, b1, Seen),
		vapour("methane", 0.21, 8.5, b1, FromMemory),
		vapour("methane", 0.28, 0, sourceNFPA921, SecondHand),
		vapour("cyclohexane", 0.22, 3.8, b1, Seen),
		vapour("hexane", 0.24, 0, b1, FromMemory),
		vapour("heptane", 0.24, 0, b1, FromMemory),
		vapour("toluene", 0.24, 0, b1, FromMemory),
		vapour("butane", 0.25, 4.7, b1, Seen),
		vapour("propane", 0.25, 5.2, b1, SecondHand),
		vapour("propane", 0.25, 0, sourceNFPA921, SecondHand),
		vapour("propane", 0.25, 0, sourceOHM, SecondHand),
		vapour("methyl ethyl ketone", 0.27, 0, b1, FromMemory),
		vapour("acetaldehyde", 0.37, 0, b1, Seen),
		vapour("ethyl acetate", 0.46, 0, b1, FromMemory),
		vapour("cyclopentane", 0.54, 0, b1, Seen),
		vapour("isopropanol", 0.65, 0, b1, FromMemory),
		vapour("cyclopentadiene", 0.67, 0, b1, Seen),
		vapour("allyl chloride", 0.77, 0, b1, Seen),
		vapour("acetone", 1.15, 4.5, b1, Seen),
		vapour("n-butyl chloride", 1.24, 0, b1, Seen),
		vapour("ammonia", 680, 0, b1, Seen),
		dust("aluminium", 10), dust("magnesium", 20), dust("sugar", 30), dust("wheat flour", 40),
	}
}

// GroupEnergies returns the representative ignition energies in J of the gas groups. From memory.
func GroupEnergies() []Fact {
	row := func(group string, lo, hi float64) Fact {
		return Fact{Name: group, Value: interval.Between(lo, hi), Unit: "J", Source: sourcePractice, Confidence: FromMemory}
	}
	return []Fact{row("IIA", 0.25e-3, 0.25e-3), row("IIB", 0.07e-3, 0.08e-3), row("IIC", 0.016e-3, 0.02e-3)}
}

// IgnitionEnergy spans all rows of a substance (or gas group IIA, IIB, IIC), J.
// Its lower end, the lowest listed, is the one that governs. Source and
// confidence are those of the lowest row.
func IgnitionEnergy(substance string) (Fact, bool) {
	name := strings.TrimSpace(substance)
	var found Fact
	ok := false
	add := func(f Fact) {
		if !ok {
			found, ok = f, true
			return
		}
		if f.Value.Lo < found.Value.Lo {
			found.Source, found.Confidence = f.Source, f.Confidence
		}
		found.Value = found.Value.Hull(f.Value)
	}
	for _, row := range Ignitions() {
		if strings.EqualFold(row.Substance, name) {
			add(Fact{Name: row.Substance, Value: row.Energy, Unit: "J", Source: row.Source, Confidence: row.Confidence})
		}
	}
	for _, row := range GroupEnergies() {
		if strings.EqualFold(row.Name, name) {
			add(row)
		}
	}
	return found, ok
}

// ConeDischarge is the energy ceiling in J of a cone (bulking-brush) discharge on
// heaped powder; no bond prevents it.
var ConeDischarge = Fact{Name: "cone discharge ceiling", Value: interval.Between(10e-3, 25e-3), Unit: "J",
	Source: sourceNFPA + ", 4.3.8", Confidence: Seen}

// LargestDustGrain is the size in m above which NFPA 77 does not call a solid a combustible dust.
var LargestDustGrain = Fact{Name: "combustible dust size limit", Value: interval.Point(420e-6), Unit: "m",
	Source: sourceNFPA + ", 8.2.1", Confidence: Seen}
