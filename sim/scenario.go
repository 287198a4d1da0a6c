package sim

import (
	"fmt"
	"strconv"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// Scenario is one scenario file: what happens when, and what must follow.
type Scenario struct {
	File, Hash  string
	Name, Title string
	Why         string // for people
	Seed        uint64
	Lasts       Moment
	Begin       Begin
	BeginPlace  site.Position
	Except      []string // begin: ready, running: these are left alone
	With        []string // begin: ready, running: inputs that are set besides
	Steps       []Step
	Faults      []Fault
	Expect      []Expectation
}

// Begin is where a scenario starts.
type Begin uint8

const (
	AtPowerUp Begin = iota // clamps hang free, nothing was waited
	Ready                  // clamps on, first waits over, everything acknowledged
	Running                // as ready, and every output reset, started and confirmed
)

var beginNames = []string{"power-up", "ready", "running"}

func (b Begin) String() string { return beginNames[b] }

// Moment is a time since the scenario began, or a count of scans.
type Moment struct {
	Time     time.Duration
	Scans    uint64
	InScans  bool
	Declared bool
	At       site.Position
}

// floor and ceil turn a moment into scans.
func (m Moment) floor(period time.Duration) uint64 {
	if m.InScans {
		return m.Scans
	}
	return uint64(m.Time / period)
}

func (m Moment) ceil(period time.Duration) uint64 {
	if m.InScans {
		return m.Scans
	}
	return uint64((m.Time + period - 1) / period)
}

func (m Moment) String() string {
	if m.InScans {
		if m.Scans == 1 {
			return "1 scan"
		}
		return strconv.FormatUint(m.Scans, 10) + " scans"
	}
	return quantity.Duration(m.Time)
}

// Act is what a step does.
type Act uint8

const (
	Connect Act = iota
	Disconnect
	Press
	Hold
	Release
	Set
	Restart
	Overrun
	ReadClass // force a channel's class
	ReadValue // force a channel's value
	ReadAgain // the last reading again, with its old stamp
	ReadInput // force a signal
	ReadPlant // end of forcing
)

// Step is one thing that somebody, or the writer of the scenario, does.
type Step struct {
	At     Moment
	Act    Act
	On     []string
	To     string // connect: part, paint, wrong object; set: yes, no
	For    Moment
	Ohms   float64 // connect: contact
	HasOhm bool
	Class  monitor.Class
	Value  monitor.Microohm
	Signal interlock.Signal
	Place  site.Position
}

// Fault is one fault of a scenario.
type Fault struct {
	At    Moment
	Until Moment // not declared: to the end
	Fault *fault.Fault
	On    []string
	Num   [4]float64
	Word  string
	Texts []string // the parameters as written
	Place site.Position
}

// ExpectKind is the form of an expectation.
type ExpectKind uint8

const (
	Within   ExpectKind = iota // becomes true within a time of something
	Never                      // is not true in any scan
	InOrder                    // become true in this order
	Until                      // is true until something happens
	FirstOut                   // the causes that a trip recorded
	Holds                      // is true at one moment, or all along
)

// Expectation is one thing that must follow.
type Expectation struct {
	Kind     ExpectKind
	Text     string // as people read it
	That     []condition
	Of       []condition // within: what it is counted from; until: what ends it
	OfTime   Moment
	Within   Moment
	From, To Moment
	While    []condition
	Output   string
	Is       []string
	Order    string // first-out: known, not known, or silent
	Place    site.Position
}

func (s *Scenario) String() string { return fmt.Sprintf("%s: %s", s.Name, s.Title) }
