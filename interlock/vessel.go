package interlock

import "ohmgate/monitor"

// StreamState is how long a stream has been confirmed stopped. Zero is flow.
type StreamState struct {
	Stopped Scans // scans with the stop confirmed, saturating just above the run-down
}

// Still reports that flow has ended and run down.
func (s StreamState) Still(c *Stream) bool { return s.Stopped > c.RunDown }

// VesselState is a vessel's charge memory. The zero value is "may be charged,
// nothing waited".
type VesselState struct {
	Clear  bool  // shown not to be charged
	Waited Scans // scans waited since the end of flow, while not clear
	Rested Scans // scans since the end of flow
	Held   bool  // had its earth in the scan before
	Early  bool  // reconnected early; stands until acknowledged
	Ack    Button
}

// flow is what the parts of a stream show in one scan.
type flow struct {
	stopped bool // confirmed: nothing can flow
	seen    bool // every part shows or is commanded to flow
}

// look judges a stream from the outputs' commands in effect and their reports.
func (c *Config) look(st *Stream, s *State) flow {
	f := flow{seen: true}
	for _, i := range st.Through {
		o, state := &c.Outputs[i], &s.Outputs[i]
		running := state.Mode == Enabled
		if o.confirmable() {
			f.stopped = f.stopped || !running && s.report(o).home && state.believed()
		} else if !st.confirmable {
			f.stopped = f.stopped || !running
		}
		open := s.level(o.Closed) == False || s.level(o.Opened) == True
		f.seen = f.seen && (running || open)
	}
	if st.Flow != 0 {
		switch level := s.level(st.Flow); level {
		case True:
			return flow{seen: true}
		case Unknown:
			f.stopped = false // unknown never helps
		}
	}
	f.seen = f.seen && !f.stopped
	return f
}

// stepStream counts the scans of a confirmed stop.
func stepStream(c *Stream, s StreamState, f flow) StreamState {
	if !f.stopped {
		return StreamState{}
	}
	return StreamState{Stopped: min(s.Stopped.Next(), c.RunDown.Next())}
}

// vesselInput is what one scan shows of a vessel.
type vesselInput struct {
	bonded      Truth
	still       bool // every stream that charges it has ended and run down
	flowSeen    bool // a stream that charges it is seen to flow
	reconnected bool // a parted connection of it reads good again
}

// stepVessel is one scan of a vessel's charge memory, without its button.
func stepVessel(c *Vessel, s VesselState, in vesselInput) (VesselState, vesselNews) {
	next := s
	var news vesselNews
	held := in.bonded == True
	loss := s.Held && !held
	next.Held = held
	if in.still {
		next.Rested = min(s.Rested.Next(), c.Rest.Next())
		next.Waited = min(s.Waited.Next(), c.Wait.Next())
	} else {
		next.Rested, next.Waited = 0, 0
	}
	if loss && in.still && s.Clear {
		news.released, news.tooSoon = true, next.Rested <= c.Rest
	}
	if loss && !in.still || !held && in.flowSeen {
		news.charged = s.Clear
		next.Clear, next.Waited = false, 0
	}
	if !next.Clear && in.reconnected {
		news.early = true
		// Without a button to acknowledge it (Compile allows that only without a
		// wait) it is told, but a latch would never open again.
		next.Early = s.Early || c.Acknowledge != 0
	}
	if !next.Clear && next.Waited > c.Wait {
		next.Clear = true
		news.over = c.Wait > 0 // nobody waits for a vessel without one
	}
	news.waiting = !next.Clear && next.Waited == 1
	if next.Clear {
		next.Waited = 0
	}
	return next, news
}

// vesselNews is what people should be told of.
type vesselNews struct {
	released, tooSoon, charged, early, waiting, over bool

	acknowledged, ignored bool
	spoil                 Spoil
}

// stepAcknowledge lets a deliberate press clear an early reconnection that stood
// before the press. One that happens during the press spoils it: nobody has
// acknowledged that one.
func stepAcknowledge(c *Vessel, before, next *VesselState, early bool, level Truth, fresh bool) (given bool, spoil Spoil) {
	next.Ack, spoil = stepButton(c.Press, before.Ack, level, fresh, before.Early, next.Early && !early)
	if next.Ack.Phase == Given {
		next.Early = false
		return true, spoil
	}
	return false, spoil
}

// parted follows whether a channel's connection was seen open, or must be
// presumed to have parted, since its last fresh good reading: presumed when a
// connection that was there is lost or can no longer be read. again says that
// this scan's reading is the first good one since.
func parted(was bool, before, after *monitor.State) (now, again bool) {
	there := before.Phase.MayKeep() || before.Phase == monitor.Settling || before.Class == monitor.Good
	gone := after.Phase != before.Phase && (after.Phase == monitor.Lost || after.Phase == monitor.Unreadable)
	now = was || there && gone || after.Class == monitor.Open || after.Class == monitor.High
	if after.Class == monitor.Good && after.Age == 0 {
		return false, now
	}
	return now, false
}
