package stimulus

import (
	"fmt"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/monitor"
)

// Value is how one channel is shown to the unit.
type Value struct {
	Broken, Short bool
	Ohms          monitor.Microohm // where it is neither
}

// String is the value for people.
func (p Value) String() string {
	switch {
	case p.Broken:
		return "open"
	case p.Short:
		return "shorted"
	}
	return wiring.Ohms(p.Ohms)
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
func playReading(m *wiring.Map, channel int, c *monitor.Config, r monitor.Reading, now Value) (next Value, keep bool, why string) {
	wires := &m.Channels[channel]
	open := func() (Value, bool, string) {
		if wires.Break == nil && (wires.Decade >= 0 || len(wires.Resistors) == 0) {
			return now, true, "an open circuit needs a relay in series (use: series-break)"
		}
		return Value{Broken: true}, false, ""
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
		return Value{Short: true}, false, ""
	case wires.Decade < 0 && len(wires.Resistors) == 0:
		return now, true, "neither a decade nor a resistor is wired to it (use: drives)"
	}
	next = Value{Ohms: r.Value}
	if whole := (r.Value + decadeStep - 1) / decadeStep * decadeStep; ClassOf(c, whole) == ClassOf(c, r.Value) {
		next.Ohms = whole
	}
	if wires.Decade < 0 {
		value, ok := nearestResistor(wires.Resistors, c, r.Value)
		if !ok {
			return now, true, fmt.Sprintf("no resistor is wired for %s readings, such as %s", ClassOf(c, r.Value), wiring.Ohms(r.Value))
		}
		next.Ohms = value
	}
	plain, least := !now.Broken && !now.Short, max(now.Ohms/fine, c.Accept/acceptFine)
	if difference := next.Ohms - now.Ohms; plain && ClassOf(c, next.Ohms) == ClassOf(c, now.Ohms) && difference < least && -difference < least {
		return now, true, ""
	}
	return next, false, ""
}

// ClassOf is the class of a plain resistance.
func ClassOf(c *monitor.Config, value monitor.Microohm) monitor.Class {
	return monitor.Hear(c, &monitor.State{}, monitor.Reading{Value: value, Quality: monitor.Valid})
}

// nearestResistor is the wired resistor of the same class that is nearest.
func nearestResistor(list []wiring.Resistor, c *monitor.Config, value monitor.Microohm) (best monitor.Microohm, ok bool) {
	distance := func(a monitor.Microohm) monitor.Microohm { return max(a-value, value-a) }
	for _, r := range list {
		if ClassOf(c, r.Value) == ClassOf(c, value) && (!ok || distance(r.Value) < distance(best)) {
			best, ok = r.Value, true
		}
	}
	return best, ok
}

// Class is how the unit should see a value.
func (p Value) Class(c *monitor.Config) monitor.Class {
	switch {
	case p.Broken:
		return monitor.Open
	case p.Short:
		return ClassOf(c, 0)
	}
	return ClassOf(c, p.Ohms)
}
