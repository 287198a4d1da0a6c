package graph

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// key is the abstract state of a node: two nodes with the same key are one to the
// search. Of a counter it keeps only on which side of its settings it is, so that the
// search is finite; a path is real whatever was merged, but need not be found.
func (at *node) key(s *exploration) string {
	c, k := s.model.Config, make([]byte, 0, 64)
	flags := func(bits ...bool) {
		b := byte(0)
		for i, bit := range bits {
			b |= byte(model.Int(bit)) << i
		}
		k = append(k, b)
	}
	for _, i := range s.channels {
		ch, conf := &at.state.Channels[i], &c.Channels[i]
		k = append(k, byte(ch.Phase), byte(at.shown[i]))
		flags(ch.Parted, ch.Doubt*2 >= conf.Full, ch.Run*2 >= conf.SettleScans, ch.Paused > 0)
	}
	for _, i := range s.inputs {
		flags(at.set[i])
	}
	button := func(b interlock.Button, p interlock.Press) {
		k = append(k, byte(b.Phase))
		flags(b.Held >= p.Min, b.Released)
	}
	for _, i := range append([]int{s.output}, s.actuators...) {
		o, conf := &at.state.Outputs[i], &c.Outputs[i]
		k = append(k, byte(o.Mode), byte(o.Unconfirmed))
		flags(o.Ready, o.Armed, o.StartLow, o.SeenAway, o.SeenHome, o.Disagree > 0, o.On > conf.OnDelay, at.stuck[i])
		flags(at.position[i] == 0, at.position[i] == strokeOf(conf))
		button(o.Button, conf.Press)
	}
	for _, i := range c.VesselsOf(s.output) {
		v, conf := &at.state.Vessels[i], &c.Vessels[i]
		flags(v.Clear, v.Held, v.Early, v.Waited > 0, v.Rested > 0, v.Rested > conf.Rest)
		button(v.Ack, conf.Press)
	}
	for i := range c.Bypasses {
		b := &at.state.Bypasses[i]
		flags(b.Low, b.Active > 0, b.Gap > c.Bypasses[i].Gap)
	}
	return string(k)
}
