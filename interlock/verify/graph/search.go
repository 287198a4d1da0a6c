package graph

import (
	"container/heap"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

// Path is the shortest run found that passes through a transition for the first
// time.
type Path struct {
	To      Transition
	Actions []Action
	Scans   uint64 // to the scan of the transition, that one counted
}

// MostNodes limits how many abstract states are expanded from one start point.
const MostNodes = 2_000

// Paths is a cover search: it looks for the shortest path to every goal with what
// the environment can do, on the real Step. It tries every action, the paths that
// take the least time first. What it does not find needs more than the environment
// can do, or more than the search visits or tells apart; complete says that nothing
// was left to try. Outputs are those whose cones are tried, by name.
func Paths(m *model.Model, outputs []string, e *Environment, goals map[Transition]bool) (found map[Transition]Path, complete bool) {
	t := &coverSearch{model: m, environment: e, goals: goals, found: map[Transition]Path{}, left: len(goals)}
	complete = true
	for _, spacing := range []uint64{4, 1} {
		for output, name := range m.Names.Outputs {
			if !slices.Contains(outputs, name) {
				continue
			}
			for _, focus := range t.focuses(output) {
				if t.left > 0 {
					complete = t.explore(output, focus, spacing) && complete
				}
			}
		}
	}
	return t.found, complete
}

// coverSearch is a search for many goals.
type coverSearch struct {
	model       *model.Model
	environment *Environment
	goals       map[Transition]bool
	found       map[Transition]Path
	left        int // goals without a path
}

// focuses are the causes that an exploration moves while all others are well: one
// after the other, then every cut set of several causes.
func (t *coverSearch) focuses(output int) (list [][]int) {
	p := t.model.Config.Outputs[output].Permissive
	set := p.Causes()
	set.Each(func(cause int) { list = append(list, []int{cause}) })
	for _, cut := range model.CutSets(p) {
		if len(cut) > 1 {
			list = append(list, cut)
		}
	}
	return list
}

// exploration is the search with one output, one focus, and one pause between two
// actions.
type exploration struct {
	*coverSearch
	output     int
	spacing    uint64       // scans from one action to the next, but for waits
	driver     *runs.Driver // knows what helps, and what every input is for
	channels   []int        // that are moved
	inputs     []int        // that are moved
	actuators  []int        // that are moved
	waits      []uint64
	beforehand []Action // in the first scan

	nodes    []node
	starts   []int // start points: nodes from which to search
	open     queue
	known    map[string]bool // abstract states reached from this start point
	observer *Observer
	in       *interlock.Inputs
	decision *interlock.Decision
	now      *node // being made
	novel    bool  // on the way to it a bond, a vessel, an output or an actuator did something for the first time
}

// explore tries everything from one start point after the other: power-up first,
// then the first node at which a bond, a vessel, an output or an actuator did
// something that it had not done before, so that what lies deep is found from nearby.
func (t *coverSearch) explore(output int, focus []int, spacing uint64) (complete bool) {
	s := &exploration{coverSearch: t, output: output, spacing: spacing, in: interlock.NewInputs(t.model.Config), decision: interlock.NewDecision(t.model.Config)}
	s.observer = NewObserver(t.model)
	s.observer.first = s.reach
	s.choose(focus)
	s.offerWaits()
	s.begin()
	complete = true
	stuck := false
	for i := 0; i < len(s.starts) && t.left > 0; i++ {
		complete = s.exhaust(s.starts[i]) && complete
		s.bringUp(s.starts[i], false)
		if i == len(s.starts)-1 && !stuck {
			stuck = true
			s.bringUp(0, true)
		}
	}
	return complete
}

// exhaust expands whatever can be reached from one start point, within limits.
func (s *exploration) exhaust(start int) (complete bool) {
	s.known, s.open = map[string]bool{}, queue{{s.nodes[start].scan, start}}
	for s.open.Len() > 0 && s.left > 0 && len(s.known) < MostNodes {
		from := heap.Pop(&s.open).(queued).node
		for _, action := range s.actions(&s.nodes[from]) {
			s.expand(from, action)
		}
		s.wait(from)
	}
	return s.open.Len() == 0 || s.left == 0
}

// bringUp lets a careful operator bring the output to run from one start point: too
// many actions in a row for a search that tries them all. Stuck says that no
// actuator moves meanwhile.
func (s *exploration) bringUp(start int, stuck bool) {
	next := s.successor(start)
	for _, i := range s.channels {
		if next.shown[i] != monitor.Good && s.environment.Shows[i][monitor.Good] {
			s.do(next, Action{Act: Show, On: i, Class: monitor.Good})
		}
	}
	for _, i := range s.actuators {
		switch {
		case stuck:
			s.do(next, Action{Act: Stick, On: i})
		case next.stuck[i]:
			s.do(next, Action{Act: Free, On: i})
		}
	}
	s.observer.resume(next.state)
	asked := uint64(0) // scans for which a press would have counted
	for range runs.PatienceOf(s.model.Config) + 10*s.environment.Slack {
		s.driver.State = next.state
		button, value := s.driver.Operator()
		if asked++; value != interlock.True {
			asked = 0
		} else if asked <= s.environment.Slack {
			value = interlock.False
		}
		for _, i := range s.inputs {
			high := interlock.Ref(i+1) == button && value == interlock.True
			if s.driver.Roles[i].Kind == runs.RoleFree {
				high = s.driver.Provided(i) == interlock.True
			}
			if high != next.set[i] {
				s.do(next, Action{Act: Set, On: i, High: high})
			}
		}
		s.turn(next)
		if s.driver.Enabled() && next.settled(s.model.Config) {
			s.novel = true
			break
		}
	}
	s.keep(next)
}

// expand does one action and keeps where it leads.
func (s *exploration) expand(from int, action Action) {
	next := s.successor(from)
	s.observer.resume(next.state)
	s.do(next, action)
	for range action.lasts {
		s.turn(next)
	}
	s.keep(next)
}

// wait does nothing and keeps where every wait leads. A longer one begins like a
// shorter one: it goes on from there.
func (s *exploration) wait(from int) {
	at := s.successor(from)
	s.observer.resume(at.state)
	for _, until := range s.waits {
		for at.scan < s.nodes[from].scan+until {
			s.turn(at)
		}
		if s.keep(at) {
			at = s.copyOf(at)
		}
		s.now, s.novel = at, false
	}
}

// keep goes on from a node later, if nothing has led there before.
func (s *exploration) keep(next *node) (kept bool) {
	key := next.key(s)
	if s.known[key] {
		return false
	}
	s.known[key] = true
	s.nodes = append(s.nodes, *next)
	heap.Push(&s.open, queued{next.scan, len(s.nodes) - 1})
	if s.novel {
		s.starts = append(s.starts, len(s.nodes)-1)
	}
	return true
}

// reach keeps the path to a transition that is a goal and has none yet.
func (s *exploration) reach(t Transition) {
	s.novel = s.novel || novel(&t)
	if _, have := s.found[t]; have || !s.goals[t] {
		return
	}
	actions := []Action{}
	for at := s.now; at.parent >= 0; at = &s.nodes[at.parent] {
		actions = append(slices.Clone(at.actions), actions...)
	}
	s.found[t] = Path{To: t, Actions: append(slices.Clone(s.beforehand), actions...), Scans: s.now.scan}
	s.left--
}

// novel says that a transition which is seen for the first time makes a start point.
func novel(t *Transition) bool {
	switch t.Group() {
	case OfChannel:
		return t.Before != t.After && t.After == monitor.Bonded
	case OfVessel:
		return t.Spoil == interlock.NotSpoiled
	}
	return t.Group() == OfOutput || t.Group() == OfActuator
}

// queued is a node that is still to be expanded.
type queued struct {
	scan uint64
	node int
}

// queue is sorted by time, then by which was found first.
type queue []queued

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	return q[i].scan < q[j].scan || q[i].scan == q[j].scan && q[i].node < q[j].node
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }

// Push and Pop are what container/heap asks for.
func (q *queue) Push(x any) { *q = append(*q, x.(queued)) }

// Pop takes the last one.
func (q *queue) Pop() any {
	old := *q
	last := old[len(old)-1]
	*q = old[:len(old)-1]
	return last
}
