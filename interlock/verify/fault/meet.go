package fault

import (
	"ohmgate/interlock"
	catalogue "ohmgate/interlock/fault"
)

// Two faults meet where they act on the same channel, output or vessel, or where
// one takes the bond away and the other keeps an actuator open. Pairs that meet
// are run; pairs that do not are put together from what each does alone.

func onlyAnds(p interlock.Permissive) bool {
	for i := range p {
		if p[i].Op != interlock.OpCause && p[i].Op != interlock.OpAnd {
			return false
		}
	}
	return true
}

// apart says that two faults meet none.
func (x *campaign) apart(a, b *placed) bool {
	if !x.ands || a.everywhere() || b.everywhere() || a.gone() && b.stuck() || a.stuck() && b.gone() {
		return false
	}
	for at := range b.meets {
		if a.meets[at] {
			return false
		}
	}
	return true
}

func (p *placed) everywhere() bool {
	return p.Fault.On == catalogue.OnBus || p.Fault.On == catalogue.OnLogic
}

func (p *placed) gone() bool {
	for i := range p.looks {
		if p.looks[i].gone != none {
			return true
		}
	}
	return false
}

func (p *placed) stuck() bool {
	for i := range p.looks {
		if p.looks[i].stuck != none {
			return true
		}
	}
	return false
}

// meeting is one thing at which faults can meet.
type meeting struct {
	kind   catalogue.Target
	number int
}

// meetsAt lists the channels, outputs, vessels (as buses of their own) and inputs
// that a fault has to do with.
func (x *campaign) meetsAt(p *placed) map[meeting]bool {
	at := map[meeting]bool{}
	switch p.Fault.On {
	case catalogue.OnChannel:
		x.meetsAtChannel(p.target, at)
	case catalogue.OnOutput:
		at[meeting{catalogue.OnOutput, p.target}] = true
	case catalogue.OnInput:
		x.meetsAtInput(p.target, at)
	case catalogue.OnBypass:
		b := &x.Model.Config.Bypasses[p.target]
		x.meetsAtInput(int(b.Input)-1, at)
		x.meetsAtChannel(b.Channel, at)
	}
	return at
}

func (x *campaign) meetsAtChannel(ch int, at map[meeting]bool) {
	c := x.Model.Config
	at[meeting{catalogue.OnChannel, ch}] = true
	if e := c.Channels[ch].Evidence; e != 0 {
		at[meeting{catalogue.OnInput, int(e) - 1}] = true
	}
	for i := range c.Vessels {
		if bond := c.Vessels[i].BondedBy.Causes(); bond.Has(ch) {
			at[meeting{catalogue.OnBus, i}] = true
		}
	}
	x.stops(ch, at)
}

// stops: another output that a cause stops may have an actuator that fails, and
// then calls this one.
func (x *campaign) stops(cause int, at map[meeting]bool) {
	for i := range x.Model.Config.Outputs {
		if causes := x.Model.Config.Outputs[i].Permissive.Causes(); i != x.output && causes.Has(cause) {
			at[meeting{catalogue.OnOutput, i}] = true
		}
	}
}

func (x *campaign) meetsAtInput(input int, at map[meeting]bool) {
	c, ref := x.Model.Config, interlock.Ref(input+1)
	at[meeting{catalogue.OnInput, input}] = true
	x.stops(len(c.Channels)+input, at)
	for i := range c.Channels {
		if c.Channels[i].Evidence == ref {
			x.meetsAtChannel(i, at)
		}
	}
	for i := range c.Bypasses {
		if c.Bypasses[i].Input == ref {
			x.meetsAtChannel(c.Bypasses[i].Channel, at)
		}
	}
	for i := range c.Outputs {
		o := &c.Outputs[i]
		if ref == o.Reset || ref == o.Start || ref == o.Stop || ref == o.Closed || ref == o.Opened {
			at[meeting{catalogue.OnOutput, i}] = true
		}
	}
	for i := range c.Vessels {
		touches := c.Vessels[i].Acknowledge == ref
		for _, st := range c.ChargedBy(i) {
			touches = touches || c.Streams[st].Flow == ref
		}
		if touches {
			at[meeting{catalogue.OnBus, i}] = true
		}
	}
}
