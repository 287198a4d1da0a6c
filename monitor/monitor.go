// Package monitor watches one earth connection.
//
// Picture a careful hand on a clamp: it waits until the grip has been firm for
// a while before it says "connected", it forgives a short shake, and it lets go
// of its good opinion when the shaking lasts, when the line goes dead, or when
// nobody has told it anything new for too long.
//
// The whole channel is one pure function, Step: a value in, a value out, no
// clock, no input or output, no allocation. Time is a count of scans. The
// simulator, the replay, the rig, the live page and the prover all call it.
package monitor

// Scans counts turns of the logic. Every counter saturates; none wraps.
type Scans uint32

// ScansMax is the largest count; a configured time that does not fit below it
// is refused when the site is loaded.
const ScansMax = ^Scans(0)

// Next is the count one scan later, saturating.
func (n Scans) Next() Scans {
	if n == ScansMax {
		return n
	}
	return n + 1
}

// Microohm is a resistance in millionths of an ohm. Integers, because Go may
// fuse floating-point operations differently on different processors; 63 bits
// reach past 1e12 Ω.
type Microohm int64

// Quality is what the measuring device says of one reading. The zero value is
// "nothing arrived".
type Quality uint8

const (
	Absent    Quality = iota // nothing arrived in this scan
	Bad                      // arrived, and the device says: do not use it
	OverRange                // arrived, and the device says: above what I can measure
	Valid                    // arrived, and Value is the measurement
)

// Reading is one measurement as it reaches the logic in one scan.
type Reading struct {
	Value   Microohm // meaningful only with quality Valid
	Quality Quality
	// Stamp is what the device says of when it measured: a sequence number,
	// or its own clock. The same stamp twice is the same measurement handed
	// over again. Ignored where Config.Stamped is false.
	Stamp uint16
}

// Class is what one scan's reading means. The zero value is the one that says
// least: no news.
type Class uint8

const (
	Missing Class = iota // no fresh reading for longer than stale-after
	Invalid              // bad quality, negative, below the floor, outside the valid band
	Open                 // over-range by configuration, or at or above open-above
	High                 // above reject
	Between              // above accept, not above reject
	Good                 // at or below accept
	Classes = iota
)

// Phase is the channel's opinion of its connection. The zero value denies.
type Phase uint8

const (
	Unconnected Phase = iota // no connection seen
	Settling                 // good, but not yet for long enough
	Bonded                   // connected; fit to start and fit to keep running
	Doubtful                 // was bonded, now bad or recovering; fit to keep running only
	Lost                     // the connection was bad for longer than patience
	Unreadable               // nothing usable is known of the connection
	Phases      = iota
)

// Config is one channel's setting, in scans and integer parts. Site files are
// turned into it with every rounding to the safe side; Validate tells what it
// must satisfy.
type Config struct {
	Accept    Microohm // at or below: good
	Reject    Microohm // above: high
	OpenAbove Microohm // at or above: open; must be above Reject
	Floor     Microohm // below: invalid (a connection cannot be this good); 0 refuses negatives only
	ValidMax  Microohm // above: invalid; 0 means the transmitter has no upper band limit

	OverRangeIsOpen bool // over-range is an open circuit, not a broken instrument
	Stamped         bool // the device tells when it measured; if false every arrival is fresh

	StaleAfter Scans // this many scans may pass without a fresh reading; one more is missing

	SettleScans    Scans // scans in settling, the first good one included, before a bond counts
	SettleReadings Scans // fresh good readings needed as well; at least 3
	SettlePause    Scans // invalid or missing scans that one settling may contain

	Full        Parts          // the budget of doubt
	Cost        [Classes]Parts // what one scan of a class spends; Full spends all at once; 0 for good and between
	Repay       Parts          // what one fresh good scan repays; Full is the consecutive rule
	LongestStay Scans          // scans that doubtful may last, the first one not counted
}

// Parts is an amount of doubt, in integer parts of a channel's budget.
type Parts uint32

// Control is the part of a channel's memory that decides. Two channels with
// equal configuration and equal Control behave alike for ever.
type Control struct {
	Phase Phase
	Class Class // class in effect
	Age   Scans // scans since the last fresh reading, saturating just above StaleAfter

	Run    Scans // settling: scans since it began, the first one counted
	Count  Scans // settling: fresh good readings
	Paused Scans // settling: invalid or missing scans

	Doubt Parts // doubtful: budget spent so far
	Stay  Scans // doubtful: scans since it began
}

// State is all that a channel remembers; comparable, and its zero value denies.
// Stamp and Spent never move the phase: Stamp only recognises a repeated
// measurement, Spent only names the cause of a loss.
type State struct {
	Control
	Stamp uint16
	Seen  bool           // a reading has arrived since power-up, so Stamp means something
	Spent [Classes]Parts // which class spent how much of the doubt, since bonded
}

// MayStart reports fitness to start: the connection is bonded, without doubt.
func (p Phase) MayStart() bool { return p == Bonded }

// MayKeep reports fitness to keep running.
func (p Phase) MayKeep() bool { return p == Bonded || p == Doubtful }

// Step is one scan of one channel.
func Step(c *Config, s State, in Reading) State {
	s.Step(c, in)
	return s
}

// Step is the same in place, for callers that keep many channels: copying a
// state costs more than a scan of it.
func (s *State) Step(c *Config, in Reading) {
	// A bonded channel that reads good is nearly every scan of its life. Validate
	// has seen to it that what lies between floor and accept is good.
	if s.Phase == Bonded && in.Quality == Valid && in.Value <= c.Accept && in.Value >= c.Floor && in.Stamp-s.Stamp-1 < 1<<15-1 {
		s.Class, s.Age, s.Stamp, s.Seen = Good, 0, in.Stamp, true
		return
	}
	s.step(c, in)
}

func (s *State) step(c *Config, in Reading) {
	news, before := s.hear(c, in), s.Phase
	advance(c, &s.Control, news)
	if before != Bonded || s.Phase != Bonded {
		s.account(c, before)
	}
}

// Hear reduces a reading to the class of what is new in it; Missing if nothing
// is. Bad quality is news whatever its stamp: doubt needs no proof.
func Hear(c *Config, s *State, in Reading) Class {
	listener := *s
	return listener.hear(c, in)
}

// hear is Hear, and remembers the stamp of a measurement. That of a bad frame
// proves nothing.
func (s *State) hear(c *Config, in Reading) Class {
	switch in.Quality {
	case Valid, OverRange:
		if !isFresh(c, s, in.Stamp) {
			return Missing
		}
		s.Stamp, s.Seen = in.Stamp, true
		return classify(c, in)
	case Absent:
		return Missing
	}
	return Invalid // bad, or a quality that nobody declared
}

// isFresh tells a new measurement from one handed over again or out of order.
// Once the channel has been stale, for one scan at least, any changed stamp is
// believed, so that a device that restarted its numbering is heard again.
// Any earlier, and a gateway that hands over two old measurements in turn would
// never be found missing.
func isFresh(c *Config, s *State, stamp uint16) bool {
	if !c.Stamped || !s.Seen {
		return true
	}
	ahead := stamp - s.Stamp // modulo 2^16: below half the circle is newer
	return ahead != 0 && (ahead < 1<<15 || s.Age > c.StaleAfter)
}

// classify sorts a fresh reading that is not of bad quality.
func classify(c *Config, in Reading) Class {
	if in.Quality == OverRange {
		if c.OverRangeIsOpen {
			return Open
		}
		return Invalid
	}
	// Assignments, not returns, and of a whole word: the compiler then needs no
	// jump that a random reading could lead astray.
	v, class := in.Value, uint32(Good)
	if v > c.Accept {
		class = uint32(Between)
	}
	if v > c.Reject {
		class = uint32(High)
	}
	if v >= c.OpenAbove {
		class = uint32(Open)
	}
	if v < 0 || v < c.Floor || (c.ValidMax > 0 && v > c.ValidMax) { // first match, so it has the last word
		class = uint32(Invalid)
	}
	return Class(class)
}

// Advance moves the deciding part by one scan's news; Missing says that there
// is none. Class in the result is the class in effect: a gap no longer than
// stale-after repeats the last one.
func Advance(c *Config, s Control, news Class) Control {
	if news >= Classes { // no class at all
		news = Invalid
	}
	advance(c, &s, news)
	return s
}

func advance(c *Config, s *Control, news Class) {
	fresh := news != Missing
	if fresh {
		s.Class, s.Age = news, 0
	} else if s.Age = limited(s.Age, c.StaleAfter.Next()); s.Age > c.StaleAfter {
		s.Class = Missing
	}
	if idling>>s.Phase&1 == 1 {
		if s.Class != Good || fresh { // a repeated good reading begins nothing
			s.Phase = idle[s.Phase][s.Class]
		}
		if s.Phase == Settling {
			settle(c, s, fresh)
		}
		return
	}
	switch s.Phase {
	case Bonded:
		if s.Class != Good && s.Class != Between {
			s.Phase = Doubtful
			spend(c, s)
		}
	case Doubtful:
		doubt(c, s, fresh)
	case Settling:
		settle(c, s, fresh)
	default: // no phase at all
		become(s, Unreadable)
	}
}

const idling = 1<<Unconnected | 1<<Lost | 1<<Unreadable

// idle is the next phase of a channel that is neither bonded nor settling.
var idle = [Phases][Classes]Phase{
	Unconnected: {Missing: Unreadable, Invalid: Unreadable, Open: Unconnected, High: Unconnected, Between: Unconnected, Good: Settling},
	Lost:        {Missing: Unreadable, Invalid: Unreadable, Open: Lost, High: Lost, Between: Lost, Good: Settling},
	Unreadable:  {Missing: Unreadable, Invalid: Unreadable, Open: Unconnected, High: Unconnected, Between: Unconnected, Good: Unconnected},
}

// settle counts good time and fresh good readings. Time also runs through a
// gap shorter than stale-after; the bond itself is only ever given on a fresh
// good reading.
func settle(c *Config, s *Control, fresh bool) {
	switch s.Class {
	case Good:
		s.Run = limited(s.Run, c.SettleScans)
		if !fresh {
			return
		}
		s.Count = limited(s.Count, c.SettleReadings)
		if s.Run >= c.SettleScans && s.Count >= c.SettleReadings {
			become(s, Bonded)
		}
	case Between:
		s.Run, s.Count, s.Paused = 0, 0, 0
	case High, Open:
		become(s, Unconnected)
	default:
		s.Paused = s.Paused.Next()
		if s.Paused > c.SettlePause {
			become(s, Unreadable)
		}
	}
}

// doubt repays and spends the budget of a doubtful channel.
func doubt(c *Config, s *Control, fresh bool) {
	s.Stay = s.Stay.Next()
	switch s.Class {
	case Good:
		if fresh {
			s.Doubt -= min(s.Doubt, c.Repay)
			if s.Doubt == 0 {
				become(s, Bonded)
				return
			}
		}
	case Between: // neither spends nor repays
	default:
		spend(c, s)
	}
	if s.Phase == Doubtful && s.Stay >= c.LongestStay {
		become(s, Lost)
	}
}

// spend takes what the class in effect costs; what takes the last of the budget
// says where the channel goes.
func spend(c *Config, s *Control) {
	s.Doubt += min(c.Full-s.Doubt, c.Cost[s.Class])
	if s.Doubt == c.Full {
		become(s, spentPhase(s.Class))
	}
}

// spentPhase is where a channel goes when a class has spent the last of the
// budget.
func spentPhase(class Class) Phase {
	if class == Invalid || class == Missing {
		return Unreadable
	}
	return Lost
}

// become enters a phase with all of its counters at zero.
func become(s *Control, p Phase) {
	*s = Control{Phase: p, Class: s.Class, Age: s.Age}
}

// limited counts one more, but not past the point where the count decides
// nothing any more: fewer states, same answers.
func limited(n, limit Scans) Scans {
	if n >= limit {
		return limit
	}
	return n + 1
}

// account keeps who caused the doubt. It stands through the scan of the loss
// and on, so that the cause can be named; bonded clears it.
func (s *State) account(c *Config, before Phase) {
	if s.Phase == Bonded {
		s.Spent = [Classes]Parts{}
		return
	}
	if before.MayKeep() {
		s.Spent[s.Class] += min(c.Cost[s.Class], ^Parts(0)-s.Spent[s.Class])
	}
}

// Cause is the class that spent most of the doubt since the channel was last
// bonded; the worse reading of two that spent alike. Missing if none spent.
func (s *State) Cause() Class {
	cause := Missing
	for class := Invalid; class < Good; class++ {
		if s.Spent[class] > s.Spent[cause] {
			cause = class
		}
	}
	return cause
}
