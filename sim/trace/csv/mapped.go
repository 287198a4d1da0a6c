package csv

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Mapped turns a foreign table into scans.
//
// Scan 0 is at the time of the first row. Scan k sees the rows that are later
// than scan k-1 and not later than scan k, as a logic does that reads its
// registers at the beginning of each scan: of several values within one scan the
// last counts. A reading is fresh in the scan in which it arrives, and in no
// other. An output stands until the next row that tells it.
type Mapped struct {
	Diary trace.Diary
	// Start is the instant of scan 0; zero where the file counts from its own
	// beginning.
	Start time.Time

	m      *Mapping
	config *interlock.Config
	lines  *lines
	clock  *clock
	plan   plan
	period int64 // ns

	fields  [][]byte
	row     arrivals // read from the file, and not yet part of a scan
	waiting bool     // row holds something
	origin  int64    // ns: time of scan 0
	latest  int64    // ns: time of the last row used
	begun   bool
	ended   bool
	done    bool // the last scan was handed out

	scan    uint64 // the next to be handed out
	out     *trace.Recorded
	held    []interlock.Signal
	before  []interlock.Signal
	stamps  []uint16
	stats   []intervals
	gap     gap
	seen    []bool // channels of which anything ever came
	hasZone bool
}

// arrivals is what one row brings.
type arrivals struct {
	at       int64
	line     int
	readings []monitor.Reading
	signals  []interlock.Signal
	outputs  []int8
}

// NewMapped begins to read a foreign table.
func NewMapped(from io.Reader, m *Mapping, site *trace.Header, c *interlock.Config) (*Mapped, error) {
	r := &Mapped{
		m: m, config: c, lines: newLines(from), period: int64(site.Period), out: trace.NewRecorded(c),
		held: make([]interlock.Signal, len(c.Inputs)), before: make([]interlock.Signal, len(c.Inputs)),
		stamps: make([]uint16, len(c.Channels)), stats: make([]intervals, len(c.Channels)), seen: make([]bool, len(c.Channels)),
	}
	r.row = arrivals{readings: make([]monitor.Reading, len(c.Channels)), signals: make([]interlock.Signal, len(c.Inputs)), outputs: make([]int8, len(c.Outputs))}
	zone := time.UTC
	if m.Time.Zone != "" {
		var err error
		if zone, err = time.LoadLocation(m.Time.Zone); err != nil {
			return nil, err
		}
		r.hasZone = true
	}
	var err error
	if r.clock, err = compileClock(m.Time.Format, zone); err != nil {
		return nil, err
	}
	names, err := r.readNames()
	if err != nil {
		return nil, err
	}
	if err := r.plan.make(m, names, site); err != nil {
		return nil, fmt.Errorf("line %d: %w", max(m.Header, 1), err)
	}
	r.gap.limit = uint64(longestStale(c)) + 1
	r.noteAbsent(site)
	return r, nil
}

func longestStale(c *interlock.Config) monitor.Scans {
	longest := monitor.Scans(0)
	for i := range c.Channels {
		longest = max(longest, c.Channels[i].StaleAfter)
	}
	return longest
}

// readNames reads up to the line with the names of the columns.
func (r *Mapped) readNames() ([]string, error) {
	for {
		line, _, err := r.lines.next(r.m.Separator)
		if err != nil {
			return nil, err
		}
		if line == nil {
			if r.lines.failure != nil {
				return nil, fmt.Errorf("the file is damaged or cut off in line %d, before its line of names is read: %w; get the whole file", r.lines.number+1, r.lines.failure)
			}
			return nil, fmt.Errorf("the recording ends at line %d, before its line of names; is header: right?", r.lines.number)
		}
		if err := checkText(line, r.lines.number); err != nil {
			return nil, err
		}
		if r.lines.number == 1 {
			line = withoutMark(line)
		}
		if r.m.Header == 0 {
			names := split(line, r.m.Separator)
			for i := range names {
				names[i] = fmt.Sprint(i + 1)
			}
			r.lines.back(line) // it is a row already
			return names, nil
		}
		if r.lines.number >= r.m.Header {
			return split(line, r.m.Separator), nil
		}
	}
}

// withoutMark drops the mark by which some programs begin UTF-8.
func withoutMark(line []byte) []byte {
	if len(line) > 3 && string(line[:3]) == "\xef\xbb\xbf" {
		return line[3:]
	}
	return line
}

func (r *Mapped) noteAbsent(site *trace.Header) {
	have := map[string]bool{}
	for _, c := range r.m.Channels {
		have[site.Channels[c.Channel]] = true
	}
	for _, b := range r.m.Inputs {
		have[site.Inputs[b.Index]] = true
		if b.Always != "" {
			r.Diary.Note(&kindAlways, trace.Place{Text: site.Inputs[b.Index] + " = " + b.Always})
		}
	}
	var recorded []int
	for _, b := range r.m.Outputs {
		recorded = append(recorded, b.Index)
	}
	needed := coneOf(r.config, recorded)
	absent := func(name string, needed bool) {
		switch {
		case have[name]:
		case needed:
			r.Diary.Note(&kindNeeded, trace.Place{Text: name})
		default:
			r.Diary.Note(&kindBeside, trace.Place{Text: name})
		}
	}
	for i, name := range site.Channels {
		absent(name, needed.channels[i])
	}
	for i, name := range site.Inputs {
		absent(name, needed.inputs[i])
	}
	for _, c := range r.m.Channels {
		if r.config.Channels[c.Channel].Stamped && c.Stamp == "" {
			r.Diary.Note(&kindUnstamped, trace.Place{Text: site.Channels[c.Channel]})
		}
	}
}

// Next hands out the next scan; nil at the end. It is valid until the call
// after.
func (r *Mapped) Next() (*trace.Recorded, error) {
	r.blank()
	for {
		if !r.waiting && !r.ended {
			if err := r.readRow(); err != nil {
				return nil, err
			}
		}
		if !r.waiting {
			return r.last()
		}
		due := r.scanOf(r.row.at)
		if due > r.scan && !r.bridge(due) {
			return r.hand(), nil // nothing of this row belongs here
		}
		r.take()
	}
}

// blank begins a scan in which nothing has arrived.
func (r *Mapped) blank() {
	clear(r.out.In.Readings)
	copy(r.out.In.Signals, r.held)
	r.out.Resumed, r.out.Changed = false, false
}

// last hands out the scan that the end of the file left unfinished.
func (r *Mapped) last() (*trace.Recorded, error) {
	if !r.begun || r.done {
		return nil, nil
	}
	r.done = true
	return r.hand(), nil
}

func (r *Mapped) scanOf(at int64) uint64 {
	since := at - r.origin
	return uint64((since + r.period - 1) / r.period)
}

// hand gives out the current scan.
func (r *Mapped) hand() *trace.Recorded {
	out := r.out
	out.Scan = r.scan
	out.Time = time.Duration(r.scan) * time.Duration(r.period)
	for i := range r.before {
		if r.before[i] != out.In.Signals[i] {
			r.before[i] = out.In.Signals[i]
			out.Changed = true
		}
	}
	if r.gap.left > 0 {
		r.gap.left--
	}
	r.scan++
	return out
}

// gap is a hole in the recording.
type gap struct {
	limit   uint64 // scans without a row that are no gap
	left    uint64 // scans of the gap still to be handed out before it is jumped
	inside  bool
	typical uint64 // between rows, slowly following
	last    uint64 // scan of the last row
}

// emptyScans is how many scans of a gap the logic sees, with nothing read in
// them; after that its waits and settings would only count.
const emptyScans = 6000

// bridge decides what to do about the scans before a row that is due later. It
// is true when the row belongs into the current scan after all: a gap was
// jumped.
func (r *Mapped) bridge(due uint64) bool {
	if !r.gap.inside {
		wide := due - r.gap.last
		if r.m.OnChange || r.gap.typical == 0 || wide <= r.gap.limit || wide <= 8*r.gap.typical {
			return r.hurry(due)
		}
		r.Diary.Note(&kindGap, trace.Place{Line: r.row.line, Text: time.Duration(int64(wide) * r.period).String()})
		r.gap.inside, r.gap.left = true, emptyScans
		r.silence()
		return false
	}
	if r.gap.left > 0 {
		return false
	}
	r.scan = due
	return true
}

// hurry jumps between the rows of a recording that is too slow to decide
// anything, once the logic has noticed that nothing comes: years of one row a
// minute are still good for a trend.
func (r *Mapped) hurry(due uint64) bool {
	if r.scan-r.gap.last <= 4*r.gap.limit+100 {
		return false
	}
	r.scan = due
	return true
}

// silence forgets what the outputs were, and what stood.
func (r *Mapped) silence() {
	for i := range r.out.Outputs {
		r.out.Outputs[i] = trace.NotRecorded
	}
	clear(r.held)
	r.out.Changed = true
}

// take makes the waiting row part of the current scan.
func (r *Mapped) take() {
	out := r.out
	if r.gap.inside {
		r.gap.inside, r.gap.left, out.Resumed, out.Changed = false, 0, true, true
		for i := range r.stats {
			r.stats[i].forget()
		}
	}
	for i := range r.m.Channels {
		channel := r.m.Channels[i].Channel
		reading := r.row.readings[channel]
		if reading.Quality == monitor.Absent {
			continue
		}
		if had := out.In.Readings[channel]; had.Quality != monitor.Absent && r.worse(channel, had, reading) {
			r.Diary.Note(&kindHidden, trace.Place{Line: r.row.line, Text: string(trace.AppendOhms(nil, had.Value))})
		}
		if r.m.Channels[i].Stamp == "" {
			r.stamps[channel]++
			reading.Stamp = r.stamps[channel]
		}
		out.In.Readings[channel] = reading
		r.seen[channel] = true
		r.stats[channel].arrive(r.scan, reading)
	}
	for i, signal := range r.row.signals {
		if signal != interlock.NoSignal {
			out.In.Signals[i] = signal
		}
	}
	for i, o := range r.row.outputs {
		if o != trace.NotRecorded && o != out.Outputs[i] {
			out.Outputs[i], out.Changed = o, true
		}
	}
	for i := range r.m.Inputs {
		if b := &r.m.Inputs[i]; b.Hold || b.Always != "" {
			r.held[b.Index] = out.In.Signals[b.Index]
		}
	}
	out.Line = r.row.line
	if step := r.scan - r.gap.last; step > 0 {
		if r.gap.typical == 0 {
			r.gap.typical = step
		}
		r.gap.typical = (7*r.gap.typical + step + 7) / 8
		r.gap.last = r.scan
	}
	r.waiting = false
}

// worse reports that a reading that is overtaken within one scan was bad, while
// the one that overtakes it is good.
func (r *Mapped) worse(channel int, had, now monitor.Reading) bool {
	good := func(m monitor.Reading) bool {
		return m.Quality == monitor.Valid && m.Value >= 0 && m.Value <= r.config.Channels[channel].Accept
	}
	return !good(had) && good(now)
}

// readRow reads rows until one can be used.
func (r *Mapped) readRow() error {
	for {
		line, whole, err := r.lines.next(r.m.Separator)
		if err != nil {
			return err
		}
		if line == nil {
			r.ended = true
			if r.lines.failure != nil {
				r.Diary.Note(&kindDamaged, trace.Place{Line: r.lines.number})
			}
			r.judgeIntervals()
			return nil
		}
		if len(line) == 1 || line[0] == '#' && r.m.Header > 0 {
			continue
		}
		if used, err := r.useRow(line, whole); err != nil || used {
			return err
		}
	}
}

// useRow reads one row; false if it says nothing that could be used.
func (r *Mapped) useRow(line []byte, whole bool) (bool, error) {
	var used int
	r.fields, used = cut(r.fields[:0], line, r.m.Separator, r.plan.needed)
	place := trace.Place{Line: r.lines.number, Text: string(line[:len(line)-1])}
	if len(r.fields) < r.plan.needed {
		kind := &kindFields
		if !whole {
			kind = &kindCutLine
		}
		r.Diary.Note(kind, place)
		return false, nil
	}
	if len(r.fields)+more(line[used:], r.m.Separator) > r.plan.width {
		r.Diary.Note(&kindTooMany, place)
		return false, nil
	}
	if !whole {
		r.Diary.Note(&kindNoEnd, place)
	}
	at, err := r.clock.read(r.timeText(), r.m.Point)
	if err != nil {
		place.Column, place.Text = r.plan.time[0]+1, string(r.timeText())
		kind := &kindTime
		if errors.Is(err, errNoSuchTime) {
			kind = &kindNoSuchTime
		}
		r.Diary.Note(kind, place)
		return false, nil
	}
	at += int64(r.m.Time.Offset)
	if used, err := r.inTime(at, place); err != nil || !used {
		return false, err
	}
	r.row.at, r.row.line = at, r.lines.number
	r.plan.read(r)
	r.waiting = true
	return true, nil
}

// inTime tells rows that come too late from those that can be used.
func (r *Mapped) inTime(at int64, place trace.Place) (bool, error) {
	if !r.begun {
		r.begun, r.origin, r.latest = true, at, at
		if r.m.Time.Format != "seconds" {
			r.Start = time.Unix(0, at).UTC()
		}
		return true, nil
	}
	back := r.latest - at
	switch {
	case back > int64(50*time.Minute) && back < int64(70*time.Minute) && r.clock.kind == clockPattern && !r.hasZone:
		return false, fmt.Errorf("line %d: the clock went back by %v: the end of daylight-saving time? name the zone in the map, such as time: {zone: Europe/Berlin}", place.Line, time.Duration(back).Round(time.Second))
	case back > 0:
		place.Text = "back by " + time.Duration(back).String()
		r.Diary.Note(&kindOrder, place)
		return false, nil
	case back == 0 && r.m.Tag == "":
		place.Text = ""
		r.Diary.Note(&kindSameTime, place)
	}
	if r.scanOf(at) > 1<<40 {
		return false, fmt.Errorf("line %d: the time is %v after the first row; is its format %q right?", place.Line, time.Duration(at-r.origin), r.m.Time.Format)
	}
	r.latest = at
	return true, nil
}

func (r *Mapped) timeText() []byte {
	if len(r.plan.time) == 1 {
		return bytes.TrimSpace(r.fields[r.plan.time[0]])
	}
	var text []byte
	for i, column := range r.plan.time {
		if i > 0 {
			text = append(text, ' ')
		}
		text = append(text, r.fields[column]...)
	}
	return text
}

// cut cuts the first fields of a line; fewer if it has no more. used is what they
// take of it.
func cut(fields [][]byte, line []byte, separator byte, needed int) (list [][]byte, used int) {
	at := 0
	for at < len(line) && len(fields) < needed {
		text, end := field(line, at, separator)
		fields = append(fields, text)
		at = end + 1
	}
	return fields, at
}

// more counts the fields of what is left of a line. Empty ones at its end do not
// count: some programs write a separator after every field.
func more(rest []byte, separator byte) int {
	for len(rest) > 0 && rest[len(rest)-1] == separator && (len(rest) == 1 || rest[len(rest)-2] == separator) {
		rest = rest[:len(rest)-1]
	}
	if bytes.IndexByte(rest, '"') < 0 {
		return bytes.Count(rest, []byte{separator})
	}
	n := 0
	for at := 0; at < len(rest); n++ {
		_, end := field(rest, at, separator)
		at = end + 1
	}
	return n
}

// Instant is the time of day of a moment of the recording, in the zone that the
// map names; empty where the file counts from its own beginning.
func (r *Mapped) Instant(seconds float64) string {
	if r.Start.IsZero() {
		return ""
	}
	at := r.Start.Add(time.Duration(seconds * 1e9).Round(time.Microsecond))
	return at.In(r.clock.zone).Format("2006-01-02T15:04:05.000Z07:00")
}
