package analyse

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math/big"
	"sort"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock/site/quantity"
)

// Edge is one change of a line in a logic analyser's record: after From, when the line was last seen as before, and not later
// than At. Both in nanoseconds of the record.
type Edge struct {
	From, At int64
	On       bool
}

// Capture is a logic analyser's record.
type Capture struct {
	Lines map[string][]Edge
	End   int64
	Least time.Duration // between two rows
	// Sample is the analyser's sample period, where somebody has said it: a record that has a row only where a line changes
	// does not tell. Zero: a change may have come any time since the row before.
	Sample time.Duration
}

// Sampled takes the sample period from somebody who knows it.
func (c *Capture) Sampled(period time.Duration) error {
	if c.Least < period {
		return fmt.Errorf("two rows are %s apart, closer than a sample period of %s", quantity.Duration(c.Least), quantity.Duration(period))
	}
	c.Sample = period
	for _, edges := range c.Lines {
		for index := range edges {
			edges[index].From = max(edges[index].From, edges[index].At-int64(period))
		}
	}
	return nil
}

// Assumed says how exactly the record tells when a line changed.
func (c *Capture) Assumed() string {
	if c.Sample > 0 {
		return fmt.Sprintf("a sample every %s, as was said", quantity.Duration(c.Sample))
	}
	most := int64(0)
	for _, edges := range c.Lines {
		for _, edge := range edges {
			most = max(most, edge.At-edge.From)
		}
	}
	return fmt.Sprintf("no sample period was given: a change may have come any time since the row before, up to %s. Where the record has rows only for changes, write --sample with the analyser's sample period", quantity.Duration(time.Duration(most)))
}

// ReadCapture reads a CSV (a time column, then one column of 0 and 1 per line) or a VCD.
func ReadCapture(name string, from io.Reader) (*Capture, error) {
	text, err := io.ReadAll(io.LimitReader(from, 1<<28))
	if err != nil {
		return nil, err
	}
	if bytes.Contains(text[:min(len(text), 4096)], []byte("$timescale")) || bytes.Contains(text[:min(len(text), 4096)], []byte("$var")) {
		return readVCD(name, text)
	}
	return readCSV(name, text)
}

// units of time columns and time scales, in picoseconds.
var units = map[string]int64{"s": 1e12, "ms": 1e9, "us": 1e6, "µs": 1e6, "ns": 1e3, "ps": 1}

// note adds a sample to a capture; the first one of a line is no edge.
type noting struct {
	made        *Capture
	last        map[string]bool
	before, now int64 // rows
	begun       bool
}

func newNoting() *noting {
	return &noting{made: &Capture{Lines: map[string][]Edge{}}, last: map[string]bool{}}
}

func (n *noting) at(ns int64) {
	if apart := time.Duration(ns - n.now); n.begun && apart > 0 && (n.made.Least == 0 || apart < n.made.Least) {
		n.made.Least = apart
	}
	if ns > n.now {
		n.before, n.now = n.now, ns
	}
	n.begun = true
	n.made.End = max(n.made.End, ns)
}

func (n *noting) sample(line string, ns int64, on bool) {
	before, known := n.last[line]
	if known && before != on {
		n.made.Lines[line] = append(n.made.Lines[line], Edge{n.before, ns, on})
	} else if !known {
		n.made.Lines[line] = nil
	}
	n.last[line] = on
}

func (n *noting) done(name string) (*Capture, error) {
	if n.made.Least == 0 {
		return nil, fmt.Errorf("%s: no two samples at different times: record longer", name)
	}
	return n.made, nil
}

func readCSV(name string, text []byte) (*Capture, error) {
	reader := csv.NewReader(bytes.NewReader(text))
	reader.Comment, reader.TrimLeadingSpace, reader.ReuseRecord = '#', true, true
	head, err := reader.Read()
	if err != nil {
		return nil, fmt.Errorf("%s:1:1: %w; the first line names the columns, time first", name, err)
	}
	head = append([]string(nil), head...)
	scale, err := timeColumn(head[0])
	if err != nil {
		return nil, fmt.Errorf("%s:1:1: %w", name, err)
	}
	notes := newNoting()
	for {
		row, err := reader.Read()
		if err == io.EOF {
			return notes.done(name)
		}
		line, column := reader.FieldPos(0)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		ns, err := exactTime(row[0], scale)
		if err != nil || ns < notes.made.End {
			return nil, fmt.Errorf("%s:%d:%d: %q is no time at or after the one before", name, line, column, row[0])
		}
		notes.at(ns)
		for index := 1; index < len(row); index++ {
			value := strings.TrimSpace(row[index])
			if value != "0" && value != "1" {
				line, column = reader.FieldPos(index)
				return nil, fmt.Errorf("%s:%d:%d: %q is neither 0 nor 1; export digital levels", name, line, column, value)
			}
			notes.sample(strings.TrimSpace(head[index]), ns, value == "1")
		}
	}
}

// timeColumn finds the unit in a heading such as "Time [s]", "time_us" or "t (ms)".
func timeColumn(head string) (int64, error) {
	fields := strings.FieldsFunc(head, func(r rune) bool { return strings.ContainsRune(" _[]()/:-", r) })
	for index := len(fields) - 1; index >= 1; index-- {
		if scale, ok := units[fields[index]]; ok {
			return scale, nil
		}
	}
	return 0, fmt.Errorf("the column %q says no unit; write time_s, time_ms, time_us or time_ns", head)
}

// exactTime turns a decimal into nanoseconds, rounding down.
func exactTime(text string, scale int64) (int64, error) {
	number, ok := new(big.Rat).SetString(strings.TrimSpace(text))
	if !ok {
		return 0, fmt.Errorf("%q is no number", text)
	}
	number.Mul(number, big.NewRat(scale, 1000))
	whole := new(big.Int).Div(number.Num(), number.Denom())
	if !whole.IsInt64() {
		return 0, fmt.Errorf("%q is too long", text)
	}
	return whole.Int64(), nil
}

func readVCD(name string, text []byte) (*Capture, error) {
	notes, names := newNoting(), map[string]string{}
	scale, now := int64(1e3), int64(0)
	words := bufio.NewScanner(bytes.NewReader(text))
	words.Buffer(nil, 1<<20)
	words.Split(bufio.ScanWords)
	section := func() (inside []string) {
		for words.Scan() && words.Text() != "$end" {
			inside = append(inside, words.Text())
		}
		return inside
	}
	for words.Scan() {
		word := words.Text()
		switch {
		case word == "$timescale":
			one, err := timescale(strings.Join(section(), ""))
			if err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			scale = one
		case word == "$var":
			if v := section(); len(v) >= 4 && v[1] == "1" {
				names[v[2]] = v[3]
			}
		case word == "$comment", word == "$date", word == "$version", word == "$scope":
			section()
		case strings.ContainsRune("bBrR", rune(word[0])):
			words.Scan() // a vector or a number, and whose it is
		case word[0] == '#':
			ticks, err := strconv.ParseInt(word[1:], 10, 64)
			if err != nil || ticks < 0 || ticks > (1<<62)/scale {
				return nil, fmt.Errorf("%s: %q is no time", name, word)
			}
			now = ticks * scale / 1000
			notes.at(now)
		case word[0] == '0' || word[0] == '1':
			if line, ok := names[word[1:]]; ok {
				notes.sample(line, now, word[0] == '1')
			}
		}
	}
	if err := words.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return notes.done(name)
}

func timescale(text string) (int64, error) {
	digits := strings.TrimRight(text, "munpsµ")
	count, err := strconv.ParseInt(digits, 10, 64)
	scale, known := units[strings.TrimPrefix(text, digits)]
	if err != nil || !known || count <= 0 {
		return 0, fmt.Errorf("the time scale %q is not understood; write such as 1 us", text)
	}
	return count * scale, nil
}

// Changing lists the lines that ever change.
func (c *Capture) Changing() (list []string) {
	for _, name := range c.names() {
		if len(c.Lines[name]) > 0 {
			list = append(list, name)
		}
	}
	return list
}

func (c *Capture) names() (list []string) {
	for name := range c.Lines {
		list = append(list, name)
	}
	sort.Strings(list)
	return list
}
