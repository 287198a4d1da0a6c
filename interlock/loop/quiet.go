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
	next    []aging
}

// aging is what a channel may do in a quiet scan.
type aging struct {
	stamp uint16
	age   interlock.Scans
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
	for i := range s.Channels {
		ch := &s.Channels[i]
		next := monitor.Step(&c.Channels[i].Config, ch.State, in.Readings[i])
		q.next[i] = aging{next.Stamp, next.Age}
		if !unmoved(ch, &next) {
			return false
		}
	}
	for i := range s.Channels {
		s.Channels[i].Stamp, s.Channels[i].Age = q.next[i].stamp, q.next[i].age
	}
	return true
}

// unmoved reports that a channel did nothing but take note of a stamp or grow
// older. The site looks at neither, but for one thing: the first fresh good
// reading of a connection that had parted.
func unmoved(before *interlock.ChannelState, after *monitor.State) bool {
	if before.Parted && after.Class == monitor.Good {
		return false
	}
	x := before.State
	x.Stamp, x.Age = after.Stamp, after.Age
	return x == *after
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

// same compares two states but for the stamps and ages of the channels.
func same(a, b *interlock.State) bool {
	if a.Running != b.Running || !slices.Equal(a.Inputs, b.Inputs) || !slices.Equal(a.Streams, b.Streams) ||
		!slices.Equal(a.Vessels, b.Vessels) || !slices.Equal(a.Outputs, b.Outputs) || !slices.Equal(a.Bypasses, b.Bypasses) {
		return false
	}
	for i := range a.Channels {
		if a.Channels[i].Parted != b.Channels[i].Parted || !unmoved(&a.Channels[i], &b.Channels[i].State) {
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
		q.before, q.signals, q.next = interlock.NewState(c), make([]interlock.Signal, len(c.Inputs)), make([]aging, len(c.Channels))
	}
	q.look(c, s, in, d)
	return false
}
