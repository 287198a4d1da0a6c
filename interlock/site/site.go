// Package site is the site file as plain data: what the plant is, who watches
// it, what may run when, and what charges what.
//
// Read (one file in, a Site or a list of problems with line and column out) is
// strict: unknown keys, missing units and dangling names are errors. Logic turns
// a Site into the interlock's configuration with every rounding to the safe
// side. The other rooms turn their own part into their own configuration.
package site

import (
	"strings"
	"time"

	"ohmgate/monitor"
)

// Position is a place in a site file, counted from 1.
type Position struct{ Line, Column int }

// Span is a quantity as an interval in SI base units (ohm, farad, second,
// coulomb, joule, …). A single value has Lo == Hi. Set is false where the file
// is silent.
type Span struct {
	Lo, Hi float64
	Set    bool
}

// Times is an interval of time.
type Times struct{ Min, Max time.Duration }

// Site is one site file. Every list is in the order of the file, and every
// named thing has a name that is unique in the whole file (channels, inputs and
// outputs share one name space with vessels, streams and bypasses).
type Site struct {
	File   string // as given on the command line
	Hash   string // SHA-256 of the file's bytes, hex
	Name   string
	Title  string
	Period Times         // scan period, shortest and longest
	Poll   time.Duration // one bus cycle; the longest scan period where the file is silent

	Channels []Channel
	Inputs   []Input
	Outputs  []Output
	Vessels  []Vessel
	Streams  []Stream
	Bypasses []Bypass

	Properties  []Property
	Requirement Requirement // safety requirement block
	Ignition    map[string]string
	Parts       []Part
	Rig         Rig
	Suppress    []Suppression
	Functions   []Function // reliability: the user's own failure rates

	positions map[string]Position // path -> where its key stands
	values    map[string]Position // path -> where its value stands
}

// Channel is one monitored earth connection.
type Channel struct {
	Name, Title string
	Part        string // the vessel or part that it watches
	Measures    string // clamp-loop | earth-path
	Kind        string // metal | dissipative

	Accept, Reject, OpenAbove monitor.Microohm
	Floor, ValidMax           monitor.Microohm
	OverRange                 string // open | invalid
	Stamped                   bool   // device_stamp: yes
	StaleAfter                time.Duration

	SettleTime     time.Duration
	SettleReadings int
	SettlePause    time.Duration

	Patience     [monitor.Classes]time.Duration // missing, invalid, open, high; 0 trips at once
	Counting     string                         // consecutive | integrating
	RepayGood    int                            // integrating: so many good scans repay …
	RepayBad     int                            // … so many bad scans of the class with the longest patience
	LongestDoubt time.Duration

	Evidence string // input
	Aperture time.Duration
	Leads    Leads

	// Facts that review and margin ask for; zero where the file is silent.
	Transmitter     Transmitter
	HangingFree     monitor.Microohm // dissipative: reading with nothing connected
	HangingHumidity Span             // relative humidity at that reading, 0..1
	ResponseTime    time.Duration
	Uncertainty     monitor.Microohm
	RotationsPerMin []float64 // declared rotation speeds that shake this clamp
	ProofTest       string
}

// Leads is the wire between transmitter and clamp.
type Leads struct {
	Length   Span    // m, one way
	Area     float64 // mm²
	Class    int     // IEC 60228 conductor class
	Measured Span    // Ω, the loop with the jaws shorted, at MeasuredAt
	At       Span    // °C at that measurement
	Coldest  Span    // °C, lowest temperature expected
}

// Transmitter is what turns resistance into a number.
type Transmitter struct {
	TestCurrent Span // A
	Output      string
	BothPoles   bool // measures with both polarities and compares
}

// Input is one binary input.
type Input struct {
	Name, Title string
	Use         string // button | key | switch | evidence | flow
	Inverted    bool
	StaleAfter  time.Duration
}

// Output is a pump, valve, conveyor or mixer.
type Output struct {
	Name, Title string
	Actuator    string // pump | valve | fan | conveyor | mixer | contact
	Permissive  string
	OnDelay     time.Duration
	Restart     string // on-reset | automatic
	Reason      string // why automatic is right here
	Reset       string
	Start, Stop string
	PressMin    time.Duration
	PressMax    time.Duration
	Closed      string // end switches
	Opened      string
	Travel      time.Duration
	DeadTime    Span // s, from the command until the actuator moves
	Backup      []string
	BackupWhen  string // unconfirmed | at once
	OutputDelay Span   // s, contact and output module
	SafeState   string
}

// Vessel is a conductive thing that can be charged.
type Vessel struct {
	Name, Title string
	BondedBy    string // expression over channels; all channels of this part where silent
	Wait        time.Duration
	Rest        time.Duration
	Acknowledge string
	PressMin    time.Duration
	PressMax    time.Duration

	Capacitance    Span // F
	CapacitanceLow Span // F, the lowest that it will ever have
	Leak           Span // Ω
	Ignition       Span // J, minimum ignition energy of what is around it
	Atmosphere     string
	Group          string
	Object         string // rail_car | drum | ibc | fibc | person | … for defaults
	Material       string
	SecondPath     Span // Ω of another path to earth, such as rails
}

// Stream is product that charges vessels while it flows.
type Stream struct {
	Name, Title string
	Through     []string
	Charges     []string
	Sender      string // part that outflow charges oppositely
	Flow        string // flow switch
	RunDown     time.Duration
	LongestStop time.Duration // without confirmation: from the command on
	Lasts       Span          // s, one transfer
	Profile     string        // full | linear | first-order | reciprocal
	ProfileTime Span          // s

	Product      string
	Kind         string // liquid | powder
	Current      Span   // A, where known
	Velocity     Span   // m/s
	SlowVelocity Span   // m/s, until the inlet is covered
	Bore         Span   // m
	Length       Span   // m
	Conductivity Span   // S/m
	Permittivity Span
	FilterBefore Span // s of residence after the last fine filter; silent: unknown
	Filter       string
	MassFlow     Span // kg/s
	Operation    string
	ChargePerKg  Span   // C/kg
	Phases       string // single | with water or solids
}

// Bypass lets a transfer go on with an unreadable channel for a limited time.
type Bypass struct {
	Name, Title string
	Input       string
	Channel     string
	For         time.Duration
	Warn        time.Duration
	Gap         time.Duration
	Covers      string // unreadable | lost
	Measure     string // compensating measure
}

// Property is something of the site's own to verify.
type Property struct {
	Name, Title string
	Kind        string // within | never | until | tolerates
	Output      string
	When        string // expression
	Then        string
	Time        time.Duration
	Channel     string
	Class       string
	Share       string
}

// Requirement is the safety requirement block; blank fields are findings.
type Requirement map[string]string

// Part is a conductive part and how it is bonded.
type Part struct {
	Name, Title string
	Of          string // vessel
	BondedBy    string // monitored | fixed and inspected | through gasket | …
	Channel     string
	Floats      string // what floats when this one goes
	Capacitance Span
}

// Suppression silences one finding of review, with a reason.
type Suppression struct {
	Finding, At, Reason string
}

// At is where the thing with this path stands in the file, such as
// "channels.bond_1.accept"; the nearest enclosing thing if the key is absent.
func (s *Site) At(path string) Position { return nearestPosition(s.positions, path) }

// ValueAt is where the value at this path stands, or else what At says.
func (s *Site) ValueAt(path string) Position {
	if at, ok := s.values[path]; ok {
		return at
	}
	return s.At(path)
}

// Has reports whether the file itself says something at this path, so that a
// reader can tell a value from a default.
func (s *Site) Has(path string) bool {
	_, ok := s.values[path]
	return ok
}

// nearestPosition looks a path up, then what encloses it.
func nearestPosition(positions map[string]Position, path string) Position {
	for path != "" {
		if at, ok := positions[path]; ok {
			return at
		}
		path = path[:max(strings.LastIndexByte(path, '.'), 0)]
	}
	return Position{1, 1}
}
