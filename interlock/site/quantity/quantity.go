// Package quantity reads and writes quantities with units: 10 Ω, 80 ms,
// 0.1..1 uA.
//
// Picture a stores clerk who refuses "ten": ten of what? Every number carries
// its unit, every value is kept as an exact decimal until its user says how it
// is to be stored, and nothing is ever rounded on the way in.
package quantity

import (
	"fmt"
	"math/big"
	"regexp"
	"sort"
	"strings"
)

// Dimension is what a quantity measures.
type Dimension uint8

const (
	Number Dimension = iota // no unit
	Resistance
	Time
	Capacitance
	Current
	Energy
	Length
	Area
	Temperature
	Ratio
	Rotation
	Velocity
	Conductivity
	MassFlow
	ChargePerMass
	Voltage    // scenarios
	Frequency  // scenarios
	Rate       // failures in time
	Dimensions = iota
)

// about is everything there is to know of one dimension.
type about struct {
	name    string            // with its article
	base    string            // the unit of the stored value
	example string            // as a user would write it
	signed  bool              // may be negative
	units   map[string]string // unit -> decimal factor to the base unit, as text
	listed  string            // for people: the units that are understood
}

var known = [Dimensions]about{
	Number:        {name: "a number", example: "2.4", units: map[string]string{"": "1"}, listed: "none"},
	Resistance:    {name: "a resistance", base: "Ω", example: "10 Ω", units: prefixed([]string{"Ω", "\u2126", "ohm", "Ohm"}, "umkMGT"), listed: "uΩ mΩ Ω kΩ MΩ GΩ TΩ, or ohm for Ω"},
	Time:          {name: "a time", base: "s", example: "200 ms", units: with(prefixed([]string{"s"}, "num"), "min", "60", "h", "3600"), listed: "ns us ms s min h"},
	Capacitance:   {name: "a capacitance", base: "F", example: "100 pF", units: prefixed([]string{"F"}, "fpnum"), listed: "fF pF nF uF mF F"},
	Current:       {name: "a current", base: "A", example: "1 uA", units: prefixed([]string{"A"}, "fpnum"), listed: "pA nA uA mA A"},
	Energy:        {name: "an energy", base: "J", example: "0.24 mJ", units: prefixed([]string{"J"}, "num"), listed: "nJ uJ mJ J"},
	Length:        {name: "a length", base: "m", example: "12 m", units: with(prefixed([]string{"m"}, "umk"), "cm", "1e-2"), listed: "um mm cm m km"},
	Area:          {name: "an area", base: "mm2", example: "2.5 mm2", units: map[string]string{"mm2": "1", "mm²": "1", "cm2": "100", "cm²": "100"}, listed: "mm2 cm2"},
	Temperature:   {name: "a temperature", base: "°C", example: "20 °C", signed: true, units: map[string]string{"°C": "1", "degC": "1"}, listed: "°C or degC"},
	Ratio:         {name: "a share", base: "1", example: "40 %", units: map[string]string{"%": "1e-2"}, listed: "%"},
	Rotation:      {name: "a rotation speed", base: "/min", example: "1480 /min", units: map[string]string{"/min": "1", "rpm": "1", "/s": "60"}, listed: "/min /s rpm"},
	Velocity:      {name: "a velocity", base: "m/s", example: "4 m/s", units: map[string]string{"m/s": "1", "cm/s": "1e-2", "mm/s": "1e-3"}, listed: "m/s cm/s mm/s"},
	Conductivity:  {name: "a conductivity", base: "S/m", example: "50 pS/m", units: prefixed([]string{"S/m"}, "fpnum"), listed: "fS/m pS/m nS/m uS/m mS/m S/m"},
	MassFlow:      {name: "a mass flow", base: "kg/s", example: "1 kg/s", units: map[string]string{"kg/s": "1", "g/s": "1e-3"}, listed: "kg/s g/s"},
	ChargePerMass: {name: "a charge per mass", base: "C/kg", example: "0.1 uC/kg", units: prefixed([]string{"C/kg"}, "pnum"), listed: "pC/kg nC/kg uC/kg mC/kg C/kg"},
	Voltage:       {name: "a voltage", base: "V", example: "50 mV", signed: true, units: prefixed([]string{"V"}, "umk"), listed: "uV mV V kV"},
	Frequency:     {name: "a frequency", base: "Hz", example: "50 Hz", units: prefixed([]string{"Hz"}, "kM"), listed: "Hz kHz MHz"},
	Rate:          {name: "a failure rate", base: "/h", example: "2e-7 /h", units: map[string]string{"/h": "1", "FIT": "1e-9"}, listed: "/h FIT"},
}

// factors are the decimal prefixes by their letters; micro is written in three
// ways, of which u is the one that every keyboard has.
var factors = map[rune]string{'f': "1e-15", 'p': "1e-12", 'n': "1e-9", 'u': "1e-6", 'm': "1e-3", 'k': "1e3", 'M': "1e6", 'G': "1e9", 'T': "1e12"}

func prefixed(symbols []string, prefixes string) map[string]string {
	units := map[string]string{}
	for _, symbol := range symbols {
		units[symbol] = "1"
		for _, letter := range prefixes {
			units[string(letter)+symbol] = factors[letter]
			if letter == 'u' {
				units["µ"+symbol], units["μ"+symbol] = factors[letter], factors[letter]
			}
		}
	}
	return units
}

func with(units map[string]string, more ...string) map[string]string {
	for i := 0; i < len(more); i += 2 {
		units[more[i]] = more[i+1]
	}
	return units
}

// Example is a value as a user would write it.
func (d Dimension) Example() string { return known[d].example }

// Units lists every accepted spelling, sorted.
func (d Dimension) Units() []string {
	list := make([]string, 0, len(known[d].units))
	for unit := range known[d].units {
		list = append(list, unit)
	}
	sort.Strings(list)
	return list
}

// Error says what is wrong with a quantity and what to write instead.
type Error struct{ Text, Instead string }

func (e *Error) Error() string { return e.Text + "; " + e.Instead }

func refuse(instead, format string, args ...any) *Error {
	return &Error{fmt.Sprintf(format, args...), instead}
}

// Range is a parsed quantity in its dimension's base unit, exact. A single
// value has equal ends.
type Range struct{ Lo, Hi *big.Rat }

// number is a decimal with an optional short exponent. Its length is bounded,
// so that no text can ask for a number of a million digits.
var number = regexp.MustCompile(`^[+-]?[0-9]{1,30}(\.[0-9]{1,30})?([eE][+-]?[0-9]{1,2})?`)

// Parse reads "10 Ω", "1..2 Ω" or "1 kΩ..2 MΩ".
func Parse(text string, d Dimension) (Range, *Error) {
	text = strings.TrimSpace(text)
	first, second, interval := strings.Cut(text, "..")
	if !interval {
		value, err := one(text, "", d)
		return Range{value, value}, err
	}
	_, unit := split(second)
	hi, err := one(second, "", d)
	if err != nil {
		return Range{}, err
	}
	lo, err := one(first, unit, d)
	if err != nil {
		return Range{}, err
	}
	if lo.Cmp(hi) > 0 {
		return Range{}, refuse("write the smaller end first", "the interval %s runs backwards", short(text))
	}
	return Range{lo, hi}, nil
}

// Single reads one value, not an interval.
func Single(text string, d Dimension) (*big.Rat, *Error) {
	if strings.Contains(text, "..") {
		return nil, refuse("write one value, such as "+known[d].example, "%s is an interval, but one value is asked for", short(text))
	}
	r, err := Parse(text, d)
	return r.Lo, err
}

// split cuts a value into its number and its unit.
func split(text string) (digits, unit string) {
	text = strings.TrimSpace(text)
	digits = number.FindString(text)
	return digits, strings.TrimSpace(text[len(digits):])
}

// one reads a single value; an end of an interval may take the other's unit.
func one(text, otherUnit string, d Dimension) (*big.Rat, *Error) {
	digits, unit := split(text)
	if digits == "" {
		return nil, refuse("write a value such as "+known[d].example, "%s is not %s", short(text), known[d].name)
	}
	if unit == "" {
		unit = otherUnit
	}
	factor, ok := known[d].units[unit]
	if !ok {
		return nil, wrongUnit(digits, unit, d)
	}
	value, scale := new(big.Rat), new(big.Rat)
	value.SetString(digits)
	scale.SetString(factor)
	if value.Sign() < 0 && !known[d].signed {
		return nil, refuse("write a value of zero or more", "%s is negative", short(text))
	}
	return value.Mul(value, scale), nil
}

func wrongUnit(digits, unit string, d Dimension) *Error {
	a := &known[d]
	switch {
	case d == Number:
		return refuse("write the number alone, such as "+a.example, "%s has a unit, but a plain number is asked for", short(digits+" "+unit))
	case unit == "":
		return refuse("write "+digits+" "+a.usual()+", if that was meant (units: "+a.listed+")", "%s has no unit, but %s is asked for", digits, a.name)
	case strings.ContainsRune("0123456789.", rune(unit[0])):
		return refuse("write a value such as "+a.example, "%s has too many digits", short(digits+unit))
	case unit[0] == ',' && number.MatchString(unit[1:]):
		return refuse("write a point: "+digits+"."+number.FindString(unit[1:]), "%s has a decimal comma", short(digits+unit))
	}
	for other := Dimension(1); other < Dimensions; other++ {
		if _, ok := known[other].units[unit]; ok && other != d {
			return refuse("write "+a.name+", such as "+a.example, "%s is %s, but %s is asked for", short(digits+" "+unit), known[other].name, a.name)
		}
	}
	if right, ok := a.respelled(unit); ok {
		return refuse("write "+digits+" "+right, "the unit %s is not spelled so", short(unit))
	}
	return refuse("use one of "+a.listed, "%s is no unit of %s", short(unit), strings.TrimPrefix(strings.TrimPrefix(a.name, "an "), "a "))
}

// usual is the unit of the example: the likeliest guess.
func (a *about) usual() string {
	_, unit := split(a.example)
	return unit
}

// respelled finds the unit that was meant where only the case of its letters is
// wrong and nothing else could have been meant: MΩ and mΩ are far apart.
func (a *about) respelled(unit string) (right string, ok bool) {
	for candidate, factor := range a.units {
		if !strings.EqualFold(candidate, unit) {
			continue
		}
		if ok && factor != a.units[right] {
			return "", false
		}
		right, ok = max(right, candidate), true
	}
	return right, ok
}

// short quotes a text for a message, cut where it is too long to help.
func short(text string) string {
	runes := []rune(strings.TrimSpace(text))
	if len(runes) > 40 {
		runes = append(runes[:40], '…')
	}
	return fmt.Sprintf("%q", string(runes))
}

// Int is the value in units of 1/scale of the base unit, if it is a whole
// number of them that fits 63 bits.
func Int(value *big.Rat, scale int64) (int64, bool) {
	product := new(big.Rat).Mul(value, new(big.Rat).SetInt64(scale))
	if !product.IsInt() || !product.Num().IsInt64() {
		return 0, false
	}
	return product.Num().Int64(), true
}

// Floats are the ends as the nearest floating-point numbers.
func (r Range) Floats() (lo, hi float64) {
	lo, _ = r.Lo.Float64()
	hi, _ = r.Hi.Float64()
	return lo, hi
}

// Pattern is a regular expression in the dialect of JSON Schema that accepts
// what Parse accepts, but for the order of an interval's ends.
func Pattern(d Dimension, interval bool) string {
	value := `[+-]?[0-9]{1,30}(\.[0-9]{1,30})?([eE][+-]?[0-9]{1,2})?`
	if !known[d].signed {
		value = strings.TrimPrefix(value, "[+-]?")
		value = `\+?` + value
	}
	var escaped []string
	for _, unit := range d.Units() {
		escaped = append(escaped, regexp.QuoteMeta(unit))
	}
	unit := ` *(` + strings.Join(escaped, "|") + `)`
	if d == Number {
		unit = ""
	}
	single := value + unit
	if !interval {
		return "^" + single + "$"
	}
	return "^(" + value + `( *(` + strings.Join(escaped, "|") + `))? *\.\. *)?` + single + "$"
}
