// Package interlock decides which outputs may run.
//
// Picture a shift leader with a list: every pump and valve has the conditions
// under which it may run; whoever stops it must say so, nobody starts it by
// accident, and nobody touches a vessel that may be charged until its wait is
// over. What the shift leader does not know does not help.
//
// The whole site is one pure function, Step, composed of small pure functions
// over small comparable values: no clock, no input or output, no allocation.
// SEMANTICS.md beside this file states every rule exactly.
package interlock

import "ohmgate/monitor"

// Scans counts turns of the logic.
type Scans = monitor.Scans

// Ref names an input by its number plus one, so that zero names none.
type Ref uint16

// Config is the logic of one site, in scans and numbers. Compile derives the
// rest and refuses what could not be trusted.
type Config struct {
	Channels []Channel
	Inputs   []Input
	Streams  []Stream
	Vessels  []Vessel
	Outputs  []Output
	Bypasses []Bypass

	// PollScans is one bus cycle: causes that turn up within it came in an
	// order that nobody knows.
	PollScans Scans

	order []int // outputs, each after all that call it as their backup
}

// Channel is a monitored connection and the evidence that it is on the right
// object, if any: the input must be true for the channel to count.
type Channel struct {
	monitor.Config
	Evidence Ref
}

// Input is one binary input.
type Input struct {
	Inverted   bool
	StaleAfter Scans // this many scans may pass without a signal before the value is unknown
}

// Stream is product that charges vessels while it flows through all of its
// outputs, one after the other.
type Stream struct {
	Through []int // outputs in series: one that is confirmed stopped stops the stream
	Charges []int // vessels
	Flow    Ref   // flow switch, true while product moves
	// RunDown is how long charge still arrives after the stop is confirmed, or,
	// where no output in Through has a confirmation, the longest time that it
	// can take from the command on.
	RunDown Scans

	confirmable bool
}

// Vessel is a conductive thing that can be charged.
type Vessel struct {
	BondedBy Permissive // over channels: the vessel has its earth
	Wait     Scans      // after confirmed end of flow, before it is run again
	Rest     Scans      // after confirmed end of flow, before it is unclamped

	Acknowledge Ref // clears "reconnected early"
	Press       Press

	chargedBy []int // streams
	channels  CauseSet
}

// Press is how long a deliberate press of a button is, in scans.
type Press struct{ Min, Max Scans }

// Output is a pump, a valve or another consumer, energised to run or open.
type Output struct {
	Permissive Permissive
	OnDelay    Scans
	Automatic  bool // restarts without a press; refused where a vessel has a wait
	Reset      Ref
	Press      Press
	Start      Ref // a press starts it; without one the reset itself does
	Stop       Ref // true or unknown stops it

	Closed Ref   // end switch, true when stopped or closed
	Opened Ref   // end switch, true when running or open
	Travel Scans // from either end to the other

	Backup []int // outputs withheld when this one stays open
	AtOnce bool  // …or already when it trips

	streams []int
	calls   []int // outputs that call this one as their backup
	vessels []int // charged through this output
}

func (o *Output) confirmable() bool { return o.Closed != 0 || o.Opened != 0 }

// Bypass lets a transfer go on with an unreadable channel, for a limited time.
type Bypass struct {
	Input   Ref
	Channel int
	For     Scans // how long it lasts
	Warn    Scans // this long before its end people are told; at least one scan
	Gap     Scans // after its end, with the button seen released, before the next
	// CoversLost extends it to a lost channel. The site must name the measure
	// that compensates.
	CoversLost bool
}
