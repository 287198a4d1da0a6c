package monitor

import (
	"context"
	"sort"

	"github.com/looplab/fsm"
)

// Edge is one line of the chart: a phase, what happens there, and where it leads.
type Edge struct {
	Trigger  string
	From, To Phase
}

// chart declares every way in which a channel changes its phase. It is the one
// source for the table of allowed transitions, the diagrams and the mirror that
// runs beside the logic in live verbs; a test shows that Step makes exactly
// these transitions.
var chart = []Edge{
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
func Chart() []Edge { return append([]Edge(nil), chart...) }

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

// Allowed is the chart compiled to a table: Allowed[from][to] says whether a
// channel may change so in one scan. Staying is always allowed.
type Allowed [Phases][Phases]bool

// CompileChart asks the state machine itself what it can do from every phase.
func CompileChart() Allowed {
	var table Allowed
	for from := Phase(0); from < Phases; from++ {
		table[from][from] = true
		machine := NewMirror()
		machine.SetState(from.String())
		triggers := machine.AvailableTransitions() // in map order
		sort.Strings(triggers)
		for _, trigger := range triggers {
			machine.SetState(from.String())
			if machine.Event(context.Background(), trigger) == nil {
				table[from][phaseNamed(machine.Current())] = true
			}
		}
	}
	return table
}

// phaseNamed finds a phase by its name. The names come from the chart itself.
func phaseNamed(name string) Phase {
	p := Phase(0)
	for p.String() != name {
		p++
	}
	return p
}
