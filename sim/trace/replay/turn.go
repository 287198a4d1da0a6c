package replay

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// turner turns the logic. In most scans of a recording nothing happens: the
// readings differ, but no channel moves, and the scan before has left the rest
// of the site as it was. Step is a pure function, so it would leave it so again
// and need not be called. Unlike a loop, a replay also moves the state itself,
// where recording and logic part; it then says that it was disturbed.
type turner struct {
	config   *interlock.Config
	state    *interlock.State
	decision *interlock.Decision

	before  *interlock.State
	next    []monitor.State
	signals []interlock.Signal
	still   bool // the last Step moved nothing and told nothing
	calm    int  // scans in a row in which nothing was told and no signal changed
	stepped uint64
}

func newTurner(c *interlock.Config) *turner {
	return &turner{
		config: c, state: interlock.NewState(c), decision: interlock.NewDecision(c), before: interlock.NewState(c),
		next: make([]monitor.State, len(c.Channels)), signals: make([]interlock.Signal, len(c.Inputs)),
	}
}

// disturbed makes the next turn call Step, because somebody moved the state.
func (t *turner) disturbed() { t.still, t.calm = false, 0 }

// turn is one scan; moved is false where nothing but stamps and ages changed.
func (t *turner) turn(in *interlock.Inputs, sameSignals bool) (moved bool) {
	same := !in.Overrun
	if !sameSignals && !slices.Equal(t.signals, in.Signals) {
		copy(t.signals, in.Signals)
		same = false
	}
	if same && t.still && t.rests(in) {
		return false
	}
	t.step(in, same)
	return true
}

// rests steps the channels alone. If none moves, that was the whole scan.
func (t *turner) rests(in *interlock.Inputs) bool {
	for i := range t.state.Channels {
		have := &t.state.Channels[i]
		next := &t.next[i]
		*next = have.State
		next.Step(&t.config.Channels[i].Config, in.Readings[i])
		// The one thing by which the site sees that a reading is fresh: the first
		// good one of a connection that had parted.
		if have.Parted && next.Class == monitor.Good || !alike(*next, have.State) {
			return false
		}
	}
	for i := range t.next {
		t.state.Channels[i].State = t.next[i]
	}
	return true
}

// alike compares two channels but for stamp and age.
func alike(a, b monitor.State) bool {
	a.Stamp, a.Seen, a.Age = b.Stamp, b.Seen, b.Age
	return a == b
}

// checkEvery is how often a logic that seems at rest is looked at closely: while
// it only counts, the look would cost more than it saves.
const checkEvery = 8

// step calls Step and looks whether it moved anything.
func (t *turner) step(in *interlock.Inputs, same bool) {
	t.stepped++
	t.calm++
	if !same {
		t.calm = 0
	}
	look := t.calm == 1 || t.calm%checkEvery == checkEvery-1
	if look {
		t.before.CopyFrom(t.state)
	}
	interlock.Step(t.config, t.state, in, t.decision)
	if len(t.decision.Events) > 0 {
		t.calm = 0
	}
	t.still = look && len(t.decision.Events) == 0 && !in.Overrun && t.settled()
}

// settled reports that the last Step changed nothing but stamps and ages.
func (t *turner) settled() bool {
	a, b := t.before, t.state
	for i := range b.Channels {
		if a.Channels[i].Parted != b.Channels[i].Parted || !alike(a.Channels[i].State, b.Channels[i].State) {
			return false
		}
	}
	return a.Running == b.Running && slices.Equal(a.Inputs, b.Inputs) &&
		slices.Equal(a.Streams, b.Streams) && slices.Equal(a.Vessels, b.Vessels) &&
		slices.Equal(a.Outputs, b.Outputs) && slices.Equal(a.Bypasses, b.Bypasses)
}
