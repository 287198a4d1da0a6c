package metrics

import (
	"math"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Write follows one scan.
func (m *Metrics) Write(r *trace.Row) error {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	b := &m.board
	b.count(m.scans)
	if r.In.Overrun {
		b.count(m.overruns)
	}
	for i := range m.channels {
		m.followChannel(&m.channels[i], i, r)
	}
	for i := range m.outputs {
		m.followOutput(&m.outputs[i], i, r)
	}
	for i := range m.vessels {
		m.followVessel(&m.vessels[i], i, r)
	}
	for i := range m.bypasses {
		b.set(m.bypasses[i].active, flag(r.State.Bypasses[i].Active > 0))
	}
	for i := range r.Decision.Events {
		m.followEvent(&r.Decision.Events[i])
	}
	return nil
}

// Close ends the run; there is nothing to finish.
func (m *Metrics) Close() error { return nil }

func flag(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

func (m *Metrics) followChannel(c *channelMetrics, i int, r *trace.Row) {
	b, reading, state := &m.board, r.In.Readings[i], &r.State.Channels[i]
	if state.Age == 0 && reading.Quality != monitor.Absent {
		c.lastFresh, c.heard, c.quality = r.Time, true, reading.Quality
		c.ohms = float64(reading.Value) / 1e6
	}
	ohms := c.ohms
	switch {
	case state.Class == monitor.Missing || state.Class == monitor.Invalid || !c.heard:
		ohms = math.NaN()
	case c.quality == monitor.OverRange:
		ohms = math.Inf(1)
	}
	usable := math.IsNaN(ohms) == math.IsNaN(c.resistance.value)
	b.set(c.resistance, ohms)
	if c.heard {
		b.set(c.age, (r.Time - c.lastFresh).Seconds())
	}
	if c.phase.state != int(state.Phase) || !usable {
		b.become(c.phase, int(state.Phase))
		b.touch(c.resistance) // what led to a change is worth a sample
		b.touch(c.age)
	}
}

func (m *Metrics) followOutput(o *outputMetrics, i int, r *trace.Row) {
	b, state := &m.board, &r.State.Outputs[i]
	b.set(o.unconfirmedNow, flag(state.Unconfirmed != 0))
	for at := range o.causes {
		c := &o.causes[at]
		b.set(c.now, flag(state.Mode == interlock.Tripped && state.Trip.FirstOut.Has(c.cause)))
		if c.latency != nil && r.Truth != nil {
			m.followLatency(c, r, c.cause, o.mode.state == int(interlock.Enabled), state)
		}
	}
	b.become(o.mode, int(state.Mode))
}

// followLatency counts from the last scan with the connection: the true
// resistance was at or below reject. Whether the part then floats is another
// matter; rails may still hold it. A connection that comes back in time, or an
// output that stops for another cause, is no latency.
func (m *Metrics) followLatency(c *causeMetrics, r *trace.Row, channel int, ran bool, state *interlock.OutputState) {
	if r.Truth.Ohms[channel] <= float64(m.config.Channels[channel].Reject)/1e6 || !ran {
		c.lost = 0
		return
	}
	if c.lost == 0 {
		c.lost = r.Scan // the scan before, plus one
	}
	if state.Mode == interlock.Tripped && state.Trip.FirstOut.Has(channel) {
		scans := float64(r.Scan + 1 - c.lost)
		m.board.observe(c.latency, scans)
		m.board.set(c.worst, max(c.worst.value, scans))
	}
	if state.Mode != interlock.Enabled {
		c.lost = 0
	}
}

func (m *Metrics) followVessel(v *vesselMetrics, i int, r *trace.Row) {
	b, state := &m.board, &r.State.Vessels[i]
	b.set(v.charged, flag(!state.Clear))
	b.set(v.earlyNow, flag(state.Early))
	left := 0.0
	if !state.Clear {
		left = float64(m.config.Vessels[i].Wait.Next()-state.Waited) * m.header.Period.Seconds()
	}
	b.set(v.wait, left)
}

func (m *Metrics) followEvent(e *interlock.Event) {
	b := &m.board
	switch tell.About(e.Kind) {
	case tell.OfChannel:
		if e.Kind == interlock.PhaseChanged {
			if c := m.channels[e.Subject].transitions[[2]monitor.Phase{monitor.Phase(e.From), monitor.Phase(e.To)}]; c != nil {
				b.count(c)
			}
		}
	case tell.OfOutput:
		m.followOutputEvent(&m.outputs[e.Subject], e)
	case tell.OfVessel:
		v := &m.vessels[e.Subject]
		switch e.Kind {
		case interlock.WaitBegan:
			b.count(v.waits)
		case interlock.ReconnectedEarly:
			b.count(v.early)
		case interlock.Released:
			b.count(v.released)
		case interlock.ReleasedTooSoon:
			b.count(v.tooSoon)
		}
	case tell.OfBypass:
		if e.Kind == interlock.BypassBegan {
			b.count(m.bypasses[e.Subject].began)
		}
	default:
		if e.Kind == interlock.PowerUp {
			b.count(m.powerUps)
		}
	}
}

func (m *Metrics) followOutputEvent(o *outputMetrics, e *interlock.Event) {
	b := &m.board
	switch e.Kind {
	case interlock.OutputTripped:
		b.count(o.trips)
		e.Reasons.Each(func(one interlock.Reason) {
			if c := o.reasons[one]; c != nil {
				b.count(c)
			}
		})
		for at := range o.causes {
			if c := &o.causes[at]; c.now.value == 1 {
				b.count(c.trips)
			}
		}
	case interlock.OutputEnabled:
		b.count(o.enabled)
	case interlock.ResetGiven:
		b.count(o.resets)
	case interlock.ResetIgnored:
		b.count(o.resetsIgnored)
	case interlock.ActuatorUnconfirmed:
		b.count(o.unconfirmed)
	}
}
