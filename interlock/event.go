package interlock

import "ohmgate/monitor"

// Kind is what an event tells.
type Kind uint8

const (
	NoEvent Kind = iota
	PowerUp
	Overrun
	PhaseChanged // Subject is a channel; From, To are phases
	AboveAccept  // a channel reads under reject but above accept: it will not bond
	SettlingAgain
	MayBeCharged // Subject is a vessel
	WaitBegan
	WaitOver
	ReconnectedEarly
	Acknowledged
	AcknowledgeIgnored
	Released
	ReleasedTooSoon
	OutputEnabled // Subject is an output
	OutputTripped
	OutputReleased
	OutputStopped
	ResetGiven
	ResetIgnored
	StartIgnored
	ActuatorUnconfirmed
	ActuatorReported
	BypassBegan // Subject is a bypass
	BypassEnding
	BypassEnded
	BypassIgnored
	Kinds = iota
)

// kindTexts are kept in records and read in scenarios: they are not reworded.
var kindTexts = [Kinds]string{
	"", "power-up", "scan overrun", "phase", "above accept", "settling again",
	"may be charged", "wait began", "wait over", "reconnected early", "acknowledged", "acknowledge ignored",
	"released", "released before rest", "enabled", "tripped", "released", "stopped",
	"reset given", "reset ignored", "start ignored", "unconfirmed", "reported again",
	"bypass began", "bypass ending", "bypass ended", "bypass ignored",
}

func (k Kind) String() string { return kindTexts[k] }

// Event is one thing that people are told of. Fields that a kind does not
// mention are zero.
type Event struct {
	Kind        Kind
	Subject     int
	From, To    uint32
	Class       monitor.Class // of the channel's reading in this scan
	Cause       monitor.Class // class that spent most of the doubt
	Reasons     Reasons
	Spoil       Spoil
	Unconfirmed Unconfirmed
}
