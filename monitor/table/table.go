// Package table is a channel's logic looked up instead of worked out.
//
// Picture the ready reckoner beside a till: every sum that can come up was
// worked out once, by the same rules, and is now only read off. Build asks
// monitor.Advance for every control that a channel can reach, under every news;
// a test compares the two on all of them. The function stays the definition.
package table

import "ohmgate/monitor"

// State stands for one reachable control: the number of its row's first cell.
// Zero is power-up.
type State uint32

// rowShift makes a row of eight cells: six classes of news, and two that
// nothing is heard as, which act like invalid.
const rowShift = 3

// MostStates is the largest number of states that a State can tell apart.
const MostStates = 1 << (32 - rowShift)

// Table is one channel's logic, derived from its configuration.
type Table struct {
	next     []State
	phases   []monitor.Phase
	controls []monitor.Control
}

// Build derives the table. ok is false when the channel reaches more than limit
// states: then call Advance itself.
func Build(c *monitor.Config, limit int) (t *Table, ok bool) {
	limit = min(limit, MostStates)
	t = &Table{}
	index := map[monitor.Control]State{}
	find := func(control monitor.Control) State {
		s, known := index[control]
		if !known {
			s = State(len(t.controls) << rowShift)
			index[control] = s
			t.controls = append(t.controls, control)
		}
		return s
	}
	find(monitor.Control{})
	for i := 0; i < len(t.controls); i++ {
		if len(t.controls) > limit {
			return nil, false
		}
		for news := monitor.Class(0); news < 1<<rowShift; news++ {
			t.next = append(t.next, find(monitor.Advance(c, t.controls[i], news)))
		}
		t.phases = append(t.phases, t.controls[i].Phase)
	}
	return t, true
}

// Next is the state one scan of news later.
func (t *Table) Next(s State, news monitor.Class) State {
	return t.next[s|State(news&(1<<rowShift-1))]
}

// Phase is the channel's phase in a state.
func (t *Table) Phase(s State) monitor.Phase { return t.phases[s>>rowShift] }

// Control is everything that a state stands for.
func (t *Table) Control(s State) monitor.Control { return t.controls[s>>rowShift] }

// Len is the number of states.
func (t *Table) Len() int { return len(t.controls) }

// At is the state with a number from 0 to Len.
func (t *Table) At(number int) State { return State(number << rowShift) }
