package rig

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Play is how one channel is shown to the unit.
type Play struct {
	Broken, Short bool
	Value         monitor.Microohm // where it is neither
}

// String is the play for people.
func (p Play) String() string {
	switch {
	case p.Broken:
		return "open"
	case p.Short:
		return "shorted"
	}
	return ohmText(p.Value)
}

// A decade that steps glitches through open or zero. Within one class it is not worth moving by less than a twentieth, or
// than a fiftieth of accept: noise of the plant is not played.
const (
	fine       = 20
	acceptFine = 50
)

// decadeStep is the finest step that a decade is set to; up, away from a good bond.
const decadeStep = 1000

// playReading says how a reading is shown on the bench; keep means that nothing changes, and why is what a bench of wires
// and resistors cannot show.
func (m *Map) playReading(channel int, c *monitor.Config, r monitor.Reading, now Play) (next Play, keep bool, why string) {
	wires := &m.Channels[channel]
	open := func() (Play, bool, string) {
		if wires.Break == nil && (wires.Decade >= 0 || len(wires.Resistors) == 0) {
			return now, true, "an open circuit needs a relay in series (use: series-break)"
		}
		return Play{Broken: true}, false, ""
	}
	switch {
	case r.Quality == monitor.Absent:
		return now, true, ""
	case r.Quality == monitor.OverRange:
		return open()
	case r.Quality == monitor.Bad:
		return now, true, "a reading of bad quality comes from a transmitter, not from a resistance"
	case r.Value < 0:
		return now, true, "no resistance is negative"
	case r.Value >= c.OpenAbove:
		return open()
	case r.Value < c.Floor && wires.Short != nil:
		return Play{Short: true}, false, ""
	case wires.Decade < 0 && len(wires.Resistors) == 0:
		return now, true, "neither a decade nor a resistor is wired to it (use: drives)"
	}
	next = Play{Value: r.Value}
	if whole := (r.Value + decadeStep - 1) / decadeStep * decadeStep; classOf(c, whole) == classOf(c, r.Value) {
		next.Value = whole
	}
	if wires.Decade < 0 {
		value, ok := nearestResistor(wires.Resistors, c, r.Value)
		if !ok {
			return now, true, fmt.Sprintf("no resistor is wired for %s readings, such as %s", classOf(c, r.Value), ohmText(r.Value))
		}
		next.Value = value
	}
	plain, least := !now.Broken && !now.Short, max(now.Value/fine, c.Accept/acceptFine)
	if difference := next.Value - now.Value; plain && classOf(c, next.Value) == classOf(c, now.Value) && difference < least && -difference < least {
		return now, true, ""
	}
	return next, false, ""
}

// classOf is the class of a plain resistance.
func classOf(c *monitor.Config, value monitor.Microohm) monitor.Class {
	return monitor.Hear(c, &monitor.State{}, monitor.Reading{Value: value, Quality: monitor.Valid})
}

// nearestResistor is the wired resistor of the same class that is nearest.
func nearestResistor(list []Resistor, c *monitor.Config, value monitor.Microohm) (best monitor.Microohm, ok bool) {
	distance := func(a monitor.Microohm) monitor.Microohm { return max(a-value, value-a) }
	for _, r := range list {
		if classOf(c, r.Value) == classOf(c, value) && (!ok || distance(r.Value) < distance(best)) {
			best, ok = r.Value, true
		}
	}
	return best, ok
}

// scene is what the whole bench shows the unit.
type scene struct {
	plays  []Play
	levels []bool // per input of the site: on the wire
	supply bool
}

// newScene is a bench at rest: loops open, every wire at 0, no supply.
func (m *Map) newScene() scene {
	s := scene{plays: make([]Play, len(m.Channels)), levels: make([]bool, len(m.Drives))}
	for i := range s.plays {
		s.plays[i].Broken = true
	}
	return s
}

// show moves the scene by one scan's inputs. Complain is told of what this bench cannot show.
func (m *Map) show(s *scene, logic *interlock.Config, in *interlock.Inputs, complain func(name, why string)) {
	for i := range m.Channels {
		if !m.wired(i) {
			continue
		}
		next, keep, why := m.playReading(i, &logic.Channels[i].Config, in.Readings[i], s.plays[i])
		if why != "" && complain != nil {
			complain(m.Site.Channels[i].Name, why)
		}
		if !keep {
			s.plays[i] = next
		}
	}
	for i, t := range m.Drives {
		if t == nil {
			continue
		}
		switch in.Signals[i] {
		case interlock.High, interlock.Low:
			s.levels[i] = in.Signals[i] == interlock.High
		default:
			if complain != nil {
				complain(m.Site.Inputs[i].Name, "a signal that is missing or faulty comes from a bus module, not from a contact")
			}
		}
	}
}

// wired says whether a channel of the unit is played at all.
func (m *Map) wired(channel int) bool {
	c := &m.Channels[channel]
	return c.Break != nil || c.Short != nil || c.Decade >= 0 || len(c.Resistors) > 0
}

// coils are the relay positions that show a scene.
func (m *Map) coils(s *scene, sizes []int) [][]bool {
	wanted := make([][]bool, len(sizes))
	for module, size := range sizes {
		wanted[module] = make([]bool, size)
	}
	put := func(t *Terminal, on bool) {
		if t != nil {
			wanted[t.Module][t.Point] = on
		}
	}
	for i := range m.Channels {
		c, p := &m.Channels[i], s.plays[i]
		put(c.Break, !p.Broken)
		put(c.Short, p.Short)
		for k := range c.Resistors {
			put(&c.Resistors[k].Relay, !p.Broken && !p.Short && c.Resistors[k].Value == p.Value)
		}
	}
	for i, t := range m.Drives {
		put(t, s.levels[i])
	}
	put(m.Supply, s.supply)
	return wanted
}
