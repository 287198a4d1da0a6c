package interlock

import "math/bits"

// Mode is what an output is doing. The zero value withholds.
type Mode uint8

const (
	KeptOut Mode = iota // not enabled, and not because of a trip
	Tripped             // was withheld while it ran; stands until reset
	Enabled             // energised
	Modes   = iota
)

var modeNames = [Modes]string{"kept out", "tripped", "enabled"}

func (m Mode) String() string { return modeNames[m] }

// Reasons is the set of what withholds an output in one scan; all are kept.
type Reasons uint16

// Reason is one of them: a set that holds nothing else, as each constant is.
type Reason = Reasons

const (
	ReasonPowerUp     Reasons = 1 << iota // the first scan since power-up
	ReasonOverrun                         // the scan took too long
	ReasonNotMet                          // the permissive is false
	ReasonUnknown                         // the permissive is unknown
	ReasonDelay                           // the permissive is not yet true for the on-delay
	ReasonWait                            // a vessel that it charges may be charged
	ReasonEarly                           // an early reconnection is not acknowledged
	ReasonUnconfirmed                     // its actuator did not report the right end in time
	ReasonMoving                          // its actuator does not yet report that it is stopped
	ReasonBackup                          // withheld as the backup of another output
	ReasonStop                            // a stop is asked for
	ReasonReset                           // a deliberate press of reset is needed
	ReasonStart                           // a start command is needed
	reasonCount       = iota
	AllReasons        = Reasons(1<<reasonCount - 1)
)

// reasonTexts are kept in records and label metrics: they are not reworded.
var reasonTexts = [reasonCount]string{
	"first scan since power-up", "scan overrun", "permissive not met", "permissive unknown",
	"on-delay running", "wait running", "reconnected early, not acknowledged",
	"actuator unconfirmed", "actuator not reported stopped", "backup called", "stop asked for", "reset needed", "start needed",
}

// Each calls f with every reason in the set, in fixed order.
func (r Reasons) Each(f func(one Reason)) {
	for i := range reasonTexts {
		if one := Reason(1) << i; r&one != 0 {
			f(one)
		}
	}
}

// String is every reason in the set, as records keep it.
func (r Reasons) String() string {
	text := ""
	r.Each(func(one Reason) { text = joined(text, " + ", reasonTexts[bits.TrailingZeros16(uint16(one))]) })
	return text
}

// Unconfirmed is the set of ways in which an actuator failed to report; a latch.
type Unconfirmed uint8

const (
	StayedOpen       Unconfirmed = 1 << iota // withheld, and not reported stopped in time
	StayedShut                               // enabled, and not reported running in time
	UnknownClosed                            // withheld, and its switches say nothing usable
	UnknownOpen                              // enabled, and its switches say nothing usable
	unconfirmedCount = iota
	AllUnconfirmed   = Unconfirmed(1<<unconfirmedCount - 1)
)

// unconfirmedTexts are kept in records: they are not reworded.
var unconfirmedTexts = [unconfirmedCount]string{
	"did not report stopped in time", "did not report running in time",
	"its switches say nothing usable while withheld", "its switches say nothing usable while enabled",
}

// Each calls f with every way in the set, alone, in fixed order.
func (u Unconfirmed) Each(f func(one Unconfirmed)) {
	for i := range unconfirmedTexts {
		if one := Unconfirmed(1) << i; u&one != 0 {
			f(one)
		}
	}
}

// String is every way in the set, as records keep it.
func (u Unconfirmed) String() string {
	text := ""
	u.Each(func(one Unconfirmed) { text = joined(text, " - ", unconfirmedTexts[bits.TrailingZeros8(uint8(one))]) })
	return text
}

func joined(text, separator, next string) string {
	if text == "" {
		return next
	}
	return text + separator + next
}

// CallsBackup: what may still be open needs somebody else to stop the flow.
func (u Unconfirmed) CallsBackup() bool { return u&(StayedOpen|UnknownClosed) != 0 }

// OutputControl is the part of an output's memory that decides.
type OutputControl struct {
	Mode        Mode
	On          Scans // scans the start permissive has been true, saturating just above the on-delay
	Ready       bool  // all own conditions were true in the scan before
	Armed       bool  // a reset was given and its conditions have held since
	StartLow    bool  // a valid 0 of the start command was seen since its last 1
	Button      Button
	Disagree    Scans // scans in which the report was not what the command asks
	Unconfirmed Unconfirmed
	SeenAway    bool // since the latch: an honest report of the running end
	SeenHome    bool // since the latch, and after that where both are needed: of the stopped end
}

// believed says that the actuator's reports can be taken as a confirmation.
func (s *OutputControl) believed() bool {
	both := s.Unconfirmed&(StayedOpen|StayedShut) != 0
	return s.Unconfirmed == 0 || s.SeenHome && (s.SeenAway || !both)
}

// report is what an actuator's end switches say.
type report struct {
	home bool // exactly what a stopped actuator reports
	away bool // exactly what a running actuator reports
	dark bool // a switch is unknown
}

func (s *State) report(o *Output) report {
	closed, opened := s.level(o.Closed), s.level(o.Opened)
	return report{
		home: (o.Closed == 0 || closed == True) && (o.Opened == 0 || opened == False),
		away: (o.Closed == 0 || closed == False) && (o.Opened == 0 || opened == True),
		dark: o.Closed != 0 && closed == Unknown || o.Opened != 0 && opened == Unknown,
	}
}

// OutputScan is all that one scan brings to an output.
type OutputScan struct {
	Keep, Start Truth // the permissive over fit-to-keep and over fit-to-start
	Shared      Reasons
	Ended       bool // every stream through it has ended and run down

	Home, Away, Dark bool // what its end switches report

	Reset, Begin           Truth // the buttons' values in effect
	ResetFresh, BeginFresh bool
}

// OutputTold is what people should be told of one scan of an output.
type OutputTold struct {
	Reasons                             Reasons
	Enabled, Stopped, Tripped, Released bool
	ResetGiven, StartIgnored            bool
	Reported                            bool // an unconfirmed actuator has now shown what is needed
	Spoil                               Spoil
	Unconfirmed                         Unconfirmed
}

// StepOutput is one scan of one output. It decides on its arguments alone.
func StepOutput(c *Output, s OutputControl, in OutputScan) (OutputControl, OutputTold) {
	next := s
	var news OutputTold
	confirm(c, &s, &next, report{in.Home, in.Away, in.Dark}, &news)
	pressedStart := s.StartLow && in.Begin == True && in.BeginFresh
	if in.Begin != False {
		next.StartLow = false
	} else if in.BeginFresh {
		next.StartLow = true
	}
	if s.Mode == Enabled {
		next.Button, _ = stepButton(c.Press, s.Button, in.Reset, in.ResetFresh, false, false)
		keepRunning(&next, &in, &news)
		return next, news
	}
	tryStart(c, &s, &next, &in, pressedStart, &news)
	return next, news
}

// confirm compares the actuator's report with the command in effect.
func confirm(c *Output, s, next *OutputControl, r report, news *OutputTold) {
	running := s.Mode == Enabled
	if !c.confirmable() || running && r.away || !running && r.home {
		next.Disagree = 0
	} else {
		next.Disagree = min(s.Disagree.Next(), c.Travel.Next())
	}
	if next.Disagree > c.Travel {
		next.Unconfirmed |= unconfirmedAs(running, r.dark)
	}
	if added := next.Unconfirmed &^ s.Unconfirmed; added != 0 {
		news.Unconfirmed = added
		next.SeenAway, next.SeenHome = false, false
	}
	if next.Unconfirmed == 0 {
		return
	}
	next.SeenAway = next.SeenAway || r.away
	both := next.Unconfirmed&(StayedOpen|StayedShut) != 0
	next.SeenHome = next.SeenHome || r.home && (next.SeenAway || !both)
	news.Reported = next.believed() && !s.believed()
}

func unconfirmedAs(running, dark bool) Unconfirmed {
	switch {
	case running && dark:
		return UnknownOpen
	case running:
		return StayedShut
	case dark:
		return UnknownClosed
	}
	return StayedOpen
}

// permissiveReason says why a permissive is not true.
func permissiveReason(t Truth) Reasons {
	switch t {
	case True:
		return 0
	case False:
		return ReasonNotMet
	}
	return ReasonUnknown
}

// keepRunning withholds an enabled output in the very scan in which anything
// that it needs is not true.
func keepRunning(next *OutputControl, in *OutputScan, news *OutputTold) {
	// A wait or an early reconnection forbids a start, not the run itself.
	reasons := in.Shared&^(ReasonWait|ReasonEarly) | permissiveReason(in.Keep)
	if next.Unconfirmed != 0 {
		reasons |= ReasonUnconfirmed
	}
	news.Reasons = reasons
	switch {
	case reasons == 0:
		return
	case reasons == ReasonStop:
		next.Mode, news.Stopped = KeptOut, true
	case reasons&^(ReasonNotMet|ReasonUnknown|ReasonStop) == 0 && in.Ended:
		next.Mode, news.Released = KeptOut, true
	default:
		next.Mode, news.Tripped = Tripped, true
	}
	next.On, next.Ready, next.Armed, next.Disagree = 0, false, false, 0
}

// tryStart enables an output once everything that it needs is true, its reset
// was given and its start command came.
func tryStart(c *Output, s, next *OutputControl, in *OutputScan, pressedStart bool, news *OutputTold) {
	next.On = 0
	// Under a NOT, what is not fit to start can still be fit to keep running:
	// an output that may not keep running must not be enabled either.
	start := min(in.Start, in.Keep)
	if start == True {
		next.On = min(s.On.Next(), c.OnDelay.Next())
	}
	reasons := in.Shared | permissiveReason(start)
	if start == True && next.On <= c.OnDelay {
		reasons |= ReasonDelay
	}
	if !next.believed() {
		reasons |= ReasonUnconfirmed
	} else if c.confirmable() && !in.Home {
		// Else a habit of pressing reset at once would hide an actuator that
		// stays open: the next command would come before it is late.
		reasons |= ReasonMoving
	}
	ready := reasons == 0
	next.Button, news.Spoil = stepButton(c.Press, s.Button, in.Reset, in.ResetFresh, s.Ready, ready)
	next.Armed = s.Armed && ready
	if next.Button.Phase == Given {
		next.Armed, next.Unconfirmed, next.SeenAway, next.SeenHome = true, 0, false, false
		next.Mode, news.ResetGiven = KeptOut, true
	}
	next.Ready = ready
	if !next.Armed && (!c.Automatic || next.Unconfirmed != 0) {
		reasons |= ReasonReset
	}
	if c.Start != 0 && !(pressedStart && s.Ready) {
		reasons |= ReasonStart
	}
	news.StartIgnored = pressedStart && reasons != 0
	news.Reasons = reasons
	if reasons == 0 {
		next.Mode, news.Enabled = Enabled, true
		next.On, next.Ready, next.Armed, next.Disagree = 0, false, false, 0
	}
}
