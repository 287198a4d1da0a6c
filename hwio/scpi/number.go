package scpi

import (
	"fmt"
	"math/big"
	"strings"
)

// Class says what kind of answer a measurement is. The zero Class is Invalid: a forgotten field denies.
type Class uint8

const (
	// Invalid: no number, not-a-number, negative, or the instrument says that it does not know.
	Invalid Class = iota
	// OverRange: larger than the instrument can measure, or larger than any number kept here. Most likely an open circuit.
	OverRange
	// Value: an ordinary number.
	Value
)

// String is the word for records.
func (c Class) String() string {
	switch c {
	case OverRange:
		return "over-range"
	case Value:
		return "value"
	}
	return "invalid"
}

// Resistance is one measured resistance.
type Resistance struct {
	Class     Class
	Microohms int64  // only if Class is Value; never negative
	Text      string // what the instrument said
	Reason    string // why it is not a Value
}

// String shows the number or the class.
func (r Resistance) String() string {
	if r.Class == Value {
		return fmt.Sprintf("%d.%06d Ω", r.Microohms/1e6, r.Microohms%1e6)
	}
	return fmt.Sprintf("%v (%s)", r.Class, r.Reason)
}

// Overload is how one device says that a value is beyond its range, over and above the SCPI way (9.9E37).
type Overload struct {
	// Words are whole answers that mean over-range, such as "OVLD"; letter case does not matter.
	Words []string
	// From is a decimal number of ohms; at or above it every answer means over-range. Empty: none.
	From string
}

const (
	// digitLimit and exponentLimit bound what is read as a number at all: a babbling line must not cost memory.
	digitLimit    = 64
	exponentLimit = 400
)

// The special values of SCPI-99, volume 1, chapter 7. Not-a-number is taken from a window, because some firmware
// prints it from single precision (9.9100003E37). Between the window and beyond, everything from 1E37 is infinite.
var (
	infinityFrom = decimal("1E37")
	notANumberLo = decimal("9.905E37")
	notANumberHi = decimal("9.915E37")
	million      = big.NewRat(1_000_000, 1)
)

func decimal(text string) *big.Rat {
	value, ok := new(big.Rat).SetString(text)
	if !ok {
		panic("scpi: not a decimal: " + text)
	}
	return value
}

// ParseResistance turns an instrument's answer, in ohms, into micro-ohms or a class. Parts of a micro-ohm are rounded
// up, away from a good bond. A unit behind the number is not accepted: templates must ask for plain numbers.
func ParseResistance(text string, overload Overload) Resistance {
	answer := Resistance{Text: text}
	trimmed := strings.TrimSpace(text)
	for _, word := range overload.Words {
		if strings.EqualFold(trimmed, word) {
			return answer.as(OverRange, "the device's word for overload")
		}
	}
	switch strings.ToUpper(trimmed) {
	case "INF", "INFINITY", "+INF", "+INFINITY":
		return answer.as(OverRange, "infinite")
	case "NINF", "-INF", "-INFINITY":
		return answer.as(Invalid, "negative infinity")
	case "NAN":
		return answer.as(Invalid, "not a number")
	}
	ohms, err := ParseDecimal(trimmed)
	if err != nil {
		return answer.as(Invalid, err.Error())
	}
	return answer.classify(ohms, overload)
}

// classify sorts an exact decimal; only what is left at the end becomes an integer.
func (r Resistance) classify(ohms *big.Rat, overload Overload) Resistance {
	magnitude := new(big.Rat).Abs(ohms)
	switch {
	case magnitude.Cmp(notANumberLo) >= 0 && magnitude.Cmp(notANumberHi) <= 0:
		return r.as(Invalid, "9.91E37 means not a number")
	case ohms.Sign() < 0:
		return r.as(Invalid, "negative")
	case ohms.Cmp(infinityFrom) >= 0:
		return r.as(OverRange, "9.9E37 means infinite")
	}
	if overload.From != "" {
		limit, err := ParseDecimal(overload.From)
		if err != nil {
			return r.as(Invalid, "the template's overload limit is "+err.Error())
		}
		if ohms.Cmp(limit) >= 0 {
			return r.as(OverRange, "at or above the device's overload value "+overload.From)
		}
	}
	scaled := new(big.Rat).Mul(ohms, million)
	whole, remainder := new(big.Int).QuoRem(scaled.Num(), scaled.Denom(), new(big.Int))
	if remainder.Sign() != 0 {
		whole.Add(whole, big.NewInt(1))
	}
	if !whole.IsInt64() {
		return r.as(OverRange, "larger than any resistance kept here")
	}
	r.Class, r.Microohms = Value, whole.Int64()
	return r
}

func (r Resistance) as(class Class, reason string) Resistance {
	r.Class, r.Reason = class, reason
	return r
}

// ParseDecimal reads an IEEE 488.2 decimal, NR1 (10), NR2 (10.5) or NR3 (1.05E+1), exactly.
func ParseDecimal(text string) (*big.Rat, error) {
	mantissa, exponent, hasExponent := cutExponent(text)
	unsigned := strings.TrimLeft(mantissa, "+-")
	if len(mantissa)-len(unsigned) > 1 {
		return nil, fmt.Errorf("no number: %q has two signs", shorten(text))
	}
	digits := 0
	points := 0
	for _, c := range []byte(unsigned) {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case c == '.':
			points++
		default:
			return nil, fmt.Errorf("no number: %q", shorten(text))
		}
	}
	if digits == 0 || points > 1 || digits > digitLimit {
		return nil, fmt.Errorf("no number: %q", shorten(text))
	}
	power := 0
	if hasExponent {
		var ok bool
		if power, ok = smallInteger(exponent); !ok {
			return nil, fmt.Errorf("no exponent: %q", shorten(text))
		}
	}
	value, ok := new(big.Rat).SetString(fmt.Sprintf("%se%d", mantissa, power))
	if !ok {
		return nil, fmt.Errorf("no number: %q", shorten(text))
	}
	return value, nil
}

// cutExponent splits at E; 488.2 lets blanks stand around it.
func cutExponent(text string) (mantissa, exponent string, found bool) {
	at := strings.IndexAny(text, "eE")
	if at < 0 {
		return text, "", false
	}
	return strings.TrimSpace(text[:at]), strings.TrimSpace(text[at+1:]), true
}

// smallInteger reads an exponent without letting it grow.
func smallInteger(text string) (int, bool) {
	unsigned := strings.TrimLeft(text, "+-")
	if len(unsigned) == 0 || len(unsigned) > 6 || len(text)-len(unsigned) > 1 {
		return 0, false
	}
	value := 0
	for _, c := range []byte(unsigned) {
		if c < '0' || c > '9' {
			return 0, false
		}
		value = value*10 + int(c-'0')
	}
	if value > exponentLimit {
		return 0, false
	}
	if strings.HasPrefix(text, "-") {
		value = -value
	}
	return value, true
}

func shorten(text string) string {
	const most = 40
	if len(text) > most {
		return text[:most] + "..."
	}
	return text
}

// FormatOhms writes micro-ohms as a plain decimal number of ohms (NR2), for orders to a decade.
func FormatOhms(microohms int64) string {
	text := fmt.Sprintf("%d.%06d", microohms/1_000_000, microohms%1_000_000)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}
