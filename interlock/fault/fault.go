// Package fault is the catalogue of what can go wrong around an interlock.
//
// Picture the list on the wall of a good workshop: every way in which a clamp,
// a wire, an instrument, a valve or a person has let somebody down before, what
// it looks like from the control room, and what it does not look like at all.
//
// An entry says what a fault models, which parameters it takes, and what it can
// do to readings, inputs and outputs as the logic sees them. The simulator gives
// each entry its physics; the prover gives each entry its freedom. A fault that
// is not in the catalogue exists for neither.
package fault

import (
	"sort"

	"ohmgate/monitor"
)

// Target is what a fault acts on.
type Target uint8

const (
	OnNothing  Target = iota
	OnChannel         // a monitored earth connection
	OnInput           // a binary input
	OnOutput          // a pump, valve, fan, conveyor or mixer
	OnBypass          // a bypass, through its key
	OnBus             // channels and inputs that share a line; all of them where none is named
	OnLogic           // the machine that turns the logic
	targetKind = iota
)

var targetNames = [targetKind]string{"nothing", "channel", "input", "output", "bypass", "bus", "logic"}

func (t Target) String() string { return targetNames[t] }

// Unit is what a parameter is measured in.
type Unit uint8

const (
	Ohm Unit = iota
	Second
	Volt
	Hertz
	Celsius
	PerMinute
	Share // written in per cent
	Word  // one of Param.Words
)

// Param is one parameter of a fault.
type Param struct {
	Name    string
	Unit    Unit
	Default string // as written in a scenario; empty: must be given
	Words   []string
	What    string
}

// Readings is a set of what a channel's readings may look like while a fault
// acts. Zero: the fault leaves readings alone.
type Readings uint16

const (
	AsBefore     Readings = 1 << iota // the reading that would have come anyway
	ReadsGood                         // at or below accept, whatever is true
	ReadsBetween                      // above accept, not above reject
	ReadsHigh                         // above reject
	ReadsOpen                         // at or above open-above
	ReadsOver                         // over-range, as the device says it
	ReadsInvalid                      // bad quality, negative, below the floor or outside the valid band
	NothingComes                      // no reading arrives
	ComesAgain                        // an old measurement arrives again, with its old stamp
	readingKinds = iota
)

var readingTexts = [readingKinds]string{
	"as before", "good", "between", "high", "open", "over-range", "invalid", "nothing arrives", "an old measurement again",
}

// Each calls f with the text of every member, in fixed order.
func (r Readings) Each(f func(text string)) { eachText(uint16(r), readingTexts[:], f) }

// Signals is a set of what a binary input may look like while a fault acts: on the
// wire, before any inversion, or as its contact stands, whichever way that is wired.
// Zero: the fault leaves inputs alone.
type Signals uint8

const (
	SignalAsBefore Signals = 1 << iota
	SignalLow
	SignalHigh
	SignalFaulty // the module says: do not use it
	NoSignal     // nothing arrives
	ContactMade  // held down
	ContactOpen
	signalKinds = iota
)

var signalTexts = [signalKinds]string{"as before", "0", "1", "faulty", "nothing arrives", "made", "open"}

// Each calls f with the text of every member, in fixed order.
func (s Signals) Each(f func(text string)) { eachText(uint16(s), signalTexts[:], f) }

// Actuator is a set of what an actuator may do against its command while a
// fault acts. Zero: the fault leaves actuators alone.
type Actuator uint8

const (
	StaysOpen     Actuator = 1 << iota // withheld, and keeps running or open
	StaysShut                          // enabled, and does not run or open
	StaysBetween                       // stops on its way
	MovesLate                          // follows its command later than its travel time
	actuatorKinds = iota
)

var actuatorTexts = [actuatorKinds]string{"stays open", "stays shut", "stays half-way", "moves late"}

// Each calls f with the text of every member, in fixed order.
func (a Actuator) Each(f func(text string)) { eachText(uint16(a), actuatorTexts[:], f) }

// Machine is a set of what may happen to the machine that turns the logic.
type Machine uint8

const (
	LosesMemory  Machine = 1 << iota // starts again from power-up
	Overruns                         // a scan takes longer than it may
	machineKinds = iota
)

var machineTexts = [machineKinds]string{"loses its memory", "overruns its scan"}

// Each calls f with the text of every member, in fixed order.
func (m Machine) Each(f func(text string)) { eachText(uint16(m), machineTexts[:], f) }

func eachText(set uint16, texts []string, f func(string)) {
	for i, text := range texts {
		if set>>i&1 == 1 {
			f(text)
		}
	}
}

// Sees is all that the logic can see of a fault.
type Sees struct {
	Readings Readings
	Signals  Signals
	Actuator Actuator
	Machine  Machine
}

// Bond is what is true of the connection between a part and earth while a fault acts
// on its channel. Zero is the worst.
type Bond uint8

const (
	BondGone   Bond = iota // the part floats, whatever is read
	BondAsRead             // it floats while it reads high, open or nothing, and wherever the fault hides that
	BondStays              // the fault is elsewhere: in the wire, the instrument, on the bus
)

// Course is what a fault does as time passes. Zero is the worst.
type Course uint8

const (
	ComesAndGoes Course = iota // in any scan it may show anything of what it can show, or nothing
	Steady                     // in every scan the same, or what moves one way and then stays
	Bounces                    // for a moment after a change, never the same for long
)

// Hides is where a loss can look good for ever while a fault acts, so that no rule on
// the reading or the input can notice it. Zero, nobody said, is taken for everywhere,
// and yet does not excuse the interlock: a test demands that it is said.
type Hides uint8

const (
	HidesUnsaid       Hides = iota
	HidesALoss              // everywhere
	HidesFromTheClamp       // but for a channel that closes through the part's own way to earth
	HidesFromTheSlow        // from an instrument that takes longer than a scan to follow: it shows a mean
	HidesUnstamped          // where no stamp of the device tells an old measurement from a new one
	HidesNothing            // as long as what it adds or takes is no more than reject
)

// Way is where a fault moves what a channel reads. Zero is the worst.
type Way uint8

const (
	AnyWay Way = iota
	Lower      // only down: what lies in parallel
	Higher     // only up: what lies in series
)

// Evidence is what becomes of the object evidence of a channel while a fault acts on
// it. Zero is the worst.
type Evidence uint8

const (
	EvidenceFree Evidence = iota // it may stay, and it may go
	EvidenceStays
)

// Uses is a set of what an input is used for. Zero, as the inputs that a fault fits,
// is every use.
type Uses uint8

const (
	Buttons Uses = 1 << iota
	EndSwitches
)

// Fault is one entry of the catalogue: all that is said of a fault anywhere. What an
// entry leaves out is taken for the worst, so that a fault that was written in a hurry
// gets no row that is too good.
type Fault struct {
	Name   string
	On     Target
	Title  string  // for people, as part of a sentence: "<title> on bond_1"
	Models string  // what happens in the plant
	Params []Param // in the order in which people read them
	Sees   Sees
	Course Course

	// Of a fault on a channel. AtMost names the parameter above which nothing is
	// read, where there is one.
	Way      Way
	AtMost   string
	Bond     Bond
	Hides    Hides
	Evidence Evidence

	// Fits is the use of the inputs on which a fault on an input can be.
	Fits Uses

	// ShownBy is what shows it to people where no rule of the logic does.
	ShownBy string
	// Act says that a person does it on purpose or by habit; it happens at a
	// moment and does not end by itself.
	Act bool
}

// Channel is what decides whether a fault hides a loss from a channel.
type Channel struct {
	EarthPath bool // it closes through the part's own way to earth
	Slow      bool // its instrument takes longer than a scan to follow
	Stamped   bool // the device tells when it measured
}

// HidesOn says whether the fault can make a loss read good for ever on a channel.
func (f *Fault) HidesOn(c Channel) bool {
	switch f.Hides {
	case HidesFromTheClamp:
		return !c.EarthPath
	case HidesFromTheSlow:
		return c.Slow
	case HidesUnstamped:
		return !c.Stamped
	case HidesNothing:
		return false
	}
	return true
}

// Makes is the set of classes that what is new on a channel may fall into while the
// fault acts on it, where it would be of one class without.
func (f *Fault) Makes(without monitor.Class, c *monitor.Config) (set [monitor.Classes]bool) {
	add := func(member Readings, classes ...monitor.Class) {
		for _, class := range classes {
			set[class] = set[class] || f.Sees.Readings&member != 0 && f.Way.leads(without, class)
		}
	}
	add(AsBefore, without)
	add(ReadsGood, monitor.Good)
	add(ReadsBetween, monitor.Between)
	add(ReadsHigh, monitor.High)
	add(ReadsOpen, monitor.Open)
	if f.Way != Lower || c.Floor > 0 || without == monitor.Invalid { // what lies in parallel is never negative
		add(ReadsInvalid, monitor.Invalid)
	}
	add(NothingComes, monitor.Missing)
	if without == monitor.Invalid && f.Way == Higher { // what was too low to be true
		set[monitor.Good] = true
	}
	if over := monitor.Invalid; c.OverRangeIsOpen {
		add(ReadsOver, monitor.Open)
	} else {
		add(ReadsOver, over)
	}
	if c.Stamped {
		add(ComesAgain, monitor.Missing)
	} else {
		add(ComesAgain, monitor.Good, monitor.Between, monitor.High, monitor.Open, monitor.Invalid)
	}
	return set
}

// leads says that a reading of one class may become one of the other. Of what is
// invalid nobody knows whether it was too low or too high.
func (w Way) leads(from, to monitor.Class) bool {
	if from < monitor.Open || to < monitor.Open { // missing and invalid are no resistance
		return true
	}
	return w == AnyWay || w == Lower && to >= from || w == Higher && to <= from
}

// Param finds a parameter by name.
func (f *Fault) Param(name string) (Param, bool) {
	for _, p := range f.Params {
		if p.Name == name {
			return p, true
		}
	}
	return Param{}, false
}

// All is the whole catalogue in the order in which people read it, from the
// jaws of the clamp to the hand on the button.
func All() []*Fault { return catalogue }

// Named finds a fault; nil if there is none of that name.
func Named(name string) *Fault {
	for _, f := range catalogue {
		if f.Name == name {
			return f
		}
	}
	return nil
}

// Names lists all names in alphabetical order.
func Names() []string {
	names := make([]string, 0, len(catalogue))
	for _, f := range catalogue {
		names = append(names, f.Name)
	}
	sort.Strings(names)
	return names
}
