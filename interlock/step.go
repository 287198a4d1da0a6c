package interlock

import "ohmgate/monitor"

// Decision is what the caller must do after one scan, in this order. It is also
// Step's workspace; NewDecision makes it once, Step fills it every scan and
// allocates nothing.
type Decision struct {
	Coils  CoilSet // 1. write to the outputs BEFORE anything else
	Kick   bool    // 2. kick the watchdog, only if this is true and the outputs are written
	Events []Event // 3. then tell people

	// For people: values of all causes as the channels and inputs show them,
	// without any bypass, and what withholds each output.
	Keep, Start []Truth
	Reasons     []Reasons

	allowKeep, allowStart []Truth // the same with bypasses applied
	fresh                 []bool  // inputs that arrived in this scan
	reconnected           CauseSet
	flowSeen              []bool
	called                []bool
	callers               []uint64
}

// NewDecision makes the workspace of one site. All zero, it stops everything.
func NewDecision(c *Config) *Decision {
	causes := len(c.Channels) + len(c.Inputs)
	most := 2*len(c.Channels) + 6*len(c.Outputs) + 7*len(c.Vessels) + 4*len(c.Bypasses) + 4
	return &Decision{
		Events: make([]Event, 0, most),
		Keep:   make([]Truth, causes), Start: make([]Truth, causes),
		allowKeep: make([]Truth, causes), allowStart: make([]Truth, causes),
		Reasons:  make([]Reasons, len(c.Outputs)),
		fresh:    make([]bool, len(c.Inputs)),
		flowSeen: make([]bool, len(c.Streams)),
		called:   make([]bool, len(c.Outputs)),
		callers:  make([]uint64, len(c.Outputs)),
	}
}

// Step is one scan of the whole site: it moves s from the scan before to this
// one and fills d. The result depends on the configuration, the state and the
// inputs alone. c must come from Compile.
func Step(c *Config, s *State, in *Inputs, d *Decision) {
	d.begin()
	c.stepInputs(s, in, d)
	c.stepChannels(s, in, d)
	c.stepBypasses(s, d)
	c.stepFlow(s, d)
	c.stepVessels(s, d)
	for _, i := range c.order {
		c.stepOutput(i, s, in.Overrun, d)
	}
	if !s.Running {
		d.tell(Event{Kind: PowerUp})
	}
	if in.Overrun {
		d.tell(Event{Kind: Overrun})
	}
	s.Running = true
	// A site that was never compiled has no order: nothing was evaluated.
	d.Kick = !in.Overrun && len(c.order) == len(c.Outputs)
}

// begin empties the decision, so that whatever is not evaluated is withheld.
func (d *Decision) begin() {
	d.Coils, d.Kick, d.Events = 0, false, d.Events[:0]
	d.reconnected = CauseSet{}
	clear(d.Reasons)
	clear(d.called)
	clear(d.callers)
}

func (d *Decision) tell(e Event) { d.Events = append(d.Events, e) }

// level is the value in effect of a named input; unknown if none is named.
func (s *State) level(r Ref) Truth {
	if r == 0 {
		return Unknown
	}
	return s.Inputs[r-1].Level
}

func (d *Decision) isFresh(r Ref) bool { return r != 0 && d.fresh[r-1] }

func (c *Config) stepInputs(s *State, in *Inputs, d *Decision) {
	base := len(c.Channels)
	for i := range c.Inputs {
		s.Inputs[i], d.fresh[i] = stepInput(&c.Inputs[i], s.Inputs[i], in.Signals[i])
		level := s.Inputs[i].Level
		d.Keep[base+i], d.Start[base+i] = level, level
		d.allowKeep[base+i], d.allowStart[base+i] = level, level
	}
}

func (c *Config) stepChannels(s *State, in *Inputs, d *Decision) {
	for i := range c.Channels {
		ch, state := &c.Channels[i], &s.Channels[i]
		before := state.State
		state.State.Step(&ch.Config, in.Readings[i])
		var again bool
		state.Parted, again = parted(state.Parted, &before, &state.State)
		if again {
			d.reconnected.Add(i)
		}
		keep, start := fitness(state.Phase)
		evidence := True
		if ch.Evidence != 0 {
			evidence = s.level(ch.Evidence)
		}
		d.Keep[i], d.Start[i] = min(keep, evidence), min(start, evidence)
		d.allowKeep[i], d.allowStart[i] = d.Keep[i], d.Start[i]
		tellChannel(i, &before, &state.State, d)
	}
}

// fitness is what a phase says of keeping on and of starting.
func fitness(p monitor.Phase) (keep, start Truth) {
	if p == monitor.Unreadable {
		return Unknown, Unknown
	}
	return truthOf(p.MayKeep()), truthOf(p.MayStart())
}

func tellChannel(i int, before, after *monitor.State, d *Decision) {
	if before.Phase != after.Phase {
		d.tell(Event{Kind: PhaseChanged, Subject: i, From: uint32(before.Phase), To: uint32(after.Phase), Class: after.Class, Cause: after.Cause()})
	} else if before.Class != after.Class && after.Class == monitor.Between && after.Phase == monitor.Unconnected {
		d.tell(Event{Kind: AboveAccept, Subject: i})
	} else if after.Phase == monitor.Settling && before.Run > 0 && after.Run == 0 {
		d.tell(Event{Kind: SettlingAgain, Subject: i})
	}
}

func (c *Config) stepBypasses(s *State, d *Decision) {
	for i := range c.Bypasses {
		b := &c.Bypasses[i]
		next, news := stepBypass(b, s.Bypasses[i], s.level(b.Input), d.isFresh(b.Input))
		s.Bypasses[i] = next
		tellBypass(i, news, d)
		phase := s.Channels[b.Channel].Phase
		covered := phase == monitor.Unreadable || b.CoversLost && phase == monitor.Lost
		if next.Active == 0 || !covered {
			continue
		}
		evidence := True
		if ref := c.Channels[b.Channel].Evidence; ref != 0 {
			evidence = s.level(ref)
		}
		d.allowKeep[b.Channel], d.allowStart[b.Channel] = evidence, evidence
	}
}

func tellBypass(i int, news bypassNews, d *Decision) {
	for _, told := range [...]struct {
		yes  bool
		kind Kind
	}{{news.began, BypassBegan}, {news.warning, BypassEnding}, {news.ended, BypassEnded}, {news.ignored, BypassIgnored}} {
		if told.yes {
			d.tell(Event{Kind: told.kind, Subject: i})
		}
	}
}

func (c *Config) stepFlow(s *State, d *Decision) {
	for i := range c.Streams {
		f := c.look(&c.Streams[i], s)
		s.Streams[i] = stepStream(&c.Streams[i], s.Streams[i], f)
		d.flowSeen[i] = f.seen
	}
}

func (c *Config) stepVessels(s *State, d *Decision) {
	for i := range c.Vessels {
		v := &c.Vessels[i]
		in := vesselInput{bonded: v.BondedBy.Eval(d.Keep), still: true}
		for _, stream := range v.chargedBy {
			in.still = in.still && s.Streams[stream].Still(&c.Streams[stream])
			in.flowSeen = in.flowSeen || d.flowSeen[stream]
		}
		v.channels.Each(func(cause int) { in.reconnected = in.reconnected || d.reconnected.Has(cause) })
		before := s.Vessels[i]
		next, news := stepVessel(v, before, in)
		news.acknowledged, news.spoil = stepAcknowledge(v, &before, &next, news.early, s.level(v.Acknowledge), d.isFresh(v.Acknowledge))
		news.ignored = news.spoil != NotSpoiled && next.Early
		s.Vessels[i] = next
		tellVessel(i, news, d)
	}
}

func tellVessel(i int, news vesselNews, d *Decision) {
	for _, told := range [...]struct {
		yes  bool
		kind Kind
	}{
		{news.charged, MayBeCharged}, {news.waiting, WaitBegan}, {news.over, WaitOver}, {news.early, ReconnectedEarly},
		{news.released && !news.tooSoon, Released}, {news.released && news.tooSoon, ReleasedTooSoon}, {news.acknowledged, Acknowledged},
	} {
		if told.yes {
			d.tell(Event{Kind: told.kind, Subject: i})
		}
	}
	if news.ignored {
		d.tell(Event{Kind: AcknowledgeIgnored, Subject: i, Spoil: news.spoil})
	}
}

// stepOutput gathers what one output sees, steps it and writes its coil.
func (c *Config) stepOutput(i int, s *State, overrun bool, d *Decision) {
	o, state := &c.Outputs[i], &s.Outputs[i]
	ends := s.report(o)
	in := OutputScan{
		Keep:   o.Permissive.Eval(d.allowKeep),
		Shared: c.shared(i, s, overrun, d), Ended: len(o.streams) > 0,
		Home: ends.home, Away: ends.away, Dark: ends.dark,
		Reset: s.level(o.Reset), ResetFresh: d.isFresh(o.Reset),
		Begin: s.level(o.Start), BeginFresh: d.isFresh(o.Start),
	}
	for _, stream := range o.streams {
		in.Ended = in.Ended && s.Streams[stream].Still(&c.Streams[stream])
	}
	if state.Mode != Enabled {
		in.Start = o.Permissive.Eval(d.allowStart)
	}
	before := state.OutputControl
	next, news := StepOutput(o, before, in)
	state.OutputControl = next
	d.Reasons[i] = news.Reasons
	if next.Mode == Enabled {
		d.Coils |= 1 << i
	}
	if next.Unconfirmed.CallsBackup() || o.AtOnce && next.Mode == Tripped {
		for _, b := range o.Backup {
			d.called[b] = true
			d.callers[b] |= 1 << i
		}
	}
	c.record(i, state, &news, d)
	tellOutput(i, &before, &news, d)
}

// shared collects what withholds an output for reasons outside of it.
func (c *Config) shared(i int, s *State, overrun bool, d *Decision) Reasons {
	o := &c.Outputs[i]
	var r Reasons
	set := func(yes bool, reason Reasons) {
		if yes {
			r |= reason
		}
	}
	set(!s.Running, ReasonPowerUp)
	set(overrun, ReasonOverrun)
	set(d.called[i], ReasonBackup)
	set(o.Stop != 0 && s.level(o.Stop) != False, ReasonStop)
	for _, v := range o.vessels {
		set(!s.Vessels[v].Clear, ReasonWait)
		set(s.Vessels[v].Early, ReasonEarly)
	}
	return r
}

func tellOutput(i int, before *OutputControl, news *OutputTold, d *Decision) {
	told := Event{Subject: i, Reasons: news.Reasons}
	say := func(yes bool, kind Kind) {
		if yes {
			told.Kind = kind
			d.tell(told)
		}
	}
	say(news.Tripped, OutputTripped)
	say(news.Released, OutputReleased)
	say(news.Stopped, OutputStopped)
	say(news.ResetGiven, ResetGiven)
	say(news.Enabled, OutputEnabled)
	say(news.StartIgnored, StartIgnored)
	told.Spoil = news.Spoil
	say(news.Spoil != NotSpoiled, ResetIgnored)
	told.Unconfirmed = news.Unconfirmed
	say(news.Unconfirmed != 0, ActuatorUnconfirmed)
	say(news.Reported, ActuatorReported)
}
