package stimulus

import (
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// A decade that is stepped passes through open, or through nearly nothing, for some milliseconds, and a unit that trips on
// that is right. Behind an open series relay nobody sees it. Where a step has to be made under the unit's eyes, a relay with
// use: bridge holds a fixed resistor across the terminals meanwhile: then the loop never opens, and the moment of the change
// is that of the relay.

// Stepped says whether a decade is moved under the unit's eyes between two values.
func Stepped(m *wiring.Map, channel int, from, to Value) bool {
	return m.Channels[channel].Decade >= 0 && !from.Broken && !from.Short && !to.Broken && !to.Short && from.Ohms != to.Ohms
}

// InPassing lists the classes, other than those before and after, that a step may show the unit for up to the break time.
func InPassing(m *wiring.Map, channel int, c *monitor.Config, from, to Value) (list []monitor.Class) {
	w := &m.Channels[channel]
	if !Stepped(m, channel, from, to) || m.BreakTime(w.Decade) == 0 {
		return nil
	}
	shown := []monitor.Class{monitor.Open, ClassOf(c, 0)}
	if w.Bridge != nil {
		shown = []monitor.Class{ClassOf(c, 0), ClassOf(c, Parallel(from.Ohms, w.BridgeValue)), ClassOf(c, Parallel(to.Ohms, w.BridgeValue))}
	}
	for _, class := range shown {
		if class != from.Class(c) && class != to.Class(c) && !slices.Contains(list, class) {
			list = append(list, class)
		}
	}
	return list
}

// Parallel is the resistance of two in parallel, rounded down, towards a good bond.
func Parallel(a, b monitor.Microohm) monitor.Microohm {
	if a <= 0 || b <= 0 {
		return 0
	}
	return monitor.Microohm(1 / (1/float64(a) + 1/float64(b)))
}

// MayTrip is the shortest patience of a channel for what a step shows in passing; false: the unit must ride it out.
func MayTrip(m *wiring.Map, logic *interlock.Config, channel int, shown []monitor.Class) (class monitor.Class, patience time.Duration, may bool) {
	if len(shown) == 0 {
		return class, 0, false
	}
	limit := m.BreakTime(m.Channels[channel].Decade)
	for _, one := range shown {
		if one == monitor.Good || one == monitor.Between {
			continue
		}
		if held := m.Site.Timing(logic, channel).Of(one).Guaranteed; held < limit && (!may || held < patience) {
			class, patience, may = one, held, true
		}
	}
	return class, patience, may
}

// warnOfStep says what is doubtful about a step under the unit's eyes; empty: nothing.
func warnOfStep(m *wiring.Map, logic *interlock.Config, channel int, from, to Value) string {
	c := &logic.Channels[channel].Config
	shown := InPassing(m, channel, c, from, to)
	if len(shown) == 0 {
		return ""
	}
	name, limit := m.Site.Channels[channel].Name, interval.InMillis(m.BreakTime(m.Channels[channel].Decade))
	if class, patience, may := MayTrip(m, logic, channel, shown); may {
		return fmt.Sprintf("%s is stepped from %v to %v under the unit's eyes: for up to %.0f ms it may be %v, and the guaranteed patience with that is %.0f ms, so a trip would be no fault of the unit; wire a relay with use: bridge, or fixed resistors behind relays", name, from, to, limit, class, interval.InMillis(patience))
	}
	if slices.Contains(shown, monitor.Good) {
		return fmt.Sprintf("%s is stepped from %v to %v under the unit's eyes: for a moment it may be good, which may repay doubt", name, from, to)
	}
	return ""
}
