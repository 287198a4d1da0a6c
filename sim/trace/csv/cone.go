package csv

import "ohmgate/interlock"

// cone is what the recorded outputs depend on: which channels and inputs, and
// through which other outputs. What lies outside may be absent from a recording
// without harm.
type cone struct {
	config   *interlock.Config
	outputs  []bool
	channels []bool
	inputs   []bool
}

// coneOf follows everything that Step reads for these outputs.
func coneOf(c *interlock.Config, recorded []int) *cone {
	n := &cone{config: c, outputs: make([]bool, len(c.Outputs)), channels: make([]bool, len(c.Channels)), inputs: make([]bool, len(c.Inputs))}
	for _, o := range recorded {
		n.output(o)
	}
	for _, b := range c.Bypasses {
		if n.channels[b.Channel] {
			n.input(b.Input)
		}
	}
	return n
}

func (n *cone) output(i int) {
	if n.outputs[i] {
		return
	}
	n.outputs[i] = true
	o := &n.config.Outputs[i]
	n.permissive(o.Permissive)
	for _, ref := range [...]interlock.Ref{o.Reset, o.Start, o.Stop, o.Closed, o.Opened} {
		n.input(ref)
	}
	for _, caller := range n.config.CallersOf(i) {
		n.output(caller)
	}
	for _, stream := range n.config.StreamsOf(i) {
		n.stream(stream)
	}
	for _, vessel := range n.config.VesselsOf(i) {
		v := &n.config.Vessels[vessel]
		n.permissive(v.BondedBy)
		n.input(v.Acknowledge)
		for _, stream := range n.config.ChargedBy(vessel) {
			n.stream(stream)
		}
	}
}

func (n *cone) stream(i int) {
	s := &n.config.Streams[i]
	n.input(s.Flow)
	for _, o := range s.Through {
		n.output(o)
	}
}

func (n *cone) permissive(p interlock.Permissive) {
	set := p.Causes()
	set.Each(func(cause int) {
		if cause >= len(n.channels) {
			n.inputs[cause-len(n.channels)] = true
			return
		}
		n.channels[cause] = true
		n.input(n.config.Channels[cause].Evidence)
	})
}

func (n *cone) input(r interlock.Ref) {
	if r != 0 {
		n.inputs[r-1] = true
	}
}
