package scpi

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// Instrument is a decade and a meter in one box, as far as a line can tell: it takes program messages and answers them,
// with the status registers and the error queue of the standard. It is not safe for several goroutines.
type Instrument struct {
	identity Identity
	limits   Limits
	decade   int64 // micro-ohms set
	measured func() Resistance
	onSet    func(microohms int64)
	status   status
	table    []command
}

// Limits of the box, in micro-ohms.
type Limits struct {
	Least, Most  int64 // of the decade
	AfterReset   int64 // what *RST leaves at the terminals
	MeterCeiling int64 // the meter reads more than this as 9.9E37
}

// command is one header and what it does. Parameters are already split; a query's answer is returned.
type command struct {
	header  header
	least   int // parameters
	most    int
	perform func(parameters []string) string
}

// DefaultLimits suit the demo sites: 0 to 1 MΩ, short after reset, meter to 1 GΩ.
var DefaultLimits = Limits{Most: 1_000_000_000_000, MeterCeiling: 1_000_000_000_000_000}

// NewInstrument is a box just switched on. measured tells what hangs at the meter's terminals, nil means the decade
// itself; onSet is told each new setting and may be nil.
func NewInstrument(identity Identity, limits Limits, measured func() Resistance, onSet func(microohms int64)) *Instrument {
	i := &Instrument{identity: identity, limits: limits, decade: limits.AfterReset, measured: measured, onSet: onSet}
	i.status.event = eventPowerOn
	if i.measured == nil {
		i.measured = func() Resistance { return Resistance{Class: Value, Microohms: i.decade} }
	}
	i.table = append(i.commonCommands(), i.systemCommands()...)
	i.table = append(i.table, i.ohmCommands()...)
	return i
}

// Setting is the decade's present value in micro-ohms.
func (i *Instrument) Setting() int64 { return i.decade }

// messageLimit bounds one program message.
const messageLimit = 1024

// Message takes one program message, without its line end, and returns the response message; empty means none.
func (i *Instrument) Message(text string) string {
	text = strings.TrimSpace(text)
	if len(text) > messageLimit {
		i.status.complain(inputOverrun)
		return ""
	}
	for _, c := range []byte(text) {
		if c < ' ' && c != '\t' || c > '~' {
			i.status.complain(invalidCharacter)
			return ""
		}
	}
	var answers []string
	var level []string
	for _, unit := range splitUnits(text) {
		var answer string
		answer, level = i.unit(unit, level)
		if answer != "" {
			answers = append(answers, answer)
		}
	}
	return strings.Join(answers, ";")
}

// splitUnits cuts at semicolons outside quotes.
func splitUnits(text string) []string {
	var units []string
	begin := 0
	quote := byte(0)
	for at := 0; at < len(text); at++ {
		switch c := text[at]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == ';':
			units = append(units, text[begin:at])
			begin = at + 1
		}
	}
	return append(units, text[begin:])
}

// unit performs one message unit. level is where the last header stood: "A:B;C" means "A:B" and "A:C".
func (i *Instrument) unit(text string, level []string) (answer string, next []string) {
	text = strings.TrimSpace(text)
	if text == "" {
		return "", level
	}
	name, rest, _ := strings.Cut(strings.ReplaceAll(text, "\t", " "), " ")
	query := strings.HasSuffix(name, "?")
	name = strings.TrimSuffix(name, "?")
	var words []string
	switch {
	case strings.HasPrefix(name, "*"):
		words, next = []string{name}, level
	case strings.HasPrefix(name, ":"):
		words = strings.Split(name[1:], ":")
		next = words[:len(words)-1]
	default:
		words = append(append([]string(nil), level...), strings.Split(name, ":")...)
		next = words[:len(words)-1]
	}
	for _, entry := range i.table {
		if entry.header.matches(words, query) {
			return i.perform(entry, rest), next
		}
	}
	i.status.complain(undefinedHeader)
	return "", next
}

// perform checks the number of parameters. One too many is complained about, but a question is still answered.
func (i *Instrument) perform(entry command, rest string) string {
	var parameters []string
	if rest = strings.TrimSpace(rest); rest != "" {
		for _, parameter := range strings.Split(rest, ",") {
			parameters = append(parameters, strings.TrimSpace(parameter))
		}
	}
	if len(parameters) > entry.most {
		i.status.complain(parameterNotAllowed)
		if !entry.header.query {
			return ""
		}
		parameters = parameters[:entry.most]
	}
	if len(parameters) < entry.least {
		i.status.complain(missingParameter)
		return ""
	}
	return entry.perform(parameters)
}

// order and question make table entries.
func order(pattern string, parameters int, perform func([]string)) command {
	return command{newHeader(pattern), parameters, parameters, func(given []string) string { perform(given); return "" }}
}

func question(pattern string, answer func() string) command {
	return command{newHeader(pattern), 0, 0, func([]string) string { return answer() }}
}

func integer[T uint8 | uint16 | int](value T) string { return strconv.FormatInt(int64(value), 10) }

// commonCommands are those of IEEE 488.2.
func (i *Instrument) commonCommands() []command {
	s := &i.status
	return []command{
		order("*CLS", 0, func([]string) { s.clear() }),
		order("*ESE", 1, func(p []string) { i.mask(p[0], &s.eventEnable) }),
		question("*ESE?", func() string { return integer(s.eventEnable) }),
		question("*ESR?", func() string { event := s.event; s.event = 0; return integer(event) }),
		question("*IDN?", i.identity.String),
		order("*OPC", 0, func([]string) { s.event |= eventOperationComplete }),
		question("*OPC?", func() string { return "1" }),
		order("*RST", 0, func([]string) { i.set(i.limits.AfterReset) }),
		order("*SRE", 1, func(p []string) { i.mask(p[0], &s.serviceEnable) }),
		question("*SRE?", func() string { return integer(s.serviceEnable) }),
		question("*STB?", func() string { return integer(s.byteValue()) }),
		question("*TST?", func() string { return "0" }),
		order("*WAI", 0, func([]string) {}),
	}
}

// systemCommands are those that SCPI-99 demands of every instrument.
func (i *Instrument) systemCommands() []command {
	s := &i.status
	list := []command{
		question("SYSTem:ERRor[:NEXT]?", func() string { return s.next().String() }),
		question("SYSTem:ERRor:COUNt?", func() string { return integer(len(s.queue)) }),
		question("SYSTem:VERSion?", func() string { return "1999.0" }),
		order("STATus:PRESet", 0, func([]string) { s.questionable.enable, s.operation.enable = 0, 0 }),
	}
	for name, group := range map[string]*register{"QUEStionable": &s.questionable, "OPERation": &s.operation} {
		list = append(list,
			question("STATus:"+name+"[:EVENt]?", func() string { return integer(group.readEvent()) }),
			question("STATus:"+name+":CONDition?", func() string { return integer(group.condition) }),
			question("STATus:"+name+":ENABle?", func() string { return integer(group.enable) }),
			order("STATus:"+name+":ENABle", 1, func(p []string) { i.mask16(p[0], &group.enable) }),
		)
	}
	return list
}

// ohmCommands set the decade and read the meter.
func (i *Instrument) ohmCommands() []command {
	read := func() string { return i.reading() }
	return []command{
		order("[SOURce:]RESistance", 1, func(p []string) { i.setText(p[0]) }),
		question("[SOURce:]RESistance?", func() string { return FormatOhms(i.decade) }),
		order("CONFigure:FRESistance", 0, func([]string) {}),
		order("CONFigure:RESistance", 0, func([]string) {}),
		question("MEASure:FRESistance?", read),
		question("MEASure:RESistance?", read),
		question("READ?", read),
		question("FETCh?", read),
	}
}

// questionableOhms is the bit that says "the last resistance is not to be trusted" (bit 9: common practice, not SCPI).
const questionableOhms = 1 << 9

// reading measures, and says so in the questionable register when the meter overloads.
func (i *Instrument) reading() string {
	measured := i.measured()
	if measured.Class == Value && measured.Microohms > i.limits.MeterCeiling {
		measured.Class = OverRange
	}
	condition := i.status.questionable.condition &^ questionableOhms
	if measured.Class != Value {
		condition |= questionableOhms
	}
	i.status.questionable.set(condition)
	return FormatReading(measured)
}

// FormatReading is how a SCPI meter prints a measurement in ohms (NR3): 9.9E37 for over-range, 9.91E37 for no number.
func FormatReading(r Resistance) string {
	switch r.Class {
	case Value:
		digits := strconv.FormatInt(r.Microohms, 10)
		exponent := len(digits) - 1 - 6
		return fmt.Sprintf("+%s.%sE%+03d", digits[:1], (digits[1:] + "00000000")[:max(8, len(digits)-1)], exponent)
	case OverRange:
		return "+9.90000000E+37"
	}
	return "+9.91000000E+37"
}

func (i *Instrument) set(microohms int64) {
	i.decade = microohms
	if i.onSet != nil {
		i.onSet(microohms)
	}
}

// suffixes are the units that a decade understands. By IEEE 488.2 MOHM means megohm.
var suffixes = []struct {
	text  string
	power int
}{{"KOHM", 3}, {"MOHM", 6}, {"OHM", 0}}

// setText takes the parameter of RES: a number, with or without unit, or MIN, MAX, DEF.
func (i *Instrument) setText(text string) {
	switch strings.ToUpper(text) {
	case "MIN", "MINIMUM":
		i.set(i.limits.Least)
		return
	case "MAX", "MAXIMUM":
		i.set(i.limits.Most)
		return
	case "DEF", "DEFAULT":
		i.set(i.limits.AfterReset)
		return
	}
	number, power, unit := cutSuffix(text)
	if unit != "" {
		i.status.complain(invalidSuffix)
		return
	}
	ohms, err := ParseDecimal(number)
	if err != nil {
		i.status.complain(dataTypeError)
		return
	}
	scale := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(power+6)), nil))
	scaled := new(big.Rat).Mul(ohms, scale)
	whole := new(big.Int).Quo(scaled.Num(), scaled.Denom())
	if !whole.IsInt64() || whole.Int64() < i.limits.Least || whole.Int64() > i.limits.Most {
		i.status.complain(dataOutOfRange)
		return
	}
	i.set(whole.Int64())
}

// cutSuffix takes a known unit off; an unknown one is returned.
func cutSuffix(text string) (number string, power int, unknown string) {
	upper := strings.ToUpper(text)
	for _, suffix := range suffixes {
		if strings.HasSuffix(upper, suffix.text) {
			return strings.TrimSpace(text[:len(text)-len(suffix.text)]), suffix.power, ""
		}
	}
	letters := strings.TrimLeft(upper, "+-.0123456789 ")
	if letters != "" && letters != upper && !strings.HasPrefix(letters, "E") {
		return "", 0, letters
	}
	return text, 0, ""
}

func (i *Instrument) mask(text string, to *uint8) {
	if value, ok := i.integer(text, 255); ok {
		*to = uint8(value)
	}
}

func (i *Instrument) mask16(text string, to *uint16) {
	if value, ok := i.integer(text, 32767); ok {
		*to = uint16(value)
	}
}

// integer reads a whole number, plain or as #H #Q #B, and complains about anything else.
func (i *Instrument) integer(text string, most uint64) (uint64, bool) {
	base := 10
	if len(text) > 1 && text[0] == '#' {
		switch text[1] {
		case 'H', 'h':
			base = 16
		case 'Q', 'q':
			base = 8
		case 'B', 'b':
			base = 2
		default:
			i.status.complain(dataTypeError)
			return 0, false
		}
		text = text[2:]
	}
	value, err := strconv.ParseUint(text, base, 64)
	if err != nil {
		i.status.complain(dataTypeError)
		return 0, false
	}
	if value > most {
		i.status.complain(dataOutOfRange)
		return 0, false
	}
	return value, true
}
