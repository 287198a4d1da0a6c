package search

import (
	"cmp"
	"math/bits"
	"runtime"
	"slices"
	"sync"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// Product is one channel in full detail times everything that hangs on it,
// searched row by row: each row of the rest holds one bit for each state of the
// channel. A level of the search moves whole rows with word operations.
type Product struct {
	Channel *table.ChannelTable
	Stem    *table.Stem
	Memory  uint64 // bytes; 0 is no limit
	Workers int    // 0 is one for each core

	Words int
	Seen  []uint64 // row*words+word
	wave  Wave     // the states of the level now expanded
	hands []hand
	Peak  uint64 // bytes of the largest waves so far
	// traced is the most memory that rebuilding a run has held.
	Traced uint64

	// Levels is how many scans the search took until nothing new came.
	Levels int
	// Hit and Bad collect what was met; FirstBad is the level at which each
	// property was first violated, 0 if never.
	Hit, Bad    model.PropertySet
	FirstBad    [model.MaxProperties]int
	FirstHit    [model.MaxProperties]int
	Transitions uint64

	Skip func(row, level int) bool // a mutant of the engine: rows that it forgets
	Keep func(level int, w *Wave)
	// begin fills seen and wave with where the search begins; nil is power-up.
	Begin func()
	// told is called after every level with the states reached; it may be nil.
	Told func(states uint64)
	// until is the number of levels after which to stop; 0 is at the end.
	until int
}

// Wave holds some rows of states, each once.
type Wave struct {
	Rows []uint32
	bits []uint64 // of rows[i] from i*words
}

// add appends a row and returns its bits, to be filled.
func (w *Wave) add(row uint32, bits []uint64) []uint64 {
	w.Rows = append(w.Rows, row)
	w.bits = append(w.bits, bits...)
	return w.bits[len(w.bits)-len(bits):]
}

func (w *Wave) At(i, words int) []uint64 { return w.bits[i*words : (i+1)*words] }

func (w *Wave) clear() { w.Rows, w.bits = w.Rows[:0], w.bits[:0] }

func (w *Wave) bytes() uint64 { return uint64(cap(w.bits))*8 + uint64(cap(w.Rows))*4 }

func (p *Product) SeenBytes() uint64 {
	return uint64(p.Stem.Rows) * (uint64(len(p.Channel.States)+63) / 64) * 8
}

// Bytes is the most memory that the search has held beside its tables.
func (p *Product) Bytes() uint64 { return p.SeenBytes() + p.Peak }

// Run searches everything that can be reached from power-up.
func (p *Product) Run() error {
	if p.Memory > 0 && p.SeenBytes() > p.Memory {
		return &table.CutOff{Where: "searching a product", States: 0, Limit: p.Memory}
	}
	p.Words = (len(p.Channel.States) + 63) / 64
	p.Seen = make([]uint64, p.Stem.Rows*p.Words)
	if p.Workers <= 0 {
		p.Workers = runtime.GOMAXPROCS(0)
	}
	p.hands = p.newHands()
	if p.Begin != nil {
		p.Begin()
	} else {
		p.Seen[0] = 1
		p.wave.add(0, p.Seen[:p.Words])
	}
	states := uint64(1) // power-up
	for p.Levels = 0; len(p.wave.Rows) > 0 && (p.until == 0 || p.Levels < p.until); {
		if p.Keep != nil {
			p.Keep(p.Levels, &p.wave)
		}
		p.Levels++
		p.level()
		states += count(p.wave.bits)
		if p.Memory > 0 && p.Bytes() > p.Memory {
			return &table.CutOff{Where: "searching a product", States: states, Limit: p.Memory}
		}
		if p.Told != nil {
			p.Told(states)
		}
	}
	p.hands, p.wave = nil, Wave{}
	return nil
}

// count is how many states some words hold.
func count(words []uint64) (n uint64) {
	for _, w := range words {
		n += uint64(bits.OnesCount64(w))
	}
	return n
}

// States is the number of states reached.
func (p *Product) States() uint64 { return count(p.Seen) }

// level expands the wave. Rows with the same states share their image. Every
// worker goes through all of them, but brings only to the rows that are its own,
// so that none waits for another and the result does not depend on who came first.
func (p *Product) level() {
	groups := p.alike()
	var others sync.WaitGroup
	for i := range p.hands[1:] {
		others.Go(func() { p.expand(&p.hands[i+1], groups) })
	}
	p.expand(&p.hands[0], groups)
	others.Wait()
	for i := range p.hands {
		p.note(&p.hands[i])
	}
	p.advance()
}

// alike gathers the places in the wave that hold the same states.
func (p *Product) alike() (groups [][]uint32) {
	byHash := map[uint64][]int{}
	for i := range p.wave.Rows {
		words := p.wave.At(i, p.Words)
		hash := uint64(14695981039346656037)
		for _, w := range words {
			hash = (hash ^ w) * 1099511628211
			hash ^= hash >> 29
		}
		at := -1
		for _, g := range byHash[hash] {
			if slices.Equal(p.wave.At(int(groups[g][0]), p.Words), words) {
				at = g
			}
		}
		if at < 0 {
			at = len(groups)
			groups = append(groups, nil)
			byHash[hash] = append(byHash[hash], at)
		}
		groups[at] = append(groups[at], uint32(i))
	}
	return groups
}

// image is what one row's states lead to, class by class.
type image struct {
	class []uint64   // class*words+word
	some  [][]uint32 // words that are not empty, for each class
	steps []uint64   // channel steps in each class
}

func (p *Product) newImage() *image {
	n := p.Stem.Classes
	return &image{class: make([]uint64, n*p.Words), some: make([][]uint32, n), steps: make([]uint64, n)}
}

func (p *Product) imageOf(states []uint64, img *image) {
	for c, list := range img.some {
		for _, i := range list {
			img.class[c*p.Words+int(i)] = 0
		}
		img.some[c] = list[:0]
	}
	clear(img.steps)
	class := &p.Stem.Class
	for i, word := range states {
		for ; word != 0; word &= word - 1 {
			state := uint32(i*64 + bits.TrailingZeros64(word))
			for _, e := range p.Channel.FromAll(state) {
				c := class[e.Letter]
				at := &img.class[c*p.Words+int(e.Next>>6)]
				if *at == 0 {
					img.some[c] = append(img.some[c], e.Next>>6)
				}
				*at |= 1 << (e.Next & 63)
				img.steps[c]++
			}
		}
	}
}

// hand is one worker: it fills its own share of the rows, and counts for its own
// share of the groups.
type hand struct {
	share int
	img   *image
	// taken is the turn in which a row was last listed; rows of other workers are
	// taken for ever.
	taken []uint32
	turn  uint32
	rows  []uint32
	// next is what was found for the next level, slot the place of a row in it
	// plus one.
	next Wave
	slot []uint32
	none []uint64 // a row without states

	hit, bad    model.PropertySet
	transitions uint64
}

const (
	forever = ^uint32(0)
	stripe  = 64 // rows side by side that one worker fills
)

func (p *Product) newHands() []hand {
	hands := make([]hand, p.Workers)
	for i := range hands {
		taken := make([]uint32, p.Stem.Rows)
		for row := range taken {
			if row/stripe%p.Workers != i {
				taken[row] = forever
			}
		}
		hands[i] = hand{share: i, img: p.newImage(), taken: taken, slot: make([]uint32, p.Stem.Rows), none: make([]uint64, p.Words)}
	}
	return hands
}

// expand brings what groups of rows lead to into the rows of one worker.
func (p *Product) expand(h *hand, groups [][]uint32) {
	for g, group := range groups {
		p.imageOf(p.wave.At(int(group[0]), p.Words), h.img)
		for c, some := range h.img.some {
			if len(some) == 0 {
				continue
			}
			p.spread(h, group, c, some)
			if g%p.Workers == h.share {
				p.count(h, group, c)
			}
		}
	}
}

// spread puts the image of rows that share it, in one class of letters, into
// every row of this worker that can follow one of them, once each.
func (p *Product) spread(h *hand, group []uint32, class int, some []uint32) {
	if h.turn++; h.turn == forever {
		panic("verify: a search of four thousand million turns")
	}
	h.rows = h.rows[:0]
	for _, i := range group {
		row := int(p.wave.Rows[i])
		if p.Skip != nil && p.Skip(row, p.Levels) {
			continue
		}
		for _, e := range p.Stem.From(row, class) {
			if h.taken[e.Next] < h.turn {
				h.taken[e.Next] = h.turn
				h.rows = append(h.rows, e.Next)
			}
		}
	}
	image := h.img.class[class*p.Words : (class+1)*p.Words]
	for _, row := range h.rows {
		seen, news := p.Seen[int(row)*p.Words:int(row+1)*p.Words], uint64(0)
		for _, i := range some {
			news |= image[i] &^ seen[i]
		}
		if news == 0 {
			continue
		}
		next := h.nextOf(row)
		for _, i := range some {
			next[i] |= image[i] &^ seen[i]
		}
	}
}

// nextOf is a row of the next level.
func (h *hand) nextOf(row uint32) []uint64 {
	if at := h.slot[row]; at > 0 {
		return h.next.At(int(at-1), len(h.none))
	}
	words := h.next.add(row, h.none)
	h.slot[row] = uint32(len(h.next.Rows))
	return words
}

// count counts the steps of some rows in one class of letters, and gathers what
// they say of the properties.
func (p *Product) count(h *hand, group []uint32, class int) {
	steps := h.img.steps[class]
	for _, i := range group {
		row := int(p.wave.Rows[i])
		if p.Skip != nil && p.Skip(row, p.Levels) {
			continue
		}
		list := row*p.Stem.Classes + class
		h.hit |= p.Stem.Says[list].Hit
		h.bad |= p.Stem.Says[list].Bad
		h.transitions += uint64(p.Stem.At[list+1]-p.Stem.At[list]) * steps
	}
}

// note takes over what a worker has met in a level.
func (p *Product) note(h *hand) {
	for i := range p.FirstBad {
		if h.bad.Has(model.Property(i)) && p.FirstBad[i] == 0 {
			p.FirstBad[i] = p.Levels
		}
		if h.hit.Has(model.Property(i)) && p.FirstHit[i] == 0 {
			p.FirstHit[i] = p.Levels
		}
	}
	p.Hit |= h.hit
	p.Bad |= h.bad
	p.Transitions += h.transitions
	h.hit, h.bad, h.transitions = 0, 0, 0
}

// advance makes the next level the current one, its rows in their order.
func (p *Product) advance() {
	type place struct {
		row uint32
		h   *hand
	}
	var places []place
	bytes := p.wave.bytes()
	for i := range p.hands {
		h := &p.hands[i]
		bytes += h.next.bytes()
		for _, row := range h.next.Rows {
			places = append(places, place{row, h})
		}
	}
	p.wave.clear()
	slices.SortFunc(places, func(a, b place) int { return cmp.Compare(a.row, b.row) })
	for _, at := range places {
		words := p.wave.add(at.row, at.h.nextOf(at.row))
		at.h.slot[at.row] = 0
		for i, w := range words {
			p.Seen[int(at.row)*p.Words+i] |= w
		}
	}
	for i := range p.hands {
		p.hands[i].next.clear()
	}
	p.Peak = max(p.Peak, bytes, p.wave.bytes())
}

// Open counts the steps from reached states to states that were not reached. It
// is zero for a search that is complete; it does not trust how the search went.
func (p *Product) Open() uint64 {
	img, open := p.newImage(), uint64(0)
	for row := 0; row < p.Stem.Rows; row++ {
		p.imageOf(p.Seen[row*p.Words:(row+1)*p.Words], img)
		for c, some := range img.some {
			from := img.class[c*p.Words : (c+1)*p.Words]
			if len(some) == 0 {
				continue
			}
			for _, e := range p.Stem.From(row, c) {
				seen := p.Seen[int(e.Next)*p.Words : (int(e.Next)+1)*p.Words]
				for _, i := range some {
					if from[i]&^seen[i] != 0 {
						open++
					}
				}
			}
		}
	}
	if p.Words == 0 || p.Seen[0]&1 == 0 {
		open++ // not even power-up
	}
	return open
}
