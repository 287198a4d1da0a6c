package interlock

import "ohmgate/monitor"

// State is all that the interlock of one site remembers: small comparable
// values, one for each part, in the order of Config. NewState makes it; all
// zero, it denies everything.
type State struct {
	Running  bool // false until the first scan since power-up has passed
	Channels []ChannelState
	Inputs   []InputState
	Streams  []StreamState
	Vessels  []VesselState
	Outputs  []OutputState
	Bypasses []BypassState
}

// ChannelState is one channel and whether its connection was seen, or must be
// presumed, to have parted since its last fresh good reading.
type ChannelState struct {
	monitor.State
	Parted bool
}

// NewState is the state at power-up.
func NewState(c *Config) *State {
	return &State{
		Channels: make([]ChannelState, len(c.Channels)),
		Inputs:   make([]InputState, len(c.Inputs)),
		Streams:  make([]StreamState, len(c.Streams)),
		Vessels:  make([]VesselState, len(c.Vessels)),
		Outputs:  make([]OutputState, len(c.Outputs)),
		Bypasses: make([]BypassState, len(c.Bypasses)),
	}
}

// PowerUp forgets everything, as a loss of supply does.
func (s *State) PowerUp() {
	s.Running = false
	clear(s.Channels)
	clear(s.Inputs)
	clear(s.Streams)
	clear(s.Vessels)
	clear(s.Outputs)
	clear(s.Bypasses)
}

// CopyFrom makes s equal to another state of the same site.
func (s *State) CopyFrom(other *State) {
	s.Running = other.Running
	copy(s.Channels, other.Channels)
	copy(s.Inputs, other.Inputs)
	copy(s.Streams, other.Streams)
	copy(s.Vessels, other.Vessels)
	copy(s.Outputs, other.Outputs)
	copy(s.Bypasses, other.Bypasses)
}

// Inputs is what one scan brings.
type Inputs struct {
	Readings []monitor.Reading // one for each channel
	Signals  []Signal          // one for each input
	Overrun  bool              // the scan before took longer than a scan may
}

// NewInputs is a scan in which nothing arrived.
func NewInputs(c *Config) *Inputs {
	return &Inputs{Readings: make([]monitor.Reading, len(c.Channels)), Signals: make([]Signal, len(c.Inputs))}
}

// Signal is one binary input as it arrived. The zero value is "nothing".
type Signal uint8

const (
	NoSignal Signal = iota // nothing arrived in this scan
	Faulty                 // arrived, and the module says: do not use it
	Low
	High
)

// InputState is the value in effect of a binary input and its age. The zero
// value is unknown.
type InputState struct {
	Level Truth
	Age   Scans
}

// stepInput takes one signal. A gap no longer than stale-after repeats the last
// value, but is no news; a faulty signal is unknown at once.
func stepInput(c *Input, s InputState, in Signal) (next InputState, fresh bool) {
	switch in {
	case Low, High:
		return InputState{Level: truthOf((in == High) != c.Inverted)}, true
	case NoSignal:
		if s.Age < c.StaleAfter {
			return InputState{Level: s.Level, Age: s.Age + 1}, false
		}
	}
	return InputState{Age: c.StaleAfter}, false
}
