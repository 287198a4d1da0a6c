package search

import (
	"math/bits"
	"slices"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// Visited is one state of a product on a shortest run: a row of the rest and a
// state of the channel.
type Visited struct{ Row, Column uint32 }

// Shortest is a shortest run from power-up to a state from which one more scan
// violates a property; nil if none does, or if the memory does not suffice. The
// search stores no parents: it runs once more and keeps what was new in each
// level, a word where states lie dense, and the run is read backwards from there.
// Where the levels do not all fit, it runs again for those before.
func (p *Product) Shortest(property model.Property) []Visited {
	return p.back(p.FirstBad[property], func(l *Front) (Visited, bool) { return p.lastBefore(l, property) })
}

// Deepest is a shortest run to one of the states that are farthest from power-up;
// nil if the memory does not suffice.
func (p *Product) Deepest() []Visited {
	return p.back(p.Levels, func(l *Front) (Visited, bool) {
		return l.Each(p.Words, func(Visited) bool { return true })
	})
}

// back reads a run backwards from a state that end finds in its last level.
func (p *Product) back(length int, end func(*Front) (Visited, bool)) []Visited {
	if length == 0 {
		return nil
	}
	run := make([]Visited, length)
	near := &kept{}
	for i := length - 1; i >= 0; i-- {
		if i < near.From || len(near.Fronts) == 0 {
			if near = p.LevelsTo(i + 1); near == nil {
				return nil
			}
		}
		l, ok := &near.Fronts[i-near.From], false
		if i == length-1 {
			run[i], ok = end(l)
		} else {
			run[i], ok = p.before(l, run[i+1])
		}
		if !ok {
			panic("verify: the levels of a search do not lead to what it found")
		}
	}
	return run
}

// Front holds what was new in one level, by word of the bit rows.
type Front struct {
	At    []uint32 // row*words+word, rising within a row
	Words []uint64
}

func (l *Front) Bytes() uint64 { return uint64(len(l.Words)) * 12 }

// kept are the last levels of a search that fit into its room.
type kept struct {
	From   int // the first one
	Fronts []Front
	Bytes  uint64
	peak   uint64 // the most bytes so far
}

// add appends a level, and drops the first ones where there is no room for all.
func (k *kept) add(l Front, room uint64) {
	for k.Bytes+l.Bytes() > room && len(k.Fronts) > 0 {
		k.Bytes -= k.Fronts[0].Bytes()
		k.Fronts = slices.Delete(k.Fronts, 0, 1)
		k.From++
	}
	k.Fronts = append(k.Fronts, l)
	k.Bytes += l.Bytes()
	k.peak = max(k.peak, k.Bytes)
}

// Room is how much the levels may take: half of what the search has held, so
// that both searches and the levels stay within two or three times that.
func (p *Product) Room() uint64 {
	room := max(p.Bytes()/2, 1<<16)
	if p.Memory > 0 {
		room = min(room, p.Memory-min(p.Memory, p.SeenBytes()+p.Bytes()))
	}
	return room
}

// LevelsTo searches again up to a level and keeps the last ones; nil where
// the memory does not suffice.
func (p *Product) LevelsTo(last int) *kept {
	keep, room := &kept{}, p.Room()
	again := &Product{Channel: p.Channel, Stem: p.Stem, Workers: p.Workers, Memory: p.Memory, until: last}
	again.Keep = func(_ int, w *Wave) {
		n := 0
		for _, word := range w.bits {
			n += model.Int(word != 0)
		}
		l := Front{make([]uint32, 0, n), make([]uint64, 0, n)}
		for i, word := range w.bits {
			if word != 0 {
				at := int(w.Rows[i/again.Words])*again.Words + i%again.Words
				l.At, l.Words = append(l.At, uint32(at)), append(l.Words, word)
			}
		}
		keep.add(l, room)
	}
	err := again.Run()
	p.Traced = max(p.Traced, p.SeenBytes()+again.Bytes()+keep.peak)
	if err != nil || p.Memory > 0 && keep.Bytes > room {
		return nil
	}
	return keep
}

// Each calls f with the states of a level until it says that it has enough.
func (l *Front) Each(words int, f func(Visited) bool) (Visited, bool) {
	for i, at := range l.At {
		for w := l.Words[i]; w != 0; w &= w - 1 {
			v := Visited{at / uint32(words), at%uint32(words)*64 + uint32(bits.TrailingZeros64(w))}
			if f(v) {
				return v, true
			}
		}
	}
	return Visited{}, false
}

// lastBefore is a state from which one scan violates the property.
func (p *Product) lastBefore(l *Front, property model.Property) (Visited, bool) {
	return p.leads(l, nil, func(e *table.StemEdge) bool { return e.Bad.Has(property) })
}

// before is a state of a level from which one scan leads to another state.
func (p *Product) before(l *Front, to Visited) (Visited, bool) {
	return p.leads(l, &to.Column, func(e *table.StemEdge) bool { return e.Next == to.Row })
}

// leads finds a state from which the channel can go to a column, or anywhere,
// while the rest takes a wanted step. Which letters lead where is asked first of
// the channel, then of each row once.
func (p *Product) leads(l *Front, column *uint32, wanted func(*table.StemEdge) bool) (Visited, bool) {
	classes := make([]uint64, len(p.Channel.States)) // by channel state: classes of letters that lead there
	for s := range classes {
		for _, e := range p.Channel.FromAll(uint32(s)) {
			if column == nil || e.Next == *column {
				classes[s] |= 1 << p.Stem.Class[e.Letter]
			}
		}
	}
	row, open := -1, uint64(0)
	words := (len(classes) + 63) / 64
	return l.Each(words, func(v Visited) bool {
		if int(v.Row) != row {
			row, open = int(v.Row), 0
			for c := range p.Stem.Classes {
				edges := p.Stem.From(row, c)
				for i := range edges {
					if wanted(&edges[i]) {
						open |= 1 << c
						break
					}
				}
			}
		}
		return classes[v.Column]&open != 0
	})
}
