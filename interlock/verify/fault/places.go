package fault

import (
	"slices"

	"ohmgate/interlock"
	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
)

// placer puts the faults of the catalogue where they can be on a site.
type placer struct {
	*runs.Bench
	shares map[string]table.Share // what channels forgive, by setting and classes
}

func placerOn(b *runs.Bench) placer { return placer{b, map[string]table.Share{}} }

// At is a fault of the catalogue at one place of a site.
type At struct {
	Fault *catalogue.Fault
	On    string // channel, input, output or bypass; "bus", "logic"
	Limit string // up to which value of a parameter it hides a loss, where that bounds it
}

func (a At) String() string { return a.Fault.Name + " on " + a.On }

// MarshalText is how reports have it.
func (a At) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// Near lists the faults that can be in the cone of an output, each at every place
// where it shows anything.
func Near(b *runs.Bench, output int) (list []At) {
	for _, p := range placerOn(b).places(output) {
		list = append(list, p.At)
	}
	return list
}

// placed is a fault of the catalogue at one place of the site.
type placed struct {
	At
	target int // channel, input, output or bypass number; 0 for the bus and the logic
	looks  []look
	meets  map[meeting]bool // what it has to do with
}

// samePlace says that two faults act on the very same thing, so that it matters
// which of them has the last word.
func (p *placed) samePlace(q *placed) bool {
	return p.Fault.On == q.Fault.On && p.target == q.target
}

// places puts every fault of the catalogue wherever it can be in a cone: the
// channels and inputs that can touch the output or its vessels, its actuator,
// those in series with it and those that call it.
func (p placer) places(output int) (list []placed) {
	near := p.near(output)
	for _, f := range catalogue.All() {
		for _, at := range p.targets(f, &near) {
			if at.looks = p.looks(f, at.target); len(at.looks) > 0 {
				list = append(list, at)
			}
		}
	}
	return list
}

// targets are what a fault can be on near an output.
func (p placer) targets(f *catalogue.Fault, near *nearby) (list []placed) {
	n, c := p.Model.Names, p.Model.Config
	add := func(on string, target int) {
		list = append(list, placed{At: At{f, on, p.limit(f, target)}, target: target})
	}
	switch f.On {
	case catalogue.OnChannel:
		for _, ch := range near.channels {
			add(n.Channels[ch], ch)
		}
	case catalogue.OnInput:
		for _, i := range near.inputs {
			if f.Fits == 0 || f.Fits&useOf(near.roles[i].Kind) != 0 {
				add(n.Inputs[i], i)
			}
		}
	case catalogue.OnOutput:
		for _, o := range near.outputs {
			add(n.Outputs[o], o)
		}
	case catalogue.OnBypass:
		for i := range c.Bypasses {
			if slices.Contains(near.channels, c.Bypasses[i].Channel) {
				add(n.Bypasses[i], i)
			}
		}
	case catalogue.OnBus:
		add("bus", 0)
	case catalogue.OnLogic:
		add("logic", 0)
	}
	return list
}

// nearby is what faults can be put on around one output.
type nearby struct {
	channels, inputs, outputs []int
	roles                     []runs.Role
}

func (p placer) near(output int) nearby {
	c, cone := p.Model.Config, p.Model.Cone(output)
	near := nearby{roles: runs.NewDriver(p.Logic, c, output).Roles}
	wired := func(list ...interlock.Ref) {
		for _, ref := range list {
			if ref != 0 {
				cone[len(c.Channels)+int(ref)-1] = true
			}
		}
	}
	outputs := append([]int{output}, c.CallersOf(output)...)
	for _, st := range c.StreamsOf(output) {
		outputs = append(outputs, c.Streams[st].Through...)
	}
	for _, o := range outputs {
		if !slices.Contains(near.outputs, o) {
			near.outputs = append(near.outputs, o)
			wired(c.Outputs[o].Closed, c.Outputs[o].Opened)
		}
	}
	for _, i := range c.VesselsOf(output) {
		bond := c.Vessels[i].BondedBy.Causes()
		bond.Each(func(cause int) { cone[cause] = true })
		wired(c.Vessels[i].Acknowledge)
		for _, st := range c.ChargedBy(i) {
			wired(c.Streams[st].Flow)
		}
	}
	for i := range c.Channels {
		if cone[i] {
			near.channels = append(near.channels, i)
		}
	}
	for i := range c.Inputs {
		if cone[len(c.Channels)+i] {
			near.inputs = append(near.inputs, i)
		}
	}
	return near
}

// useOf is what an input of some role is used for, as far as faults know uses.
func useOf(kind runs.RoleKind) catalogue.Uses {
	switch kind {
	case runs.RoleReset, runs.RoleStart, runs.RoleAcknowledge, runs.RoleStop:
		return catalogue.Buttons
	case runs.RoleClosed, runs.RoleOpened:
		return catalogue.EndSwitches
	}
	return 0
}
