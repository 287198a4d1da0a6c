package table

import (
	"runtime"
	"slices"
	"sync"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// outputEdge is one step of an output: the state that follows, and what the
// properties saw in it.
type outputEdge struct {
	Next           uint32
	Hit, Bad       model.PropertySet
	enables, keeps bool
}

// OutputTable is one output, tabulated: every abstract state that it can reach
// under every sequence of scans, and every step between them. In full form the
// steps are grouped by what the permissive says; in brief form also by what is
// shared, by the end of flow and by the end switches.
type OutputTable struct {
	Shape  *OutputShape
	Logic  *model.Logic
	States []uint64 // memory in the low 24 bits, watch above; 0 is power-up
	Groups int
	at     []uint32 // state*groups+group: where its edges start
	Edges  []outputEdge
	Index  map[uint64]uint32
	calls  uint64
	// letters lists what a scan can bring to an output that is withheld, or enabled.
	letters [2][]letter
	recent  [256]struct {
		word  uint64
		at    uint32
		known bool
	}
}

const WatchShift = 24

// TabulateOutput expands all states that are known, several at a time, and
// numbers what they lead to in their order: the table does not depend on who
// came first.
func TabulateOutput(logic *model.Logic, h *OutputShape, memory uint64) (*OutputTable, error) {
	t := &OutputTable{Shape: h, Logic: logic, Groups: 3, Index: map[uint64]uint32{}}
	if h.Brief {
		t.Groups = 3 * SharedClasses * 2 * len(h.Ends)
	}
	t.letters = [2][]letter{t.spell(false), t.spell(true)}
	workers := make([]*expansion, runtime.GOMAXPROCS(0))
	for i := range workers {
		workers[i] = &expansion{lists: make([][]wordEdge, t.Groups)}
	}
	t.find(0)
	for done := 0; done < len(t.States); {
		batch := t.States[done:min(len(t.States), done+1024)]
		done += len(batch)
		for _, e := range t.expandAll(batch, workers) {
			t.number(e)
		}
		if uint64(len(t.Edges))*24+uint64(len(t.States))*uint64(40+4*t.Groups) > memory {
			return nil, &CutOff{"tabulating an output", uint64(len(t.States)), memory}
		}
	}
	t.at = append(t.at, uint32(len(t.Edges)))
	return t, nil
}

// wordEdge is an edge whose next state has no number yet.
type wordEdge struct {
	next           uint64
	hit, bad       model.PropertySet
	enables, keeps bool
}

// expansion is what some states in a row lead to: a list for each state and
// group.
type expansion struct {
	edges []wordEdge
	ends  []uint32 // where each list ends
	calls uint64

	// For one state at a time:
	lists    [][]wordEdge // by group
	memories []interlock.OutputControl
}

// expandAll expands states on all cores.
func (t *OutputTable) expandAll(states []uint64, workers []*expansion) []*expansion {
	workers = workers[:min(len(workers), len(states))]
	var others sync.WaitGroup
	for i, e := range workers {
		share := states[i*len(states)/len(workers) : (i+1)*len(states)/len(workers)]
		others.Go(func() { t.expand(e, share) })
	}
	others.Wait()
	return workers
}

// expand collects the edges of some states by group.
func (t *OutputTable) expand(e *expansion, states []uint64) {
	e.edges, e.ends, e.calls = e.edges[:0], e.ends[:0], 0
	lists := e.lists
	for _, word := range states {
		e.memories = e.memories[:0]
		t.Shape.Each(uint32(word&(1<<WatchShift-1)), func(s interlock.OutputControl) { e.memories = append(e.memories, s) })
		letters := t.letters[model.Int(interlock.Mode(word&3) == interlock.Enabled)]
		for i := range letters {
			g := letters[i].group
			lists[g] = t.steps(lists[g], word, e.memories, &letters[i], &e.calls)
		}
		for g, list := range lists {
			e.edges = append(e.edges, list...)
			e.ends = append(e.ends, uint32(len(e.edges)))
			lists[g] = list[:0]
		}
	}
}

// letter is a letter with its group and the scans that it stands for.
type letter struct {
	OutputScan
	group, n int
	scans    [2]interlock.OutputScan
}

// spell lists the letters that matter to an output that is enabled, or is not.
func (t *OutputTable) spell(enabled bool) (list []letter) {
	t.Shape.EachScan(enabled, func(l *OutputScan) {
		scans, n := l.arms(t.Shape, enabled)
		list = append(list, letter{*l, t.group(l), n, scans})
	})
	return list
}

// steps adds every step from a state under one letter, taken from every concrete
// memory that stands for the state.
func (t *OutputTable) steps(list []wordEdge, word uint64, memories []interlock.OutputControl, l *letter, calls *uint64) []wordEdge {
	h := t.Shape
	w := UnpackWatch(word)
	if !h.Brief && !Levels[l.Reset].Follows(w.Button) {
		return list
	}
	for i := range memories {
		s := &memories[i]
		for _, in := range l.scans[:l.n] {
			after, told := t.Logic.Output(h.Config, *s, in)
			*calls++
			v := h.Judge(s, w, &l.OutputScan, &after, told.ResetGiven)
			list = unite(list, wordEdge{uint64(h.Pack(after)) | v.Watch.Pack(), v.hit, v.Bad, v.Enables, v.keeps})
		}
	}
	return list
}

// unite adds an edge to a list, or what it says to an edge that is alike.
func unite(list []wordEdge, e wordEdge) []wordEdge {
	for i := range list {
		if have := &list[i]; have.next == e.next && have.enables == e.enables {
			have.hit |= e.hit
			have.bad |= e.bad
			return list
		}
	}
	return append(list, e)
}

// number appends expanded edges to the table and numbers what they lead to.
func (t *OutputTable) number(e *expansion) {
	t.calls += e.calls
	from := uint32(0)
	for _, end := range e.ends {
		t.at = append(t.at, uint32(len(t.Edges)))
		first := len(t.Edges)
		for _, w := range e.edges[from:end] {
			t.Edges = append(t.Edges, outputEdge{t.find(w.next), w.hit, w.bad, w.enables, w.keeps})
		}
		slices.SortFunc(t.Edges[first:], func(a, b outputEdge) int { return int(a.Next) - int(b.Next) })
		from = end
	}
}

func (t *OutputTable) find(word uint64) uint32 {
	recent := &t.recent[word*0x9e3779b97f4a7c15>>56]
	if recent.known && recent.word == word {
		return recent.at
	}
	i, ok := t.Index[word]
	if !ok {
		i = uint32(len(t.States))
		t.Index[word] = i
		t.States = append(t.States, word)
	}
	recent.word, recent.at, recent.known = word, i, true
	return i
}

// group is the group of a letter.
func (t *OutputTable) group(l *OutputScan) int {
	g := int(l.Perm) + 1
	if t.Shape.Brief {
		g = (g*SharedClasses+int(l.Shared))*2 + model.Int(l.Ended)
		g = g*len(t.Shape.Ends) + int(l.Ends)
	}
	return g
}

// EachScan calls f with every letter that matters to an output that is enabled,
// or is not. Where it is not, all shared reasons are alike but for none, and the
// end of flow is no matter; in full form only one of each is tried, and a test
// shows that the others are no different.
func (h *OutputShape) EachScan(enabled bool, f func(*OutputScan)) {
	h.EachLetter(!h.Brief && !enabled, f)
}

// EachLetter calls f with every letter, or with one for all that are alike to an
// output that is withheld.
func (h *OutputShape) EachLetter(few bool, f func(*OutputScan)) {
	for _, perm := range model.Truths {
		for shared := uint8(0); shared < SharedClasses; shared++ {
			if shared == SharedStop && h.Config.Stop == 0 || few && (shared == SharedWait || shared == SharedStop) {
				continue
			}
			for ended := 0; ended < 2; ended++ {
				if ended == 1 && few {
					continue
				}
				l := OutputScan{Perm: perm, Shared: shared, Ended: ended == 1}
				h.eachButton(&l, f)
			}
		}
	}
}

func (h *OutputShape) eachButton(l *OutputScan, f func(*OutputScan)) {
	resets, begins := h.buttons(h.Config.Reset, 1), h.buttons(h.Config.Start, 2)
	for e := range h.Ends {
		for _, reset := range resets {
			for _, begin := range begins {
				l.Ends, l.Reset, l.Begin = uint8(e), reset, begin
				f(l)
			}
		}
	}
}

// buttons lists how a button can show itself: unknown where there is none. In
// brief form the memory of the buttons is free, a press is about to be given or
// is not; a released reset and a start command that comes or does not are all
// that is left to say.
func (h *OutputShape) buttons(ref interlock.Ref, brief int) []uint8 {
	switch {
	case ref == 0:
		return allLevels[4:]
	case h.Brief:
		return allLevels[:brief]
	}
	return allLevels[:]
}

var allLevels = [len(Levels)]uint8{0, 1, 2, 3, 4}

// From lists the edges of a state in one group.
func (t *OutputTable) From(state uint32, group int) []outputEdge {
	i := int(state)*t.Groups + group
	return t.Edges[t.at[i]:t.at[i+1]]
}

func (t *OutputTable) Enabled(state uint32) bool {
	return interlock.Mode(t.States[state]&3) == interlock.Enabled
}

// describe names an abstract state by one memory that stands for it.
func (t *OutputTable) describe(row int) string {
	text := ""
	t.Shape.Each(uint32(t.States[row]&(1<<WatchShift-1)), func(s interlock.OutputControl) {
		text = s.Mode.String()
		if s.Mode != interlock.Enabled && !t.Shape.Brief {
			text += ", reset " + s.Button.Phase.String()
		}
		if s.Unconfirmed != 0 {
			text += ", unconfirmed"
		}
	})
	return text
}

// HasEdge says that a state has an edge to a memory under a letter.
func (t *OutputTable) HasEdge(state uint32, l *OutputScan, memory uint32) bool {
	for _, e := range t.From(state, t.group(l)) {
		if uint32(t.States[e.Next]&(1<<WatchShift-1)) == memory {
			return true
		}
	}
	return false
}
