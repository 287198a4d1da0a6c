package verify

import "ohmgate/interlock"

// mask is a set of default properties by number.
type mask uint32

func bit(property int) mask { return 1 << property }

// The press as the properties understand it, told apart from the logic's own
// chart: nothing counts until a valid 0.
const (
	pressSpoiled = iota
	pressIdle
	pressDown
	pressUp // one valid 0 after it
)

// watch is what the properties remember of one output beside the logic. It is
// written from the words of the properties, not from the logic, so that a wrong
// rule in the logic does not hide itself.
type watch struct {
	press      uint8
	armed      bool // a whole press was seen and all conditions have held since
	was        bool // all own conditions were true in the scan before
	startLow   bool // a valid 0 of the start command was seen since its last 1
	away, home bool // ends seen since the actuator was unconfirmed
	// button is the reset input's value in effect: a gap repeats it.
	button uint8 // 0 unknown, 1 false, 2 true
}

func (w watch) pack() uint64 {
	word := uint64(w.press) | uint64(w.button)<<7
	word |= uint64(b2i(w.armed))<<2 | uint64(b2i(w.was))<<3 | uint64(b2i(w.startLow))<<4
	word |= uint64(b2i(w.away))<<5 | uint64(b2i(w.home))<<6
	return word << watchShift
}

func unpackWatch(word uint64) watch {
	p := packer{word: uint32(word >> watchShift)}
	return watch{press: uint8(p.take(2)), armed: p.took(), was: p.took(), startLow: p.took(), away: p.took(), home: p.took(), button: uint8(p.take(2))}
}

// buttonOf numbers what a button's input says; 0 is unknown.
func buttonOf(v interlock.Truth) uint8 {
	return [3]uint8{1, 0, 2}[v+1]
}

// follows says that an input whose value in effect was the numbered one can show
// itself so: a gap repeats the last value, and cannot repeat unknown.
func (l level) follows(button uint8) bool {
	return l.fresh || l.value == interlock.Unknown || buttonOf(l.value) == button
}

// seen is what one scan of an output showed the properties.
type seen struct {
	watch   watch
	hit     mask // properties that had something to say
	bad     mask // properties that are violated
	enables bool // withheld before, enabled now
	keeps   bool // enabled before, and still
}

// judge follows one scan of an output and says which properties it breaks.
func (h *outputShape) judge(s *interlock.OutputControl, w watch, l *outputScan, next *interlock.OutputControl, resetGiven bool) seen {
	c := h.config
	running := s.Mode == interlock.Enabled
	v := seen{watch: w, enables: !running && next.Mode == interlock.Enabled, keeps: running && next.Mode == interlock.Enabled}
	latched, confirmed := h.latch(s, &v, l)
	ready := !running && l.perm == interlock.True && l.shared == sharedNone && s.On >= c.OnDelay && confirmed
	begun := w.startLow && l.begin == 1 && w.was
	given := h.press(s, w, &v, l, ready)
	if h.brief {
		given = resetGiven
	}
	v.watch.armed = (w.armed || given) && ready && !v.enables
	v.watch.was = ready && !v.enables
	v.watch.startLow = c.Start != 0 && (levels[l.begin].value == interlock.False && (w.startLow || levels[l.begin].fresh))

	v.note(2, running && l.perm != interlock.True, v.keeps && (l.perm != interlock.True || l.shared >= sharedStop))
	v.note(3, v.enables, v.enables && (l.perm != interlock.True || l.shared != sharedNone || s.On < c.OnDelay))
	legal := (w.armed && ready || given || c.Automatic && latched == 0) && (c.Start == 0 || begun)
	v.note(7, v.enables && !c.Automatic, v.enables && !legal && !h.brief)
	cleared := resetGiven && confirmed
	lost := latched != 0 && !cleared && next.Unconfirmed != latched
	unseen := v.enables && c.Confirmable() && !h.ends[l.ends].home
	v.note(10, latched&^s.Unconfirmed != 0, lost || unseen || latched != 0 && next.Mode == interlock.Enabled && !cleared)
	if latched == 0 || cleared {
		v.watch.away, v.watch.home = false, false
	}
	if h.brief {
		v.watch = watch{away: v.watch.away, home: v.watch.home}
	}
	return v
}

func (v *seen) note(property int, hit, bad bool) {
	if hit {
		v.hit |= bit(property)
	}
	if bad {
		v.bad |= bit(property)
	}
}

// latch says which failures to report stand after this scan, and whether the
// actuator may be believed: none, or both ends seen since and now at rest.
func (h *outputShape) latch(s *interlock.OutputControl, v *seen, l *outputScan) (latched interlock.Unconfirmed, confirmed bool) {
	e, running := &h.ends[l.ends], s.Mode == interlock.Enabled
	latched = s.Unconfirmed
	asAsked := running && e.away || !running && e.home
	if h.config.Confirmable() && !asAsked && s.Disagree >= h.config.Travel {
		latched |= failure(running, e.dark)
	}
	if latched&^s.Unconfirmed != 0 {
		v.watch.away, v.watch.home = false, false
	}
	both := latched&(interlock.StayedOpen|interlock.StayedShut) != 0
	v.watch.away = v.watch.away || e.away
	v.watch.home = v.watch.home || e.home && (v.watch.away || !both)
	atRest := !h.config.Confirmable() || e.home
	return latched, atRest && (latched == 0 || v.watch.home && (v.watch.away || !both))
}

// mayBeOpen says that an actuator did not show that it is stopped, so that its
// backup must stop the flow.
func mayBeOpen(u interlock.Unconfirmed) bool {
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
func (h *outputShape) press(s *interlock.OutputControl, w watch, v *seen, l *outputScan, ready bool) (given bool) {
	r := levels[l.reset]
	low, high := r.value == interlock.False, r.value == interlock.True
	next := w.press
	switch {
	case low && r.fresh && w.press == pressSpoiled:
		next = pressIdle
	case w.press == pressSpoiled:
	case r.value == interlock.Unknown:
		next = pressSpoiled
	case w.press == pressIdle:
		if high && r.fresh {
			next = pressSpoiled
			if w.was && ready {
				next = pressDown
			}
		}
	case !ready, high && (w.press == pressUp || s.Button.Held >= h.config.Press.Max), low && r.fresh && w.press == pressDown && s.Button.Held < h.config.Press.Min:
		next = pressSpoiled
	case low && r.fresh:
		given = w.press == pressUp
		next = pressUp
		if given {
			next = pressIdle
		}
	}
	v.watch.press = next
	v.watch.button = buttonOf(r.value)
	return given
}
