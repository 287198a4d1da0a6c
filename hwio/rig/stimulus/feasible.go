package stimulus

import (
	"fmt"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Cannot says why a bench cannot reach a goal; empty where its wires allow it.
func Cannot(m *wiring.Map, logic *interlock.Config, goal Goal) string {
	_, number := wiring.Find(m.Site, goal.Name)
	switch goal.Kind {
	case NoGoal:
		return "it is not known what brings it about"
	case Fault:
		return "" // a dry run tells
	case Channel:
		return channelCannot(m, number, &logic.Channels[number].Config, goal)
	case Output, Reset, Actuator:
		if m.Contacts[number] == nil && m.Moves[number] == nil {
			return fmt.Sprintf("no input reads %s (rig: points)", goal.Name)
		}
	}
	if goal.Inside {
		return "a scan overrun happens inside the unit: no rig can make one"
	}
	for _, name := range goal.Moves {
		if because := stuck(m, logic, name, goal.Unknown); because != "" {
			return because
		}
	}
	return ""
}

func channelCannot(m *wiring.Map, channel int, c *monitor.Config, goal Goal) string {
	name := m.Site.Channels[channel].Name
	switch {
	case m.Channels[channel].Reads != nil:
		return "" // a transmitter can be unplugged by hand, and what it measures can be anything
	case !m.Plays(channel):
		return unwired(name)
	case !showsUnusable(m, channel, c) && goal.From == monitor.Unreadable:
		return "only missing or invalid readings lead there: they need a transmitter, or a relay with use: short and a plausible floor"
	case !Shows(m, channel, c, goal.Class):
		return fmt.Sprintf("the wires of %s cannot show readings that are %s", name, goal.Class)
	}
	return ""
}

func unwired(name string) string {
	return fmt.Sprintf("nothing plays %s and nothing reads it (rig: points)", name)
}

// stuck says why a channel or an input cannot be changed, to say nothing where unknown is asked for.
func stuck(m *wiring.Map, logic *interlock.Config, name string, unknown bool) string {
	switch part, number := wiring.Find(m.Site, name); part {
	case wiring.Channel:
		switch {
		case m.Channels[number].Reads != nil:
			return ""
		case unknown && !showsUnusable(m, number, &logic.Channels[number].Config):
			return fmt.Sprintf("%s never becomes unreadable: that needs a transmitter, or a relay with use: short and a plausible floor", name)
		case !m.Plays(number):
			return unwired(name)
		}
	case wiring.Input:
		switch {
		case m.Hears[number] != nil:
			return "" // somebody moves it by hand, or pulls its plug
		case m.Drives[number] == nil:
			return fmt.Sprintf("no relay drives %s (rig: points)", name)
		case unknown:
			return "a contact is open or closed, never unknown: that needs an input module on a bus that can be cut"
		}
	}
	return ""
}

func showsUnusable(m *wiring.Map, channel int, c *monitor.Config) bool {
	return Shows(m, channel, c, monitor.Invalid) || Shows(m, channel, c, monitor.Missing)
}

// Shows says that the wires of a channel can show readings of a class.
func Shows(m *wiring.Map, channel int, c *monitor.Config, class monitor.Class) bool {
	if class == monitor.Open && m.Plays(channel) {
		_, _, why := playReading(m, channel, c, monitor.Reading{Quality: monitor.Valid, Value: c.OpenAbove}, Value{})
		return why == "" && (c.OverRangeIsOpen || c.ValidMax == 0 || c.OpenAbove <= c.ValidMax)
	}
	_, ok := ValueOf(m, channel, c, class)
	return ok
}

// ValueOf is a resistance that a channel reads as a class, where this bench can show one. It keeps away from the limits, which
// only a calibrated bench can be asked for.
func ValueOf(m *wiring.Map, channel int, c *monitor.Config, class monitor.Class) (monitor.Microohm, bool) {
	if !m.Plays(channel) || class == monitor.Missing || class == monitor.Open {
		return 0, false
	}
	value := map[monitor.Class]monitor.Microohm{
		monitor.Good: max(c.Floor, c.Accept/10), monitor.Between: c.Accept + (c.Reject-c.Accept)/2,
		monitor.High: min(2*c.Reject, c.Reject+(c.OpenAbove-c.Reject)/2), monitor.Invalid: c.Floor / 2,
	}[class]
	if value >= 4*decadeStep {
		value -= value % decadeStep
	}
	if class == monitor.Invalid && c.Floor == 0 || ClassOf(c, value) != class {
		return 0, false
	}
	if class == monitor.Invalid && m.Channels[channel].Short == nil {
		return 0, false
	}
	_, _, why := playReading(m, channel, c, monitor.Reading{Quality: monitor.Valid, Value: value}, Value{Broken: true})
	return value, why == ""
}
