package verify

import (
	"encoding/binary"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// sign writes down what decides what can follow. Long counters are written as
// cells, as in a search; what is lost by that are runs, never their truth.
func (f *falsifier) sign(t *path) string {
	s, m := t.state, t.memory
	b := make([]byte, 0, 256)
	num := func(list ...uint32) {
		for _, n := range list {
			b = binary.AppendUvarint(b, uint64(n))
		}
	}
	b = append(b, flags(s.Running))
	for _, i := range f.near.channels {
		ch := &s.Channels[i]
		num(uint32(ch.Phase), uint32(ch.Class), uint32(ch.Age), uint32(ch.Run), uint32(ch.Count), uint32(ch.Paused), uint32(ch.Doubt), f.counter.stay[i].Index(ch.Stay))
		bond := &m.bonds[i]
		num(uint32(bond.bad), uint32(bond.kind), uint32(bond.span), uint32(bond.good), uint32(bond.paused), uint32(bond.age), uint32(bond.class), uint32(bond.spent), uint32(bond.dip), uint32(bond.ago))
		b = append(b, flags(ch.Parted, bond.mixed, bond.calm, bond.parted, bond.again))
	}
	for _, i := range f.near.inputs {
		num(uint32(s.Inputs[i].Level+1), uint32(s.Inputs[i].Age))
	}
	for _, i := range f.near.outputs {
		o, k := &s.Outputs[i], &f.counter
		num(uint32(o.Mode), k.on[i].Index(o.On), k.disagree[i].Index(o.Disagree), uint32(o.Unconfirmed), uint32(o.Button.Phase), k.held[i].Index(o.Button.Held))
		b = append(b, flags(o.Ready, o.Armed, o.StartLow, o.SeenAway, o.SeenHome, o.Button.Released))
	}
	for n, i := range f.observer.vessels {
		vessel, seen := &s.Vessels[i], &m.vessels[n]
		num(f.counter.wait[i].Index(vessel.Waited), uint32(vessel.Ack.Phase), f.counter.ack[i].Index(vessel.Ack.Held), f.counter.rest[i].Index(vessel.Rested))
		num(f.counter.wait[i].Index(seen.still), f.counter.rest[i].Index(seen.rested), uint32(seen.press), f.counter.ack[i].Index(seen.pressed))
		b = append(b, flags(vessel.Clear, vessel.Held, vessel.Early, vessel.Ack.Released, seen.held, seen.paid, seen.early))
	}
	for _, i := range f.observer.streams {
		num(f.counter.run[i].Index(s.Streams[i].Stopped))
	}
	for _, i := range f.near.bypasses {
		num(f.counter.bypass[i].Index(s.Bypasses[i].Active), f.counter.gap[i].Index(s.Bypasses[i].Gap))
		b = append(b, flags(s.Bypasses[i].Low, m.keys[i].Low))
		num(f.counter.gap[i].Index(m.keys[i].Gap))
	}
	num(uint32(m.watch.Pack()>>table.WatchShift), f.counter.disagree[f.goal.output].Index(m.moving), m.own, uint32(model.Int(m.tripped)))
	for _, word := range m.named {
		b = binary.AppendUvarint(b, word)
	}
	for _, i := range t.wrong {
		num(uint32(i) + 1)
	}
	return string(b)
}

// neighbours are the parts of the site that can matter to a falsifier.
type neighbours struct{ channels, inputs, outputs, bypasses []int }

// relevant finds them: the output, what stands in series with it, what calls it,
// what is asked about, and everything that reaches any of these.
func (f *falsifier) relevant() {
	c := f.d.Config
	causes := len(c.Channels) + len(c.Inputs)
	outputs := map[int]bool{}
	for _, o := range append(append([]int(nil), f.d.Order...), f.observer.callers...) {
		outputs[o] = true
	}
	near := map[int]bool{}
	for _, cause := range f.goal.causes {
		if cause < causes {
			near[cause] = true
		} else {
			outputs[cause-causes] = true
		}
	}
	for o := range c.Outputs {
		if !outputs[o] {
			continue
		}
		f.near.outputs = append(f.near.outputs, o)
		for _, cause := range f.v.reach(o) {
			near[cause] = true
		}
	}
	for cause := 0; cause < causes; cause++ {
		if near[cause] && cause < len(c.Channels) {
			f.near.channels = append(f.near.channels, cause)
		} else if near[cause] {
			f.near.inputs = append(f.near.inputs, cause-len(c.Channels))
		}
	}
	for i := range c.Bypasses {
		if near[c.Bypasses[i].Channel] {
			f.near.bypasses = append(f.near.bypasses, i)
		}
	}
}

// cutCounters are the cells of a site's long counters, a little finer than a
// search needs, so that "one scan too long" is told from "just long enough".
type cutCounters struct {
	stay           []model.Cells
	on, held       []model.Cells
	disagree       []model.Cells
	wait, ack, run []model.Cells
	rest           []model.Cells
	bypass, gap    []model.Cells
}

func around(n model.Scans) []model.Scans {
	return []model.Scans{0, 1, 2, max(n, 1) - 1, n, n.Next(), n.Next().Next()}
}

func countersOf(c *interlock.Config) cutCounters {
	var k cutCounters
	cut := func(list ...model.Scans) model.Cells {
		var starts []model.Scans
		top := model.Scans(0)
		for _, n := range list {
			starts = append(starts, around(n)...)
			top = max(top, n.Next().Next())
		}
		return model.CellsOf(top, starts...)
	}
	for i := range c.Channels {
		k.stay = append(k.stay, cut(c.Channels[i].LongestStay))
	}
	for i := range c.Outputs {
		o := &c.Outputs[i]
		k.on, k.disagree, k.held = append(k.on, cut(o.OnDelay)), append(k.disagree, cut(o.Travel)), append(k.held, cut(o.Press.Min, o.Press.Max))
	}
	for i := range c.Vessels {
		k.wait, k.ack = append(k.wait, cut(c.Vessels[i].Wait)), append(k.ack, cut(c.Vessels[i].Press.Min, c.Vessels[i].Press.Max))
		k.rest = append(k.rest, cut(c.Vessels[i].Rest))
	}
	for i := range c.Streams {
		k.run = append(k.run, cut(c.Streams[i].RunDown))
	}
	for i := range c.Bypasses {
		k.bypass, k.gap = append(k.bypass, cut(c.Bypasses[i].For)), append(k.gap, cut(c.Bypasses[i].Gap))
	}
	return k
}
