package analyse

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"sort"
	"strings"
)

// Byte is one byte on a line with its times in nanoseconds. In a capture these are the times of its data bits (the start
// bit comes before Start, parity and stop bits after End) or of the whole character, as the instrument exports them.
type Byte struct {
	Start, End int64
	Line       string
	Value      byte
	Fault      string // what is wrong with the character itself, such as its parity; empty: nothing is known to be
}

// role is what a column of a capture holds.
type role int

const (
	roleEnd role = iota
	roleLength
	roleStart
	roleValue
	roleLine
	roles
)

// roleWords are the words in a heading that give a column its role; an earlier role takes a heading that fits two.
var roleWords = [roles][]string{
	roleEnd:    {"end", "stop", "finish"},
	roleLength: {"duration", "length", "width"},
	roleStart:  {"start", "begin", "time", "timestamp", "t"},
	roleValue:  {"byte", "value", "data", "hex", "dec", "decimal"},
	roleLine:   {"line", "channel", "signal", "direction", "dir", "source", "side", "port", "name"},
}

// timeUnits are units of time in nanoseconds, as a heading names them.
var timeUnits = map[string]int64{"s": 1e9, "sec": 1e9, "seconds": 1e9, "ms": 1e6, "us": 1e3, "µs": 1e3, "μs": 1e3, "ns": 1}

// oneLine names the line of a capture that names none.
const oneLine = "bus"

// layout is where a capture has what.
type layout struct {
	places [roles]int // column, -1: none
	units  [roles]int64
	base   int  // of values: 10, 16, or 0 where the heading does not say
	comma  bool // decimal comma
}

const headingHelp = "name the columns, such as start_us,end_us,line,byte"

// ReadBytes reads a table of bytes, one a row, below a heading. Columns are known by their names in any order: a start with
// its unit ("start_us", "Time [s]"), an end or a duration, the byte, and the line where there are several. Commas, semicolons
// and tabulators part columns; behind semicolons and tabulators a comma is a decimal comma. Rows may stand in any order.
func ReadBytes(name string, from io.Reader) ([]Byte, error) {
	text, err := io.ReadAll(io.LimitReader(from, 1<<28))
	if err != nil {
		return nil, err
	}
	if bytes.ContainsRune(text[:min(len(text), 4096)], 0) {
		return nil, fmt.Errorf("%s:1:1: this is no text of one byte a letter; export as UTF-8", name)
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	reader := csv.NewReader(bytes.NewReader(text))
	reader.Comma, reader.Comment, reader.TrimLeadingSpace = separator(text), '#', true
	heading, err := reader.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s:1:1: empty: the first line must %s", name, headingHelp)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	plan, err := layoutOf(heading)
	if err != nil {
		return nil, fmt.Errorf("%s:1:1: %w", name, err)
	}
	plan.comma = reader.Comma != ','
	return plan.readRows(name, reader)
}

// separator is what parts the columns of the first line.
func separator(text []byte) rune {
	first, _, _ := bytes.Cut(text, []byte("\n"))
	best := ','
	for _, other := range ";\t" {
		if bytes.Count(first, []byte(string(other))) > bytes.Count(first, []byte(string(best))) {
			best = other
		}
	}
	return best
}

// headingWords are the words of a heading, in lower case.
func headingWords(title string) []string {
	return strings.FieldsFunc(strings.ToLower(title), func(r rune) bool { return strings.ContainsRune(" _[]()/:-.", r) })
}

func layoutOf(heading []string) (plan layout, err error) {
	for one := range plan.places {
		plan.places[one] = -1
	}
	for column, title := range heading {
		words := headingWords(title)
		for one, known := range roleWords {
			if !share(words, known) {
				continue
			}
			if plan.places[one] < 0 {
				plan.places[one] = column
				plan.units[one] = timeUnits[words[len(words)-1]]
			}
			break
		}
	}
	if at := plan.places[roleValue]; at >= 0 {
		switch words := headingWords(heading[at]); {
		case share(words, []string{"hex"}):
			plan.base = 16
		case share(words, []string{"dec", "decimal"}):
			plan.base = 10
		}
	}
	for _, needed := range []struct {
		role role
		what string
	}{{roleStart, "start"}, {roleValue, "byte"}} {
		if plan.places[needed.role] < 0 {
			return plan, fmt.Errorf("no column %q: %s", needed.what, headingHelp)
		}
	}
	if plan.units[roleStart] == 0 {
		return plan, fmt.Errorf("the column %q says no unit; write start_s, start_ms, start_us or start_ns", heading[plan.places[roleStart]])
	}
	for _, other := range []role{roleEnd, roleLength} {
		if plan.units[other] == 0 {
			plan.units[other] = plan.units[roleStart]
		}
	}
	return plan, nil
}

func share(words, known []string) bool {
	for _, word := range words {
		for _, one := range known {
			if word == one {
				return true
			}
		}
	}
	return false
}

// place is where a value stands in its file.
type place struct {
	text         string
	line, column int
}

func (p *layout) readRows(name string, reader *csv.Reader) ([]Byte, error) {
	var all []Byte
	var values []place
	for {
		fields, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		b, column, err := p.readTimes(fields)
		line, at := reader.FieldPos(column)
		if err != nil {
			return nil, fmt.Errorf("%s:%d:%d: %w", name, line, at, err)
		}
		line, at = reader.FieldPos(p.places[roleValue])
		all, values = append(all, b), append(values, place{strings.TrimSpace(fields[p.places[roleValue]]), line, at})
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("%s:2:1: no bytes below the heading", name)
	}
	base := p.base
	if base == 0 {
		base = baseOf(values)
	}
	for index := range values {
		value, err := readValue(values[index].text, base)
		if err != nil {
			return nil, fmt.Errorf("%s:%d:%d: %w", name, values[index].line, values[index].column, err)
		}
		all[index].Value = value
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].Start < all[b].Start })
	return all, nil
}

// readTimes reads everything of a row but its value; on error it names the column.
func (p *layout) readTimes(fields []string) (b Byte, column int, err error) {
	column = p.places[roleStart]
	if b.Start, err = nanoseconds(fields[column], p.comma, p.units[roleStart]); err != nil {
		return b, column, err
	}
	b.End, b.Line = b.Start, oneLine
	if at := p.places[roleLength]; at >= 0 {
		length, err := nanoseconds(fields[at], p.comma, p.units[roleLength])
		if err != nil || length < 0 {
			return b, at, fmt.Errorf("%q is no length of time", fields[at])
		}
		b.End = b.Start + length
	}
	if at := p.places[roleEnd]; at >= 0 {
		if b.End, err = nanoseconds(fields[at], p.comma, p.units[roleEnd]); err != nil {
			return b, at, err
		}
		if b.End < b.Start {
			return b, at, fmt.Errorf("end %s is before start %s", fields[at], fields[column])
		}
	}
	if at := p.places[roleLine]; at >= 0 {
		if b.Line = strings.TrimSpace(fields[at]); b.Line == "" {
			return b, at, errors.New("line has no name")
		}
	}
	return b, column, nil
}
