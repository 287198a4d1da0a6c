package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// scan is what an observer makes of one scan before any property judges it: what was
// remembered, what came of it, and what more than one property asks.
type scan struct {
	*memory // after it
	d       *runs.Driver
	was     struct { // before it, where properties ask
		keys    []table.KeyMemory
		vessels []vesselMemory
		tripped bool
		named   interlock.CauseSet
	}
	channels []channelBreach // by channel
	shown    []vesselScan    // by vessel of the output
	owed     bool            // a wait, or an acknowledge
	called   bool            // as a backup
	letter   table.OutputScan
	judged   table.Judged
	before   interlock.OutputControl
	after    interlock.OutputControl
	travels  model.Scans // without the report that the command of the scan before asks for
}

// channelBreach is what the account of a channel says of a scan; property 0 is nothing.
type channelBreach struct {
	property     model.Property
	says, expect string
}

// vesselScan is what one scan showed of a vessel.
type vesselScan struct{ still, given bool }

// follow takes over what a scan shows.
func (o *observer) follow(m *memory, d *runs.Driver) {
	x := &o.scan
	x.memory, x.d = m, d
	x.was.keys, x.was.vessels = append(x.was.keys[:0], m.keys...), append(x.was.vessels[:0], m.vessels...)
	x.was.tripped, x.was.named = m.tripped, m.named
	o.followInputs(x)
	o.followChannels(x)
	o.followBonds(x)
	o.followBypasses(x)
	o.followStreams(x)
	o.followVessels(x)
	o.followOutput(x)
}

func (o *observer) name() string { return o.v.Model.Names.Outputs[o.output] }

// followInputs: a gap repeats for stale-after, what is faulty is unknown at once.
func (o *observer) followInputs(x *scan) {
	for i := range o.config.Inputs {
		c, in := &o.config.Inputs[i], &x.inputs[i]
		*in, o.fresh[i] = heard(c, *in, x.d.In.Signals[i])
		cause := len(o.config.Channels) + i
		o.keep[cause], o.start[cause], o.truly[cause] = in.Level, in.Level, in.Level
	}
}

// heard follows one input by one scan.
func heard(c *interlock.Input, s interlock.InputState, sig interlock.Signal) (next interlock.InputState, fresh bool) {
	switch {
	case sig == interlock.Low || sig == interlock.High:
		return interlock.InputState{Level: model.Truth((sig == interlock.High) != c.Inverted)}, true
	case sig == interlock.NoSignal && s.Age < c.StaleAfter:
		s.Age++
		return s, false
	}
	return interlock.InputState{Age: c.StaleAfter}, false
}

func (m *memory) level(ref interlock.Ref) interlock.Truth {
	if ref == 0 {
		return interlock.Unknown
	}
	return m.inputs[ref-1].Level
}

// followChannels: what each phase says, no more than its evidence, and what passes
// under a bypass.
func (o *observer) followChannels(x *scan) {
	c := o.config
	for i := range c.Channels {
		p, evidence := x.d.State.Channels[i].Phase, interlock.True
		if ref := c.Channels[i].Evidence; ref != 0 {
			evidence = o.keep[len(c.Channels)+int(ref)-1]
		}
		keep, start := model.Truth(p.MayKeep()), model.Truth(p.MayStart())
		if p == monitor.Unreadable {
			keep, start = interlock.Unknown, interlock.Unknown
		}
		o.truly[i] = min(keep, evidence)
		for k := range c.Bypasses {
			b := &c.Bypasses[k]
			if b.Channel == i && x.d.State.Bypasses[k].Active != 0 && (p == monitor.Unreadable || p == monitor.Lost && b.CoversLost) {
				keep, start = interlock.True, interlock.True
			}
		}
		o.keep[i], o.start[i] = min(keep, evidence), min(start, evidence)
	}
}

// followBonds: how every needed channel came to be bonded, and how long it lasts
// while it reads bad.
func (o *observer) followBonds(x *scan) {
	if x.channels == nil {
		x.channels = make([]channelBreach, len(o.config.Channels))
	}
	for _, ch := range o.followed {
		c, b, news := &o.config.Channels[ch].Config, &x.bonds[ch], x.d.Shown[ch]
		was, is := o.prior.Channels[ch].Phase, x.d.State.Channels[ch].Phase
		b.repay(news, is, o.v.Model.Held())
		if news == monitor.Good || news == monitor.Between {
			b.bad, b.calm = 0, is == monitor.Bonded
		} else {
			b.mixed = b.bad > 0 && (b.mixed || news != b.kind)
			b.bad, b.kind = min(b.bad.Next(), o.longest[ch]), news
		}
		b.account = b.see(c, news, was, is)
		found := &x.channels[ch]
		found.property, found.says, found.expect = b.wrong(c, o.prior.Channels[ch].Control, is, true)
	}
}

// repay follows the good readings after a dip, before the present scan counts.
func (b *bondMemory) repay(news monitor.Class, is monitor.Phase, poll model.Scans) {
	switch {
	case is == monitor.Bonded || news == monitor.Between:
		b.dip = 0
	case news == monitor.Good && b.bad > 0 && b.calm && !b.mixed:
		b.dip, b.dipOf, b.ago = b.bad, b.kind, 0
	case news == monitor.Good:
		b.ago = 0
	case news == monitor.Missing && b.ago+1 < poll:
		b.ago++
	default:
		b.dip = 0
	}
}

// followBypasses counts for how long each is on, and follows its key.
func (o *observer) followBypasses(x *scan) {
	for i := range o.config.Bypasses {
		b, on := &o.config.Bypasses[i], x.d.State.Bypasses[i].Active != 0
		x.keys[i] = x.keys[i].See(x.level(b.Input), o.fresh[b.Input-1], on || x.bypass[i] > 0, b.Gap)
		if x.bypass[i] = min(x.bypass[i].Next(), b.For.Next()); !on {
			x.bypass[i] = 0
		}
	}
}

// followStreams counts for how long the flow of each stream is confirmed to have
// stopped, with the commands of the scan before.
func (o *observer) followStreams(x *scan) {
	for _, i := range o.streams {
		if stopped, _ := flowOf(o.config, i, x.level, o.prior.Outputs); !stopped {
			x.stopped[i] = 0
		} else {
			x.stopped[i] = min(x.stopped[i].Next(), o.config.Streams[i].RunDown.Next())
		}
	}
}

// flowOf says of a stream whether its flow is confirmed to have stopped, by a
// command that its actuator has answered, and whether it is seen to flow: by its
// own switch, or because everything on its way is commanded to or stands open.
func flowOf(c *interlock.Config, stream int, level func(interlock.Ref) interlock.Truth, outputs []interlock.OutputState) (stopped, seen bool) {
	st, reports := &c.Streams[stream], c.StreamConfirmable(stream)
	seen = true
	for _, i := range st.Through {
		o, s := &c.Outputs[i], &outputs[i]
		e, rests := table.EndsFor(o, level(o.Closed), level(o.Opened)), s.Mode != interlock.Enabled
		both := s.Unconfirmed&(interlock.StayedOpen|interlock.StayedShut) != 0
		believed := s.Unconfirmed == 0 || s.SeenHome && (s.SeenAway || !both)
		stopped = stopped || rests && (o.Confirmable() && e.Home && believed || !reports)
		seen = seen && (!rests || e.Open)
	}
	if st.Flow != 0 {
		stopped = stopped && level(st.Flow) == interlock.False
		seen = seen || level(st.Flow) == interlock.True
	}
	return stopped, seen && !stopped
}

// followVessels says whether any vessel that the output charges owes a wait.
func (o *observer) followVessels(x *scan) {
	x.owed = false
	x.shown = x.shown[:0]
	for n, vessel := range o.vessels {
		c := &o.config.Vessels[vessel]
		in := interlock.VesselScan{Still: true, Bonded: model.Evaluate(c.BondedBy, func(cause int) interlock.Truth { return o.truly[cause] })}
		for _, st := range o.config.ChargedBy(vessel) {
			in.Still = in.Still && x.stopped[st] > o.config.Streams[st].RunDown
			_, seen := flowOf(o.config, st, x.level, o.prior.Outputs)
			in.FlowSeen = in.FlowSeen || seen
		}
		set := c.BondedBy.Causes()
		set.Each(func(cause int) {
			in.Reconnected = in.Reconnected || x.bonds[cause].again
		})
		next, given := x.vessels[n].see(c, in, o.levelOf(x, c.Acknowledge))
		x.vessels[n] = next
		x.owed = x.owed || !next.paid || next.early
		x.shown = append(x.shown, vesselScan{still: in.Still, given: given})
	}
}

// see follows one scan of a vessel. A press acknowledges an early reconnection
// that stood before it began; one in the middle of it, nobody has acknowledged.
func (v vesselMemory) see(c *interlock.Vessel, in interlock.VesselScan, acknowledge uint8) (next vesselMemory, given bool) {
	held := in.Bonded == interlock.True
	charged := v.held && !held && !in.Still || !held && in.FlowSeen
	early := in.Reconnected && !(v.paid && !charged)
	next = v
	next.held = held
	next.still, next.rested = min(v.still.Next(), c.Wait.Next()), min(v.rested.Next(), c.Rest.Next())
	if !in.Still {
		next.rested = 0
	}
	if !in.Still || charged {
		next.still = 0
	}
	next.paid = !charged && (v.paid || next.still > c.Wait)
	if c.Acknowledge == 0 { // told only
		return next, false
	}
	stands := v.early || early
	next.press, next.pressed, given = wordsOfPress(c.Press, v.press, v.pressed, acknowledge, v.early, stands && !early)
	next.early = stands && !given
	return next, given
}

// switches is what an output's end switches say.
func (o *observer) switches(x *scan, output int) table.Ends {
	c := &o.config.Outputs[output]
	return table.EndsFor(c, x.level(c.Closed), x.level(c.Opened))
}

// letterOf is the scan as the output's own properties know it.
func (o *observer) letterOf(x *scan) (l table.OutputScan, called bool) {
	c := &o.config.Outputs[o.output]
	keep := model.Evaluate(c.Permissive, func(cause int) interlock.Truth { return o.keep[cause] })
	start := model.Evaluate(c.Permissive, func(cause int) interlock.Truth { return o.start[cause] })
	l.Perm = keep
	if o.prior.Outputs[o.output].Mode != interlock.Enabled {
		l.Perm = min(start, keep)
	}
	for _, i := range o.callers {
		u := &x.d.State.Outputs[i]
		called = called || table.MayBeOpen(u.Unconfirmed) || o.config.Outputs[i].AtOnce && u.Mode == interlock.Tripped
	}
	switch {
	case x.d.In.Overrun || !o.prior.Running || called:
		l.Shared = table.SharedHard
	case c.Stop != 0 && x.level(c.Stop) != interlock.False:
		l.Shared = table.SharedStop
	case x.owed:
		l.Shared = table.SharedWait
	}
	now := o.switches(x, o.output)
	for i, e := range o.shape.Ends {
		if e.Home == now.Home && e.Away == now.Away && e.Dark == now.Dark && e.Open == now.Open {
			l.Ends = uint8(i)
		}
	}
	l.Reset, l.Begin = o.levelOf(x, c.Reset), o.levelOf(x, c.Start)
	return l, called
}

func (o *observer) levelOf(x *scan, ref interlock.Ref) uint8 {
	now := table.Level{Value: x.level(ref), Fresh: ref != 0 && o.fresh[ref-1]}
	for i, l := range table.Levels {
		if l.Value == now.Value && l.Fresh == now.Fresh {
			return uint8(i)
		}
	}
	return uint8(len(table.Levels) - 1)
}

// followOutput follows the output as its own properties know it, its travel and its
// trip.
func (o *observer) followOutput(x *scan) {
	x.letter, x.called = o.letterOf(x)
	x.before, x.after = o.prior.Outputs[o.output].OutputControl, x.d.State.Outputs[o.output].OutputControl
	x.on = min(x.on.Next(), o.shape.Config.OnDelay.Next())
	if x.letter.Perm != interlock.True || x.before.Mode == interlock.Enabled {
		x.on = 0
	}
	x.judged = o.shape.Judge(&x.before, x.watch, &x.letter, &x.after, wasTold(x.d, interlock.ResetGiven, o.output))
	x.watch = x.judged.Watch
	c, e, runs := &o.config.Outputs[o.output], o.switches(x, o.output), x.before.Mode == interlock.Enabled
	x.travels = min(x.moving.Next(), c.Travel.Next())
	if !c.Confirmable() || runs && e.Away || !runs && e.Home {
		x.travels = 0
	}
	x.moving = x.travels
	if runs != (x.after.Mode == interlock.Enabled) {
		x.moving = 0
	}
	state := &x.d.State.Outputs[o.output]
	x.tripped, x.named = state.Mode == interlock.Tripped, state.Trip.FirstOut
	if !x.tripped {
		x.named = interlock.CauseSet{}
	}
}
