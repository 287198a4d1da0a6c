package stimulus

import (
	"fmt"
	"strings"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Cannot says why a bench cannot show a place; empty where its wires allow it.
func Cannot(m *wiring.Map, logic *interlock.Config, one Place) string {
	s := m.Site
	switch kind, number := wiring.Find(s, one.Name); {
	case one.Kind == "fault":
		return ""
	case one.Kind == "channel":
		return channelCannot(m, number, &logic.Channels[number].Config, one)
	case kind == "output" && number >= 0:
		return outputCannot(m, number, logic, one)
	}
	for i := range s.Bypasses {
		if s.Bypasses[i].Name == one.Name {
			return undriven(m, s.Bypasses[i].Input, one.Why)
		}
	}
	for i := range s.Vessels {
		if s.Vessels[i].Name == one.Name && strings.Contains(one.Text, "acknowledge") {
			return undriven(m, s.Vessels[i].Acknowledge, one.Why)
		}
	}
	return ""
}

func channelCannot(m *wiring.Map, channel int, c *monitor.Config, one Place) string {
	name := m.Site.Channels[channel].Name
	switch {
	case m.Channels[channel].Reads != nil:
		return "" // a transmitter can be unplugged by hand, and what it measures can be anything
	case !m.Plays(channel):
		return fmt.Sprintf("nothing plays %s and nothing reads it (rig: points)", name)
	case !showsUnusable(m, channel, c) && one.From == monitor.Unreadable.String():
		return "only missing or invalid readings lead there: they need a transmitter, or a relay with use: short and a plausible floor"
	}
	for class := monitor.Class(0); class < monitor.Classes; class++ {
		if class.String() == one.Why && !Shows(m, channel, c, class) {
			return fmt.Sprintf("the wires of %s cannot show readings that are %s", name, class)
		}
	}
	return ""
}

// outputCannot says why a change of an output, a press for it or its actuator is out of reach.
func outputCannot(m *wiring.Map, output int, logic *interlock.Config, one Place) string {
	o := &m.Site.Outputs[output]
	switch {
	case m.Contacts[output] == nil && m.Moves[output] == nil:
		return fmt.Sprintf("no input reads %s (rig: points)", o.Name)
	case strings.Contains(one.Why, "scan overrun"):
		return "a scan overrun happens inside the unit: no rig can make one"
	case strings.Contains(one.Why, "permissive unknown"):
		return neverUnknown(m, logic, one.Needs)
	case one.Kind == "actuator" && strings.Contains(one.Why, "unknown"):
		return neverUnknown(m, logic, []string{o.Closed, o.Opened})
	case one.Kind == "actuator" || strings.Contains(one.Why, "actuator"):
		return firstText(undriven(m, o.Closed, ""), undriven(m, o.Opened, ""))
	case one.Kind == "reset" && strings.Contains(one.Text, "start"), one.Why == "start":
		return undriven(m, o.Start, one.Why)
	case one.Kind == "reset", one.Why == "reset":
		return undriven(m, o.Reset, one.Why)
	case strings.Contains(one.Why, "stop asked for"):
		return undriven(m, o.Stop, one.Why)
	}
	for _, name := range one.Needs {
		if kind, number := wiring.Find(m.Site, name); kind == "channel" && !m.Plays(number) && m.Channels[number].Reads == nil {
			return fmt.Sprintf("nothing plays %s and nothing reads it (rig: points)", name)
		} else if because := undriven(m, name, ""); kind == "input" && because != "" {
			return because
		}
	}
	return ""
}

func firstText(list ...string) string {
	for _, text := range list {
		if text != "" {
			return text
		}
	}
	return ""
}

// undriven says why an input cannot be played as a place asks.
func undriven(m *wiring.Map, input, why string) string {
	_, number := wiring.Find(m.Site, input)
	switch {
	case input == "":
		return ""
	case m.Hears[number] != nil:
		return "" // somebody moves it by hand, or pulls its plug
	case m.Drives[number] == nil:
		return fmt.Sprintf("no relay drives %s (rig: points)", input)
	case strings.Contains(why, "unknown"):
		return "a contact is open or closed, never unknown: that needs an input module on a bus that can be cut"
	}
	return ""
}

// neverUnknown says why none of these causes can become unknown.
func neverUnknown(m *wiring.Map, logic *interlock.Config, names []string) string {
	for _, name := range names {
		kind, number := wiring.Find(m.Site, name)
		if kind == "channel" && !showsUnusable(m, number, &logic.Channels[number].Config) && m.Channels[number].Reads == nil {
			return fmt.Sprintf("%s never becomes unreadable: that needs a transmitter, or a relay with use: short and a plausible floor", name)
		}
		if kind == "input" && m.Hears[number] == nil {
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
