package table

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

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
	At      []uint32 // row*classes+class: where its edges start
	Edges   []StemEdge
	Says    []said // by row and class: what any of its edges says
	Name    func(row int) string
	Calls   uint64 // of the part steps, to build it
}

// StemEdge is one step of the rest: the row that follows and, as sets of
// property numbers, what had something to say and what is violated.
type StemEdge struct {
	Next     uint32
	Hit, Bad model.PropertySet
}

// said is what some edges say of the properties.
type said struct{ Hit, Bad model.PropertySet }

// gather sums up what the edges of every row and class say.
func (s *Stem) gather() {
	s.Says = make([]said, s.Rows*s.Classes)
	for i := range s.Says {
		for _, e := range s.Edges[s.At[i]:s.At[i+1]] {
			s.Says[i].Hit |= e.Hit
			s.Says[i].Bad |= e.Bad
		}
	}
}

// From lists the edges of a row under one class of letters.
func (s *Stem) From(row, class int) []StemEdge {
	i := row*s.Classes + class
	return s.Edges[s.At[i]:s.At[i+1]]
}

// View is one letter as the rest sees it: what the permissive can say over
// fit-to-keep and over fit-to-start, what the vessel's bond can be, and whether
// a parted connection reads good again.
type View struct {
	Keep, Start model.TruthSet
	Bond        model.TruthSet
	Again       bool
	// What the property knows of the channel, whatever the logic says: it is
	// fit to keep running or to start, or a bypass may stand in for it.
	mayKeep, mayStart bool
}

// Focus is one channel of an output's cone and how both hang together.
type Focus struct {
	Channel  *interlock.Channel
	Perm     []model.Residue // the output's permissive in this channel
	Bond     []model.Residue // the vessel's bond in this channel; nil without a vessel
	InVessel bool
	Cut      bool // this channel alone stops the output
	Bypassed bool
	LostToo  bool // the bypass covers lost
	// othersBond: other channels of the vessel may reconnect as well.
	OthersBond bool
}

// views turns letters into what the rest sees of them.
func (f *Focus) views(logic *model.Logic) (list [Letters]View) {
	evidence := []interlock.Truth{interlock.True}
	if f.Channel.Evidence != 0 {
		evidence = model.Truths[:]
	}
	for l := Letter(0); l < Letters; l++ {
		keep, start := logic.Fitness(l.phase())
		v := View{Again: l.Again() && f.InVessel}
		phase := l.phase()
		covered := f.Bypassed && (l>>1 == fitUnreadable || f.LostToo && l>>1 == fitLost)
		v.mayKeep, v.mayStart = phase.MayKeep() || covered, phase.MayStart() || covered
		for _, e := range evidence {
			v.Keep |= model.Of(f.Perm, min(keep, e), min(keep, e))
			v.Start |= model.Of(f.Perm, min(start, e), min(keep, e))
			v.Bond |= model.Of(f.Bond, min(keep, e), min(keep, e))
			if covered {
				v.Keep |= model.Of(f.Perm, e, e)
				v.Start |= model.Of(f.Perm, e, e)
			}
		}
		list[l] = v
	}
	return list
}

// classify numbers the views that differ among the letters that are shown.
func classify(views [Letters]View, shown uint32) (class [Letters]int, distinct []View) {
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

// ResetStem is the output in full: buttons, delays, confirmation. The vessels
// and the end of flow are free.
func ResetStem(logic *model.Logic, t *OutputTable, f *Focus, shown uint32) *Stem {
	s := &Stem{Rows: len(t.States), Name: t.describe, Calls: t.calls}
	var views []View
	s.Class, views = classify(f.views(logic), shown)
	s.Classes = len(views)
	add := Adder{}
	s.At = make([]uint32, 0, s.Rows*s.Classes+1)
	s.Edges = make([]StemEdge, 0, 2*len(t.Edges))
	for row := 0; row < s.Rows; row++ {
		for i := range views {
			s.At = append(s.At, uint32(len(s.Edges)))
			add.Begin()
			s.Edges = t.join(s.Edges, &add, uint32(row), &views[i], f.Cut)
		}
	}
	s.At = append(s.At, uint32(len(s.Edges)))
	s.gather()
	return s
}

// join appends the edges of a row under one view.
func (t *OutputTable) join(to []StemEdge, add *Adder, row uint32, v *View, cut bool) []StemEdge {
	perm := v.Start
	if t.Enabled(row) {
		perm = v.Keep
	}
	for _, p := range model.Truths {
		if !perm.Has(p) {
			continue
		}
		for _, e := range t.From(row, int(p)+1) {
			to = add.To(to, e.judged(v, cut))
		}
	}
	return to
}

// judged adds what the properties say of the channel: an output goes enabled
// only with the channel bonded, and stays so only with it fit to keep.
func (e *outputEdge) judged(v *View, cut bool) StemEdge {
	out := StemEdge{Next: e.Next, Hit: e.Hit, Bad: e.Bad}
	if cut && e.enables && !v.mayStart {
		out.Bad |= model.PropertyStart.Bit()
	}
	if cut && e.keeps && !v.mayKeep {
		out.Bad |= model.PropertyWithhold.Bit()
	}
	return out
}

// Adder unites edges to the same row, in constant time each.
type Adder struct {
	turn uint32
	last []struct{ turn, at uint32 } // by next row
}

// Begin starts a new list of edges.
func (a *Adder) Begin() { a.turn++ }

func (a *Adder) To(edges []StemEdge, e StemEdge) []StemEdge {
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

// Reversed is the same rest with every step the other way round.
func (s *Stem) Reversed() *Stem {
	r := &Stem{Rows: s.Rows, Class: s.Class, Classes: s.Classes, At: make([]uint32, s.Rows*s.Classes+1), Edges: make([]StemEdge, len(s.Edges))}
	each := func(f func(at int, row uint32)) {
		for row := range s.Rows {
			for class := range s.Classes {
				for _, e := range s.From(row, class) {
					f(int(e.Next)*s.Classes+class, uint32(row))
				}
			}
		}
	}
	each(func(at int, _ uint32) { r.At[at+1]++ })
	for i := 1; i < len(r.At); i++ {
		r.At[i] += r.At[i-1]
	}
	filled := make([]uint32, len(r.At))
	each(func(at int, row uint32) {
		r.Edges[r.At[at]+filled[at]] = StemEdge{Next: row}
		filled[at]++
	})
	r.gather()
	return r
}
