package verify

import (
	"slices"

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
	recent [256]struct {
		word  uint64
		at    uint32
		known bool
	}
}

const watchShift = 24

func tabulateOutput(logic *Logic, h *outputShape, memory uint64) (*outputTable, error) {
	t := &outputTable{shape: h, logic: logic, groups: 3, index: map[uint64]uint32{}}
	if h.brief {
		t.groups = 3 * sharedClasses * 2 * len(h.ends)
	}
	t.find(0)
	lists := make([][]outputEdge, t.groups)
	for i := 0; i < len(t.states); i++ {
		t.expand(t.states[i], lists)
		for g := range lists {
			t.at = append(t.at, uint32(len(t.edges)))
			t.edges = append(t.edges, lists[g]...)
			lists[g] = lists[g][:0]
		}
		if uint64(len(t.edges))*24+uint64(len(t.states))*uint64(40+4*t.groups) > memory {
			return nil, &CutOff{"tabulating an output", uint64(len(t.states)), memory}
		}
	}
	t.at = append(t.at, uint32(len(t.edges)))
	return t, nil
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

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// expand collects the edges of one state by group.
func (t *outputTable) expand(word uint64, lists [][]outputEdge) {
	mode := interlock.Mode(word & 3)
	t.shape.eachScan(mode == interlock.Enabled, func(l *outputScan) {
		in := l.arm(t.shape)
		list := &lists[t.group(l)]
		t.each(word, l, &in, func(_ interlock.OutputControl, e outputEdge) {
			for i := range *list {
				if have := &(*list)[i]; have.next == e.next && have.enables == e.enables {
					have.hit |= e.hit
					have.bad |= e.bad
					return
				}
			}
			*list = append(*list, e)
		})
	})
	for g := range lists {
		slices.SortFunc(lists[g], func(a, b outputEdge) int { return int(a.next) - int(b.next) })
	}
}

// each calls f for every step from an abstract state under one letter, with the
// concrete memory that it was made from.
func (t *outputTable) each(word uint64, l *outputScan, in *interlock.OutputScan, f func(interlock.OutputControl, outputEdge)) {
	h := t.shape
	w := unpackWatch(word)
	if !h.brief && !levels[l.reset].follows(w.button) {
		return
	}
	h.each(uint32(word&(1<<watchShift-1)), func(s interlock.OutputControl) {
		next, told := t.logic.Output(h.config, s, *in)
		t.calls++
		v := h.judge(s, w, l, next, told)
		f(s, outputEdge{
			next: t.find(uint64(h.pack(next)) | v.watch.pack()),
			hit:  v.hit, bad: v.bad, enables: v.enables, keeps: v.keeps,
		})
	})
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
