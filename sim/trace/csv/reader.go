package csv

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Kinds of trouble in our own tables.
var (
	kindCutFile     = trace.Kind{Text: "the recording ends early: its last line is missing", Undecided: true, Instead: "get the whole file"}
	kindCutLine     = trace.Kind{Text: "the last line is cut off; it was not used", Undecided: true, Instead: "get the whole file"}
	kindDamaged     = trace.Kind{Text: "the compressed file is damaged or cut off", Undecided: true, Instead: "get the whole file"}
	kindNotNumber   = trace.Kind{Text: "not a number; taken as nothing read", Undecided: true, Instead: "write a number, or name the word under status_words in a map"}
	kindWord        = trace.Kind{Text: "not a word of this column; taken as nothing recorded", Undecided: true, Instead: "write one of the column's words"}
	kindFields      = trace.Kind{Text: "too few or too many fields; the row was not used", Undecided: true, Instead: "write as many fields as there are names"}
	kindScanAgain   = trace.Kind{Text: "the scan was there already or is out of order; the row was not used", Undecided: true, Instead: "sort the rows, one for each scan"}
	kindScanGap     = trace.Kind{Text: "scans are missing; nothing was read in them", Undecided: true, Instead: "get the recording without the gap"}
	kindUnknown     = trace.Kind{Text: "a column that the site does not know; it was not used", Instead: "name it as the site does"}
	kindAbsent      = trace.Kind{Text: "the site has it, the recording has not; nothing was read there", Undecided: true, Instead: "record it, or map its column"}
	kindAfterTheEnd = trace.Kind{Text: "text after the last line; it was not used", Undecided: true, Instead: "remove it"}
)

// what a column of our own table holds.
type content uint8

const (
	ofNothing content = iota
	ofTime
	ofScan
	ofPowerUp
	ofOverrun
	ofOhm
	ofQuality
	ofStamp
	ofSignal // from here on: only looked at where the row differs from the one before
	ofPhase
	ofOutput
	ofVessel
	ofEvents
)

type column struct {
	content content
	index   int
}

// Reader reads our own table back, scan by scan. It never holds more than one
// line and one scan.
type Reader struct {
	Header trace.Header // as the file tells it
	Diary  trace.Diary

	lines   *lines
	columns []column
	steady  int    // columns before this one differ in every row
	last    []byte // what followed them in the row before
	trusted bool   // last was read without trouble
	words   wordTables
	next    uint64 // scan that should come next
	row     *trace.Recorded
	gap     uint64 // scans still to be filled in before row
	ended   bool
	total   int // rows used
}

type wordTables struct{ phases, modes, vessels []string }

// IsOurs reports whether a stream begins as our own tables do.
func IsOurs(begin []byte) bool { return bytes.HasPrefix(begin, []byte(Magic)) }

// NewReader reads the head of one of our own tables. site names the parts of
// the site that the recording is held against.
func NewReader(from io.Reader, site *trace.Header, c *interlock.Config) (*Reader, error) {
	r := &Reader{lines: newLines(from), row: trace.NewRecorded(c)}
	for p := monitor.Phase(0); p < monitor.Phases; p++ {
		r.words.phases = append(r.words.phases, p.String())
	}
	for m := interlock.Mode(0); m < interlock.Modes; m++ {
		r.words.modes = append(r.words.modes, m.String())
	}
	for c := tell.Charge(0); c < tell.Charges; c++ {
		r.words.vessels = append(r.words.vessels, c.String())
	}
	names, err := r.readHead()
	if err != nil {
		return nil, err
	}
	return r, r.bind(names, site)
}

// readHead reads up to the line of names.
func (r *Reader) readHead() ([]string, error) {
	for {
		line, _, err := r.lines.next(',')
		if err != nil {
			return nil, err
		}
		if line == nil {
			return nil, fmt.Errorf("line %d: the recording ends before its line of names; get the whole file", r.lines.number)
		}
		text := string(line[:len(line)-1])
		if !strings.HasPrefix(text, "#") {
			return split(line, ','), checkText(line, r.lines.number)
		}
		if err := r.headLine(text); err != nil {
			return nil, fmt.Errorf("line %d: %w", r.lines.number, err)
		}
	}
}

func (r *Reader) headLine(text string) error {
	h := &r.Header
	two := func(prefix string, name, hash *string) bool {
		rest, ok := strings.CutPrefix(text, prefix)
		if ok {
			*name, *hash, _ = strings.Cut(rest, " ")
		}
		return ok
	}
	switch {
	case two(headerSite, &h.Site, &h.SiteHash), two(headerScenario, &h.Scenario, &h.ScenarioHash):
	case strings.HasPrefix(text, headerTool):
		h.Tool = text[len(headerTool):]
	case strings.HasPrefix(text, headerSimulated):
		h.Simulated = text[len(headerSimulated):] == "yes"
	case strings.HasPrefix(text, headerPeriod):
		ns, err := strconv.ParseInt(text[len(headerPeriod):], 10, 64)
		if err != nil || ns <= 0 {
			return fmt.Errorf("%q is no scan period; write nanoseconds, such as %s10000000", text, headerPeriod)
		}
		h.Period = time.Duration(ns)
	}
	return nil
}

// bind finds what each column holds.
func (r *Reader) bind(names []string, site *trace.Header) error {
	known := columnsOf(site)
	seen := map[string]bool{}
	for i, name := range names {
		c, ok := known[name]
		if seen[name] {
			return fmt.Errorf("line %d: two columns are called %q; remove one", r.lines.number, name)
		}
		seen[name] = true
		isTruth := strings.Contains(name, ".true_") || name == columnFaults
		if !ok && !isTruth {
			r.Diary.Note(&kindUnknown, trace.Place{Line: r.lines.number, Column: i + 1, Text: name})
		}
		r.columns = append(r.columns, c)
	}
	if !seen[columnScan] {
		return fmt.Errorf("line %d: there is no column %q; is this line the names of the columns?", r.lines.number, columnScan)
	}
	for _, name := range columnNames(&trace.Header{Channels: site.Channels, Inputs: site.Inputs}) {
		if !seen[name] && !strings.HasSuffix(name, suffixPhase) && name != columnEvents {
			r.Diary.Note(&kindAbsent, trace.Place{Line: r.lines.number, Text: name})
		}
	}
	for i, c := range r.columns {
		if c.content != ofNothing && c.content < ofSignal {
			r.steady = i + 1
		}
	}
	for len(r.columns) > 0 && r.columns[len(r.columns)-1].content == ofNothing {
		r.columns = r.columns[:len(r.columns)-1] // the truth is not read back
	}
	return nil
}

// columnsOf maps every column name that a site may have to its content.
func columnsOf(site *trace.Header) map[string]column {
	known := map[string]column{
		columnTime: {ofTime, 0}, columnScan: {ofScan, 0}, columnPowerUp: {ofPowerUp, 0},
		columnOverrun: {ofOverrun, 0}, columnEvents: {ofEvents, 0},
	}
	for i, name := range site.Channels {
		known[name+suffixOhm] = column{ofOhm, i}
		known[name+suffixQuality] = column{ofQuality, i}
		known[name+suffixStamp] = column{ofStamp, i}
		known[name+suffixPhase] = column{ofPhase, i}
	}
	for _, list := range []struct {
		names   []string
		content content
	}{{site.Inputs, ofSignal}, {site.Outputs, ofOutput}, {site.Vessels, ofVessel}} {
		for i, name := range list.names {
			known[name] = column{list.content, i}
		}
	}
	return known
}

// Next gives the next scan; nil at the end of the recording. It is valid until
// the call after.
func (r *Reader) Next() (*trace.Recorded, error) {
	if r.gap > 0 {
		return r.missing(), nil
	}
	for !r.ended {
		line, whole, err := r.lines.next(',')
		switch {
		case err != nil:
			return nil, err
		case line == nil:
			r.finish(&kindCutFile)
		case line[0] == '#':
			r.comment(string(line[:len(line)-1]))
		case len(line) == 1: // an empty line says nothing
		case !whole:
			r.Diary.Note(&kindCutLine, trace.Place{Line: r.lines.number, Text: string(line[:len(line)-1])})
			r.finish(&kindCutFile)
		case r.read(line):
			if r.gap > 0 {
				return r.missing(), nil
			}
			r.next++
			return r.row, nil
		}
	}
	return nil, nil
}

// finish ends the recording without its last line.
func (r *Reader) finish(kind *trace.Kind) {
	r.ended = true
	if r.lines.failure != nil {
		kind = &kindDamaged
	}
	r.Diary.Note(kind, trace.Place{Line: r.lines.number})
}

// comment is a line of ours in the middle: the last one ends the recording.
func (r *Reader) comment(text string) {
	if !strings.HasPrefix(text, endOfRecording) {
		return
	}
	r.ended = true
	if line, _, err := r.lines.next(','); err == nil && line != nil {
		r.Diary.Note(&kindAfterTheEnd, trace.Place{Line: r.lines.number, Text: string(line[:len(line)-1])})
	}
}

// missing is a scan that the file does not hold: nothing was read in it.
func (r *Reader) missing() *trace.Recorded {
	r.gap--
	if r.gap == 0 { // the row itself is next; it was kept aside
		r.next++
		r.row.Changed = true
		return r.row
	}
	empty := *r.row
	empty.In = &interlock.Inputs{Readings: make([]monitor.Reading, len(r.row.In.Readings)), Signals: make([]interlock.Signal, len(r.row.In.Signals))}
	empty.Outputs, empty.Phases, empty.Vessels = unrecorded(r.row.Outputs), unrecorded(r.row.Phases), unrecorded(r.row.Vessels)
	empty.Scan, empty.PowerUp, empty.HasEvents, empty.Events, empty.Changed = r.next, false, false, nil, true
	empty.Time = r.row.Time - time.Duration(r.row.Scan-r.next)*r.Header.Period
	r.next++
	return &empty
}

func unrecorded(like []int8) []int8 {
	list := make([]int8, len(like))
	for i := range list {
		list[i] = trace.NotRecorded
	}
	return list
}

var errFields = errors.New("number of fields")

// read reads one row; false if it was not used.
func (r *Reader) read(line []byte) bool {
	row := r.row
	row.Line, row.PowerUp, row.In.Overrun, row.Changed = r.lines.number, false, false, false
	at, err := r.readSteady(line)
	if err == nil {
		err = r.readRest(line, at)
	}
	if err != nil {
		r.trusted = false
		r.Diary.Note(&kindFields, trace.Place{Line: r.lines.number, Text: string(line[:len(line)-1])})
		return false
	}
	if row.Scan < r.next || r.total > 0 && row.Scan-r.next > 1<<32 {
		r.Diary.Note(&kindScanAgain, trace.Place{Line: r.lines.number, Text: strconv.FormatUint(row.Scan, 10)})
		return false
	}
	if r.total == 0 {
		r.next = row.Scan // a recording may begin in the middle of a run
	}
	r.total++
	if missed := row.Scan - r.next; missed > 0 {
		r.Diary.NoteMany(&kindScanGap, int(missed), trace.Place{Line: r.lines.number, Text: strconv.FormatUint(r.next, 10)})
		r.gap = missed + 1
	}
	return true
}

// readSteady reads the columns that differ in every row.
func (r *Reader) readSteady(line []byte) (at int, err error) {
	row := r.row
	clear(row.In.Readings)
	for i := 0; i < r.steady; i++ {
		if at >= len(line) {
			return at, errFields
		}
		c := r.columns[i]
		empty := line[at] == ','
		ok, next := true, at
		var v int64
		switch {
		case c.content == ofNothing || c.content >= ofSignal:
			_, next = field(line, at, ',')
			ok = c.content == ofNothing || r.readWord(c, line[at:next])
		case c.content == ofOhm:
			if !empty {
				v, next, ok = fixed(line, at, ',', '.', 6)
				if ok {
					row.In.Readings[c.index].Value, row.In.Readings[c.index].Quality = monitor.Microohm(v), monitor.Valid
				}
			}
		case c.content == ofQuality:
			if !empty {
				next, ok = r.readQuality(line, at, c.index)
			}
		case c.content == ofTime:
			v, next, ok = fixed(line, at, ',', '.', 9)
			row.Time = time.Duration(v)
		case !empty || c.content == ofScan:
			v, next, ok = fixed(line, at, ',', '.', 0)
			ok = ok && r.readInteger(c, v)
		}
		if !ok {
			next = r.unread(line, at, i)
			if c.content == ofScan {
				return next, errFields
			}
		}
		at = next + 1
	}
	return at, nil
}

// unread notes a number that is none and finds the end of its field.
func (r *Reader) unread(line []byte, at, i int) int {
	text, next := field(line, at, ',')
	r.Diary.Note(&kindNotNumber, trace.Place{Line: r.lines.number, Column: i + 1, Text: string(text)})
	return next
}

func (r *Reader) readQuality(line []byte, at, channel int) (next int, ok bool) {
	text, next := field(line, at, ',')
	reading := &r.row.In.Readings[channel]
	switch string(text) {
	case qualityBad:
		reading.Quality = monitor.Bad
	case qualityOver:
		reading.Quality = monitor.OverRange
	default:
		reading.Quality = monitor.Absent
		return next, false
	}
	return next, true
}

// readInteger takes scan, flags and stamps.
func (r *Reader) readInteger(c column, v int64) bool {
	switch c.content {
	case ofScan:
		r.row.Scan = uint64(v)
		return v >= 0
	case ofPowerUp:
		r.row.PowerUp = v == 1
		return v == 0 || v == 1
	case ofOverrun:
		r.row.In.Overrun = v == 1
		return v == 0 || v == 1
	}
	r.row.In.Readings[c.index].Stamp = uint16(v)
	return v >= 0 && v <= 0xffff
}

// readRest reads what seldom differs; where it does not, it costs one
// comparison.
func (r *Reader) readRest(line []byte, at int) error {
	rest := line[min(at, len(line)):]
	if r.trusted && bytes.HasPrefix(rest, r.last) {
		return nil
	}
	r.row.Changed, r.trusted = true, false
	before := len(r.Diary.Troubles)
	counted := r.troubles()
	from := at
	for i := r.steady; i < len(r.columns); i++ {
		if at >= len(line) {
			return errFields
		}
		text, next := field(line, at, ',')
		c := r.columns[i]
		if c.content == ofEvents {
			r.row.HasEvents = true
			r.row.Events = append(r.row.Events[:0], text...)
		} else if c.content != ofNothing && !r.readWord(c, text) {
			r.Diary.Note(&kindWord, trace.Place{Line: r.lines.number, Column: i + 1, Text: string(text)})
		}
		at = next + 1
	}
	if at > len(line) {
		return errFields
	}
	r.last = append(r.last[:0], line[from:at]...)
	r.trusted = before == len(r.Diary.Troubles) && counted == r.troubles() && len(r.row.Events) == 0
	return nil
}

func (r *Reader) troubles() int { return r.Diary.Count(&kindWord) }

// readWord takes an input, a phase, an output or a vessel.
func (r *Reader) readWord(c column, text []byte) bool {
	row := r.row
	switch c.content {
	case ofSignal:
		for s, word := range signalWords {
			if string(text) == word {
				row.In.Signals[c.index] = interlock.Signal(s)
				return true
			}
		}
		row.In.Signals[c.index] = interlock.NoSignal
		return false
	case ofPhase:
		return readOne(&row.Phases[c.index], r.words.phases, text)
	case ofOutput:
		return readOne(&row.Outputs[c.index], r.words.modes, text)
	case ofVessel:
		return readOne(&row.Vessels[c.index], r.words.vessels, text)
	}
	return true
}

func readOne(to *int8, words []string, text []byte) bool {
	*to = trace.NotRecorded
	for i, word := range words {
		if string(text) == word {
			*to = int8(i)
			return true
		}
	}
	return len(text) == 0
}
