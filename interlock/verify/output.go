package verify

import (
	"ohmgate/interlock"
)

// level is a binary input as a button sees it in one scan.
type level struct {
	value interlock.Truth
	fresh bool
}

// levels lists every way in which a binary input can show itself. Which of them
// can follow which is left free: more than an input can do, never less.
var levels = [5]level{{interlock.False, true}, {interlock.True, true}, {interlock.False, false}, {interlock.True, false}, {interlock.Unknown, false}}

// shared classes: what withholds an output for reasons outside of it.
const (
	sharedNone = iota
	sharedWait // a wait or an early reconnection: forbids a start only
	sharedStop
	sharedHard // overrun, power-up or backup: trips
	sharedClasses
)

var sharedReasons = [sharedClasses]interlock.Reasons{0, interlock.ReasonWait, interlock.ReasonStop, interlock.ReasonOverrun}

// ends is what an actuator's end switches say.
type ends struct {
	closed, opened   interlock.Truth
	home, away, dark bool
	open             bool // a switch says that it is not stopped
}

// endsOf lists the different things that the switches of an output can say.
func endsOf(o *interlock.Output) []ends {
	side := func(ref interlock.Ref) []interlock.Truth {
		if ref == 0 {
			return []interlock.Truth{interlock.Unknown}
		}
		return truths[:]
	}
	var all []ends
	for _, closed := range side(o.Closed) {
		for _, opened := range side(o.Opened) {
			e := endsFor(o, closed, opened)
			known := false
			for _, have := range all {
				known = known || have.home == e.home && have.away == e.away && have.dark == e.dark && have.open == e.open
			}
			if !known {
				all = append(all, e)
			}
		}
	}
	return all
}

func endsFor(o *interlock.Output, closed, opened interlock.Truth) ends {
	return ends{
		closed: closed, opened: opened,
		home: (o.Closed == 0 || closed == interlock.True) && (o.Opened == 0 || opened == interlock.False),
		away: (o.Closed == 0 || closed == interlock.False) && (o.Opened == 0 || opened == interlock.True),
		dark: o.Closed != 0 && closed == interlock.Unknown || o.Opened != 0 && opened == interlock.Unknown,
		open: closed == interlock.False || opened == interlock.True,
	}
}

// outputScan is one letter of an output: everything that a scan brings to it.
type outputScan struct {
	perm         interlock.Truth
	shared       uint8
	ended        bool
	ends         uint8 // number in endsOf
	reset, begin uint8 // number in levels
}

func (l *outputScan) arm(o *outputShape) interlock.OutputScan {
	e := &o.ends[l.ends]
	return interlock.OutputScan{
		Keep: l.perm, Start: l.perm, Shared: sharedReasons[l.shared], Ended: l.ended,
		Home: e.home, Away: e.away, Dark: e.dark,
		Reset: levels[l.reset].value, ResetFresh: levels[l.reset].fresh,
		Begin: levels[l.begin].value, BeginFresh: levels[l.begin].fresh,
	}
}

// arms are the scans that a letter stands for. To start, both values of the
// permissive must be true, over fit-to-start and over fit-to-keep: under a NOT
// either can be the worse one, so each is tried in turn. An output that runs is
// asked over fit-to-keep alone.
func (l *outputScan) arms(o *outputShape, running bool) (list [2]interlock.OutputScan, n int) {
	list[0] = l.arm(o)
	switch {
	case running:
		list[0].Start = interlock.Unknown
	case l.perm != interlock.True:
		list[1] = list[0]
		list[0].Start, list[1].Keep = interlock.True, interlock.True
		return list, 2
	}
	return list, 1
}

// outputShape says how the memory of an output is cut into abstract states. In
// brief form its buttons, its on-delay and what they have armed are forgotten
// between scans: any of their values may stand there in any scan.
type outputShape struct {
	config             *interlock.Output
	brief              bool
	on, held, disagree cells
	ends               []ends
}

func shapeOf(o *interlock.Output, brief bool) *outputShape {
	return &outputShape{
		config: o, brief: brief,
		on:       cellsOf(o.OnDelay.Next(), 0, 1, o.OnDelay, o.OnDelay.Next()),
		held:     cellsOf(max(o.Press.Max, 1), 0, 1, 2, o.Press.Min, o.Press.Max),
		disagree: cellsOf(o.Travel.Next(), 0, 1, o.Travel, o.Travel.Next()),
		ends:     endsOf(o),
	}
}

// pack is the abstract state of an output. Cells number at most 8 each.
func (h *outputShape) pack(s interlock.OutputControl) uint32 {
	p := packer{}
	p.add(uint32(s.Mode), 2)
	p.add(h.disagree.index(s.Disagree), 3)
	p.add(uint32(s.Unconfirmed), 4)
	p.flag(s.SeenAway)
	p.flag(s.SeenHome)
	if h.brief {
		return p.word
	}
	p.add(h.on.index(s.On), 3)
	p.flag(s.Ready)
	p.flag(s.Armed)
	p.flag(s.StartLow)
	p.add(uint32(s.Button.Phase), 3)
	p.add(h.held.index(s.Button.Held), 3)
	p.flag(s.Button.Released)
	return p.word
}

// each calls f with every concrete memory that stands for an abstract one.
func (h *outputShape) each(word uint32, f func(interlock.OutputControl)) {
	p := packer{word: word}
	var s interlock.OutputControl
	s.Mode = interlock.Mode(p.take(2))
	disagree := p.take(3)
	s.Unconfirmed = interlock.Unconfirmed(p.take(4))
	s.SeenAway, s.SeenHome = p.took(), p.took()
	if h.brief {
		h.disagree.each(disagree, func(n Scans) {
			s.Disagree = n
			h.forgotten(s, f)
		})
		return
	}
	on := p.take(3)
	s.Ready, s.Armed, s.StartLow = p.took(), p.took(), p.took()
	s.Button.Phase = interlock.PressPhase(p.take(3))
	held := p.take(3)
	s.Button.Released = p.took()
	h.disagree.each(disagree, func(n Scans) {
		s.Disagree = n
		h.on.each(on, func(n Scans) {
			s.On = n
			h.held.each(held, func(n Scans) {
				s.Button.Held = n
				f(s)
			})
		})
	})
}

// forgotten calls f with the values of the forgotten memory that lead to every
// different end: a press about to be given or not, armed or not, a start command
// about to count or not. A test compares them with all values.
func (h *outputShape) forgotten(s interlock.OutputControl, f func(interlock.OutputControl)) {
	if s.Mode == interlock.Enabled {
		f(s)
		return
	}
	about := interlock.Button{Phase: interlock.Pressed, Held: h.config.Press.Min, Released: true}
	for bits := 0; bits < 8; bits++ {
		s.On = Scans(bits&1) * h.config.OnDelay
		s.Armed = bits>>1&1 == 1
		s.Ready, s.StartLow = true, true
		s.Button = interlock.Button{Phase: interlock.Idle}
		if bits>>2&1 == 1 {
			s.Button = about
		}
		f(s)
	}
}

// packer puts small numbers into one word and takes them out in the same order.
type packer struct {
	word uint32
	at   uint
}

func (p *packer) add(v uint32, bits uint) {
	p.word |= v << p.at
	p.at += bits
}

func (p *packer) flag(b bool) {
	if b {
		p.add(1, 1)
	} else {
		p.add(0, 1)
	}
}

func (p *packer) take(bits uint) uint32 {
	v := p.word >> p.at & (1<<bits - 1)
	p.at += bits
	return v
}

func (p *packer) took() bool { return p.take(1) == 1 }
