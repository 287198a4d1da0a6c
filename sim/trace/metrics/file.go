package metrics

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/sim/trace"
)

// Epoch is where simulated time begins in a file: the first second of the year
// 2000. A run has no date of its own, and the same run must give the same bytes.
var Epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// What changes is written in the scan in which it changes. Everything is written
// again now and then, because who queries a series looks back five minutes only.
const (
	quietEvery = time.Second      // readings and ages
	everyEvery = 60 * time.Second // everything else
)

// File writes a run as OpenMetrics text with simulated times.
type File struct {
	*Metrics
	path  string
	file  *trace.File
	to    io.Writer
	spool *spool
	begun bool
	now   int64 // milliseconds since Epoch
	quiet int64 // when the quiet ones are due
	every int64 // when all are due
}

// NewFile writes a file; it is created in Begin.
func NewFile(path string, c *interlock.Config) *File { return &File{Metrics: New(c), path: path} }

// Begin makes all families.
func (f *File) Begin(h *trace.Header) error {
	if f.to == nil {
		file, err := trace.Create(f.path)
		if err != nil {
			return err
		}
		f.file, f.to = file, file
	}
	spool, err := newSpool()
	if err != nil {
		return err
	}
	f.spool, f.begun = spool, true
	return f.Metrics.Begin(h)
}

// Write follows one scan and writes what is due.
func (f *File) Write(r *trace.Row) error {
	if err := f.Metrics.Write(r); err != nil {
		return err
	}
	f.now = r.Time.Milliseconds()
	if f.now >= f.quiet {
		f.quiet = f.now + quietEvery.Milliseconds()
		f.due(f.now >= f.every)
		if f.now >= f.every {
			f.every = f.now + everyEvery.Milliseconds()
		}
	}
	return f.flush(f.now)
}

// due marks the quiet metrics, or all of them, for writing.
func (f *File) due(all bool) {
	for _, family := range f.board.families {
		for _, m := range family.metrics {
			if all || m.quiet {
				f.board.touch(m)
			}
		}
	}
}

// flush writes every metric that changed. A metric has one sample in a
// millisecond at most, because readers drop a second one in silence: what
// changes again within it is written in the next.
func (f *File) flush(at int64) error {
	kept := f.board.dirty[:0]
	for _, m := range f.board.dirty {
		if m.spool.started && m.spool.last >= at {
			kept = append(kept, m)
			continue
		}
		m.changed = false
		m.spool.started, m.spool.last = true, at
		before := len(m.spool.buffer)
		m.spool.buffer = m.append(m.spool.buffer, at)
		for _, c := range m.spool.buffer[before:] {
			if c == '\n' {
				m.spool.samples++
			}
		}
		if len(m.spool.buffer) >= blockSize {
			if err := f.spool.push(m); err != nil {
				return err
			}
		}
	}
	f.board.dirty = kept
	return nil
}

// Samples is how many samples were written so far.
func (f *File) Samples() int {
	n := 0
	for _, family := range f.board.families {
		for _, m := range family.metrics {
			n += m.spool.samples
		}
	}
	return n
}

// append adds one sample of every series of a metric.
func (m *metric) append(b []byte, at int64) []byte {
	name := m.family.name
	switch m.family.typ {
	case counter:
		return m.line(b, name+"_total", "", "", m.value, at)
	case info:
		return m.line(b, name+"_info", "", "", m.value, at)
	case stateSet:
		for i, state := range m.family.states {
			b = m.line(b, name, name, state, flag(i == m.state), at)
		}
		return b
	case histogram:
		sum := uint64(0)
		for i, edge := range m.edges {
			sum += m.counts[i]
			b = m.line(b, name+"_bucket", "le", edgeText(edge), float64(sum), at)
		}
		b = m.line(b, name+"_bucket", "le", "+Inf", float64(m.total), at)
		b = m.line(b, name+"_count", "", "", float64(m.total), at)
		return m.line(b, name+"_sum", "", "", m.sum, at)
	}
	return m.line(b, name, "", "", m.value, at)
}

// edgeText is an edge as OpenMetrics wants it, with a point.
func edgeText(edge float64) string { return strconv.FormatFloat(edge, 'f', 1, 64) }

func (m *metric) line(b []byte, name, label, value string, v float64, at int64) []byte {
	b = append(b, name...)
	separator := byte('{')
	add := func(label, value string) {
		b = append(append(append(b, separator), label...), '=', '"')
		b = append(append(b, escaper.Replace(value)...), '"')
		separator = ','
	}
	for i, l := range m.family.labels {
		add(l, m.values[i])
	}
	if label != "" {
		add(label, value)
	}
	if separator == ',' {
		b = append(b, '}')
	}
	b = append(b, ' ')
	if math.IsInf(v, 1) {
		b = append(b, "+Inf"...)
	} else {
		b = strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	ms := Epoch.UnixMilli() + at
	return append(strconv.AppendInt(append(b, ' '), ms/1000, 10), fmt.Sprintf(".%03d\n", ms%1000)...)
}

var escaper = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)

// Close writes what is left and puts the families together.
func (f *File) Close() error {
	if !f.begun {
		return nil
	}
	defer f.spool.close()
	err := f.flush(f.now + 1) // what changed twice in the last millisecond
	for i := 0; err == nil && i < len(f.board.families); i++ {
		err = f.assemble(f.board.families[i])
	}
	if err == nil {
		_, err = io.WriteString(f.to, "# EOF\n")
	}
	if f.file == nil {
		return err
	}
	if err != nil {
		f.file.Discard()
		return err
	}
	return f.file.Commit()
}

func (f *File) assemble(family *family) error {
	text := fmt.Sprintf("# TYPE %s %s\n", family.name, family.typ)
	if family.unit != "" {
		text += fmt.Sprintf("# UNIT %s %s\n", family.name, family.unit)
	}
	text += fmt.Sprintf("# HELP %s %s\n", family.name, escaper.Replace(family.help))
	if _, err := io.WriteString(f.to, text); err != nil {
		return err
	}
	for _, m := range family.metrics {
		if err := f.spool.pull(f.to, m); err != nil {
			return err
		}
	}
	return nil
}

// Discard throws the file away.
func (f *File) Discard() {
	if f.spool != nil {
		f.spool.close()
	}
	if f.file != nil {
		f.file.Discard()
	}
}
