package fault

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// A trial mostly waits: for a valve's travel time, for the wait of a vessel.
// While it waits, its scans repeat but for counters that grow by one a scan; and
// inside a cell every value of a counter steps like the others, which is what the
// counter lemmas check for its real length. So the scans up to the last value of
// the cell that ends first are skipped: nothing can happen in them.

// watchEvery is after how many scans it is looked whether the scans repeat.
const watchEvery = 8

// longestPeriod is the longest repetition that is looked for.
const longestPeriod = 1 << 10

// let lets up to n scans pass, until over says so after one of them; it returns
// how many passed.
func (x *trial) let(n model.Scans, overrun bool, over func() bool) model.Scans {
	period, marked, next := x.does.period(), model.Scans(0), model.Scans(2)
	for passed := model.Scans(0); passed < n; {
		x.scan(overrun)
		passed++
		switch {
		case over():
			return passed
		case x.record != nil || x.everyScan || period > longestPeriod:
		case marked != 0 && passed == marked+period:
			k := repeats(x.Model.Config, x.mark, x.d.State, x.d.Stamp, period)
			k = min(k, (n-passed)/period)
			x.forward(k, period)
			passed, marked, next = passed+k*period, 0, passed+k*period+watchEvery
		case marked == 0 && passed >= next:
			x.mark.CopyFrom(x.d.State)
			marked = passed
		}
	}
	return n
}

// repeats is how many periods can be skipped from b, one period after a.
func repeats(c *interlock.Config, a, b *interlock.State, stamp uint16, period model.Scans) model.Scans {
	r := room{period: period, left: monitor.ScansMax / period, still: a.Running == b.Running}
	for i := range a.Channels {
		s, after := a.Channels[i], b.Channels[i]
		if model.Scans(after.Stamp-s.Stamp) != period { // else as far behind as before
			r.still = r.still && after.Stamp == s.Stamp
			r.left = min(r.left, model.Scans(max(0, 1<<15-1-int(stamp-after.Stamp)))/period) // then older than it looks
		}
		after.Stamp = s.Stamp
		r.still = r.still && s == after
	}
	for i := range a.Inputs {
		r.still = r.still && a.Inputs[i] == b.Inputs[i]
	}
	for i := range a.Streams {
		r.tick(a.Streams[i].Stopped, b.Streams[i].Stopped, 0, c.Streams[i].RunDown)
	}
	for i := range a.Vessels {
		s, after := a.Vessels[i], b.Vessels[i]
		r.tick(s.Waited, after.Waited, 1, c.Vessels[i].Wait)
		r.tick(s.Rested, after.Rested, 0, c.Vessels[i].Rest)
		after.Waited, after.Rested = s.Waited, s.Rested
		r.still = r.still && s == after
	}
	for i := range a.Outputs {
		s, after := a.Outputs[i], b.Outputs[i]
		r.tick(s.On, after.On, 0, c.Outputs[i].OnDelay)
		r.tick(s.Disagree, after.Disagree, 0, c.Outputs[i].Travel)
		after.On, after.Disagree = s.On, s.Disagree
		r.still = r.still && s == after
	}
	for i := range a.Bypasses {
		s, after := a.Bypasses[i], b.Bypasses[i]
		r.tick(s.Gap, after.Gap, 0, c.Bypasses[i].Gap)
		if warned := c.Bypasses[i].For - min(c.Bypasses[i].Warn, c.Bypasses[i].For); s.Active <= warned {
			r.tick(s.Active, after.Active, 1, warned)
		} else {
			r.tick(s.Active, after.Active, warned+1, c.Bypasses[i].For)
		}
		after.Gap, after.Active = s.Gap, s.Active
		r.still = r.still && s == after
	}
	if !r.still {
		return 0
	}
	return r.left
}

// room is how many periods are left until something can happen.
type room struct {
	period, left model.Scans
	still        bool // nothing changed but counters inside their cells
}

// tick looks at a counter whose cell is from..to: a step from any value but the
// last one only counts.
func (r *room) tick(before, after, from, to model.Scans) {
	switch {
	case before == after:
	case after == before+r.period && before >= from && after <= to:
		r.left = min(r.left, (to-after)/r.period)
	default:
		r.still = false
	}
}

// forward moves what grows ahead by k periods.
func (x *trial) forward(k, period model.Scans) {
	if k == 0 {
		return
	}
	by, a, b := k*period, x.mark, x.d.State
	grow := func(before, after *model.Scans) {
		if *before != *after {
			*after += by
		}
	}
	for i := range b.Channels {
		if b.Channels[i].Stamp != a.Channels[i].Stamp {
			b.Channels[i].Stamp += uint16(by)
		}
	}
	for i := range b.Streams {
		grow(&a.Streams[i].Stopped, &b.Streams[i].Stopped)
	}
	for i := range b.Vessels {
		grow(&a.Vessels[i].Waited, &b.Vessels[i].Waited)
		grow(&a.Vessels[i].Rested, &b.Vessels[i].Rested)
	}
	for i := range b.Outputs {
		grow(&a.Outputs[i].On, &b.Outputs[i].On)
		grow(&a.Outputs[i].Disagree, &b.Outputs[i].Disagree)
	}
	for i := range b.Bypasses {
		grow(&a.Bypasses[i].Gap, &b.Bypasses[i].Gap)
		grow(&a.Bypasses[i].Active, &b.Bypasses[i].Active)
	}
	x.d.Stamp += uint16(by)
	x.d.Scans += uint64(by)
	x.at += by
}
