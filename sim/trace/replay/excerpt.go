package replay

import (
	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// moment is one scan as the excerpt needs it.
type moment struct {
	scan     uint64
	time     float64
	line     int
	readings []monitor.Reading
	channels []monitor.Control
	recorded [3][]int8 // outputs, phases, vessels
	modes    []interlock.Mode
	vessels  []int8
}

// before and after are how many scans around the first divergence are shown.
const before, after = 4, 3

// ring keeps the last scans until the first divergence is complete.
type ring struct {
	kept []moment
	next int
	full bool
	left int // scans still to come after the divergence; 0 is none seen yet
	done bool
}

func newRing(size int) *ring { return &ring{kept: make([]moment, size)} }

// keep stores one scan, reusing the memory of the oldest.
func (g *ring) keep(rec *trace.Recorded, s *interlock.State) {
	m := &g.kept[g.next]
	g.next++
	if g.next == len(g.kept) {
		g.next, g.full = 0, true
	}
	m.scan, m.time, m.line = rec.Scan, rec.Time.Seconds(), rec.Line
	m.readings = append(m.readings[:0], rec.In.Readings...)
	m.channels, m.modes, m.vessels = m.channels[:0], m.modes[:0], m.vessels[:0]
	for i := range s.Channels {
		m.channels = append(m.channels, s.Channels[i].Control)
	}
	for i := range s.Outputs {
		m.modes = append(m.modes, s.Outputs[i].Mode)
	}
	for i := range s.Vessels {
		m.vessels = append(m.vessels, int8(tell.ChargeOf(&s.Vessels[i])))
	}
	for i, list := range [...][]int8{rec.Outputs, rec.Phases, rec.Vessels} {
		m.recorded[i] = append(m.recorded[i][:0], list...)
	}
}

// lineOf is the line of a scan that is kept; otherwise if it is none.
func (g *ring) lineOf(scan uint64, otherwise int) int {
	for i := range g.kept[:g.size()] {
		if g.kept[i].scan == scan {
			return g.kept[i].line
		}
	}
	return otherwise
}

func (g *ring) size() int {
	if g.full {
		return len(g.kept)
	}
	return g.next
}

// inOrder is what is kept, oldest first.
func (g *ring) inOrder() []moment {
	if !g.full {
		return g.kept[:g.next]
	}
	return append(append([]moment(nil), g.kept[g.next:]...), g.kept[:g.next]...)
}

// excerpt tells what the ring holds about one subject, beside one channel.
func (r *Replayer) excerpt(d *subject, channel int) []Moment {
	if d.what == events {
		return nil // two texts stand side by side already
	}
	var list []Moment
	for _, m := range r.ring.inOrder() {
		if m.scan+before < d.scan {
			continue
		}
		line := Moment{Scan: m.scan, Time: m.time, Line: m.line, Recorded: "-", Logic: "-"}
		if channel >= 0 {
			reading, control := m.readings[channel], m.channels[channel]
			line.Reading, line.Class, line.Phase = readingText(reading), control.Class.String(), control.Phase.String()
		}
		switch d.what {
		case output:
			line.Recorded, line.Logic = outputText(m.recorded[0][d.index]), m.modes[d.index].String()
		case phase:
			line.Recorded, line.Logic = phaseText(m.recorded[1][d.index]), m.channels[d.index].Phase.String()
		case vessel:
			line.Recorded, line.Logic = vesselText(m.recorded[2][d.index]), vesselText(m.vessels[d.index])
		}
		list = append(list, line)
	}
	return list
}

func readingText(r monitor.Reading) string {
	switch r.Quality {
	case monitor.Valid:
		return string(trace.AppendOhms(nil, r.Value)) + " Ω"
	case monitor.OverRange:
		return "over-range"
	case monitor.Bad:
		return "bad"
	}
	return "nothing"
}

func outputText(v int8) string {
	switch v {
	case trace.NotRecorded:
		return "-"
	case trace.Withheld:
		return "off"
	}
	return interlock.Mode(v).String()
}

func phaseText(v int8) string {
	if v == trace.NotRecorded {
		return "-"
	}
	return monitor.Phase(v).String()
}

func vesselText(v int8) string {
	if v == trace.NotRecorded {
		return "-"
	}
	return tell.Charge(v).String()
}
