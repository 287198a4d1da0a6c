package replay

import (
	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// explain says whom a difference is about, by which rule the logic came to its
// side of it, which causes that rule reads, and which channel to show beside it.
func (r *Replayer) explain(d subject, recorded string) (name string, rule, causes []string, channel int) {
	switch d.what {
	case phase:
		return r.header.Channels[d.index], []string{"phase of the channel on a reading that is " + r.turner.state.Channels[d.index].Class.String()}, nil, d.index
	case vessel:
		return r.header.Vessels[d.index], []string{tell.Rule(&interlock.Event{Kind: interlock.MayBeCharged}) + " of the vessel"}, nil, r.channelOf(r.config.Vessels[d.index].BondedBy)
	case events:
		return "events", nil, nil, -1
	}
	return r.explainOutput(d.index)
}

func (r *Replayer) explainOutput(i int) (name string, rule, causes []string, channel int) {
	o, state := &r.config.Outputs[i], &r.turner.state.Outputs[i]
	var culprits interlock.CauseSet
	reasons := r.turner.decision.Reasons[i]
	if state.Mode == interlock.Enabled {
		rule = []string{"every condition is met: the permissive is true and nothing withholds it"}
	} else {
		if state.Mode == interlock.Tripped {
			culprits = state.Trip.FirstOut
			state.Trip.Why.Each(func(one interlock.Reason) { rule = append(rule, "tripped: "+one.String()) })
			reasons &^= state.Trip.Why
		} else {
			o.Permissive.Culprits(r.turner.decision.Start, &culprits)
		}
		reasons.Each(func(one interlock.Reason) { rule = append(rule, one.String()) })
	}
	channel = r.channelOf(o.Permissive)
	names := r.header.Names()
	culprits.Each(func(cause int) {
		text := names.Cause(cause)
		if cause < len(r.header.Channels) {
			c := &r.turner.state.Channels[cause]
			text += " " + c.Phase.String() + ", " + c.Class.String()
			channel = cause
		}
		causes = append(causes, text)
	})
	return r.header.Outputs[i], rule, causes, channel
}

// channelOf is the first channel that a permissive reads; -1 if it reads none.
func (r *Replayer) channelOf(p interlock.Permissive) int {
	first := -1
	set := p.Causes()
	set.Each(func(cause int) {
		if first < 0 && cause < len(r.header.Channels) {
			first = cause
		}
	})
	return first
}

// warm puts the logic where it would stand in a plant that ran when the
// recording began. What is assumed is told in the report.
func (r *Replayer) warm(rec *trace.Recorded) {
	c, s := r.config, r.turner.state
	s.PowerUp()
	s.Running = true
	for i := range c.Channels {
		if rec.In.Readings[i].Quality == monitor.Absent {
			continue
		}
		reading, config := rec.In.Readings[i], &c.Channels[i].Config
		needed := config.SettleScans + 1
		reading.Stamp -= uint16(needed) // so that the recording's own first reading is news
		for n := interlock.Scans(0); n < needed; n++ {
			s.Channels[i].State = monitor.Step(config, s.Channels[i].State, reading)
			reading.Stamp++
		}
	}
	for i := range s.Inputs {
		if signal := rec.In.Signals[i]; signal >= interlock.Low {
			s.Inputs[i].Level = interlock.False
			if (signal == interlock.High) != c.Inputs[i].Inverted {
				s.Inputs[i].Level = interlock.True
			}
		}
	}
	for i, recorded := range rec.Outputs {
		if recorded == int8(interlock.Enabled) {
			s.Outputs[i].Mode = interlock.Enabled
		}
	}
	r.warmFlow()
	if r.report.Scans > 0 {
		return
	}
	r.report.Start = "running: assumed that the first readings had stood for long, no vessel was charged, no press was under way"
}

// warmFlow lets streams stand still that some output stops, and vessels hold
// the earth that their channels show.
func (r *Replayer) warmFlow() {
	c, s := r.config, r.turner.state
	for i := range c.Streams {
		for _, through := range c.Streams[i].Through {
			if s.Outputs[through].Mode != interlock.Enabled {
				s.Streams[i].Stopped = c.Streams[i].RunDown.Next()
			}
		}
	}
	keep := make([]interlock.Truth, len(c.Channels))
	for i := range keep {
		keep[i] = interlock.False
		evidence := c.Channels[i].Evidence
		if s.Channels[i].Phase.MayKeep() && (evidence == 0 || s.Inputs[evidence-1].Level == interlock.True) {
			keep[i] = interlock.True
		}
	}
	for i := range s.Vessels {
		s.Vessels[i] = interlock.VesselState{Clear: true, Held: c.Vessels[i].BondedBy.Eval(keep) == interlock.True}
	}
}
