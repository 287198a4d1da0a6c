package table

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// The press as the properties understand it, told apart from the logic's own
// chart: nothing counts until a valid 0.
const (
	PressSpoiled = iota
	PressIdle
	PressDown
	PressUp // one valid 0 after it
)

// Watch is what the properties remember of one output beside the logic. It is
// written from the words of the properties, not from the logic, so that a wrong
// rule in the logic does not hide itself.
type Watch struct {
	press      uint8
	armed      bool // a whole press was seen and all conditions have held since
	was        bool // all own conditions were true in the scan before
	startLow   bool // a valid 0 of the start command was seen since its last 1
	Away, Home bool // ends seen since the actuator was unconfirmed
	// button is the reset input's value in effect: a gap repeats it.
	Button uint8 // 0 unknown, 1 false, 2 true
}

func (w Watch) Pack() uint64 {
	word := uint64(w.press) | uint64(w.Button)<<7
	word |= uint64(model.Int(w.armed))<<2 | uint64(model.Int(w.was))<<3 | uint64(model.Int(w.startLow))<<4
	word |= uint64(model.Int(w.Away))<<5 | uint64(model.Int(w.Home))<<6
	return word << WatchShift
}

func UnpackWatch(word uint64) Watch {
	p := Packer{Word: uint32(word >> WatchShift)}
	return Watch{press: uint8(p.take(2)), armed: p.took(), was: p.took(), startLow: p.took(), Away: p.took(), Home: p.took(), Button: uint8(p.take(2))}
}

// ButtonOf numbers what a button's input says; 0 is unknown.
func ButtonOf(v interlock.Truth) uint8 {
	return [3]uint8{1, 0, 2}[v+1]
}

// Follows says that an input whose value in effect was the numbered one can show
// itself so: a gap repeats the last value, and cannot repeat unknown.
func (l Level) Follows(button uint8) bool {
	return l.Fresh || l.Value == interlock.Unknown || ButtonOf(l.Value) == button
}

// Judged is what one scan of an output showed the properties.
type Judged struct {
	Watch   Watch
	hit     model.PropertySet // properties that had something to say
	Bad     model.PropertySet // properties that are violated
	Enables bool              // withheld before, enabled now
	keeps   bool              // enabled before, and still
}

// Judge follows one scan of an output and says which properties it breaks.
func (h *OutputShape) Judge(s *interlock.OutputControl, w Watch, l *OutputScan, next *interlock.OutputControl, resetGiven bool) Judged {
	c := h.Config
	running := s.Mode == interlock.Enabled
	v := Judged{Watch: w, Enables: !running && next.Mode == interlock.Enabled, keeps: running && next.Mode == interlock.Enabled}
	latched, confirmed := h.latch(s, &v, l)
	ready := !running && l.Perm == interlock.True && l.Shared == SharedNone && s.On >= c.OnDelay && confirmed
	begun := w.startLow && l.Begin == 1 && w.was
	given := h.press(s, w, &v, l, ready)
	if h.Brief {
		given = resetGiven
	}
	v.Watch.armed = (w.armed || given) && ready && !v.Enables
	v.Watch.was = ready && !v.Enables
	v.Watch.startLow = c.Start != 0 && (Levels[l.Begin].Value == interlock.False && (w.startLow || Levels[l.Begin].Fresh))

	v.note(model.PropertyWithhold, running && l.Perm != interlock.True, v.keeps && (l.Perm != interlock.True || l.Shared >= SharedStop))
	v.note(model.PropertyStart, v.Enables, v.Enables && (l.Perm != interlock.True || l.Shared != SharedNone || s.On < c.OnDelay))
	legal := (w.armed && ready || given || c.Automatic && latched == 0) && (c.Start == 0 || begun)
	v.note(model.PropertyReset, v.Enables && !c.Automatic, v.Enables && !legal && !h.Brief)
	cleared := resetGiven && confirmed
	lost := latched != 0 && !cleared && next.Unconfirmed != latched
	unseen := v.Enables && c.Confirmable() && !h.Ends[l.Ends].Home
	v.note(model.PropertyUnconfirmed, latched&^s.Unconfirmed != 0, lost || unseen || latched != 0 && next.Mode == interlock.Enabled && !cleared)
	if latched == 0 || cleared {
		v.Watch.Away, v.Watch.Home = false, false
	}
	if h.Brief {
		v.Watch = Watch{Away: v.Watch.Away, Home: v.Watch.Home}
	}
	return v
}

func (v *Judged) note(property model.Property, hit, bad bool) {
	if hit {
		v.hit |= property.Bit()
	}
	if bad {
		v.Bad |= property.Bit()
	}
}

// latch says which failures to report stand after this scan, and whether the
// actuator may be believed: none, or both ends seen since and now at rest.
func (h *OutputShape) latch(s *interlock.OutputControl, v *Judged, l *OutputScan) (latched interlock.Unconfirmed, confirmed bool) {
	e, running := &h.Ends[l.Ends], s.Mode == interlock.Enabled
	latched = s.Unconfirmed
	asAsked := running && e.Away || !running && e.Home
	if h.Config.Confirmable() && !asAsked && s.Disagree >= h.Config.Travel {
		latched |= failure(running, e.Dark)
	}
	if latched&^s.Unconfirmed != 0 {
		v.Watch.Away, v.Watch.Home = false, false
	}
	both := latched&(interlock.StayedOpen|interlock.StayedShut) != 0
	v.Watch.Away = v.Watch.Away || e.Away
	v.Watch.Home = v.Watch.Home || e.Home && (v.Watch.Away || !both)
	atRest := !h.Config.Confirmable() || e.Home
	return latched, atRest && (latched == 0 || v.Watch.Home && (v.Watch.Away || !both))
}

// MayBeOpen says that an actuator did not show that it is stopped, so that its
// backup must stop the flow.
func MayBeOpen(u interlock.Unconfirmed) bool {
	return u&(interlock.StayedOpen|interlock.UnknownClosed) != 0
}

func failure(running, dark bool) interlock.Unconfirmed {
	switch {
	case running && dark:
		return interlock.UnknownOpen
	case running:
		return interlock.StayedShut
	case dark:
		return interlock.UnknownClosed
	}
	return interlock.StayedOpen
}

// press follows the reset button: a valid 0, then 1 while all conditions were
// true already and stay true, of the right length, then two fresh valid 0. The
// length is the logic's own count; a lemma checks that count by itself.
func (h *OutputShape) press(s *interlock.OutputControl, w Watch, v *Judged, l *OutputScan, ready bool) (given bool) {
	r := Levels[l.Reset]
	low, high := r.Value == interlock.False, r.Value == interlock.True
	next := w.press
	switch {
	case low && r.Fresh && w.press == PressSpoiled:
		next = PressIdle
	case w.press == PressSpoiled:
	case r.Value == interlock.Unknown:
		next = PressSpoiled
	case w.press == PressIdle:
		if high && r.Fresh {
			next = PressSpoiled
			if w.was && ready {
				next = PressDown
			}
		}
	case !ready, high && (w.press == PressUp || s.Button.Held >= h.Config.Press.Max), low && r.Fresh && w.press == PressDown && s.Button.Held < h.Config.Press.Min:
		next = PressSpoiled
	case low && r.Fresh:
		given = w.press == PressUp
		next = PressUp
		if given {
			next = PressIdle
		}
	}
	v.Watch.press = next
	v.Watch.Button = ButtonOf(r.Value)
	return given
}

// KeyMemory is what is remembered of the key of a bypass: a valid 0 since its last
// 1, and the scans at 0 since the bypass ended.
type KeyMemory struct {
	Low bool
	Gap model.Scans
}

// See follows one scan of the key.
func (k KeyMemory) See(level interlock.Truth, fresh, on bool, gap model.Scans) KeyMemory {
	k.Low = level == interlock.False && (k.Low || fresh)
	switch {
	case on:
		k.Gap = 0
	case level == interlock.False:
		k.Gap = min(k.Gap.Next(), gap.Next())
	}
	return k
}
