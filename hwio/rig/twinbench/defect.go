package twinbench

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// defect is what a wrong unit does otherwise.
type defect struct {
	name, title string
	spoil       func(c *interlock.Config)                                // the configuration
	reads       func(u *unit)                                            // what it reads
	moves       func(u *unit, coils interlock.CoilSet) interlock.CoilSet // what it moves
	lag         time.Duration                                            // of contacts that open
	welds       bool                                                     // a contact once closed
}

var defects = []defect{
	{name: "slow", title: "opens its contacts 600 ms late", lag: 600 * time.Millisecond},
	{name: "deaf", title: "reads 0.3 Ω whatever hangs at its terminals", reads: func(u *unit) {
		for i := range u.in.Readings {
			u.in.Readings[i] = monitor.Reading{Quality: monitor.Valid, Value: 300_000, Stamp: u.stamp}
		}
	}},
	{name: "forgetful", title: "knows no wait after a loss", spoil: func(c *interlock.Config) {
		for i := range c.Vessels {
			c.Vessels[i].Wait = 0
		}
	}},
	{name: "eager", title: "energises while the reset is still held", moves: func(u *unit, coils interlock.CoilSet) interlock.CoilSet {
		for i := range u.logic.Outputs {
			o := &u.logic.Outputs[i]
			if o.Reset == 0 || u.state.Outputs[i].Mode == interlock.Enabled {
				continue
			}
			if o.Permissive.Eval(u.decision.Start) == interlock.True && u.in.Signals[o.Reset-1] == interlock.High {
				coils |= 1 << i
			}
		}
		return coils
	}},
	{name: "welded", title: "never opens a contact again that it has closed", welds: true, moves: func(u *unit, coils interlock.CoilSet) interlock.CoilSet {
		return coils | u.made
	}},
	{name: "dead", title: "never closes a contact", moves: func(*unit, interlock.CoilSet) interlock.CoilSet { return 0 }},
	{name: "nervous", title: "has no patience at all", spoil: func(c *interlock.Config) {
		for i := range c.Channels {
			for class := range c.Channels[i].Cost {
				if c.Channels[i].Cost[class] > 0 {
					c.Channels[i].Cost[class] = c.Channels[i].Full
				}
			}
		}
	}},
}

// Wrong lists the wrong units by name, with what is wrong with each.
func Wrong() (list [][2]string) {
	for _, d := range defects {
		list = append(list, [2]string{d.name, d.title})
	}
	return list
}

// spoil gives a unit a defect.
func (u *unit) spoil(name string) error {
	if name == "" {
		return nil
	}
	var names []string
	for _, d := range defects {
		names = append(names, d.name)
		if d.name != name {
			continue
		}
		u.defect = d
		if d.spoil != nil {
			d.spoil(u.logic)
		}
		return nil
	}
	return fmt.Errorf("no wrong unit is called %q; use one of %s", name, strings.Join(names, ", "))
}
