package sheet

import "ohmgate/interlock/verdict"

// Kinds of entries.
const (
	KindHead  = "run"
	KindFound = "instruments" // as they answered; the head, before anything is touched, has them as the map knows them
	KindCheck = "check"
	KindStep  = "step"
	KindEnd   = "end"
)

// Finding is what was found of one step or of one expectation: the word of a verdict, or a word that only a bench needs.
type Finding string

// The findings of a step, and that of an expectation that this mode cannot judge.
const (
	Consistent Finding = "consistent"  // shown, as far as one run can
	CannotTell Finding = "cannot tell" // not shown
	Violated           = Finding(verdict.Violated)
	NotJudged  Finding = "not judged" // no verdict
)

// Verdict is what a finding counts as. What was not judged has checked nothing.
func (f Finding) Verdict() verdict.Verdict {
	switch f {
	case Consistent:
		return verdict.Shown
	case CannotTell:
		return verdict.NotShown
	case NotJudged:
		return verdict.NothingChecked
	}
	return verdict.Verdict(f)
}

// Changes of an output.
const (
	Energised = "energised"
	Withheld  = "withheld"
)

// ChangeTo is the word for a change of an output.
func ChangeTo(on bool) string {
	if on {
		return Energised
	}
	return Withheld
}

// Stimuli that are no change at the unit's terminals.
const (
	AtPowerUp  = "power-up"
	NoStimulus = "none" // nothing was done that could have caused it
)

// States of the rig after a run.
const (
	StateOpen    = "all relays open, read back"
	StateUnknown = "state of rig unknown"
	StateUnmoved = "no relay was moved"
)

// Head opens one run.
type Head struct {
	Site         string       `json:"site"`
	SiteHash     string       `json:"site_sha256"`
	Scenario     string       `json:"scenario"`
	ScenarioHash string       `json:"scenario_sha256"`
	Tool         string       `json:"tool"`
	Mode         string       `json:"mode"` // stimulate | stand-in | listen | analyser
	Twin         string       `json:"twin"` // empty: hardware
	Run          int          `json:"run"`
	Runs         int          `json:"runs"`
	Retest       int          `json:"retest"` // earlier sheets of this scenario in the same book
	PhaseMillis  float64      `json:"phase_ms"`
	Condition    string       `json:"condition"` // as found | as left
	Tester       string       `json:"tester"`
	Witness      string       `json:"witness"`
	Temperature  string       `json:"temperature"`
	Humidity     string       `json:"humidity"`
	Confirmed    string       `json:"confirmed"`
	Remark       string       `json:"remark"`
	Instruments  []Instrument `json:"instruments"`
	Notes        []string     `json:"notes"`
}

// Instrument is one device of the rig.
type Instrument struct {
	Name           string `json:"name"`
	Kind           string `json:"kind"`
	Where          string `json:"where"`
	Identity       string `json:"identity"`
	Serial         string `json:"serial"`
	CalibrationDue string `json:"calibration_due"`
}

// Inspection is one thing that was looked at before or after a run.
type Inspection struct {
	Name    string          `json:"name"`
	Verdict verdict.Verdict `json:"verdict"`
	Text    string          `json:"text"`
	Details []string        `json:"details"`
}

// Millis is an interval of time in milliseconds; Open has no upper end.
type Millis struct {
	Least float64 `json:"least_ms"`
	Most  float64 `json:"most_ms"`
	Open  bool    `json:"no_upper_end"`
}

// Step is one change of one output that was judged.
type Step struct {
	Output   string  `json:"output"`
	Change   string  `json:"change"` // energised | withheld
	At       float64 `json:"at_seconds"`
	Stimulus string  `json:"stimulus"`
	Measured *Millis `json:"measured,omitempty"`
	Bound    *Millis `json:"bound,omitempty"`
	Source   string  `json:"bound_source"`
	Verdict  Finding `json:"verdict"`
	Text     string  `json:"text"`
}

// Expectation is one that the scenario states. The unit is held against the logic; the expectations are held against the
// logic beside the unit, with the unit's contacts moving the plant.
type Expectation struct {
	Text    string  `json:"text"`
	Where   string  `json:"where"`      // in the scenario file
	On      string  `json:"judged_on"`  // empty: not judged
	At      float64 `json:"at_seconds"` // of the scenario
	Verdict Finding `json:"verdict"`    // shown | violated | nothing checked | not shown | not judged
	Detail  string  `json:"detail"`
}

// End closes one run.
type End struct {
	RigState string          `json:"rig_state"`
	Reason   string          `json:"reason"` // why it ended: played to the end, signal, port lost, …
	Played   bool            `json:"played_to_the_end"`
	Verdict  verdict.Verdict `json:"verdict"`
	Exit     verdict.Exit    `json:"exit"`
	Steps    int             `json:"steps"`
	Seen     []string        `json:"transitions_seen"`
	Graph    []string        `json:"graph_seen,omitempty"` // of the verified graph, by name; absent in records of older programs
	Faults   []string        `json:"faults_played"`
	// Expected are the scenario's expectations; absent in records of older programs.
	Expected  []Expectation `json:"expectations,omitempty"`
	Statement string        `json:"statement"`
	Counts    string        `json:"bus_counts"`
}

// Sheet is one run as read back.
type Sheet struct {
	Begun    string       `json:"begun"`
	Ended    string       `json:"ended"`
	Head     Head         `json:"head"`
	Checks   []Inspection `json:"checks"`
	Steps    []Step       `json:"steps"`
	End      *End         `json:"end"` // nil: the record breaks off
	HeadHash string       `json:"last_hash"`
}

// Verdict is the sheet's own, or what a missing end means.
func (s *Sheet) Verdict() verdict.Verdict {
	if s.End == nil {
		return verdict.NotShown
	}
	return s.End.Verdict
}

// State is what is known of the rig after the run.
func (s *Sheet) State() string {
	if s.End == nil {
		return StateUnknown
	}
	return s.End.RigState
}
