package judge

import (
	"fmt"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Stimulus is one change that was shown to the unit.
type Stimulus struct {
	Scan     uint64
	Name     string // channel or input
	When     interval.Moment
	From, To string
	Class    monitor.Class // of a channel, afterwards
	Channel  bool
	Clean    bool // the channel was bonded, without doubt, before
	Minor    bool // of a channel: another value of the same class
	Supply   bool // of the unit: it reaches every output
}

// String is the stimulus for people.
func (s *Stimulus) String() string { return fmt.Sprintf("%s %s -> %s", s.Name, s.From, s.To) }

// Answer is one change of a contact of the unit.
type Answer struct {
	Output int
	On     bool
	When   interval.Moment
	Scan   uint64
}

// Decided is one change by the logic itself, held against which the unit is judged.
type Decided struct {
	Output   int
	On       bool
	Scan     uint64
	FirstOut []int // of a trip: causes
	// Unconfirmed: of a trip that no cause made, but an actuator that did not report in time.
	Unconfirmed bool
}

// Observed is everything that one run of a scenario showed the unit, decided beside it and saw of it.
type Observed struct {
	Map      *wiring.Map
	Logic    *interlock.Config
	Stimuli  []Stimulus
	Answers  []Answer
	Decided  []Decided
	Begun    port.Stamp // scan zero
	Ended    port.Stamp // after this nothing is known of the contacts
	MostLag  time.Duration
	FirstLag *Lag     // the first lag that was longer than a rig always has
	Glitches []Glitch // steps of a decade that the unit may have tripped on
}

// Lag is a moment from which on the unit was shown another course of time than the logic: the logic counts scans, the unit
// lives through what lies between them.
type Lag struct {
	Scan uint64
	By   time.Duration
}

// Glitch is a step after which a trip would be no fault of the unit.
type Glitch struct {
	Channel  int
	From, To float64 // seconds of the scenario
	Text     string
}
