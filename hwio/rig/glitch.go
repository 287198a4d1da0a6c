package rig

import (
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// A decade that is stepped passes through open, or through nearly nothing, for some milliseconds, and a unit that trips on
// that is right. Behind an open series relay nobody sees it. Where a step has to be made under the unit's eyes, a relay with
// use: bridge holds a fixed resistor across the terminals meanwhile: then the loop never opens, and the moment of the change
// is that of the relay.

// assumedBreak is how long a decade may glitch where the site is silent.
const assumedBreak = 20 * time.Millisecond

// breakTime is how long a step of a decade may open or short the terminals; break_time: 0 ms declares one that does not.
func (m *Map) breakTime(module int) time.Duration {
	one := &m.Site.Rig.Modules[module]
	if one.BreakTime > 0 || m.Site.Has("rig.modules."+one.Name+".break_time") {
		return one.BreakTime
	}
	return assumedBreak
}

// stepped says whether a decade is moved under the unit's eyes between two plays.
func (m *Map) stepped(channel int, from, to Play) bool {
	return m.Channels[channel].Decade >= 0 && !from.Broken && !from.Short && !to.Broken && !to.Short && from.Value != to.Value
}

// inPassing lists the classes, other than those before and after, that a step may show the unit for up to the break time.
func (m *Map) inPassing(channel int, c *monitor.Config, from, to Play) (list []monitor.Class) {
	w := &m.Channels[channel]
	if !m.stepped(channel, from, to) || m.breakTime(w.Decade) == 0 {
		return nil
	}
	shown := []monitor.Class{monitor.Open, classOf(c, 0)}
	if w.Bridge != nil {
		shown = []monitor.Class{classOf(c, 0), classOf(c, parallel(from.Value, w.BridgeValue)), classOf(c, parallel(to.Value, w.BridgeValue))}
	}
	for _, class := range shown {
		if class != from.class(c) && class != to.class(c) && !slices.Contains(list, class) {
			list = append(list, class)
		}
	}
	return list
}

// parallel is the resistance of two in parallel, rounded down, towards a good bond.
func parallel(a, b monitor.Microohm) monitor.Microohm {
	if a <= 0 || b <= 0 {
		return 0
	}
	return monitor.Microohm(1 / (1/float64(a) + 1/float64(b)))
}

// mayTrip is the shortest patience of a channel for what a step shows in passing; false: the unit must ride it out.
func (m *Map) mayTrip(logic *interlock.Config, channel int, shown []monitor.Class) (class monitor.Class, patience time.Duration, may bool) {
	if len(shown) == 0 {
		return class, 0, false
	}
	limit := m.breakTime(m.Channels[channel].Decade)
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
func (m *Map) warnOfStep(logic *interlock.Config, channel int, from, to Play) string {
	c := &logic.Channels[channel].Config
	shown := m.inPassing(channel, c, from, to)
	if len(shown) == 0 {
		return ""
	}
	name, limit := m.Site.Channels[channel].Name, ms(m.breakTime(m.Channels[channel].Decade))
	if class, patience, may := m.mayTrip(logic, channel, shown); may {
		return fmt.Sprintf("%s is stepped from %v to %v under the unit's eyes: for up to %.0f ms it may be %v, and the guaranteed patience with that is %.0f ms, so a trip would be no fault of the unit; wire a relay with use: bridge, or fixed resistors behind relays", name, from, to, limit, class, ms(patience))
	}
	if slices.Contains(shown, monitor.Good) {
		return fmt.Sprintf("%s is stepped from %v to %v under the unit's eyes: for a moment it may be good, which may repay doubt", name, from, to)
	}
	return ""
}

// glitch is a step after which a trip would be no fault of the unit.
type glitch struct {
	channel  int
	from, to float64 // seconds of the scenario
	text     string
}

// noteGlitch remembers a step in this scan that the unit may trip on.
func (p *Performance) noteGlitch(channel int, from, to Play, scan uint64) {
	m := p.Bench.Map
	shown := m.inPassing(channel, &p.Logic.Channels[channel].Config, from, to)
	class, _, may := m.mayTrip(p.Logic, channel, shown)
	if !may {
		return
	}
	at := float64(scan) * m.Site.Period.Max.Seconds()
	latest := m.breakTime(m.Channels[channel].Decade) + m.Site.Timing(p.Logic, channel).Of(class).Detection + mostLag
	p.glitches = append(p.glitches, glitch{channel, at, at + latest.Seconds(), fmt.Sprintf("%s was stepped from %v to %v and may have been %v for a moment", m.Site.Channels[channel].Name, from, to, class)})
}

// excuse says which step excuses a trip that came too soon or uncalled; empty: none.
func (p *Performance) excuse(s *sheet.Step) string {
	soon := s.Measured == nil || s.Bound != nil && s.Measured.Most < s.Bound.Least
	if s.Change != change(false) || !soon {
		return ""
	}
	cone := NewBounds(p.Bench.Map, p.Logic).cone(p.Bench.Map.Site.OutputIndex(s.Output))
	for _, g := range p.glitches {
		if cone[p.Bench.Map.Site.Channels[g.channel].Name] && s.At >= g.from && s.At <= g.to {
			return g.text
		}
	}
	return ""
}

// step sets a decade under the unit's eyes, bridged where a bridge is wired. The answer is when the class changed.
func (p *Performance) step(channel int, from, to Play, when written) error {
	b, w := p.Bench, &p.Bench.Map.Channels[channel]
	var bridged Interval
	if w.Bridge != nil {
		closed := slices.Clone(b.coils[w.Bridge.Module])
		closed[w.Bridge.Point] = true
		var err error
		if bridged, err = b.WriteRelays(w.Bridge.Module, closed); err != nil {
			return err
		}
		time.Sleep(max(bridged.To.Sub(port.Now()), 0))
	}
	set, err := b.SetDecade(w.Decade, to.Value)
	if err != nil {
		return err
	}
	set.To = set.To.Add(b.Map.breakTime(w.Decade))
	when.channels[channel] = bridged.hull(set)
	if w.Bridge == nil {
		return nil
	}
	time.Sleep(b.Map.breakTime(w.Decade))
	open := slices.Clone(b.coils[w.Bridge.Module])
	open[w.Bridge.Point] = false
	opened, err := b.WriteRelays(w.Bridge.Module, open)
	if err != nil {
		return err
	}
	c := &p.Logic.Channels[channel].Config
	switch {
	case classOf(c, parallel(from.Value, w.BridgeValue)) == from.class(c) && classOf(c, parallel(to.Value, w.BridgeValue)) == from.class(c):
		when.channels[channel] = opened // until then it looked as before
	case classOf(c, parallel(from.Value, w.BridgeValue)) == to.class(c) && classOf(c, parallel(to.Value, w.BridgeValue)) == to.class(c):
		when.channels[channel] = bridged // from then on it looked as afterwards
	default:
		when.channels[channel] = bridged.hull(opened)
	}
	return nil
}
