package verify

import (
	"runtime"
	"slices"
	"sync"

	"ohmgate/interlock"
)

// outputEdge is one step of an output: the state that follows, and what the
// properties saw in it.
type outputEdge struct {
	next           uint32
	hit, bad       mask
	enables, keeps bool
}

// outputTable is one output, tabulated: every abstract state that it can reach
// under every sequence of scans, and every step between them. In full form the
// steps are grouped by what the permissive says; in brief form also by what is
// shared, by the end of flow and by the end switches.
type outputTable struct {
	shape  *outputShape
	logic  *Logic
	states []uint64 // memory in the low 24 bits, watch above; 0 is power-up
	groups int
	at     []uint32 // state*groups+group: where its edges start
	edges  []outputEdge
	index  map[uint64]uint32
	calls  uint64
	// letters lists what a scan can bring to an output that is withheld, or enabled.
	letters [2][]letter
	recent  [256]struct {
		word  uint64
		at    uint32
		known bool
	}
}

const watchShift = 24

// tabulateOutput expands all states that are known, several at a time, and
// numbers what they lead to in their order: the table does not depend on who
// came first.
func tabulateOutput(logic *Logic, h *outputShape, memory uint64) (*outputTable, error) {
	t := &outputTable{shape: h, logic: logic, groups: 3, index: map[uint64]uint32{}}
	if h.brief {
		t.groups = 3 * sharedClasses * 2 * len(h.ends)
	}
	t.letters = [2][]letter{t.spell(false), t.spell(true)}
	workers := make([]*expansion, runtime.GOMAXPROCS(0))
	for i := range workers {
		workers[i] = &expansion{lists: make([][]wordEdge, t.groups)}
	}
	t.find(0)
	for done := 0; done < len(t.states); {
		batch := t.states[done:min(len(t.states), done+1024)]
		done += len(batch)
		for _, e := range t.expandAll(batch, workers) {
			t.number(e)
		}
		if uint64(len(t.edges))*24+uint64(len(t.states))*uint64(40+4*t.groups) > memory {
			return nil, &CutOff{"tabulating an output", uint64(len(t.states)), memory}
		}
	}
	t.at = append(t.at, uint32(len(t.edges)))
	return t, nil
}

// wordEdge is an edge whose next state has no number yet.
type wordEdge struct {
	next           uint64
	hit, bad       mask
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
func (t *outputTable) expandAll(states []uint64, workers []*expansion) []*expansion {
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
func (t *outputTable) expand(e *expansion, states []uint64) {
	e.edges, e.ends, e.calls = e.edges[:0], e.ends[:0], 0
	lists := e.lists
	for _, word := range states {
		e.memories = e.memories[:0]
		t.shape.each(uint32(word&(1<<watchShift-1)), func(s interlock.OutputControl) { e.memories = append(e.memories, s) })
		letters := t.letters[b2i(interlock.Mode(word&3) == interlock.Enabled)]
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
	outputScan
	group, n int
	scans    [2]interlock.OutputScan
}

// spell lists the letters that matter to an output that is enabled, or is not.
func (t *outputTable) spell(enabled bool) (list []letter) {
	t.shape.eachScan(enabled, func(l *outputScan) {
		scans, n := l.arms(t.shape, enabled)
		list = append(list, letter{*l, t.group(l), n, scans})
	})
	return list
}

// steps adds every step from a state under one letter, taken from every concrete
// memory that stands for the state.
func (t *outputTable) steps(list []wordEdge, word uint64, memories []interlock.OutputControl, l *letter, calls *uint64) []wordEdge {
	h := t.shape
	w := unpackWatch(word)
	if !h.brief && !levels[l.reset].follows(w.button) {
		return list
	}
	for i := range memories {
		s := &memories[i]
		for _, in := range l.scans[:l.n] {
			after, told := t.logic.Output(h.config, *s, in)
			*calls++
			v := h.judge(s, w, &l.outputScan, &after, told.ResetGiven)
			list = unite(list, wordEdge{uint64(h.pack(after)) | v.watch.pack(), v.hit, v.bad, v.enables, v.keeps})
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
func (t *outputTable) number(e *expansion) {
	t.calls += e.calls
	from := uint32(0)
	for _, end := range e.ends {
		t.at = append(t.at, uint32(len(t.edges)))
		first := len(t.edges)
		for _, w := range e.edges[from:end] {
			t.edges = append(t.edges, outputEdge{t.find(w.next), w.hit, w.bad, w.enables, w.keeps})
		}
		slices.SortFunc(t.edges[first:], func(a, b outputEdge) int { return int(a.next) - int(b.next) })
		from = end
	}
}

func (t *outputTable) find(word uint64) uint32 {
	recent := &t.recent[word*0x9e3779b97f4a7c15>>56]
	if recent.known && recent.word == word {
		return recent.at
	}
	i, ok := t.index[word]
	if !ok {
		i = uint32(len(t.states))
		t.index[word] = i
		t.states = append(t.states, word)
	}
	recent.word, recent.at, recent.known = word, i, true
	return i
}

// group is the group of a letter.
func (t *outputTable) group(l *outputScan) int {
	g := int(l.perm) + 1
	if t.shape.brief {
		g = (g*sharedClasses+int(l.shared))*2 + b2i(l.ended)
		g = g*len(t.shape.ends) + int(l.ends)
	}
	return g
}

// eachScan calls f with every letter that matters to an output that is enabled,
// or is not. Where it is not, all shared reasons are alike but for none, and the
// end of flow is no matter; in full form only one of each is tried, and a test
// shows that the others are no different.
func (h *outputShape) eachScan(enabled bool, f func(*outputScan)) {
	h.eachLetter(!h.brief && !enabled, f)
}

// eachLetter calls f with every letter, or with one for all that are alike to an
// output that is withheld.
func (h *outputShape) eachLetter(few bool, f func(*outputScan)) {
	for _, perm := range truths {
		for shared := uint8(0); shared < sharedClasses; shared++ {
			if shared == sharedStop && h.config.Stop == 0 || few && (shared == sharedWait || shared == sharedStop) {
				continue
			}
			for ended := 0; ended < 2; ended++ {
				if ended == 1 && few {
					continue
				}
				l := outputScan{perm: perm, shared: shared, ended: ended == 1}
				h.eachButton(&l, f)
			}
		}
	}
}

func (h *outputShape) eachButton(l *outputScan, f func(*outputScan)) {
	resets, begins := h.buttons(h.config.Reset, 1), h.buttons(h.config.Start, 2)
	for e := range h.ends {
		for _, reset := range resets {
			for _, begin := range begins {
				l.ends, l.reset, l.begin = uint8(e), reset, begin
				f(l)
			}
		}
	}
}

// buttons lists how a button can show itself: unknown where there is none. In
// brief form the memory of the buttons is free, a press is about to be given or
// is not; a released reset and a start command that comes or does not are all
// that is left to say.
func (h *outputShape) buttons(ref interlock.Ref, brief int) []uint8 {
	switch {
	case ref == 0:
		return allLevels[4:]
	case h.brief:
		return allLevels[:brief]
	}
	return allLevels[:]
}

var allLevels = [len(levels)]uint8{0, 1, 2, 3, 4}

// from lists the edges of a state in one group.
func (t *outputTable) from(state uint32, group int) []outputEdge {
	i := int(state)*t.groups + group
	return t.edges[t.at[i]:t.at[i+1]]
}

func (t *outputTable) enabled(state uint32) bool {
	return interlock.Mode(t.states[state]&3) == interlock.Enabled
}

// describe names an abstract state by one memory that stands for it.
func (t *outputTable) describe(row int) string {
	text := ""
	t.shape.each(uint32(t.states[row]&(1<<watchShift-1)), func(s interlock.OutputControl) {
		text = s.Mode.String()
		if s.Mode != interlock.Enabled && !t.shape.brief {
			text += ", reset " + s.Button.Phase.String()
		}
		if s.Unconfirmed != 0 {
			text += ", unconfirmed"
		}
	})
	return text
}

// hasEdge says that a state has an edge to a memory under a letter.
func (t *outputTable) hasEdge(state uint32, l *outputScan, memory uint32) bool {
	for _, e := range t.from(state, t.group(l)) {
		if uint32(t.states[e.next]&(1<<watchShift-1)) == memory {
			return true
		}
	}
	return false
}
