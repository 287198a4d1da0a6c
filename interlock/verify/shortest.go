package verify

import (
	"math/bits"
	"slices"
)

// Visited is one state of a product on a shortest run: a row of the rest and a
// state of the channel.
type Visited struct{ Row, Column uint32 }

// Shortest is a shortest run from power-up to a state from which one more scan
// violates a property; nil if none does, or if the memory does not suffice. The
// search stores no parents: it runs once more and keeps what was new in each
// level, a word where states lie dense, and the run is read backwards from there.
// Where the levels do not all fit, it runs again for those before.
func (p *Product) Shortest(property int) []Visited {
	return p.back(p.FirstBad[property], func(l *front) (Visited, bool) { return p.lastBefore(l, property) })
}

// Deepest is a shortest run to one of the states that are farthest from power-up;
// nil if the memory does not suffice.
func (p *Product) Deepest() []Visited {
	return p.back(p.Levels, func(l *front) (Visited, bool) {
		return l.each(p.words, func(Visited) bool { return true })
	})
}

// back reads a run backwards from a state that end finds in its last level.
func (p *Product) back(length int, end func(*front) (Visited, bool)) []Visited {
	if length == 0 {
		return nil
	}
	run := make([]Visited, length)
	near := &kept{}
	for i := length - 1; i >= 0; i-- {
		if i < near.from || len(near.fronts) == 0 {
			if near = p.levelsTo(i + 1); near == nil {
				return nil
			}
		}
		l, ok := &near.fronts[i-near.from], false
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

// front holds what was new in one level, by word of the bit rows.
type front struct {
	at    []uint32 // row*words+word, rising within a row
	words []uint64
}

func (l *front) bytes() uint64 { return uint64(len(l.words)) * 12 }

// kept are the last levels of a search that fit into its room.
type kept struct {
	from   int // the first one
	fronts []front
	bytes  uint64
	peak   uint64 // the most bytes so far
}

// add appends a level, and drops the first ones where there is no room for all.
func (k *kept) add(l front, room uint64) {
	for k.bytes+l.bytes() > room && len(k.fronts) > 0 {
		k.bytes -= k.fronts[0].bytes()
		k.fronts = slices.Delete(k.fronts, 0, 1)
		k.from++
	}
	k.fronts = append(k.fronts, l)
	k.bytes += l.bytes()
	k.peak = max(k.peak, k.bytes)
}

// room is how much the levels may take: half of what the search has held, so
// that both searches and the levels stay within two or three times that.
func (p *Product) room() uint64 {
	room := max(p.Bytes()/2, 1<<16)
	if p.Memory > 0 {
		room = min(room, p.Memory-min(p.Memory, p.seenBytes()+p.Bytes()))
	}
	return room
}

// levelsTo searches again up to a level and keeps the last ones; nil where
// the memory does not suffice.
func (p *Product) levelsTo(last int) *kept {
	keep, room := &kept{}, p.room()
	again := &Product{Channel: p.Channel, Stem: p.Stem, Workers: p.Workers, Memory: p.Memory, until: last}
	again.keep = func(_ int, w *wave) {
		n := 0
		for _, word := range w.bits {
			n += b2i(word != 0)
		}
		l := front{make([]uint32, 0, n), make([]uint64, 0, n)}
		for i, word := range w.bits {
			if word != 0 {
				at := int(w.rows[i/again.words])*again.words + i%again.words
				l.at, l.words = append(l.at, uint32(at)), append(l.words, word)
			}
		}
		keep.add(l, room)
	}
	err := again.Run()
	p.traced = max(p.traced, p.seenBytes()+again.Bytes()+keep.peak)
	if err != nil || p.Memory > 0 && keep.bytes > room {
		return nil
	}
	return keep
}

// each calls f with the states of a level until it says that it has enough.
func (l *front) each(words int, f func(Visited) bool) (Visited, bool) {
	for i, at := range l.at {
		for w := l.words[i]; w != 0; w &= w - 1 {
			v := Visited{at / uint32(words), at%uint32(words)*64 + uint32(bits.TrailingZeros64(w))}
			if f(v) {
				return v, true
			}
		}
	}
	return Visited{}, false
}

// lastBefore is a state from which one scan violates the property.
func (p *Product) lastBefore(l *front, property int) (Visited, bool) {
	return p.leads(l, nil, func(e *StemEdge) bool { return e.Bad>>property&1 == 1 })
}

// before is a state of a level from which one scan leads to another state.
func (p *Product) before(l *front, to Visited) (Visited, bool) {
	return p.leads(l, &to.Column, func(e *StemEdge) bool { return e.Next == to.Row })
}

// leads finds a state from which the channel can go to a column, or anywhere,
// while the rest takes a wanted step. Which letters lead where is asked first of
// the channel, then of each row once.
func (p *Product) leads(l *front, column *uint32, wanted func(*StemEdge) bool) (Visited, bool) {
	classes := make([]uint64, len(p.Channel.States)) // by channel state: classes of letters that lead there
	for s := range classes {
		for _, e := range p.Channel.fromAll(uint32(s)) {
			if column == nil || e.next == *column {
				classes[s] |= 1 << p.Stem.Class[e.letter]
			}
		}
	}
	row, open := -1, uint64(0)
	words := (len(classes) + 63) / 64
	return l.each(words, func(v Visited) bool {
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
