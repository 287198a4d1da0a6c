package live

import (
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
)

// Follower keeps a run that nobody drives, such as a recording that is put
// under a live one.
type Follower struct {
	History *History
	Events  []Event
	Decided []Decided // where Decisions is set
	// Decisions asks for every change of what was decided as well.
	Decisions bool

	last   decision
	names  *Names
	before *interlock.State
	values []uint8
}

// NewFollower follows a site from power-up; it is a loop.Watcher.
func NewFollower(n *Names) *Follower {
	lanes := lanesOf(n.Site)
	return &Follower{History: NewHistory(lanes), names: n, before: interlock.NewState(n.Config), values: make([]uint8, len(lanes)), last: decision{reasons: make([]interlock.Reasons, len(n.Config.Outputs))}}
}

// Watch keeps one scan.
func (f *Follower) Watch(t *loop.Turn) error {
	laneValues(f.names.Config, t.State, f.values)
	f.History.put(t.In.Readings, f.values)
	for _, e := range t.Decision.Events {
		told := f.names.teller(f.before, t.In, t.State, t.Decision, t.Scan).event(e)
		told.Seq = uint64(len(f.Events)) + 1
		f.Events = append(f.Events, told)
	}
	if len(f.Events) > eventsMax && !f.Decisions {
		f.Events = f.Events[len(f.Events)-eventsMax/2:]
	}
	f.before.CopyFrom(t.State)
	if f.Decisions && !f.last.same(t.Decision) {
		f.last.note(t.Decision)
		f.Decided = append(f.Decided, decidedOf(f.names, t))
	}
	return nil
}
