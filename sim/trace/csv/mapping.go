package csv

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Mapping says how a foreign table is to be read: which of its columns is what,
// in which unit, and what its words and odd values mean. ReadMapping fills it
// from a YAML file.
type Mapping struct {
	Separator byte // default ,
	Point     byte // decimal point, default .
	Header    int  // line with the names of the columns; 0: there is none, columns are called 1, 2, …
	Time      TimeColumn
	Tag       string // a table with one value in each row: the column with its name; empty: one column for each
	Value     string // … with the value
	Quality   string // … with a status word, if any
	Channels  []ChannelColumn
	Inputs    []BinaryColumn
	Outputs   []BinaryColumn
	Words     map[string]monitor.Quality // what stands in place of a number
	Bad       []string                   // numbers that are none
	OnChange  bool                       // the recorder wrote changes only
	DeadBand  string                     // … and only changes larger than this, as the file's owner says
	Begin     string                     // power-up | running | empty: running if the recording begins so
	Tolerance time.Duration              // how far a recorded output may lead or trail; negative: the map is silent
}

// TimeColumn says where and how the time stands.
type TimeColumn struct {
	Columns []string // joined with a blank
	Format  string
	Zone    string // IANA name; empty: none was given
	Offset  time.Duration
}

// ChannelColumn is one channel's column.
type ChannelColumn struct {
	Channel  int
	Column   string // or the tag
	Exponent int    // of the unit, against 1 Ω
	Quality  string
	Stamp    string
}

// BinaryColumn is the column of one input or output.
type BinaryColumn struct {
	Index   int
	Column  string // or the tag
	On, Off []string
	Hold    bool // the last value stands until the next
	Always  string
}

// ReadMapping reads a column map against a site.
func ReadMapping(file string, data []byte, h *trace.Header) (*Mapping, site.Problems) {
	if empty(data) {
		return nil, site.Problems{{File: file, Line: 1, Column: 1, Text: "the column map is empty", Instead: "write time: and channels:"}}
	}
	root, problems := site.Document(file, data)
	if problems != nil {
		return nil, problems
	}
	r := &mapReader{file: file, header: h}
	m := &Mapping{Separator: ',', Point: '.', Header: 1, Tolerance: -1, Words: map[string]monitor.Quality{}}
	if root.Shape != site.Mapping {
		r.complain(root.At, "this is no column map", "write keys such as time: and channels:")
		return nil, r.problems
	}
	r.top(root, m)
	if len(r.problems) > 0 {
		return nil, r.problems.Sorted()
	}
	return m, nil
}

// empty reports that a file holds nothing but blanks and comments.
func empty(data []byte) bool {
	for _, line := range strings.Split(string(data), "\n") {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			return false
		}
	}
	return true
}

type mapReader struct {
	file     string
	header   *trace.Header
	problems site.Problems
}

func (r *mapReader) complain(at site.Position, text, instead string) {
	r.problems = append(r.problems, site.Problem{File: r.file, Line: at.Line, Column: at.Column, Text: text, Instead: instead})
}

// keys goes through a mapping; whatever do does not know is a mistake.
func (r *mapReader) keys(n *site.Node, known []string, do func(key string, v *site.Node)) {
	if n.Shape != site.Mapping {
		r.complain(n.At, "keys are needed here", "write one of "+strings.Join(known, ", "))
		return
	}
	r.once(n)
	for _, e := range n.Entries {
		found := false
		for _, k := range known {
			found = found || k == e.Key
		}
		if !found {
			instead := "write one of " + strings.Join(known, ", ")
			if near := site.Nearest(e.Key, known); near != "" {
				instead = "did you mean " + near + "?"
			}
			r.complain(e.At, fmt.Sprintf("%q is no key of a column map here", e.Key), instead)
			continue
		}
		do(e.Key, e.Value)
	}
}

// once complains of keys that stand twice: the reader of YAML lets them pass.
func (r *mapReader) once(n *site.Node) {
	lines := map[string]int{}
	for _, e := range n.Entries {
		if line, twice := lines[e.Key]; twice {
			r.complain(e.At, fmt.Sprintf("%q stands twice, in line %d already", e.Key, line), "keep one")
			continue
		}
		lines[e.Key] = e.At.Line
	}
}

var topKeys = []string{"separator", "decimal", "header", "time", "long", "channels", "inputs", "outputs", "status_words", "bad_values", "recorded", "begin", "tolerance"}

func (r *mapReader) top(root *site.Node, m *Mapping) {
	sawTime := false
	r.keys(root, topKeys, func(key string, v *site.Node) {
		switch key {
		case "separator":
			m.Separator = r.oneOf(v, map[string]byte{",": ',', ";": ';', "tab": '\t', "|": '|'})
		case "decimal":
			m.Point = r.oneOf(v, map[string]byte{".": '.', ",": ','})
		case "header":
			m.Header = r.count(v)
		case "time":
			sawTime = true
			r.time(v, &m.Time)
		case "long":
			r.keys(v, []string{"tag", "value", "quality"}, func(key string, v *site.Node) {
				*map[string]*string{"tag": &m.Tag, "value": &m.Value, "quality": &m.Quality}[key] = r.text(v)
			})
		case "status_words":
			r.words(v, m)
		case "bad_values":
			m.Bad = r.list(v)
		case "recorded":
			r.recorded(v, m)
		case "begin":
			m.Begin = r.choice(v, "power-up", "running")
		case "tolerance":
			m.Tolerance = r.duration(v)
		}
	})
	// The columns come last: they need to know whether the table is long.
	for _, e := range root.Entries {
		switch e.Key {
		case "channels":
			r.channels(e.Value, m)
		case "inputs":
			m.Inputs = r.binaries(e.Value, m, r.header.Inputs, "input")
		case "outputs":
			m.Outputs = r.binaries(e.Value, m, r.header.Outputs, "output")
		}
	}
	r.whole(root, m, sawTime)
}

// whole checks what no single key can tell.
func (r *mapReader) whole(root *site.Node, m *Mapping, sawTime bool) {
	if !sawTime || len(m.Time.Columns) == 0 || m.Time.Format == "" {
		r.complain(root.At, "the column and the format of the time are missing", "write time: {column: t, format: seconds}")
	}
	if len(m.Channels) == 0 {
		r.complain(root.At, "no channel is mapped", "write channels: {"+first(r.header.Channels)+": {column: …}}")
	}
	if (m.Tag == "") != (m.Value == "") {
		r.complain(root.At, "long: needs both tag: and value:", "write long: {tag: Name, value: Value}")
	}
	if m.Separator == m.Point {
		r.complain(root.At, "decimal comma and separator are the same", `write separator: ";"`)
	}
}

func first(names []string) string {
	if len(names) > 0 {
		return names[0]
	}
	return "bond_1"
}

func (r *mapReader) text(v *site.Node) string {
	if v.Shape != site.Scalar {
		r.complain(v.At, "a text is needed here", "write the name as the file has it")
		return ""
	}
	return v.Text
}

func (r *mapReader) list(v *site.Node) []string {
	if v.Shape == site.Scalar {
		return []string{v.Text}
	}
	if v.Shape != site.List {
		r.complain(v.At, "a list is needed here", "write [a, b]")
		return nil
	}
	var list []string
	for _, item := range v.Items {
		list = append(list, r.text(item))
	}
	return list
}

func (r *mapReader) choice(v *site.Node, words ...string) string {
	text := r.text(v)
	for _, w := range words {
		if text == w {
			return text
		}
	}
	r.complain(v.At, fmt.Sprintf("%q is not possible here", text), "write one of "+strings.Join(words, ", "))
	return ""
}

func (r *mapReader) oneOf(v *site.Node, words map[string]byte) byte {
	b, ok := words[r.text(v)]
	if !ok {
		r.complain(v.At, fmt.Sprintf("%q is not possible here", v.Text), `write one of "," ";" "|" tab for separator:, "." or "," for decimal:`)
		return ';'
	}
	return b
}

func (r *mapReader) count(v *site.Node) int {
	n, err := strconv.Atoi(r.text(v))
	if err != nil || n < 0 || n > 1000 {
		r.complain(v.At, fmt.Sprintf("%q is no line of the file", v.Text), "write the number of the line with the names, or 0 if there is none")
		return 1
	}
	return n
}

// duration is a time with its unit, which may be negative.
func (r *mapReader) duration(v *site.Node) time.Duration {
	text, negative := strings.CutPrefix(r.text(v), "-")
	value, problem := quantity.Single(strings.TrimSpace(text), quantity.Time)
	if problem != nil {
		r.complain(v.At, fmt.Sprintf("%q is no time", v.Text), "write a number and a unit, such as 20 ms")
		return 0
	}
	ns, ok := quantity.Int(value, int64(time.Second))
	if !ok {
		r.complain(v.At, fmt.Sprintf("%q does not fit", v.Text), "write a shorter time in whole nanoseconds")
	}
	if negative {
		ns = -ns
	}
	return time.Duration(ns)
}

func (r *mapReader) time(v *site.Node, t *TimeColumn) {
	r.keys(v, []string{"column", "format", "zone", "offset"}, func(key string, v *site.Node) {
		switch key {
		case "column":
			t.Columns = r.list(v)
		case "format":
			t.Format = r.text(v)
			if _, err := compileClock(t.Format, time.UTC); err != nil {
				r.complain(v.At, err.Error(), `write seconds, "unix s", "unix ms", rfc3339, or a pattern such as dd.MM.yyyy HH:mm:ss.fff`)
			}
		case "zone":
			t.Zone = r.text(v)
			if _, err := time.LoadLocation(t.Zone); err != nil || t.Zone == "" || t.Zone == "Local" {
				r.complain(v.At, fmt.Sprintf("%q is no time zone", t.Zone), "write one such as Europe/Berlin or UTC")
			}
		case "offset":
			t.Offset = r.duration(v)
		}
	})
}

func (r *mapReader) words(v *site.Node, m *Mapping) {
	if v.Shape != site.Mapping {
		r.complain(v.At, "status words are needed here", "write {OL: over-range, \"I/O Timeout\": bad}")
		return
	}
	for _, e := range v.Entries {
		meaning := r.choice(e.Value, "over-range", "bad", "missing", "good")
		m.Words[e.Key] = map[string]monitor.Quality{"over-range": monitor.OverRange, "bad": monitor.Bad, "missing": monitor.Absent, "good": monitor.Valid}[meaning]
	}
}

func (r *mapReader) recorded(v *site.Node, m *Mapping) {
	r.keys(v, []string{"on_change", "dead_band"}, func(key string, v *site.Node) {
		if key == "dead_band" {
			m.DeadBand = r.text(v)
			m.OnChange = true
			return
		}
		m.OnChange = r.choice(v, "yes", "no") == "yes"
	})
}

var units = map[string]int{"uΩ": -6, "mΩ": -3, "Ω": 0, "kΩ": 3, "MΩ": 6, "GΩ": 9, "uohm": -6, "mohm": -3, "ohm": 0, "Ohm": 0, "kohm": 3, "kOhm": 3, "Mohm": 6, "MOhm": 6, "Gohm": 9, "mOhm": -3}

func (r *mapReader) channels(v *site.Node, m *Mapping) {
	r.each(v, r.header.Channels, "channel", func(index int, v *site.Node) {
		c := ChannelColumn{Channel: index}
		r.keys(v, []string{"column", "tag", "unit", "quality", "stamp"}, func(key string, v *site.Node) {
			switch key {
			case "column", "tag":
				c.Column = r.columnOrTag(key, v, m)
			case "unit":
				exponent, ok := units[r.text(v)]
				if !ok {
					r.complain(v.At, fmt.Sprintf("%q is no unit of resistance", v.Text), "write Ω, mΩ, kΩ, MΩ, GΩ, or ohm for Ω")
				}
				c.Exponent = exponent
			case "quality":
				c.Quality = r.text(v)
			case "stamp":
				c.Stamp = r.text(v)
			}
		})
		if c.Column == "" {
			r.complain(v.At, "the column is missing", "write {column: name in the file, unit: Ω}")
		}
		m.Channels = append(m.Channels, c)
	})
}

func (r *mapReader) columnOrTag(key string, v *site.Node, m *Mapping) string {
	if (key == "tag") != (m.Tag != "") {
		r.complain(v.At, "a long table has tags, any other has columns", "write tag: together with long:, otherwise column:")
	}
	return r.text(v)
}

func (r *mapReader) binaries(v *site.Node, m *Mapping, names []string, kind string) []BinaryColumn {
	var list []BinaryColumn
	r.each(v, names, kind, func(index int, v *site.Node) {
		b := BinaryColumn{
			Index: index, Hold: m.Tag != "" || m.OnChange,
			On: []string{"1", "true", "TRUE", "True", "on", "ON", "yes"}, Off: []string{"0", "false", "FALSE", "False", "off", "OFF", "no"},
		}
		r.keys(v, []string{"column", "tag", "on", "off", "hold", "always"}, func(key string, v *site.Node) {
			switch key {
			case "column", "tag":
				b.Column = r.columnOrTag(key, v, m)
			case "on":
				b.On = r.list(v)
			case "off":
				b.Off = r.list(v)
			case "hold":
				b.Hold = r.choice(v, "yes", "no") == "yes"
			case "always":
				b.Always = r.choice(v, "0", "1")
			}
		})
		if (b.Column == "") == (b.Always == "") || b.Always != "" && kind == "output" {
			r.complain(v.At, "either a column is needed, or, for an input, what it always was", "write {column: name in the file} or {always: 0}")
		}
		list = append(list, b)
	})
	return list
}

// each goes through the named parts of the site under one key.
func (r *mapReader) each(v *site.Node, names []string, kind string, do func(index int, v *site.Node)) {
	if v.Shape != site.Mapping {
		r.complain(v.At, "names of the site are needed here", "write {"+first(names)+": {column: name in the file}}")
		return
	}
	r.once(v)
	for _, e := range v.Entries {
		index := -1
		for i, name := range names {
			if name == e.Key {
				index = i
			}
		}
		if index < 0 {
			instead := "write one of the site's names"
			if near := site.Nearest(e.Key, names); near != "" {
				instead = "did you mean " + near + "?"
			}
			r.complain(e.At, fmt.Sprintf("the site has no %s %q", kind, e.Key), instead)
			continue
		}
		do(index, e.Value)
	}
}
