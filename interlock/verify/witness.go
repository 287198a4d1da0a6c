package verify

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// witness looks at a run of the whole site with its own eyes and says which
// properties of one output it breaks. It takes what was fed and what came of it;
// everything in between it works out again from the words of the properties: how
// old an input is, what the permissive says, how long a bond has settled, how
// long flow has ended. A wrong rule in the logic does not hide itself.
type witness struct {
	v      *verification
	config *interlock.Config
	output int
	shape  *table.OutputShape
	needed []int // channels in some cut set
	// followed are those, and what shows the bond of a vessel.
	followed []int
	cuts     [][]int
	callers  []int
	vessels  []int
	streams  []int // that charge those
	keep     []interlock.Truth
	start    []interlock.Truth
	truly    []interlock.Truth // keep, without any bypass
	fresh    []bool
	longest  []model.Scans               // by channel: bad scans in a row, saturating above any patience
	prior    *interlock.State            // the scan before
	told     [model.MaxProperties]breach // of the present scan, by property
}

// breach is a broken property in words, and as an expectation of that scan that
// is broken, for a scenario; empty is that the output is not enabled.
type breach struct{ says, expect string }

// none is what is told where nothing was broken.
func (w *witness) none() {
	w.told = [model.MaxProperties]breach{}
}

// sight is what a witness remembers from scan to scan; all zero at power-up.
type sight struct {
	inputs  []interlock.InputState
	watch   table.Watch
	on      model.Scans // start permissive true in a row
	moving  model.Scans // without the report that the command asks for
	bonds   []bondSight
	stopped []model.Scans
	vessels []vesselSight
	bypass  []model.Scans
	keys    []table.KeyMemory
	tripped bool
	named   interlock.CauseSet
	memory  uint32 // of a property of the site's own
}

// vesselSight is what is remembered of a vessel, and of the press that may
// acknowledge its early reconnection.
type vesselSight struct {
	held, paid, early bool
	still             model.Scans // in a row, and not charged
	rested            model.Scans // since the end of flow
	press             uint8
	pressed           model.Scans
}

// bondSight is what is remembered of one channel.
type bondSight struct {
	account
	bad   model.Scans // bad scans in a row
	kind  monitor.Class
	mixed bool // of more than one class
	calm  bool // bonded without doubt before the present bad readings

	// dip is how many bad scans of one class in a row good readings repay, of which
	// the last came so many scans ago; 0 where there is nothing to repay.
	dip, ago model.Scans
	dipOf    monitor.Class
}

func (v *verification) witnessOf(output int) *witness {
	c := v.Model.Config
	w := &witness{v: v, config: c, output: output, shape: table.ShapeOf(&c.Outputs[output], false), needed: v.Model.Needed(output), cuts: model.CutSets(c.Outputs[output].Permissive),
		callers: c.CallersOf(output), vessels: c.VesselsOf(output), prior: interlock.NewState(c),
		fresh: make([]bool, len(c.Inputs))}
	for i := range c.Channels {
		most := model.Scans(0)
		for _, class := range table.Bad {
			most = max(most, dipsForgiven(&c.Channels[i].Config, class))
		}
		w.longest = append(w.longest, most+c.Channels[i].StaleAfter+3)
	}
	causes := len(c.Channels) + len(c.Inputs)
	w.keep, w.start, w.truly = make([]interlock.Truth, causes), make([]interlock.Truth, causes), make([]interlock.Truth, causes)
	w.followed = slices.Clone(w.needed)
	for _, vessel := range w.vessels {
		for _, ch := range v.Model.ChannelsOf(output, vessel) {
			w.followed = model.AppendNew(w.followed, ch)
		}
		for _, st := range c.ChargedBy(vessel) {
			if !slices.Contains(w.streams, st) {
				w.streams = append(w.streams, st)
			}
		}
	}
	return w
}

func (w *witness) begin() *sight {
	return &sight{inputs: make([]interlock.InputState, len(w.config.Inputs)), bonds: make([]bondSight, len(w.config.Channels)),
		stopped: make([]model.Scans, len(w.config.Streams)), vessels: make([]vesselSight, len(w.vessels)),
		bypass: make([]model.Scans, len(w.config.Bypasses)), keys: make([]table.KeyMemory, len(w.config.Bypasses))}
}

func (s *sight) copyFrom(o *sight) {
	inputs, bonds, stopped, vessels, bypass, keys := s.inputs, s.bonds, s.stopped, s.vessels, s.bypass, s.keys
	*s = *o
	s.inputs, s.bonds, s.stopped, s.vessels, s.bypass, s.keys = inputs, bonds, stopped, vessels, bypass, keys
	copy(s.inputs, o.inputs)
	copy(s.bonds, o.bonds)
	copy(s.stopped, o.stopped)
	copy(s.vessels, o.vessels)
	copy(s.bypass, o.bypass)
	copy(s.keys, o.keys)
}

// same says that two remember the same.
func (s *sight) same(o *sight) bool {
	return s.watch == o.watch && s.on == o.on && s.moving == o.moving && s.tripped == o.tripped && s.named == o.named && s.memory == o.memory &&
		slices.Equal(s.bonds, o.bonds) && slices.Equal(s.stopped, o.stopped) && slices.Equal(s.vessels, o.vessels) &&
		slices.Equal(s.bypass, o.bypass) && slices.Equal(s.keys, o.keys)
}

// forget is a loss of supply.
func (s *sight) forget() {
	clear(s.inputs)
	clear(s.bonds)
	clear(s.stopped)
	clear(s.vessels)
	clear(s.bypass)
	clear(s.keys)
	s.watch, s.on, s.moving, s.tripped, s.named = table.Watch{}, 0, 0, false, interlock.CauseSet{}
}

// see follows one scan: prior is the state before it, d has just turned.
func (w *witness) see(s *sight, d *runs.Driver) (bad model.PropertySet) {
	w.seeInputs(s, d)
	w.seeChannels(d)
	bad |= w.seeBonds(s, d)
	bad |= w.seeBypasses(s, d)
	bad |= w.seeStreams(s, d)
	owed, wrong := w.seeVessels(s, d)
	bad |= wrong | w.seeOutput(s, d, owed)
	bad |= w.seeTrip(s, d)
	return bad | w.seeKick(d)
}

func (w *witness) broken(property model.Property, format string, args ...any) model.PropertySet {
	w.told[property] = breach{says: fmt.Sprintf(format, args...)}
	return property.Bit()
}

// must turns what was broken into the words of a scenario: what is said here was
// to be expected of the scan.
func (w *witness) must(bad model.PropertySet, expect string, args ...any) model.PropertySet {
	for property := range w.told {
		if bad == model.Property(property).Bit() {
			w.told[property].expect = fmt.Sprintf(expect, args...)
		}
	}
	return bad
}

func (w *witness) name() string { return w.v.Model.Names.Outputs[w.output] }

// seeInputs: a gap repeats for stale-after, what is faulty is unknown at once.
func (w *witness) seeInputs(s *sight, d *runs.Driver) {
	for i := range w.config.Inputs {
		c, in := &w.config.Inputs[i], &s.inputs[i]
		*in, w.fresh[i] = heard(c, *in, d.In.Signals[i])
		cause := len(w.config.Channels) + i
		w.keep[cause], w.start[cause], w.truly[cause] = in.Level, in.Level, in.Level
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

func (s *sight) level(ref interlock.Ref) interlock.Truth {
	if ref == 0 {
		return interlock.Unknown
	}
	return s.inputs[ref-1].Level
}

// seeChannels: what each phase says, no more than its evidence, and what passes
// under a bypass.
func (w *witness) seeChannels(d *runs.Driver) {
	c := w.config
	for i := range c.Channels {
		p, evidence := d.State.Channels[i].Phase, interlock.True
		if ref := c.Channels[i].Evidence; ref != 0 {
			evidence = w.keep[len(c.Channels)+int(ref)-1]
		}
		keep, start := model.Truth(p.MayKeep()), model.Truth(p.MayStart())
		if p == monitor.Unreadable {
			keep, start = interlock.Unknown, interlock.Unknown
		}
		w.truly[i] = min(keep, evidence)
		for k := range c.Bypasses {
			b := &c.Bypasses[k]
			if b.Channel == i && d.State.Bypasses[k].Active != 0 && (p == monitor.Unreadable || p == monitor.Lost && b.CoversLost) {
				keep, start = interlock.True, interlock.True
			}
		}
		w.keep[i], w.start[i] = min(keep, evidence), min(start, evidence)
	}
}

// seeBonds: how every needed channel came to be bonded, and how long it lasts
// while it reads bad.
func (w *witness) seeBonds(s *sight, d *runs.Driver) (bad model.PropertySet) {
	for _, ch := range w.followed {
		c, b, news := &w.config.Channels[ch].Config, &s.bonds[ch], d.Shown[ch]
		was, is := w.prior.Channels[ch].Phase, d.State.Channels[ch].Phase
		b.repay(news, is, w.v.Model.Held())
		if news == monitor.Good || news == monitor.Between {
			b.bad, b.calm = 0, is == monitor.Bonded
		} else {
			b.mixed = b.bad > 0 && (b.mixed || news != b.kind)
			b.bad, b.kind = min(b.bad.Next(), w.longest[ch]), news
		}
		b.account = b.see(c, news, was, is)
		if property, says, expect := b.wrong(c, w.prior.Channels[ch].Control, is, true); property > 0 {
			name := w.v.Model.Names.Channels[ch]
			bad |= w.must(w.broken(property, "%s %s", name, says), expect, name)
		}
	}
	return bad
}

// seeBypasses: begins with a fresh 1 after a valid 0, and ends by its time.
func (w *witness) seeBypasses(s *sight, d *runs.Driver) (bad model.PropertySet) {
	for i := range w.config.Bypasses {
		b := &w.config.Bypasses[i]
		key := s.keys[i]
		s.keys[i] = key.See(s.level(b.Input), w.fresh[b.Input-1], d.State.Bypasses[i].Active != 0 || s.bypass[i] > 0, b.Gap)
		if d.State.Bypasses[i].Active == 0 {
			s.bypass[i] = 0
			continue
		}
		began := s.bypass[i] == 0
		s.bypass[i] = min(s.bypass[i].Next(), b.For.Next())
		if !slices.Contains(w.needed, b.Channel) {
			continue
		}
		name := w.v.Model.Names.Bypasses[i]
		if began && !(s.level(b.Input) == interlock.True && w.fresh[b.Input-1] && key.Low && key.Gap > b.Gap) {
			bad |= w.must(w.broken(model.PropertyBypass, "%s begins without a new press of its key after its gap", name), "never: %s is active", name)
		}
		if s.bypass[i] > b.For {
			bad |= w.must(w.broken(model.PropertyBypass, "%s is on in its %s scan, must end after %d", name, nth(s.bypass[i]), b.For), "never: %s is active", name)
		}
	}
	return bad
}

// switches is what an output's end switches say.
func (w *witness) switches(s *sight, output int) table.Ends {
	o := &w.config.Outputs[output]
	return table.EndsFor(o, s.level(o.Closed), s.level(o.Opened))
}

// seeStreams counts for how long the flow of each stream is confirmed to have
// stopped, with the commands of the scan before.
func (w *witness) seeStreams(s *sight, d *runs.Driver) (bad model.PropertySet) {
	for _, i := range w.streams {
		st := &w.config.Streams[i]
		if stopped, _ := flowOf(w.config, i, s.level, w.prior.Outputs); !stopped {
			s.stopped[i] = 0
		} else {
			s.stopped[i] = min(s.stopped[i].Next(), st.RunDown.Next())
		}
		if s.stopped[i] <= st.RunDown && d.State.Streams[i].Still(st) {
			name := w.v.Model.Names.Streams[i]
			bad |= w.must(w.broken(model.PropertyWait, "%s counts as ended after %d scans of confirmed stop, must run down for more than %d", name, s.stopped[i], st.RunDown), "never: %s is still", name)
		}
	}
	return bad
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

// seeVessels says whether any vessel that the output charges owes a wait, and
// what is told of them wrongly.
func (w *witness) seeVessels(s *sight, d *runs.Driver) (owed bool, bad model.PropertySet) {
	for n, vessel := range w.vessels {
		c := &w.config.Vessels[vessel]
		in := interlock.VesselScan{Still: true, Bonded: model.Evaluate(c.BondedBy, func(cause int) interlock.Truth { return w.truly[cause] })}
		for _, st := range w.config.ChargedBy(vessel) {
			in.Still = in.Still && s.stopped[st] > w.config.Streams[st].RunDown
			_, seen := flowOf(w.config, st, s.level, w.prior.Outputs)
			in.FlowSeen = in.FlowSeen || seen
		}
		set := c.BondedBy.Causes()
		set.Each(func(cause int) {
			in.Reconnected = in.Reconnected || s.bonds[cause].again
		})
		was, given := s.vessels[n], false
		s.vessels[n], given = was.see(c, in, w.levelOf(s, c.Acknowledge))
		owed = owed || !s.vessels[n].paid || s.vessels[n].early
		bad |= w.toldOf(vessel, was, s.vessels[n], in.Still, given, d) | w.forgotten(vessel, s.vessels[n], d)
	}
	return owed, bad
}

// see follows one scan of a vessel. A press acknowledges an early reconnection
// that stood before it began; one in the middle of it, nobody has acknowledged.
func (v vesselSight) see(c *interlock.Vessel, in interlock.VesselScan, acknowledge uint8) (next vesselSight, given bool) {
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

// forgotten: a vessel that may be charged counts as clear, or one that is clear as
// charged; or an early reconnection that nobody has acknowledged does not stand.
func (w *witness) forgotten(vessel int, is vesselSight, d *runs.Driver) (bad model.PropertySet) {
	name, memory := w.v.Model.Names.Vessels[vessel], &d.State.Vessels[vessel]
	if memory.Clear && !is.paid && w.bypassed(vessel, d) {
		bad |= w.must(w.broken(model.PropertyBypass, "%s counts as earthed under a bypass", name), "never: %s is clear", name)
	}
	if memory.Clear && !is.paid {
		bad |= w.must(w.broken(model.PropertyWait, "%s counts as clear and may be charged: still for %d scans since, must be more than %d", name, is.still, w.config.Vessels[vessel].Wait), "never: %s is clear", name)
	}
	if !memory.Clear && is.paid {
		bad |= w.must(w.broken(model.PropertyWait, "%s counts as charged, and since it was clear nothing was seen to charge it", name), "always: %s is clear", name)
	}
	if is.early && !memory.Early {
		bad |= w.must(w.broken(model.PropertyWait, "%s has reconnected early and it is forgotten", name), "always: %s is reconnected early", name)
	}
	return bad
}

// bypassed says that a channel that shows the bond of a vessel is bypassed.
func (w *witness) bypassed(vessel int, d *runs.Driver) bool {
	shows := w.config.Vessels[vessel].BondedBy.Causes()
	for i := range w.config.Bypasses {
		if d.State.Bypasses[i].Active != 0 && shows.Has(w.config.Bypasses[i].Channel) {
			return true
		}
	}
	return false
}

// toldOf compares what people are told of a vessel with what happened: that
// somebody has acknowledged, and that the earth was taken off too soon.
func (w *witness) toldOf(vessel int, was, is vesselSight, still, given bool, d *runs.Driver) (bad model.PropertySet) {
	name, rest := w.v.Model.Names.Vessels[vessel], w.config.Vessels[vessel].Rest
	if !given && wasTold(d, interlock.Acknowledged, vessel) {
		bad |= w.must(w.broken(model.PropertyWait, "an acknowledge for %s counts without one whole press begun while the early reconnection stood", name), "never: %s %s", interlock.Acknowledged, name)
	}
	if was.held && !is.held && still && was.paid && is.rested <= rest != wasTold(d, interlock.ReleasedTooSoon, vessel) {
		expect := map[bool]string{true: "always", false: "never"}[is.rested <= rest]
		bad |= w.must(w.broken(model.PropertyWait, "the earth of %s is taken off %d scans after the end of flow, must rest for more than %d, and people are told otherwise", name, is.rested, rest), expect+": %s %s", interlock.ReleasedTooSoon, name)
	}
	return bad
}

func wasTold(d *runs.Driver, kind interlock.Kind, subject int) bool {
	for i := range d.Decision.Events {
		if e := &d.Decision.Events[i]; e.Kind == kind && e.Subject == subject {
			return true
		}
	}
	return false
}

// letter is the scan as the output's own properties know it.
func (w *witness) letter(s *sight, d *runs.Driver, owed bool) (l table.OutputScan, begun bool) {
	o := &w.config.Outputs[w.output]
	keep := model.Evaluate(o.Permissive, func(c int) interlock.Truth { return w.keep[c] })
	start := model.Evaluate(o.Permissive, func(c int) interlock.Truth { return w.start[c] })
	l.Perm = keep
	if w.prior.Outputs[w.output].Mode != interlock.Enabled {
		l.Perm = min(start, keep)
	}
	called := false
	for _, i := range w.callers {
		u := &d.State.Outputs[i]
		called = called || table.MayBeOpen(u.Unconfirmed) || w.config.Outputs[i].AtOnce && u.Mode == interlock.Tripped
	}
	switch {
	case d.In.Overrun || !w.prior.Running || called:
		l.Shared = table.SharedHard
	case o.Stop != 0 && s.level(o.Stop) != interlock.False:
		l.Shared = table.SharedStop
	case owed:
		l.Shared = table.SharedWait
	}
	now := w.switches(s, w.output)
	for i, e := range w.shape.Ends {
		if e.Home == now.Home && e.Away == now.Away && e.Dark == now.Dark && e.Open == now.Open {
			l.Ends = uint8(i)
		}
	}
	l.Reset, l.Begin = w.levelOf(s, o.Reset), w.levelOf(s, o.Start)
	return l, called
}

func (w *witness) levelOf(s *sight, ref interlock.Ref) uint8 {
	now := table.Level{Value: s.level(ref), Fresh: ref != 0 && w.fresh[ref-1]}
	for i, l := range table.Levels {
		if l.Value == now.Value && l.Fresh == now.Fresh {
			return uint8(i)
		}
	}
	return uint8(len(table.Levels) - 1)
}

// seeOutput lets the output's own properties judge the scan.
func (w *witness) seeOutput(s *sight, d *runs.Driver, owed bool) (bad model.PropertySet) {
	l, called := w.letter(s, d, owed)
	before, after := w.prior.Outputs[w.output].OutputControl, d.State.Outputs[w.output].OutputControl
	if l.Perm == interlock.True && before.Mode != interlock.Enabled {
		s.on = min(s.on.Next(), w.shape.Config.OnDelay.Next())
	} else {
		s.on = 0
	}
	v := w.shape.Judge(&before, s.watch, &l, &after, wasTold(d, interlock.ResetGiven, w.output))
	s.watch = v.Watch
	if v.Bad&model.PropertyWithhold.Bit() != 0 {
		w.broken(model.PropertyWithhold, "%s runs on although its permissive is %s, or something withholds it", w.name(), l.Perm)
	}
	if v.Bad&model.PropertyStart.Bit() != 0 || v.Enables && s.on <= w.shape.Config.OnDelay {
		v.Bad |= w.broken(model.PropertyStart, "%s is enabled with its permissive %s for %d of %d scans", w.name(), l.Perm, s.on, w.shape.Config.OnDelay.Next())
	}
	if v.Bad&model.PropertyReset.Bit() != 0 {
		w.broken(model.PropertyReset, "%s is enabled without one whole deliberate press of its reset", w.name())
	}
	if v.Bad&model.PropertyUnconfirmed.Bit() != 0 {
		w.broken(model.PropertyUnconfirmed, "%s: what its actuator failed to report is forgotten, or not asked for", w.name())
		switch {
		case after.Mode != interlock.Enabled:
			w.must(model.PropertyUnconfirmed.Bit(), "always: %s is unconfirmed", w.name())
		case after.Unconfirmed != 0:
			w.must(model.PropertyUnconfirmed.Bit(), "never: [%s is enabled, %s is unconfirmed]", w.name(), w.name())
		}
	}
	for i := range w.config.Bypasses {
		if b := &w.config.Bypasses[i]; v.Bad&(model.PropertyWithhold.Bit()|model.PropertyStart.Bit()) != 0 && d.State.Bypasses[i].Active != 0 && slices.Contains(w.needed, b.Channel) {
			v.Bad |= w.broken(model.PropertyBypass, "%s runs under %s, which does not cover %s that is %s", w.name(), w.v.Model.Names.Bypasses[i], w.v.Model.Cause(b.Channel), d.State.Channels[b.Channel].Phase)
		}
	}
	if after.Mode == interlock.Enabled && l.Perm == interlock.Unknown {
		v.Bad |= w.broken(model.PropertyUnknown, "%s runs although its permissive is unknown", w.name())
	}
	if v.Enables && owed {
		v.Bad |= w.broken(model.PropertyWait, "%s is enabled while a vessel that it charges may be charged", w.name())
	}
	if called && after.Mode == interlock.Enabled {
		v.Bad |= w.broken(model.PropertyUnconfirmed, "%s runs although it is called as a backup", w.name())
	}
	if o := &w.config.Outputs[w.output]; table.MayBeOpen(after.Unconfirmed) || o.AtOnce && after.Mode == interlock.Tripped {
		for _, i := range o.Backup {
			if backup := w.v.Model.Names.Outputs[i]; d.State.Outputs[i].Mode == interlock.Enabled {
				v.Bad |= w.must(w.broken(model.PropertyUnconfirmed, "%s runs on although %s calls it as its backup", backup, w.name()), "never: %s is enabled", backup)
			}
		}
	}
	v.Bad |= w.seeTravel(s, before, after)
	if before.Mode == interlock.Enabled && after.Mode != interlock.Enabled {
		v.Bad |= w.seeStop(s, l.Perm, called, d)
	}
	return v.Bad | w.seeResponse(s, after.Mode == interlock.Enabled, d)
}

// seeTravel: an actuator has its travel time for every command, from the scan of
// the command, and no more.
func (w *witness) seeTravel(s *sight, before, after interlock.OutputControl) (bad model.PropertySet) {
	o, e, runs := &w.config.Outputs[w.output], w.switches(s, w.output), before.Mode == interlock.Enabled
	s.moving = min(s.moving.Next(), o.Travel.Next())
	if !o.Confirmable() || runs && e.Away || !runs && e.Home {
		s.moving = 0
	}
	switch added := after.Unconfirmed &^ before.Unconfirmed; {
	case added != 0 && s.moving <= o.Travel:
		bad = w.must(w.broken(model.PropertyUnconfirmed, "%s is unconfirmed after %d scans, has %d to travel", w.name(), s.moving, o.Travel), "never: %s is unconfirmed", w.name())
	case s.moving > o.Travel && after.Unconfirmed == 0:
		bad = w.must(w.broken(model.PropertyUnconfirmed, "%s is not unconfirmed after %d scans, has %d to travel", w.name(), s.moving, o.Travel), "always: %s is unconfirmed", w.name())
	}
	if runs != (after.Mode == interlock.Enabled) {
		s.moving = 0
	}
	return bad
}

// seeStop: an output that ran is withheld for a reason, and as what it must be: a
// trip, unless a stop was asked for and nothing else, or its flow had ended and
// no more than its permissive is not true.
func (w *witness) seeStop(s *sight, perm interlock.Truth, called bool, d *runs.Driver) (bad model.PropertySet) {
	o, mode := &w.config.Outputs[w.output], d.State.Outputs[w.output].Mode
	streams := w.config.StreamsOf(w.output)
	ended := len(streams) > 0
	for _, st := range streams {
		if !slices.Contains(w.streams, st) {
			return 0 // it charges nothing, so nobody follows it here
		}
		ended = ended && s.stopped[st] > w.config.Streams[st].RunDown
	}
	hard := d.In.Overrun || called || d.State.Outputs[w.output].Unconfirmed != 0
	stop := o.Stop != 0 && s.level(o.Stop) != interlock.False
	switch {
	case !hard && !stop && perm == interlock.True:
		property := model.PropertyComplete
		for i := range w.config.Bypasses {
			if d.State.Bypasses[i].Active != 0 && slices.Contains(w.needed, w.config.Bypasses[i].Channel) {
				property = model.PropertyBypass
			}
		}
		return w.must(w.broken(property, "%s is withheld although nothing asks for it", w.name()), "always: %s is enabled", w.name())
	case !hard && (ended || stop && perm == interlock.True):
		if mode != interlock.KeptOut {
			return w.must(w.broken(model.PropertyFirstOut, "%s counts as tripped: its flow had ended, or it was only stopped", w.name()), "never: %s is tripped", w.name())
		}
	case mode != interlock.Tripped:
		return w.must(w.broken(model.PropertyFirstOut, "%s is tripped and counts as %s", w.name(), mode), "always: %s is tripped", w.name())
	}
	return 0
}

// repay follows the good readings after a dip, before the present scan counts.
func (b *bondSight) repay(news monitor.Class, is monitor.Phase, poll model.Scans) {
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

// seeResponse: bad for longer than its patience, and it runs; or tripped by a
// single dip that must be forgiven.
func (w *witness) seeResponse(s *sight, runs bool, d *runs.Driver) (bad model.PropertySet) {
	for _, set := range w.cuts {
		late := runs
		for _, cause := range set {
			late = late && cause < len(w.config.Channels) && w.late(s, cause) && w.keep[cause] == w.truly[cause] // no bypass stands in
		}
		if late && len(set) > 0 {
			b := &s.bonds[set[0]]
			bad |= w.broken(model.PropertyResponse, "%s runs in scan %d of bad readings (last %s) on %s", w.name(), b.bad, b.class, w.v.Model.Cause(set[0]))
		}
	}
	if runs || w.prior.Outputs[w.output].Mode != interlock.Enabled || d.State.Outputs[w.output].Mode != interlock.Tripped {
		return bad
	}
	for _, ch := range w.needed {
		b := &s.bonds[ch]
		dip, class := b.dip, b.dipOf
		if b.calm && !b.mixed {
			dip, class = b.bad, b.kind
		}
		if model.IsCut(w.config.Outputs[w.output].Permissive, ch) && dip > 0 && w.truly[ch] != interlock.True && dip <= dipsForgiven(&w.config.Channels[ch].Config, class) && w.alone(ch) {
			bad |= w.must(w.broken(model.PropertyPatience, "%s is tripped by %d scans of %s on %s, that many must be forgiven", w.name(), dip, class, w.v.Model.Cause(ch)), "never: %s is tripped", w.name())
		}
	}
	return bad
}

// late says that a channel has read bad for longer than any patience: one class
// alone for its own, a mixture for the longest of them and one gap.
func (w *witness) late(s *sight, ch int) bool {
	c, b := &w.config.Channels[ch].Config, &s.bonds[ch]
	if !b.mixed {
		return b.bad > dipsForgiven(c, b.kind)+1
	}
	most := model.Scans(0)
	for _, class := range table.Bad {
		most = max(most, dipsForgiven(c, class))
	}
	return b.bad > most+c.StaleAfter+1
}

// alone says that every other cause is as it must be, evidence included.
func (w *witness) alone(ch int) bool {
	if ref := w.config.Channels[ch].Evidence; ref != 0 && w.keep[len(w.config.Channels)+int(ref)-1] != interlock.True {
		return false
	}
	return model.Evaluate(w.config.Outputs[w.output].Permissive, func(c int) interlock.Truth {
		if c == ch {
			return interlock.True
		}
		return w.keep[c]
	}) == interlock.True
}

// seeTrip: first-out names what was not as it must be, all of it, and stands.
func (w *witness) seeTrip(s *sight, d *runs.Driver) (bad model.PropertySet) {
	o := &d.State.Outputs[w.output]
	was, named := s.tripped, s.named
	s.tripped, s.named = o.Mode == interlock.Tripped, o.Trip.FirstOut
	switch perm := w.config.Outputs[w.output].Permissive; {
	case !s.tripped:
		s.named = interlock.CauseSet{}
	case was && s.named != named:
		for i := range named { // a scenario tells both together
			named[i] |= o.Trip.Alongside[i]
		}
		bad = w.must(w.broken(model.PropertyFirstOut, "the first-out of %s changes while its trip stands", w.name()), "first-out of: %s, is: [%s]", w.name(), w.causes(named))
	case was:
	case model.Evaluate(perm, func(c int) interlock.Truth { return w.keep[c] }) != interlock.True && s.named.Len() == 0:
		bad = w.must(w.broken(model.PropertyFirstOut, "the permissive of %s tripped it and nothing is named", w.name()), "never: %s is tripped", w.name())
	default:
		bad = w.wronglyNamed(perm, s.named)
	}
	return bad
}

// wronglyNamed looks for a cause in the first-out that was as it must be.
func (w *witness) wronglyNamed(perm interlock.Permissive, named interlock.CauseSet) (bad model.PropertySet) {
	var guilty interlock.CauseSet
	wrong := ""
	named.Each(func(c int) {
		if want, known := model.Wanted(perm, c); known && w.keep[c] == want {
			wrong = w.v.Model.Cause(c)
		} else {
			guilty.Add(c)
		}
	})
	if wrong == "" {
		return 0
	}
	return w.must(w.broken(model.PropertyFirstOut, "%s is named as first-out of %s and was as it must be", wrong, w.name()), "first-out of: %s, is: [%s]", w.name(), w.causes(guilty))
}

// causes lists a set by names.
func (w *witness) causes(set interlock.CauseSet) string {
	var list []string
	set.Each(func(c int) { list = append(list, w.v.Model.Cause(c)) })
	return strings.Join(list, ", ")
}

// seeKick: the watchdog is kicked in every scan that was not overrun and in no
// other, the coil is what the output says, and at power-up nothing runs.
func (w *witness) seeKick(d *runs.Driver) (bad model.PropertySet) {
	on := d.State.Outputs[w.output].Mode == interlock.Enabled
	switch {
	case d.Decision.Kick == d.In.Overrun:
		return w.must(w.broken(model.PropertyKick, "overrun %v, kick %v", d.In.Overrun, d.Decision.Kick), "%s: watchdog is kicked", map[bool]string{true: "never", false: "always"}[d.In.Overrun])
	case d.Decision.Coils.Energised(w.output) != on:
		return w.must(w.broken(model.PropertyKick, "the coil of %s is not what its memory says", w.name()), "%s: %s is energised", map[bool]string{true: "always", false: "never"}[on], w.name())
	case on && d.In.Overrun:
		return w.broken(model.PropertyKick, "%s runs through an overrun scan", w.name())
	case on && !w.prior.Running:
		return w.broken(model.PropertyKick, "%s runs in the first scan since power-up", w.name())
	}
	return 0
}
