package stimulus

import (
	"slices"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
)

// State is what the whole bench shows the unit.
type State struct {
	Channels []Value
	Levels   []bool // per input of the site: on the wire
	Supply   bool
}

// Rest is a bench at rest: loops open, every wire at 0, no supply.
func Rest(m *wiring.Map) State {
	s := State{Channels: make([]Value, len(m.Channels)), Levels: make([]bool, len(m.Drives))}
	for i := range s.Channels {
		s.Channels[i].Broken = true
	}
	return s
}

// Clone is a copy of its own.
func (s *State) Clone() State {
	return State{slices.Clone(s.Channels), slices.Clone(s.Levels), s.Supply}
}

// Follow moves the state by one scan's inputs. Complain, which may be nil, is told of what this bench cannot show.
func (s *State) Follow(m *wiring.Map, logic *interlock.Config, in *interlock.Inputs, complain func(name, why string)) {
	for i := range m.Channels {
		if !m.Plays(i) {
			continue
		}
		next, keep, why := playReading(m, i, &logic.Channels[i].Config, in.Readings[i], s.Channels[i])
		if why != "" && complain != nil {
			complain(m.Site.Channels[i].Name, why)
		}
		if !keep {
			s.Channels[i] = next
		}
	}
	for i, t := range m.Drives {
		if t == nil {
			continue
		}
		switch in.Signals[i] {
		case interlock.High, interlock.Low:
			s.Levels[i] = in.Signals[i] == interlock.High
		default:
			if complain != nil {
				complain(m.Site.Inputs[i].Name, "a signal that is missing or faulty comes from a bus module, not from a contact")
			}
		}
	}
}

// Relays are the relay positions that show a state, per module.
func (s *State) Relays(m *wiring.Map, sizes []int) [][]bool {
	wanted := make([][]bool, len(sizes))
	for module, size := range sizes {
		wanted[module] = make([]bool, size)
	}
	put := func(t *wiring.Terminal, on bool) {
		if t != nil {
			wanted[t.Module][t.Point] = on
		}
	}
	for i := range m.Channels {
		c, p := &m.Channels[i], s.Channels[i]
		put(c.Break, !p.Broken)
		put(c.Short, p.Short)
		for k := range c.Resistors {
			put(&c.Resistors[k].Relay, !p.Broken && !p.Short && c.Resistors[k].Value == p.Ohms)
		}
	}
	for i, t := range m.Drives {
		put(t, s.Levels[i])
	}
	put(m.Supply, s.Supply)
	return wanted
}
