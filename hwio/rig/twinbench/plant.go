package twinbench

import (
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/scpi"
	"ohmgate/hwio/twin"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/monitor"
)

// plant plays a source of readings and signals in real time behind transmitters and input modules, and obeys the relays.
type plant struct {
	w      *environment
	source loop.Source
	in     *interlock.Inputs
	last   []monitor.Reading
	scan   uint64
	ended  bool
}

func newPlant(w *environment, source loop.Source) (*plant, error) {
	logic, problems := w.m.Site.Logic()
	if problems != nil {
		return nil, problems
	}
	return &plant{w: w, source: source, in: interlock.NewInputs(logic), last: make([]monitor.Reading, len(logic.Channels))}, nil
}

// tick is one scan of the plant. When the source has ended everything stays as it is.
func (p *plant) tick(devices *twin.Devices) {
	if p.ended {
		return
	}
	var coils interlock.CoilSet
	for output, relay := range p.w.m.Moves {
		if p.w.closed(relay) {
			coils |= 1 << output
		}
	}
	more, err := p.source.Next(p.scan, coils, p.in)
	if err != nil || !more {
		p.ended = true
		return
	}
	p.scan++
	for i, t := range p.w.m.Hears {
		if t != nil {
			p.w.setInput(devices, *t, p.in.Signals[i] == interlock.High)
		}
	}
	for output, t := range p.w.m.Contacts {
		if t != nil { // the contact of a unit that does what it is told
			p.w.setInput(devices, *t, coils.Energised(output))
		}
	}
	for i := range p.in.Readings {
		if r := p.in.Readings[i]; r.Quality != monitor.Absent {
			p.last[i] = r
		}
		p.show(devices, i)
	}
}

// show puts the last reading into the transmitter's registers, or at the meter's terminals.
func (p *plant) show(devices *twin.Devices, channel int) {
	wires := &p.w.m.Channels[channel]
	if wires.Reads == nil || wires.ReadUnit == 0 {
		return
	}
	m := &p.w.m.Site.Rig.Modules[wires.Reads.Module]
	if m.Kind == wiring.KindMeter {
		p.w.meters[wires.Reads.Module] = atMeter(p.last[channel])
		return
	}
	devices.SetReadings(m.Port, byte(m.Address), wires.Reads.Point, wiring.ToRegisters(&p.w.m.Site.Channels[channel], wires.ReadUnit, p.last[channel])...)
}

// atMeter is a reading as a resistance that a meter measures.
func atMeter(r monitor.Reading) scpi.Resistance {
	switch r.Quality {
	case monitor.Valid:
		return scpi.Resistance{Class: scpi.Value, Microohms: int64(r.Value)}
	case monitor.OverRange:
		return scpi.Resistance{Class: scpi.OverRange}
	}
	return scpi.Resistance{}
}
