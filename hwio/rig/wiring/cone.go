package wiring

import (
	"ohmgate/interlock"
	"ohmgate/interlock/site"
)

// cone gathers what can move an output.
type cone struct {
	site  *site.Site
	logic *interlock.Config
	names map[string]bool
	done  map[int]bool
}

// Cone is everything that can move an output: by name, channels and inputs.
func (m *Map) Cone(logic *interlock.Config, output int) map[string]bool {
	c := &cone{m.Site, logic, map[string]bool{}, map[int]bool{}}
	c.output(output)
	return c.names
}

func (c *cone) output(output int) {
	if c.done[output] {
		return
	}
	c.done[output] = true
	o := &c.logic.Outputs[output]
	c.causes(o.Permissive)
	for _, ref := range []interlock.Ref{o.Reset, o.Start, o.Stop, o.Closed, o.Opened} {
		c.input(ref)
	}
	for _, v := range c.logic.VesselsOf(output) {
		c.causes(c.logic.Vessels[v].BondedBy)
		c.input(c.logic.Vessels[v].Acknowledge)
		for _, s := range c.logic.ChargedBy(v) {
			c.input(c.logic.Streams[s].Flow)
			for _, other := range c.logic.Streams[s].Through {
				c.input(c.logic.Outputs[other].Closed)
				c.input(c.logic.Outputs[other].Opened)
			}
		}
	}
	for _, caller := range c.logic.CallersOf(output) {
		c.output(caller)
	}
}

func (c *cone) causes(p interlock.Permissive) {
	set := p.Causes()
	set.Each(func(cause int) {
		c.names[c.site.CauseName(cause)] = true
		if cause < len(c.logic.Channels) {
			c.input(c.logic.Channels[cause].Evidence)
			for i := range c.logic.Bypasses {
				if c.logic.Bypasses[i].Channel == cause {
					c.input(c.logic.Bypasses[i].Input)
				}
			}
		}
	})
}

func (c *cone) input(ref interlock.Ref) {
	if ref != 0 {
		c.names[c.site.Inputs[ref-1].Name] = true
	}
}
