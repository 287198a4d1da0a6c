package table

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// Level is a binary input as a button sees it in one scan.
type Level struct {
	Value interlock.Truth
	Fresh bool
}

// Levels lists every way in which a binary input can show itself. Which of them
// can follow which is left free: more than an input can do, never less.
var Levels = [5]Level{{interlock.False, true}, {interlock.True, true}, {interlock.False, false}, {interlock.True, false}, {interlock.Unknown, false}}

// shared classes: what withholds an output for reasons outside of it.
const (
	SharedNone = iota
	SharedWait // a wait or an early reconnection: forbids a start only
	SharedStop
	SharedHard // overrun, power-up or backup: trips
	SharedClasses
)

var sharedReasons = [SharedClasses]interlock.Reasons{0, interlock.ReasonWait, interlock.ReasonStop, interlock.ReasonOverrun}

// Ends is what an actuator's end switches say.
type Ends struct {
	Closed, Opened   interlock.Truth
	Home, Away, Dark bool
	Open             bool // a switch says that it is not stopped
}

// endsOf lists the different things that the switches of an output can say.
func endsOf(o *interlock.Output) []Ends {
	side := func(ref interlock.Ref) []interlock.Truth {
		if ref == 0 {
			return []interlock.Truth{interlock.Unknown}
		}
		return model.Truths[:]
	}
	var all []Ends
	for _, closed := range side(o.Closed) {
		for _, opened := range side(o.Opened) {
			e := EndsFor(o, closed, opened)
			known := false
			for _, have := range all {
				known = known || have.Home == e.Home && have.Away == e.Away && have.Dark == e.Dark && have.Open == e.Open
			}
			if !known {
				all = append(all, e)
			}
		}
	}
	return all
}

func EndsFor(o *interlock.Output, closed, opened interlock.Truth) Ends {
	return Ends{
		Closed: closed, Opened: opened,
		Home: (o.Closed == 0 || closed == interlock.True) && (o.Opened == 0 || opened == interlock.False),
		Away: (o.Closed == 0 || closed == interlock.False) && (o.Opened == 0 || opened == interlock.True),
		Dark: o.Closed != 0 && closed == interlock.Unknown || o.Opened != 0 && opened == interlock.Unknown,
		Open: closed == interlock.False || opened == interlock.True,
	}
}

// OutputScan is one letter of an output: everything that a scan brings to it.
type OutputScan struct {
	Perm         interlock.Truth
	Shared       uint8
	Ended        bool
	Ends         uint8 // number in endsOf
	Reset, Begin uint8 // number in levels
}

func (l *OutputScan) Arm(o *OutputShape) interlock.OutputScan {
	e := &o.Ends[l.Ends]
	return interlock.OutputScan{
		Keep: l.Perm, Start: l.Perm, Shared: sharedReasons[l.Shared], Ended: l.Ended,
		Home: e.Home, Away: e.Away, Dark: e.Dark,
		Reset: Levels[l.Reset].Value, ResetFresh: Levels[l.Reset].Fresh,
		Begin: Levels[l.Begin].Value, BeginFresh: Levels[l.Begin].Fresh,
	}
}

// arms are the scans that a letter stands for. To start, both values of the
// permissive must be true, over fit-to-start and over fit-to-keep: under a NOT
// either can be the worse one, so each is tried in turn. An output that runs is
// asked over fit-to-keep alone.
func (l *OutputScan) arms(o *OutputShape, running bool) (list [2]interlock.OutputScan, n int) {
	list[0] = l.Arm(o)
	switch {
	case running:
		list[0].Start = interlock.Unknown
	case l.Perm != interlock.True:
		list[1] = list[0]
		list[0].Start, list[1].Keep = interlock.True, interlock.True
		return list, 2
	}
	return list, 1
}

// OutputShape says how the memory of an output is cut into abstract states. In
// brief form its buttons, its on-delay and what they have armed are forgotten
// between scans: any of their values may stand there in any scan.
type OutputShape struct {
	Config             *interlock.Output
	Brief              bool
	On, Held, Disagree model.Cells
	Ends               []Ends
}

func ShapeOf(o *interlock.Output, brief bool) *OutputShape {
	return &OutputShape{
		Config: o, Brief: brief,
		On:       model.CellsOf(o.OnDelay.Next(), 0, 1, o.OnDelay, o.OnDelay.Next()),
		Held:     model.CellsOf(max(o.Press.Max, 1), 0, 1, 2, o.Press.Min, o.Press.Max),
		Disagree: model.CellsOf(o.Travel.Next(), 0, 1, o.Travel, o.Travel.Next()),
		Ends:     endsOf(o),
	}
}

// Pack is the abstract state of an output. Cells number at most 8 each.
func (h *OutputShape) Pack(s interlock.OutputControl) uint32 {
	p := Packer{}
	p.Add(uint32(s.Mode), 2)
	p.Add(h.Disagree.Index(s.Disagree), 3)
	p.Add(uint32(s.Unconfirmed), 4)
	p.Flag(s.SeenAway)
	p.Flag(s.SeenHome)
	if h.Brief {
		return p.Word
	}
	p.Add(h.On.Index(s.On), 3)
	p.Flag(s.Ready)
	p.Flag(s.Armed)
	p.Flag(s.StartLow)
	p.Add(uint32(s.Button.Phase), 3)
	p.Add(h.Held.Index(s.Button.Held), 3)
	p.Flag(s.Button.Released)
	return p.Word
}

// Each calls f with every concrete memory that stands for an abstract one.
func (h *OutputShape) Each(word uint32, f func(interlock.OutputControl)) {
	p := Packer{Word: word}
	var s interlock.OutputControl
	s.Mode = interlock.Mode(p.take(2))
	disagree := p.take(3)
	s.Unconfirmed = interlock.Unconfirmed(p.take(4))
	s.SeenAway, s.SeenHome = p.took(), p.took()
	if h.Brief {
		h.Disagree.Each(disagree, func(n model.Scans) {
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
	h.Disagree.Each(disagree, func(n model.Scans) {
		s.Disagree = n
		h.On.Each(on, func(n model.Scans) {
			s.On = n
			h.Held.Each(held, func(n model.Scans) {
				s.Button.Held = n
				f(s)
			})
		})
	})
}

// forgotten calls f with the values of the forgotten memory that lead to every
// different end: a press about to be given or not, armed or not, a start command
// about to count or not. A test compares them with all values.
func (h *OutputShape) forgotten(s interlock.OutputControl, f func(interlock.OutputControl)) {
	if s.Mode == interlock.Enabled {
		f(s)
		return
	}
	about := interlock.Button{Phase: interlock.Pressed, Held: h.Config.Press.Min, Released: true}
	for bits := 0; bits < 8; bits++ {
		s.On = model.Scans(bits&1) * h.Config.OnDelay
		s.Armed = bits>>1&1 == 1
		s.Ready, s.StartLow = true, true
		s.Button = interlock.Button{Phase: interlock.Idle}
		if bits>>2&1 == 1 {
			s.Button = about
		}
		f(s)
	}
}

// Packer puts small numbers into one word and takes them out in the same order.
type Packer struct {
	Word uint32
	at   uint
}

func (p *Packer) Add(v uint32, bits uint) {
	p.Word |= v << p.at
	p.at += bits
}

func (p *Packer) Flag(b bool) {
	if b {
		p.Add(1, 1)
	} else {
		p.Add(0, 1)
	}
}

func (p *Packer) take(bits uint) uint32 {
	v := p.Word >> p.at & (1<<bits - 1)
	p.at += bits
	return v
}

func (p *Packer) took() bool { return p.take(1) == 1 }
