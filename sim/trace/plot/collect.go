// Package plot draws a run for print: resistances on a log axis between accept
// and reject, what each channel and output was as a band, and events where they
// happened.
//
// Picture the strip of a chart recorder, pinned to the wall beside the shift
// book. It must be readable in black and white from a metre away: no colour
// carries a meaning alone, normal is grey, and what is abnormal stands out.
package plot

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// columns is how many moments a drawing tells apart; a longer run is drawn
// coarser, in the same memory.
const columns = 1600

// column is some scans side by side. Of each channel it keeps the extremes, of
// each band the worst, so that nothing short is lost between two pixels.
type column struct {
	low, high []float64 // Ω, per channel; NaN where nothing valid was read
	over      []bool    // per channel: over-range was read
	phases    []int8    // per channel
	modes     []int8    // per output
	charged   []int8    // per vessel
}

// mark is an event on a band.
type mark struct {
	at   float64 // s
	row  int     // in the order of the bands
	kind interlock.Kind
}

// marksKept bounds the events of one drawing.
const marksKept = 400

// Writer collects a run and draws it when it is closed.
type Writer struct {
	path    string
	config  *interlock.Config
	header  *trace.Header
	each    uint64 // scans in one column
	columns []column
	filled  uint64 // scans in the last column
	marks   []mark
	unshown int
	begin   float64
	any     bool
}

// NewWriter draws to a file whose name ends in .svg or .png.
func NewWriter(path string, c *interlock.Config) (*Writer, error) {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".svg", ".png":
		return &Writer{path: path, config: c, each: 1}, nil
	}
	return nil, fmt.Errorf("%q is neither .svg nor .png; end the file name in one of them", path)
}

// Begin takes the names.
func (w *Writer) Begin(h *trace.Header) error {
	w.header = h
	return nil
}

func (w *Writer) newColumn() column {
	c := column{
		low: make([]float64, len(w.header.Channels)), high: make([]float64, len(w.header.Channels)),
		over: make([]bool, len(w.header.Channels)), phases: make([]int8, len(w.header.Channels)), modes: make([]int8, len(w.header.Outputs)), charged: make([]int8, len(w.header.Vessels)),
	}
	for i := range c.low {
		c.low[i], c.high[i], c.phases[i] = math.NaN(), math.NaN(), -1
	}
	for i := range c.modes {
		c.modes[i] = -1
	}
	return c
}

// Write takes one scan.
func (w *Writer) Write(r *trace.Row) error {
	if !w.any {
		w.any, w.begin = true, r.Time.Seconds()
	}
	if len(w.columns) == 0 || w.filled == w.each {
		if len(w.columns) == columns {
			w.halve()
		}
		w.columns = append(w.columns, w.newColumn())
		w.filled = 0
	}
	w.filled++
	c := &w.columns[len(w.columns)-1]
	for i, reading := range r.In.Readings {
		if reading.Quality == monitor.Valid {
			ohms := float64(reading.Value) / 1e6
			c.low[i], c.high[i] = lower(c.low[i], ohms), -lower(-c.high[i], -ohms)
		}
		c.over[i] = c.over[i] || reading.Quality == monitor.OverRange
		c.phases[i] = worsePhase(c.phases[i], r.State.Channels[i].Phase)
	}
	for i := range r.State.Outputs {
		c.modes[i] = worseMode(c.modes[i], r.State.Outputs[i].Mode)
	}
	for i := range r.State.Vessels {
		c.charged[i] = max(c.charged[i], chargeRank(&r.State.Vessels[i]))
	}
	w.mark(r)
	return nil
}

// lower is the smaller of two numbers; NaN is none.
func lower(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

// phaseRank and modeRank order by how much a short stay must be seen.
var (
	phaseRank = [monitor.Phases]int8{monitor.Bonded: 0, monitor.Settling: 1, monitor.Unconnected: 2, monitor.Doubtful: 3, monitor.Unreadable: 4, monitor.Lost: 5}
	modeRank  = [interlock.Modes]int8{interlock.Enabled: 0, interlock.KeptOut: 1, interlock.Tripped: 2}
)

func worsePhase(have int8, p monitor.Phase) int8 {
	if have >= 0 && phaseRank[have] >= phaseRank[p] {
		return have
	}
	return int8(p)
}

func worseMode(have int8, m interlock.Mode) int8 {
	if have >= 0 && modeRank[have] >= modeRank[m] {
		return have
	}
	return int8(m)
}

// chargeRank: 0 clear, 1 may be charged, 2 reconnected early.
func chargeRank(v *interlock.VesselState) int8 {
	switch {
	case v.Early:
		return 2
	case !v.Clear:
		return 1
	}
	return 0
}

// halve makes one column of each two.
func (w *Writer) halve() {
	for i := 0; i < columns/2; i++ {
		a, b := &w.columns[2*i], &w.columns[2*i+1]
		for n := range a.low {
			a.low[n], a.high[n] = lower(a.low[n], b.low[n]), -lower(-a.high[n], -b.high[n])
			a.over[n] = a.over[n] || b.over[n]
			a.phases[n] = worsePhase(a.phases[n], monitor.Phase(b.phases[n]))
		}
		for n := range a.modes {
			a.modes[n] = worseMode(a.modes[n], interlock.Mode(b.modes[n]))
		}
		for n := range a.charged {
			a.charged[n] = max(a.charged[n], b.charged[n])
		}
		w.columns[i] = *a
	}
	w.columns = w.columns[:columns/2]
	w.each *= 2
}

// mark keeps the events that a reader looks for.
func (w *Writer) mark(r *trace.Row) {
	for i := range r.Decision.Events {
		e := &r.Decision.Events[i]
		row := -1
		switch e.Kind {
		case interlock.OutputTripped, interlock.OutputEnabled, interlock.ActuatorUnconfirmed:
			row = len(w.header.Channels) + e.Subject
		case interlock.ReconnectedEarly:
			row = len(w.header.Channels) + len(w.header.Outputs) + e.Subject
		default:
			continue
		}
		if len(w.marks) == marksKept {
			w.unshown++
			continue
		}
		w.marks = append(w.marks, mark{r.Time.Seconds(), row, e.Kind})
	}
}

// seconds is where a column begins.
func (w *Writer) seconds(i int) float64 {
	return w.begin + float64(uint64(i)*w.each)*w.header.Period.Seconds()
}
