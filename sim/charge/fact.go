package charge

import "ohmgate/sim/charge/interval"

// Confidence says how well a number is known to us. The zero value is the worst.
type Confidence uint8

// From worst to best.
const (
	// FromMemoryUnsure must not be used as a named check value before someone
	// opens the document.
	FromMemoryUnsure Confidence = iota
	// FromMemory was not seen in the document that it is attributed to.
	FromMemory
	// FromMemoryConsistent is from memory, and fits numbers that were seen.
	FromMemoryConsistent
	// RecoveredFactor had one digit missing in the scan, rebuilt from the others.
	RecoveredFactor
	// Derived is arithmetic from a cited formula.
	Derived
	// SecondHand was seen in a page that quotes the source.
	SecondHand
	// Seen was read in the text of the cited document.
	Seen
)

// String is the remark to print beside a number.
func (c Confidence) String() string {
	switch c {
	case FromMemory:
		return "from memory"
	case FromMemoryConsistent:
		return "from memory, fits values seen"
	case RecoveredFactor:
		return "one digit recovered"
	case Derived:
		return "derived"
	case SecondHand:
		return "second-hand"
	case Seen:
		return "seen"
	default:
		return "from memory, unsure"
	}
}

// MarshalText writes the remark, so that records carry it.
func (c Confidence) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// IsFromMemory reports whether "from memory" must stand beside the number.
func (c Confidence) IsFromMemory() bool { return c <= FromMemoryConsistent }

// Fact is a number with where it comes from.
type Fact struct {
	Name       string            `json:"name"`
	Value      interval.Interval `json:"value"`
	Unit       string            `json:"unit"`
	Source     string            `json:"source"`
	Confidence Confidence        `json:"confidence"`
	Note       string            `json:"note,omitempty"`
}

// Cite is the source with its honest status: "NFPA 77 (2000 ed.), Table B.2 (seen)".
func (f Fact) Cite() string { return f.Source + " (" + f.Confidence.String() + ")" }

// The documents, with the edition that was read or remembered.
const (
	sourceNFPA     = "NFPA 77 (2000 ed.)"
	sourceIECFIBC  = "IEC 61340-4-4 (2005, 2012, 2018; abstracts)"
	sourcePowder   = "electrostatics code text, Table 5 (CLC TR 50404 family; title not visible)"
	sourceTRGS     = "TRGS 727 (2016) as explained by BG RCI"
	sourceELS      = "Japanese electrostatic risk-assessment guide (after IEC TS 60079-32-1)"
	sourceCCPS     = "AIChE CCPS glossary, effective conductivity (after Britton 1999)"
	sourceCrowl    = "Crowl & Louvar, Chemical Process Safety, ch. 7 (lecture notes)"
	sourceNBS      = "Shafer, Baker, Benson, J. Research NBS 69C (1965) 307"
	sourceFire     = "International Fire Code text, FC 5706.5.7"
	sourceTM       = "TM 5-811-3 / AFM 88-9 ch. 3"
	sourceOHM      = "OHM magazine, 1995 special issue"
	sourceNFPA921  = "course table citing NFPA 921:2017 / NFPA 497:2021"
	sourceSchoen   = "after Schoen 1962, as in BS 5958-1 / CLC TR 50404"
	sourceIEC      = "IEC TS 60079-32-1"
	sourceBS       = "BS 5958-1 / CLC TR 50404 / IEC TS 60079-32-1 family"
	sourcePhysics  = "physics pages (Paschen curve of air)"
	sourcePractice = "common practice"
)
