package loop

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// quiet recognises scans that can not change anything. Step is a pure function:
// once a scan has left the state as it was, every further scan with the same
// inputs does so too and decides the same. Readings always differ, but a channel
// reads no more of them than their class; so each channel is still stepped, and
// the rest of the site is left out only while no channel moves.
type quiet struct {
	on      bool // the scan before changed nothing
	age     int  // scans since quiet was last looked for
	before  *interlock.State
	signals []interlock.Signal
}

// lookEvery is how many scans pass from one look for quiet to the next: a look
// costs a copy of the state.
const lookEvery = 16

// skip reports that this scan changes nothing; the channels have then been
// stepped. It may be called only after a scan that found quiet.
func (q *quiet) skip(c *interlock.Config, s *interlock.State, in *interlock.Inputs) bool {
	if in.Overrun || !slices.Equal(in.Signals, q.signals) {
		return false
	}
	var stamps [interlock.MaxChannels]uint16
	for i := range s.Channels {
		ch := &s.Channels[i]
		next := monitor.Step(&c.Channels[i].Config, ch.State, in.Readings[i])
		stamps[i] = next.Stamp
		next.Stamp = ch.Stamp
		if next != ch.State {
			return false
		}
	}
	for i := range s.Channels {
		s.Channels[i].Stamp = stamps[i]
	}
	return true
}

// look steps the site and finds out whether that changed anything.
func (q *quiet) look(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) {
	q.before.CopyFrom(s)
	interlock.Step(c, s, in, d)
	q.on = len(d.Events) == 0 && same(q.before, s)
	if q.on {
		copy(q.signals, in.Signals)
	}
}

// same compares two states but for the stamps of the channels.
func same(a, b *interlock.State) bool {
	if a.Running != b.Running || !slices.Equal(a.Inputs, b.Inputs) || !slices.Equal(a.Streams, b.Streams) ||
		!slices.Equal(a.Vessels, b.Vessels) || !slices.Equal(a.Outputs, b.Outputs) || !slices.Equal(a.Bypasses, b.Bypasses) {
		return false
	}
	for i := range a.Channels {
		x, y := a.Channels[i], b.Channels[i]
		x.Stamp = y.Stamp
		if x != y {
			return false
		}
	}
	return true
}

// step is one scan of the site, with whatever can be left out left out. It
// reports that nothing changed.
func (q *quiet) step(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision) bool {
	if q.on && q.skip(c, s, in) {
		return true
	}
	q.on = false
	if q.age++; q.age%lookEvery != 0 {
		interlock.Step(c, s, in, d)
		return false
	}
	if q.before == nil {
		q.before, q.signals = interlock.NewState(c), make([]interlock.Signal, len(c.Inputs))
	}
	q.look(c, s, in, d)
	return false
}
