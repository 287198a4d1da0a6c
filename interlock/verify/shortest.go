package verify

import "math/bits"

// Visited is one state of a product on a shortest run: a row of the rest and a
// state of the channel.
type Visited struct{ Row, Column uint32 }

// Shortest is a shortest run from power-up to a state from which one more scan
// violates a property; nil if none does. The search stores no parents: it runs
// once more and keeps what was new in each level, a word where states lie dense,
// and the run is read backwards from there.
func (p *Product) Shortest(property int) []Visited {
	last := p.FirstBad[property]
	if last == 0 {
		return nil
	}
	levels := p.levelsTo(last)
	run := make([]Visited, last)
	at, ok := p.lastBefore(levels[last-1], property)
	for i := last - 1; ok && i > 0; i-- {
		run[i] = at
		at, ok = p.before(levels[i-1], at)
	}
	if !ok {
		panic("verify: the levels of a search do not lead to what it found")
	}
	run[0] = at
	return run
}

// front holds what was new in one level, by word of the bit rows.
type front struct {
	at    []uint32 // row*words+word, rising within a row
	words []uint64
}

// levelsTo searches again and keeps the first levels.
func (p *Product) levelsTo(last int) []front {
	kept := make([]front, 0, last)
	again := &Product{Channel: p.Channel, Stem: p.Stem, Workers: p.Workers, until: last}
	again.keep = func(_ int, active []uint32, fresh []uint64) {
		var l front
		for _, row := range active {
			base := int(row) * again.words
			for i, w := range fresh[base : base+again.words] {
				if w != 0 {
					l.at, l.words = append(l.at, uint32(base+i)), append(l.words, w)
				}
			}
		}
		kept = append(kept, l)
	}
	_ = again.Run() // without a memory limit it ends well
	return kept
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
func (p *Product) lastBefore(l front, property int) (Visited, bool) {
	return p.leads(l, nil, func(e *StemEdge) bool { return e.Bad>>property&1 == 1 })
}

// before is a state of a level from which one scan leads to another state.
func (p *Product) before(l front, to Visited) (Visited, bool) {
	return p.leads(l, &to.Column, func(e *StemEdge) bool { return e.Next == to.Row })
}

// leads finds a state from which the channel can go to a column, or anywhere,
// while the rest takes a wanted step. Which letters lead where is asked first of
// the channel, then of each row once.
func (p *Product) leads(l front, column *uint32, wanted func(*StemEdge) bool) (Visited, bool) {
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
			for c := range p.Stem.classes {
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
