package replay

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// turner turns the logic. Most scans of a recording bring the same news as the
// scan before and leave the logic where it is; Step is then a fixed point and
// need not be called: its result depends on the news and the state alone, and
// stamps do nothing but tell news from repetition.
type turner struct {
	config   *interlock.Config
	state    *interlock.State
	decision *interlock.Decision

	before  *interlock.State
	news    []monitor.Class
	signals []interlock.Signal
	still   bool // Step with these news moved nothing and told nothing
	calm    int  // scans in a row with the same news and nothing told
	stepped uint64
}

func newTurner(c *interlock.Config) *turner {
	return &turner{
		config: c, state: interlock.NewState(c), decision: interlock.NewDecision(c), before: interlock.NewState(c),
		news: make([]monitor.Class, len(c.Channels)), signals: make([]interlock.Signal, len(c.Inputs)),
	}
}

// disturbed makes the next turn call Step, because somebody moved the state.
func (t *turner) disturbed() { t.still, t.calm = false, 0 }

// turn is one scan; moved is false where nothing but stamps changed.
func (t *turner) turn(in *interlock.Inputs, sameSignals bool) (moved bool) {
	same := !in.Overrun
	for i := range t.news {
		news := monitor.Hear(&t.config.Channels[i].Config, &t.state.Channels[i].State, in.Readings[i])
		if news != t.news[i] {
			t.news[i], same = news, false
		}
	}
	if !sameSignals && !slices.Equal(t.signals, in.Signals) {
		copy(t.signals, in.Signals)
		same = false
	}
	if same && t.still {
		for i, news := range t.news {
			if news != monitor.Missing {
				t.state.Channels[i].Stamp = in.Readings[i].Stamp
			}
		}
		return false
	}
	t.step(in, same)
	return true
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

// settled reports that the last Step changed nothing but stamps.
func (t *turner) settled() bool {
	a, b := t.before, t.state
	for i := range b.Channels {
		a.Channels[i].Stamp, a.Channels[i].Seen = b.Channels[i].Stamp, b.Channels[i].Seen
	}
	return a.Running == b.Running && slices.Equal(a.Channels, b.Channels) && slices.Equal(a.Inputs, b.Inputs) &&
		slices.Equal(a.Streams, b.Streams) && slices.Equal(a.Vessels, b.Vessels) &&
		slices.Equal(a.Outputs, b.Outputs) && slices.Equal(a.Bypasses, b.Bypasses)
}
