package interval

import (
	"fmt"
	"math"
	"strconv"
)

// decimalFuzz is the relative amount by which a number may miss a round decimal
// and still be printed as it: 0.1 must not come out as 0.11 because it is
// stored as 0.1000000000000000056, and a result widened by a few 1e-9, as numerical
// integrals are, keeps its digits.
const decimalFuzz = 1e-8

var prefixes = map[int]string{-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}

// Text writes x with two significant digits and SI prefixes, "27 nA..72 nA",
// the lower end rounded down and the upper end up, so that what is printed
// still holds. A point is one number, rounded to nearest. Infinite ends are
// written "none" for resistances (unit Ω), "never" for times (unit s), else "inf".
func (x Interval) Text(unit string) string {
	if x.IsPoint() {
		return endText(x.Lo, unit, math.RoundToEven)
	}
	lo := endText(x.Lo, unit, math.Floor)
	hi := endText(x.Hi, unit, math.Ceil)
	if lo == hi {
		return lo
	}
	return lo + ".." + hi
}

func endText(v float64, unit string, round func(float64) float64) string {
	switch {
	case math.IsInf(v, 1) && unit == "Ω":
		return "none"
	case math.IsInf(v, 1) && unit == "s":
		return "never"
	case math.IsInf(v, 0):
		return strconv.FormatFloat(v, 'g', -1, 64)
	case v == 0:
		return spaced("0", "", unit)
	}
	exponent := int(math.Floor(math.Log10(math.Abs(v))))
	digits := v / math.Pow10(exponent-1) // 10..99.99
	if nearest := math.Round(digits); math.Abs(digits-nearest) <= decimalFuzz*math.Abs(digits) {
		digits = nearest
	} else {
		digits = round(digits)
	}
	if math.Abs(digits) >= 100 {
		digits, exponent = digits/10, exponent+1
	}
	thousand := 3 * int(math.Floor(float64(exponent)/3))
	prefix, known := prefixes[thousand]
	if !known || unit == "" {
		return spaced(fmt.Sprintf("%.1e", digits*math.Pow10(exponent-1)), "", unit)
	}
	places := max(0, 1-(exponent-thousand))
	return spaced(strconv.FormatFloat(digits*math.Pow10(exponent-thousand-1), 'f', places, 64), prefix, unit)
}

func spaced(number, prefix, unit string) string {
	if unit == "" {
		return number
	}
	return number + " " + prefix + unit
}

// String is Text without a unit, in full precision: for tests and debugging.
func (x Interval) String() string { return fmt.Sprintf("[%v, %v]", x.Lo, x.Hi) }
