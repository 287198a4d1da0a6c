package reliability

import "math"

// Band is the band of a safety integrity level that a number falls in.
type Band int8

// The zero value denies. Levels 1 to 4 are their own number.
const (
	NoBand    Band = 0 // too often: not even level 1
	BelowSIL4 Band = 5 // rarer than the band of level 4 reaches; not to be claimed
)

func (b Band) String() string {
	switch {
	case b >= 1 && b <= 4:
		return "SIL " + string(rune('0'+b)) + " band"
	case b == BelowSIL4:
		return "below the SIL 4 band"
	default:
		return "no SIL band"
	}
}

// MarshalText writes the words.
func (b Band) MarshalText() ([]byte, error) { return []byte(b.String()), nil }

// bounds are the lower ends of the bands of level 4, 3, 2, 1 and the end of level
// 1; the lower end belongs to the band (IEC 61508-1:2010 Tables 2 and 3, second-hand).
var (
	demandBounds    = [5]float64{1e-5, 1e-4, 1e-3, 1e-2, 1e-1}
	frequencyBounds = [5]float64{1e-9, 1e-8, 1e-7, 1e-6, 1e-5}
)

// BandOfPFD is the band of an average probability of failure on demand.
func BandOfPFD(pfd float64) Band { return bandOf(pfd, demandBounds) }

// BandOfPFH is the band of a frequency of dangerous failure in 1/h.
func BandOfPFH(pfh float64) Band { return bandOf(pfh, frequencyBounds) }

func bandOf(v float64, bounds [5]float64) Band {
	switch {
	case math.IsNaN(v) || v < 0 || v >= bounds[4]:
		return NoBand
	case v < bounds[0]:
		return BelowSIL4
	}
	band := Band(4)
	for _, bound := range bounds[1:4] {
		if v >= bound {
			band--
		}
	}
	return band
}

// RiskReduction is 1/PFDavg.
func RiskReduction(pfd float64) float64 { return 1 / pfd }
