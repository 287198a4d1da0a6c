// Package vcd writes a run as a value change dump (IEEE 1364-2005, clause 18),
// which every waveform viewer reads.
//
// Picture the paper of a chart recorder with one pen for each signal: a pen
// moves only when its signal changes, and the time stands beside the move.
package vcd

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// wire is one signal of the dump.
type wire struct {
	id    string
	bits  int // 0 is a real number
	value uint64
	known bool // has been written
}

// Values of a one-bit wire beyond 0 and 1.
const (
	wireX = 2 // nobody knows
	wireZ = 3 // nothing arrived
)

// Writer writes one dump.
type Writer struct {
	path   string
	file   *trace.File
	to     io.Writer
	header *trace.Header
	unit   time.Duration
	wires  []wire
	at     int // the next wire in this scan
	out    []byte
	first  bool
	last   time.Duration
}

// NewWriter writes a file; it is created in Begin.
func NewWriter(path string) *Writer { return &Writer{path: path} }

// timescales are the units that the standard allows, coarsest first.
var timescales = [...]struct {
	unit time.Duration
	text string
}{{time.Millisecond, "1 ms"}, {time.Microsecond, "1 us"}, {time.Nanosecond, "1 ns"}}

// Begin declares every signal.
func (w *Writer) Begin(h *trace.Header) error {
	w.header, w.first = h, true
	if w.to == nil {
		file, err := trace.Create(w.path)
		if err != nil {
			return err
		}
		w.file, w.to = file, file
	}
	scale := timescales[len(timescales)-1]
	for _, s := range timescales {
		if h.Period%s.unit == 0 {
			scale = s
			break
		}
	}
	w.unit = scale.unit
	_, err := io.WriteString(w.to, w.declarations(scale.text))
	return err
}

// numbered lists the values below a count with their words.
func numbered[T interface {
	~uint8
	fmt.Stringer
}](count T) (text string) {
	for v := range count {
		text += fmt.Sprintf(" %d %s", uint8(v), v)
	}
	return text
}

func (w *Writer) declarations(scale string) string {
	h := w.header
	text := fmt.Sprintf("$comment site %s %s $end\n$comment scenario %s %s $end\n", h.Site, h.SiteHash, h.Scenario, h.ScenarioHash)
	text += "$comment phase:" + numbered(monitor.Phase(monitor.Phases)) + " $end\n" +
		"$comment class:" + numbered(monitor.Class(monitor.Classes)) + "; quality: 0 nothing 1 bad 2 over-range 3 valid $end\n" +
		"$comment mode:" + numbered(interlock.Mode(interlock.Modes)) + "; inputs: x faulty, z nothing arrived $end\n" +
		fmt.Sprintf("$version %s $end\n$timescale %s $end\n$scope module %s $end\n", h.Tool, scale, h.Site)
	text += w.declare("wire", 1, "overrun") + w.declare("wire", 1, "power_up")
	for _, name := range h.Channels {
		text += "$scope module " + name + " $end\n" + w.declare("real", 0, "ohm") + w.declare("reg", 2, "quality") +
			w.declare("reg", 3, "class") + w.declare("reg", 3, "phase")
		if h.Simulated {
			text += w.declare("real", 0, "true_ohm") + w.declare("wire", 1, "true_bond")
		}
		text += "$upscope $end\n"
	}
	for _, name := range h.Inputs {
		text += w.declare("wire", 1, name)
	}
	for _, name := range h.Outputs {
		text += "$scope module " + name + " $end\n" + w.declare("wire", 1, "run") + w.declare("reg", 2, "mode") + "$upscope $end\n"
	}
	for _, name := range h.Vessels {
		text += "$scope module " + name + " $end\n" + w.declare("wire", 1, "may_be_charged") + w.declare("wire", 1, "early") + "$upscope $end\n"
	}
	if h.Simulated {
		for _, name := range h.Streams {
			text += w.declare("wire", 1, name+"_true_flow")
		}
	}
	return text + "$upscope $end\n$enddefinitions $end\n"
}

// declare adds a wire. Its short name counts through the printable characters.
func (w *Writer) declare(kind string, bits int, name string) string {
	id := ""
	for n := len(w.wires) + 1; n > 0; n = (n - 1) / 94 {
		id += string(rune('!' + (n-1)%94))
	}
	w.wires = append(w.wires, wire{id: id, bits: bits})
	size := bits
	if kind == "real" {
		size = 64
	}
	return fmt.Sprintf("$var %s %d %s %s $end\n", kind, size, id, name)
}

// Write writes what changed in one scan.
func (w *Writer) Write(r *trace.Row) error {
	w.out, w.at, w.last = w.out[:0], 0, r.Time
	w.bit(r.In.Overrun)
	w.bit(r.PowerUp)
	for i := range w.header.Channels {
		w.channel(r, i)
	}
	for _, s := range r.In.Signals {
		w.put([...]uint64{interlock.NoSignal: wireZ, interlock.Faulty: wireX, interlock.Low: 0, interlock.High: 1}[s])
	}
	for i := range r.State.Outputs {
		w.bit(r.Decision.Coils.Energised(i))
		w.put(uint64(r.State.Outputs[i].Mode))
	}
	for i := range r.State.Vessels {
		w.bit(!r.State.Vessels[i].Clear)
		w.bit(r.State.Vessels[i].Early)
	}
	if w.header.Simulated {
		for i := range w.header.Streams {
			w.truth(r.Truth != nil, r.Truth != nil && r.Truth.Flowing[i])
		}
	}
	return w.flush()
}

func (w *Writer) channel(r *trace.Row, i int) {
	reading, state := r.In.Readings[i], &r.State.Channels[i]
	ohm := math.NaN()
	switch reading.Quality {
	case monitor.Valid:
		ohm = float64(reading.Value) / 1e6
	case monitor.Absent: // the pen stays where it is
		ohm = math.Float64frombits(w.wires[w.at].value)
		if !w.wires[w.at].known {
			ohm = math.NaN()
		}
	}
	w.real(ohm)
	w.put(uint64(reading.Quality))
	w.put(uint64(state.Class))
	w.put(uint64(state.Phase))
	if w.header.Simulated {
		if r.Truth == nil {
			w.real(math.NaN())
		} else {
			w.real(r.Truth.Ohms[i])
		}
		w.truth(r.Truth != nil, r.Truth != nil && r.Truth.Bonded[i])
	}
}

func (w *Writer) bit(yes bool) {
	if yes {
		w.put(1)
	} else {
		w.put(0)
	}
}

// truth is x where nobody knows.
func (w *Writer) truth(known, yes bool) {
	if !known {
		w.put(wireX)
		return
	}
	w.bit(yes)
}

// put writes the next wire if it changed.
func (w *Writer) put(value uint64) {
	wire := &w.wires[w.at]
	w.at++
	if wire.known && wire.value == value {
		return
	}
	wire.known, wire.value = true, value
	if wire.bits == 1 {
		w.out = append(w.out, "01xz"[value])
	} else {
		w.out = append(strconv.AppendUint(append(w.out, 'b'), value, 2), ' ')
	}
	w.out = append(append(w.out, wire.id...), '\n')
}

// beyond stands for infinity and for "no number", which the format has not:
// over-range is told by quality and class.
const beyond = 1e30

func (w *Writer) real(value float64) {
	if math.IsNaN(value) || value > beyond {
		value = beyond
	}
	wire := &w.wires[w.at]
	w.at++
	bits := math.Float64bits(value)
	if wire.known && wire.value == bits {
		return
	}
	wire.known, wire.value = true, bits
	w.out = strconv.AppendFloat(append(w.out, 'r'), value, 'g', 16, 64)
	w.out = append(append(append(w.out, ' '), wire.id...), '\n')
}

// flush writes the time and the changes of one scan.
func (w *Writer) flush() error {
	if len(w.out) == 0 {
		return nil
	}
	text := fmt.Sprintf("#%d\n", w.last/w.unit)
	if w.first {
		w.first = false
		text += "$dumpvars\n" + string(w.out) + "$end\n"
	} else {
		text += string(w.out)
	}
	_, err := io.WriteString(w.to, text)
	return err
}

// Close ends the dump one scan after its last, so that the last value is seen.
func (w *Writer) Close() error {
	if w.to == nil {
		return nil
	}
	_, err := fmt.Fprintf(w.to, "#%d\n", (w.last+w.header.Period)/w.unit)
	if w.file == nil {
		return err
	}
	if err != nil {
		w.file.Discard()
		return err
	}
	return w.file.Commit()
}

// Discard throws the file away.
func (w *Writer) Discard() {
	if w.file != nil {
		w.file.Discard()
	}
}
