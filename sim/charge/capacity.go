package charge

import (
	"strings"

	"ohmgate/sim/charge/interval"
)

// picofarad is 1 pF in F.
const picofarad = 1e-12

// Capacitances returns the table of capacitances to earth in F. Published values
// of one object differ widely; they are defaults, never measurements.
func Capacitances() []Fact {
	row := func(object string, lo, hi float64, source string, c Confidence, note string) Fact {
		return Fact{Name: object, Value: interval.Between(lo*picofarad, hi*picofarad), Unit: "F",
			Source: source, Confidence: c, Note: note}
	}
	const a3 = sourceNFPA + ", Table A.3.1.5"
	const drum = "BG RCI Ex-Schutz FAQ 7.15"
	return []Fact{
		row("rail tank car", 1000, 1000, a3, Seen, ""),
		row("automobile", 500, 500, a3, Seen, ""),
		row("person", 100, 300, a3, Seen, ""),
		row("drum", 10, 100, a3, Seen, "oil or solvent drum; on plastic film see that row"),
		row("scoop", 10, 20, a3, Seen, ""),
		row("drum on wood pallet", 70, 70, drum, Seen, "200 L, 600 mm diameter, 70 mm dry wood"),
		row("drum on plastic film", 35000, 35000, drum, Seen, "140 µm film; lifted off, the same charge sits on about 70 pF"),
		row("nozzle", 10, 20, sourceBS, FromMemory, "small metal items"),
		row("bucket", 10, 100, sourceBS, FromMemory, "or 50 L drum"),
		row("container 250 to 500 L", 50, 300, sourceBS, FromMemory, ""),
		row("major plant", 100, 1000, sourceBS, FromMemory, "surrounded by earthed structure"),
		row("flange", 10, 10, "ESCIS / Luettgens & Glor", FromMemory, "100 mm"),
		row("road tanker", 1000, 1000, sourceBS, FromMemoryUnsure, "rubber tyres; some tables up to 5000 pF"),
	}
}

// CapacitanceDefault is the range in F to assume for an object of the table: the
// table value times {0.5, 2}, as common practice, because placement changes it
// that much. The drum on film keeps its value: there the film rules.
func CapacitanceDefault(object string) (Fact, bool) {
	for _, f := range Capacitances() {
		if !strings.EqualFold(f.Name, strings.TrimSpace(object)) {
			continue
		}
		if f.Name != "drum on plastic film" {
			f.Value = interval.Between(f.Value.Lo*0.5, f.Value.Hi*2)
			f.Note = strings.TrimPrefix(f.Note+"; table value x {0.5, 2} ("+sourcePractice+")", "; ")
		}
		return f, true
	}
	return Fact{}, false
}
