package csv

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Kinds of trouble in foreign tables, beside those of our own.
var (
	kindGap        = trace.Kind{Text: "a gap: nothing was recorded; the logic saw nothing there, and began again after it", Undecided: true, Instead: "get the recording without the gap"}
	kindOrder      = trace.Kind{Text: "a time before the row before; the row was not used", Undecided: true, Instead: "sort the rows by time"}
	kindSameTime   = trace.Kind{Text: "the time of the row before once more; the later row counts", Instead: "record fractions of a second"}
	kindTime       = trace.Kind{Text: "no time of this format; the row was not used", Undecided: true, Instead: "correct format: in the map"}
	kindNoSuchTime = trace.Kind{Text: "a local time that the clocks left out in spring; the row was not used", Undecided: true, Instead: "correct zone: in the map, or record in UTC"}
	kindNoEnd      = trace.Kind{Text: "the last line has no end; it was used, though its last field may be cut", Instead: "get the whole file"}
	kindHidden     = trace.Kind{Text: "a reading that was not good was overtaken by a good one within one scan", Instead: "a shorter scan would have seen it"}
	kindNaN        = trace.Kind{Text: "NaN, minus infinity or a bad value; taken as a reading of bad quality"}
	kindAlways     = trace.Kind{Text: "an input that was not recorded; the map says what it was"}
	kindUnstamped  = trace.Kind{Text: "the recording has no stamps of the device; every value was taken as newly measured", Instead: "a frozen reading would not be noticed"}
	kindBeside     = trace.Kind{Text: "the site has it, the recording has not, and no recorded output depends on it"}
	kindNeeded     = trace.Kind{Text: "a recorded output depends on it, and the recording has it not; nothing was read there", Undecided: true, Blind: true, Instead: "record it and map its column, or, for an input that never moved, write always: in the map"}
	kindTooMany    = trace.Kind{Text: "more fields than there are names, so that nobody knows which is which; the row was not used", Undecided: true, Instead: "quote fields that hold the separator (a decimal comma?), or export with another one"}
	kindTag        = trace.Kind{Text: "a tag that the map does not name; its rows were not used"}
)

// target is what one field or tag is for.
type target struct {
	kind  targetKind
	index int // of the entry in the map
}

type targetKind uint8

const (
	toNothing targetKind = iota
	toChannel
	toInput
	toOutput
)

// plan is a column map bound to the columns of one file.
type plan struct {
	needed             int   // fields that a row must have
	width              int   // fields that it has, one for each name
	time               []int // columns
	channels           []int // column of each mapped channel, in a wide table
	qualities, stamps  []int // -1 where there is none
	inputs, outputs    []int
	tag, value, status int
	tags               map[string]target
	bad                []number
	lastWord           [][]byte // per input and output: the word last read
	lastSignal         []interlock.Signal
}

// columns finds names in the line of names, and collects what is wrong.
type columns struct {
	names          []string
	missing, twice []string
}

// find is the place of a name, -1 if there is none.
func (c *columns) find(name string) int {
	found := -1
	for i, n := range c.names {
		switch {
		case n != name && strings.TrimSpace(n) != name:
		case found < 0:
			found = i
		default:
			c.twice = append(c.twice, fmt.Sprintf("two columns are called %q, %d and %d; give each a name of its own, or write header: 0 and map columns by number", name, found+1, i+1))
		}
	}
	if found >= 0 {
		return found
	}
	near := site.Nearest(name, c.names)
	if near != "" {
		near = fmt.Sprintf(" (did you mean %q?)", near)
	}
	c.missing = append(c.missing, fmt.Sprintf("%q%s", name, near))
	return -1
}

func (c *columns) problem() error {
	switch {
	case len(c.missing) > 0:
		return fmt.Errorf("the recording has no column %s; it has: %s", strings.Join(c.missing, ", "), listed(c.names))
	case len(c.twice) > 0:
		return errors.New(c.twice[0])
	}
	return nil
}

// make finds every column by its name.
func (p *plan) make(m *Mapping, names []string, h *trace.Header) error {
	columns := columns{names: names}
	find := func(name string) int {
		i := columns.find(name)
		p.needed = max(p.needed, i+1)
		return i
	}
	optional := func(name string) int {
		if name == "" {
			return -1
		}
		return find(name)
	}
	p.width = len(names)
	for _, name := range m.Time.Columns {
		p.time = append(p.time, find(name))
	}
	p.tag, p.value, p.status = optional(m.Tag), optional(m.Value), optional(m.Quality)
	p.tags = map[string]target{}
	column := func(name string, kind targetKind, i int) int {
		if m.Tag != "" {
			p.tags[name] = target{kind, i}
			return -1
		}
		return optional(name)
	}
	for i, c := range m.Channels {
		p.channels = append(p.channels, column(c.Column, toChannel, i))
		p.qualities, p.stamps = append(p.qualities, optional(c.Quality)), append(p.stamps, optional(c.Stamp))
	}
	for i, b := range m.Inputs {
		p.inputs = append(p.inputs, column(b.Column, toInput, i))
	}
	for i, b := range m.Outputs {
		p.outputs = append(p.outputs, column(b.Column, toOutput, i))
	}
	p.lastWord = make([][]byte, len(m.Inputs)+len(m.Outputs))
	p.lastSignal = make([]interlock.Signal, len(p.lastWord))
	for _, text := range m.Bad {
		n, ok := parseNumber([]byte(text), m.Point)
		if !ok {
			return fmt.Errorf("bad_values: %q is no number; words belong under status_words", text)
		}
		p.bad = append(p.bad, n)
	}
	return columns.problem()
}

// listed is a list of names as they may be shown: what is no text stays quoted.
func listed(names []string) string {
	var list []string
	for _, name := range names {
		if quoted := strconv.QuoteToGraphic(name); quoted != `"`+name+`"` {
			name = quoted
		}
		if letters := []rune(name); len(letters) > longestName {
			name = string(letters[:longestName]) + "…"
		}
		list = append(list, name)
	}
	return strings.Join(list, ", ")
}

// longestName is how much of a column's name an error shows.
const longestName = 60

// read reads the fields of one row into r.row.
func (p *plan) read(r *Mapped) {
	row := &r.row
	clear(row.readings)
	clear(row.signals)
	for i := range row.outputs {
		row.outputs[i] = trace.NotRecorded
	}
	for i := range r.m.Inputs {
		if b := &r.m.Inputs[i]; b.Always != "" {
			row.signals[b.Index] = interlock.Low
			if b.Always == "1" {
				row.signals[b.Index] = interlock.High
			}
		}
	}
	if p.tag >= 0 {
		p.readTagged(r)
		return
	}
	for i, column := range p.channels {
		status := []byte(nil)
		if p.qualities[i] >= 0 {
			status = r.fields[p.qualities[i]]
		}
		p.readReading(r, i, r.fields[column], status, column)
		if at := p.stamps[i]; at >= 0 {
			p.readStamp(r, i, at)
		}
	}
	for i, column := range p.inputs {
		if column >= 0 {
			row.signals[r.m.Inputs[i].Index] = p.readWord(r, &r.m.Inputs[i], i, r.fields[column], column)
		}
	}
	for i, column := range p.outputs {
		row.outputs[r.m.Outputs[i].Index] = outputOf(p.readWord(r, &r.m.Outputs[i], len(p.inputs)+i, r.fields[column], column))
	}
}

// outputOf is an output as a recording tells it: it runs, or it does not.
func outputOf(s interlock.Signal) int8 {
	switch s {
	case interlock.High:
		return int8(interlock.Enabled)
	case interlock.Low:
		return trace.Withheld
	}
	return trace.NotRecorded
}

// readTagged reads the one value of a row of a long table.
func (p *plan) readTagged(r *Mapped) {
	t, ok := p.tags[string(r.fields[p.tag])]
	if !ok {
		r.Diary.Note(&kindTag, trace.Place{Line: r.lines.number, Column: p.tag + 1, Text: string(r.fields[p.tag])})
		return
	}
	value := r.fields[p.value]
	var status []byte
	if p.status >= 0 {
		status = r.fields[p.status]
	}
	switch t.kind {
	case toChannel:
		p.readReading(r, t.index, value, status, p.value)
	case toInput:
		b := &r.m.Inputs[t.index]
		r.row.signals[b.Index] = p.readWord(r, b, t.index, value, p.value)
	case toOutput:
		b := &r.m.Outputs[t.index]
		r.row.outputs[b.Index] = outputOf(p.readWord(r, b, len(p.inputs)+t.index, value, p.value))
	}
}

// readReading reads one value with its status.
func (p *plan) readReading(r *Mapped, i int, text, status []byte, column int) {
	c := &r.m.Channels[i]
	to := &r.row.readings[c.Channel]
	if len(status) > 0 {
		quality, known := r.m.Words[string(status)]
		if !known {
			r.Diary.Note(&kindWord, trace.Place{Line: r.lines.number, Column: column + 1, Text: string(status)})
			return
		}
		if quality != monitor.Valid {
			to.Quality = quality
			return
		}
	}
	if len(text) == 0 {
		return
	}
	if len(p.bad) == 0 {
		if v, ok := fixedText(text, r.m.Point, 6+c.Exponent); ok {
			to.Value, to.Quality = monitor.Microohm(v), monitor.Valid
			return
		}
	}
	p.readOdd(r, i, text, column)
}

// readOdd reads what is no plain number.
func (p *plan) readOdd(r *Mapped, i int, text []byte, column int) {
	c := &r.m.Channels[i]
	to := &r.row.readings[c.Channel]
	place := trace.Place{Line: r.lines.number, Column: column + 1, Text: string(text)}
	if text = bytes.TrimSpace(text); len(text) == 0 {
		return
	}
	if quality, known := r.m.Words[string(text)]; known {
		to.Quality = quality
		return
	}
	n, ok := parseNumber(text, r.m.Point)
	if !ok {
		r.Diary.Note(&kindNotNumber, place)
		return
	}
	for _, bad := range p.bad {
		if bad == n {
			n.class = notANumber
		}
	}
	v, fits := n.scaled(6 + c.Exponent)
	switch {
	case n.class == infinite || n.class == plain && !fits && !n.negative:
		to.Quality = monitor.OverRange
	case n.class != plain || !fits:
		r.Diary.Note(&kindNaN, place)
		to.Quality = monitor.Bad
	default:
		to.Value, to.Quality = monitor.Microohm(v), monitor.Valid
	}
}

// fixedText reads a plain decimal number that fills a field.
func fixedText(text []byte, point byte, decimals int) (int64, bool) {
	if decimals < 0 || len(text) > 18 {
		return 0, false
	}
	// Every field is followed by a separator in the buffer, except quoted ones.
	line := text[:len(text):cap(text)]
	if cap(line) == len(line) {
		return 0, false
	}
	line = line[:len(line)+1]
	if end := line[len(line)-1]; end >= '0' && end <= '9' || end == point {
		return 0, false // after a quoted field anything may stand
	}
	v, next, ok := fixed(line, 0, line[len(line)-1], point, decimals)
	return v, ok && next == len(text)
}

func (p *plan) readStamp(r *Mapped, i, column int) {
	text := r.fields[column]
	if len(text) == 0 {
		return
	}
	v, ok := fixedText(text, r.m.Point, 0)
	if !ok {
		r.Diary.Note(&kindNotNumber, trace.Place{Line: r.lines.number, Column: column + 1, Text: string(text)})
		return
	}
	r.row.readings[r.m.Channels[i].Channel].Stamp = uint16(v)
}

// readWord reads a binary value; most rows repeat the word of the row before.
func (p *plan) readWord(r *Mapped, b *BinaryColumn, at int, text []byte, column int) interlock.Signal {
	if len(text) == 0 {
		return interlock.NoSignal
	}
	if string(text) == string(p.lastWord[at]) {
		return p.lastSignal[at]
	}
	trimmed := bytes.TrimSpace(text)
	for i, list := range [...][]string{b.On, b.Off} {
		for _, word := range list {
			if string(trimmed) == word {
				p.lastWord[at] = append(p.lastWord[at][:0], text...)
				p.lastSignal[at] = [...]interlock.Signal{interlock.High, interlock.Low}[i]
				return p.lastSignal[at]
			}
		}
	}
	if len(trimmed) == 0 {
		return interlock.NoSignal
	}
	if quality, known := r.m.Words[string(trimmed)]; known {
		if quality == monitor.Absent {
			return interlock.NoSignal
		}
		return interlock.Faulty
	}
	r.Diary.Note(&kindWord, trace.Place{Line: r.lines.number, Column: column + 1, Text: string(text)})
	return interlock.NoSignal
}
