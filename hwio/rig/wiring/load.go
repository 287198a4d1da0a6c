package wiring

import (
	"fmt"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/interlock/site"
)

// Exchange is one question of the bus cycle.
type Exchange struct {
	Module string        `json:"module"`
	What   string        `json:"what"`
	Time   time.Duration `json:"time_ns"`
}

// Load is one cycle of the bus, added up: both frames at eleven bits a character, the device's turnaround, and the silence
// before the next. The wire's own minimum; a system adds to it.
type Load struct {
	Exchanges []Exchange    `json:"exchanges"`
	Cycle     time.Duration `json:"cycle_ns"`
}

// Load is the polling plan of a mode and what it takes: every input module once; every relay module written and read back
// once; every register of a transmitter in stand-in. Instruments with lines of their own answer when they are asked, and are
// asked only when a resistance changes.
func (m *Map) Load() Load {
	var load Load
	for index, size := range m.Sizes() {
		module := &m.Site.Rig.Modules[index]
		if size == 0 {
			continue
		}
		switch module.Kind {
		case KindInputs:
			load.add(m, index, "read inputs", modbus.Request{Function: modbus.ReadInputs, Count: uint16(size)})
		case KindRelays:
			load.add(m, index, "write relays", modbus.Request{Function: modbus.WriteCoils, Count: uint16(size), Bits: make([]bool, size)})
			load.add(m, index, "read relays back", modbus.Request{Function: modbus.ReadCoils, Count: uint16(size)})
		case KindResistance:
			load.add(m, index, "read resistances", modbus.Request{Function: modbus.ReadInputRegisters, Count: uint16(size)})
		}
	}
	return load
}

func (l *Load) add(m *Map, module int, what string, request modbus.Request) {
	one := &m.Site.Rig.Modules[module]
	for index := range m.Site.Rig.Ports {
		if p := &m.Site.Rig.Ports[index]; p.Name == one.Port {
			line, err := LineOf(p)
			if err != nil {
				return
			}
			took := modbus.WireTime(line, request, m.Turnaround(module))
			l.Exchanges = append(l.Exchanges, Exchange{one.Name, what, took})
			l.Cycle += took
		}
	}
}

// CheckLoad refuses a site whose bus cannot keep up: a declared bus cycle, and in stand-in also a scan, shorter than what
// the wire takes.
func (m *Map) CheckLoad(mode Mode) site.Problems {
	load := m.Load()
	limit, path, name := max(m.Site.Poll, m.Site.Period.Max), "poll", "poll"
	if mode == StandIn || !m.Site.Has("poll") {
		limit, path, name = m.Site.Period.Max, "scan", "scan"
		if mode != StandIn {
			limit = max(m.Site.Poll, m.Site.Period.Max)
		}
	}
	if load.Cycle <= limit {
		return nil
	}
	at := m.Site.ValueAt(path)
	return site.Problems{{
		File: m.Site.File, Line: at.Line, Column: at.Column,
		Text:    fmt.Sprintf("the %s is %v, and one cycle of the rig's bus takes %v: %s", name, limit, load.Cycle.Round(10*time.Microsecond), load.text()),
		Instead: fmt.Sprintf("write %s: %d ms or more, speak faster, or use fewer modules", name, (load.Cycle+time.Millisecond-1)/time.Millisecond),
	}}
}

func (l *Load) text() string {
	text := ""
	for index, exchange := range l.Exchanges {
		if index > 0 {
			text += ", "
		}
		text += fmt.Sprintf("%s %s %.2f ms", exchange.Module, exchange.What, float64(exchange.Time)/float64(time.Millisecond))
	}
	return text
}
