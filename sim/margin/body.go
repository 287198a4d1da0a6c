package margin

import (
	"strings"

	"ohmgate/interlock/site"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// objects are words of site files for the rows of the capacitance table.
var objects = map[string]string{
	"rail car": "rail tank car", "rail tank car": "rail tank car", "tank car": "rail tank car",
	"truck": "road tanker", "tank truck": "road tanker", "road tanker": "road tanker", "car": "automobile", "automobile": "automobile",
	"drum": "drum", "drum on film": "drum on plastic film", "drum on plastic film": "drum on plastic film", "drum on pallet": "drum on wood pallet",
	"ibc": "container 250 to 500 L", "container": "container 250 to 500 L", "tub": "container 250 to 500 L", "mobile tub": "container 250 to 500 L",
	"bucket": "bucket", "nozzle": "nozzle", "lance": "nozzle", "scoop": "scoop", "flange": "flange", "person": "person",
	"silo": "major plant", "dryer": "major plant", "mixer": "major plant", "tank": "major plant", "vessel": "major plant", "sieve": "major plant", "plant": "major plant",
}

// objectWord is the object of a vessel in small letters with blanks.
func objectWord(v *site.Vessel) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimSpace(v.Object), "_", " "))
}

// wholeTable is the capacitance of a conductive thing of which nobody has said
// what it is, F: the table from end to end times {0.5, 2}, films aside.
func wholeTable() interval.Interval {
	whole := interval.Interval{}
	for i, row := range charge.Capacitances() {
		f, ok := charge.CapacitanceDefault(row.Name)
		switch {
		case !ok || row.Name == "drum on plastic film":
		case i == 0:
			whole = f.Value
		default:
			whole = whole.Hull(f.Value)
		}
	}
	return whole
}

// body is a conductive thing.
type body struct {
	capacitance interval.Interval // F while it charges
	lowest      interval.Interval // F, the lowest that it will ever have; zero: the same
	ignition    charge.Criterion
	leak        interval.Interval // Ω, of the file, for the wait; +Inf where silent
	leakKnown   bool
}

func (b body) spark() interval.Interval {
	if b.lowest != (interval.Interval{}) {
		return b.lowest
	}
	return b.capacitance
}

// everCapacitance is every capacitance that it will ever have, F.
func (b body) everCapacitance() interval.Interval { return b.capacitance.Hull(b.spark()) }

func bodyOf(nd *node, n *notes) body {
	var b body
	if nd.part != nil {
		b.capacitance = partCapacitance(nd.part, n)
	} else {
		b.capacitance, b.lowest = vesselCapacitance(nd.vessel, n)
	}
	b.ignition = charge.Ignites(ignitionEnergy(nd, n))
	n.fact("sparking voltage", charge.SparkVoltage, charge.SparkVoltage.Value, "")
	b.leak = charge.NoLeak()
	if nd.part == nil && nd.vessel.Leak.Set {
		b.leak, b.leakKnown = n.file("leak, for the wait only", nd.vessel.Leak, "Ω", "vessels."+nd.vessel.Name+".leak"), true
	} else {
		n.assume("leak", charge.NoLeak(), "Ω", "vessels."+nd.vessel.Name+".leak", "not known: none is counted, and the wait cannot be computed")
	}
	return b
}

func partCapacitance(p *site.Part, n *notes) interval.Interval {
	path := "parts." + p.Name + ".capacitance"
	if p.Capacitance.Set && p.Capacitance.Lo > 0 {
		return n.file("capacitance", p.Capacitance, "F", path)
	}
	return n.assume("capacitance", wholeTable(), "F", path, "not known: the whole table of objects x {0.5, 2} (common practice)")
}

func vesselCapacitance(v *site.Vessel, n *notes) (now, lowest interval.Interval) {
	path := "vessels." + v.Name
	word := objectWord(v)
	row, listed := charge.CapacitanceDefault(objects[word])
	switch {
	case v.Capacitance.Set && v.Capacitance.Lo > 0:
		now = n.file("capacitance", v.Capacitance, "F", path+".capacitance")
	case listed:
		now = n.fact("capacitance, "+row.Name, row, row.Value, path+".capacitance")
	default:
		now = n.assume("capacitance", wholeTable(), "F", path+".capacitance", "not known: the whole table of objects x {0.5, 2} (common practice)")
	}
	switch {
	case v.CapacitanceLow.Set && v.CapacitanceLow.Lo > 0:
		lowest = n.file("lowest capacitance", v.CapacitanceLow, "F", path+".lowest_capacitance")
	case objects[word] == "drum on plastic film":
		lifted, _ := charge.CapacitanceDefault("drum on wood pallet")
		lowest = n.fact("lowest capacitance, lifted off the film", lifted, lifted.Value, path+".lowest_capacitance")
	default:
		n.assume("lowest capacitance", now, "F", path+".lowest_capacitance", "not known: taken as never lower than while it charges")
	}
	return now, lowest
}

// shortNames are trade abbreviations for rows of the ignition table.
var shortNames = map[string]string{"mek": "methyl ethyl ketone", "ipa": "isopropanol", "isopropyl alcohol": "isopropanol", "gasoline": "IIA", "petrol": "IIA"}

// unknownDust is the lowest ignition energy assumed for a dust that nobody has
// named, J.
const unknownDust = 1e-3

// ignitionEnergy is a point: the lowest that is listed for what is around the
// node, J.
func ignitionEnergy(nd *node, n *notes) interval.Interval {
	v := nd.vessel
	path := "vessels." + v.Name + ".ignition"
	if v.Ignition.Set && v.Ignition.Lo > 0 {
		return n.file("ignition energy", v.Ignition, "J", path)
	}
	for _, text := range []string{v.Atmosphere, nd.product(), v.Group} {
		if f, ok := energyIn(text); ok {
			return n.fact("ignition energy, "+f.Name, f, interval.Point(f.Value.Lo), path)
		}
	}
	if strings.HasPrefix(v.Group, "III") || nd.stream.Kind == "powder" && v.Group == "" && v.Atmosphere == "" {
		return n.assume("ignition energy, unknown dust", interval.Point(unknownDust), "J", path, "not known: 1 mJ (common practice); a vapour beside the dust would need less")
	}
	rows := charge.Ignitions()
	lowest := rows[0]
	for _, row := range rows {
		if row.Energy.Lo < lowest.Energy.Lo {
			lowest = row
		}
	}
	return n.assume("ignition energy", interval.Point(lowest.Energy.Lo), "J", path, "not known: the lowest listed, "+lowest.Substance+", "+lowest.Source+" ("+lowest.Confidence.String()+")")
}

// energyIn finds the substances that a text names; of several the most easily
// ignited counts, so that a vapour governs a hybrid mixture.
func energyIn(text string) (lowest charge.Fact, found bool) {
	text = " " + strings.ToLower(strings.ReplaceAll(text, "_", " ")) + " "
	take := func(word, row string) {
		at := strings.Index(text, word)
		if at < 0 || isLetter(text[at-1]) || isLetter(text[at+len(word)]) {
			return
		}
		if f, ok := charge.IgnitionEnergy(row); ok && (!found || f.Value.Lo < lowest.Value.Lo) {
			lowest, found = f, true
		}
	}
	for word, row := range shortNames {
		take(word, row)
	}
	for _, row := range charge.Ignitions() {
		take(strings.ToLower(row.Substance), row.Substance)
	}
	for _, row := range charge.GroupEnergies() {
		take(strings.ToLower(row.Name), row.Name)
	}
	return lowest, found
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' }
