package monitor

import "github.com/looplab/fsm"

// Edge is one line of the chart: a phase, what happens there, and where it leads.
type Edge struct {
	Trigger  string
	From, To Phase
}

// chart declares every way in which a channel changes its phase. It is the one
// source for the diagrams and for the mirror that runs beside the logic in live
// verbs; a test shows that Step makes exactly these transitions.
var chart = [...]Edge{
	{"fresh good reading", Unconnected, Settling},
	{"nothing usable read", Unconnected, Unreadable},
	{"good for settle time and count", Settling, Bonded},
	{"bad reading while settling", Settling, Unconnected},
	{"too many pauses while settling", Settling, Unreadable},
	{"bad reading", Bonded, Doubtful},
	{"no patience for a bad reading", Bonded, Lost},
	{"no patience for an unusable reading", Bonded, Unreadable},
	{"doubt repaid", Doubtful, Bonded},
	{"patience spent, or doubtful for too long", Doubtful, Lost},
	{"patience spent without usable readings", Doubtful, Unreadable},
	{"fresh good reading after a loss", Lost, Settling},
	{"nothing usable read after a loss", Lost, Unreadable},
	{"readable again", Unreadable, Unconnected},
}

var phaseNames = [Phases]string{"unconnected", "settling", "bonded", "doubtful", "lost", "unreadable"}

var classNames = [Classes]string{"missing", "invalid", "open", "high", "between", "good"}

func (p Phase) String() string { return phaseNames[p] }
func (c Class) String() string { return classNames[c] }

// Chart returns a copy of the chart's edges.
func Chart() []Edge {
	edges := chart
	return edges[:]
}

// NewMirror is the chart as a state machine that starts unconnected. Live verbs
// run one beside each channel; it never decides anything. Use it only with
// context.Background(): a cancelled context wedges it for ever.
func NewMirror() *fsm.FSM {
	events := make(fsm.Events, 0, len(chart))
	for _, e := range chart {
		events = append(events, fsm.EventDesc{Name: e.Trigger, Src: []string{e.From.String()}, Dst: e.To.String()})
	}
	return fsm.NewFSM(Unconnected.String(), events, fsm.Callbacks{})
}
