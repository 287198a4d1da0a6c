package verify

import "ohmgate/interlock"

// Stem is everything that hangs on one channel: for every abstract state of the
// rest and every letter that the channel can show, the states that can follow.
// It is the abstract model of one output's cone: the rows of the product, of
// which the channel's states are the columns. Row 0 is power-up.
type Stem struct {
	Rows int
	// Class numbers the letters that are alike to the rest; -1 is a letter
	// that the channel never shows.
	Class   [Letters]int
	Classes int
	at      []uint32 // row*classes+class: where its edges start
	Edges   []StemEdge
	says    []said // by row and class: what any of its edges says
	Name    func(row int) string
	Calls   uint64 // of the part steps, to build it
}

// StemEdge is one step of the rest: the row that follows and, as sets of
// property numbers, what had something to say and what is violated.
type StemEdge struct {
	Next     uint32
	Hit, Bad mask
}

// said is what some edges say of the properties.
type said struct{ Hit, Bad mask }

// gather sums up what the edges of every row and class say.
func (s *Stem) gather() {
	s.says = make([]said, s.Rows*s.Classes)
	for i := range s.says {
		for _, e := range s.Edges[s.at[i]:s.at[i+1]] {
			s.says[i].Hit |= e.Hit
			s.says[i].Bad |= e.Bad
		}
	}
}

// From lists the edges of a row under one class of letters.
func (s *Stem) From(row, class int) []StemEdge {
	i := row*s.Classes + class
	return s.Edges[s.at[i]:s.at[i+1]]
}

// view is one letter as the rest sees it: what the permissive can say over
// fit-to-keep and over fit-to-start, what the vessel's bond can be, and whether
// a parted connection reads good again.
type view struct {
	keep, start truthSet
	bond        truthSet
	again       bool
	// What the property knows of the channel, whatever the logic says: it is
	// fit to keep running or to start, or a bypass may stand in for it.
	mayKeep, mayStart bool
}

// focus is one channel of an output's cone and how both hang together.
type focus struct {
	channel  *interlock.Channel
	perm     []residue // the output's permissive in this channel
	bond     []residue // the vessel's bond in this channel; nil without a vessel
	inVessel bool
	cut      bool // this channel alone stops the output
	bypassed bool
	lostToo  bool // the bypass covers lost
	// othersBond: other channels of the vessel may reconnect as well.
	othersBond bool
}

// views turns letters into what the rest sees of them.
func (f *focus) views(logic *Logic) (list [Letters]view) {
	evidence := []interlock.Truth{interlock.True}
	if f.channel.Evidence != 0 {
		evidence = truths[:]
	}
	for l := Letter(0); l < Letters; l++ {
		keep, start := logic.Fitness(l.phase())
		v := view{again: l.again() && f.inVessel}
		phase := l.phase()
		covered := f.bypassed && (l>>1 == fitUnreadable || f.lostToo && l>>1 == fitLost)
		v.mayKeep, v.mayStart = phase.MayKeep() || covered, phase.MayStart() || covered
		for _, e := range evidence {
			v.keep |= of(f.perm, min(keep, e), min(keep, e))
			v.start |= of(f.perm, min(start, e), min(keep, e))
			v.bond |= of(f.bond, min(keep, e), min(keep, e))
			if covered {
				v.keep |= of(f.perm, e, e)
				v.start |= of(f.perm, e, e)
			}
		}
		list[l] = v
	}
	return list
}

// classify numbers the views that differ among the letters that are shown.
func classify(views [Letters]view, shown uint32) (class [Letters]int, distinct []view) {
	for l := range views {
		class[l] = -1
		if shown>>l&1 == 0 {
			continue
		}
		for i := range distinct {
			if distinct[i] == views[l] {
				class[l] = i
			}
		}
		if class[l] < 0 {
			class[l] = len(distinct)
			distinct = append(distinct, views[l])
		}
	}
	return class, distinct
}

// resetStem is the output in full: buttons, delays, confirmation. The vessels
// and the end of flow are free.
func resetStem(logic *Logic, t *outputTable, f *focus, shown uint32) *Stem {
	s := &Stem{Rows: len(t.states), Name: t.describe, Calls: t.calls}
	var views []view
	s.Class, views = classify(f.views(logic), shown)
	s.Classes = len(views)
	add := adder{}
	s.at = make([]uint32, 0, s.Rows*s.Classes+1)
	s.Edges = make([]StemEdge, 0, 2*len(t.edges))
	for row := 0; row < s.Rows; row++ {
		for i := range views {
			s.at = append(s.at, uint32(len(s.Edges)))
			add.begin()
			s.Edges = t.join(s.Edges, &add, uint32(row), &views[i], f.cut)
		}
	}
	s.at = append(s.at, uint32(len(s.Edges)))
	s.gather()
	return s
}

// join appends the edges of a row under one view.
func (t *outputTable) join(to []StemEdge, add *adder, row uint32, v *view, cut bool) []StemEdge {
	perm := v.start
	if t.enabled(row) {
		perm = v.keep
	}
	for _, p := range truths {
		if !perm.has(p) {
			continue
		}
		for _, e := range t.from(row, int(p)+1) {
			to = add.to(to, e.judged(v, cut))
		}
	}
	return to
}

// judged adds what the properties say of the channel: an output goes enabled
// only with the channel bonded, and stays so only with it fit to keep.
func (e *outputEdge) judged(v *view, cut bool) StemEdge {
	out := StemEdge{Next: e.next, Hit: e.hit, Bad: e.bad}
	if cut && e.enables && !v.mayStart {
		out.Bad |= bit(3)
	}
	if cut && e.keeps && !v.mayKeep {
		out.Bad |= bit(2)
	}
	return out
}

// adder unites edges to the same row, in constant time each.
type adder struct {
	turn uint32
	last []struct{ turn, at uint32 } // by next row
}

// begin starts a new list of edges.
func (a *adder) begin() { a.turn++ }

func (a *adder) to(edges []StemEdge, e StemEdge) []StemEdge {
	for int(e.Next) >= len(a.last) {
		a.last = append(a.last, make([]struct{ turn, at uint32 }, len(a.last)+64)...)
	}
	last := &a.last[e.Next]
	if last.turn == a.turn {
		have := &edges[last.at]
		have.Hit |= e.Hit
		have.Bad |= e.Bad
		return edges
	}
	last.turn, last.at = a.turn, uint32(len(edges))
	return append(edges, e)
}

// reversed is the same rest with every step the other way round.
func (s *Stem) reversed() *Stem {
	r := &Stem{Rows: s.Rows, Class: s.Class, Classes: s.Classes, at: make([]uint32, s.Rows*s.Classes+1), Edges: make([]StemEdge, len(s.Edges))}
	each := func(f func(at int, row uint32)) {
		for row := range s.Rows {
			for class := range s.Classes {
				for _, e := range s.From(row, class) {
					f(int(e.Next)*s.Classes+class, uint32(row))
				}
			}
		}
	}
	each(func(at int, _ uint32) { r.at[at+1]++ })
	for i := 1; i < len(r.at); i++ {
		r.at[i] += r.at[i-1]
	}
	filled := make([]uint32, len(r.at))
	each(func(at int, row uint32) {
		r.Edges[r.at[at]+filled[at]] = StemEdge{Next: row}
		filled[at]++
	})
	r.gather()
	return r
}
