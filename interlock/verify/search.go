package verify

import (
	"math/bits"
	"runtime"
	"sync"
)

// Product is one channel in full detail times everything that hangs on it,
// searched row by row: each row of the rest holds one bit for each state of the
// channel. A level of the search moves whole rows with word operations.
type Product struct {
	Channel *ChannelTable
	Stem    *Stem
	Memory  uint64 // bytes; 0 is no limit
	Workers int    // 0 is one for each core

	words  int
	seen   []uint64 // row*words+word
	fresh  []uint64 // states of the level now expanded
	later  []uint64 // states of the next
	active []uint32 // rows with something fresh
	// touched are the rows to which a level has brought something new.
	touched []bool

	// Levels is how many scans the search took until nothing new came.
	Levels int
	// Hit and Bad collect what was met; FirstBad is the level at which each
	// property was first violated, 0 if never.
	Hit, Bad    mask
	FirstBad    [32]int
	FirstHit    [32]int
	Transitions uint64

	skip func(row, level int) bool // a mutant of the engine: rows that it forgets
	keep func(level int, active []uint32, fresh []uint64)
	// begin changes where the search begins; nil is power-up.
	begin func()
	// told is called after every level with the states reached; it may be nil.
	told func(states uint64)
	// until is the number of levels after which to stop; 0 is at the end.
	until int
}

// Bytes is the memory that the search needs beside its tables.
func (p *Product) Bytes() uint64 {
	words := uint64(len(p.Channel.States)+63) / 64
	return uint64(p.Stem.Rows) * words * 8 * 3
}

// Run searches everything that can be reached from power-up.
func (p *Product) Run() error {
	if p.Memory > 0 && p.Bytes() > p.Memory {
		return &CutOff{"searching a product", 0, p.Memory}
	}
	p.words = (len(p.Channel.States) + 63) / 64
	size := p.Stem.Rows * p.words
	p.seen, p.fresh, p.later = make([]uint64, size), make([]uint64, size), make([]uint64, size)
	p.touched = make([]bool, p.Stem.Rows)
	p.seen[0], p.fresh[0] = 1, 1
	p.active = []uint32{0}
	if p.begin != nil {
		p.begin()
	}
	if p.Workers <= 0 {
		p.Workers = runtime.GOMAXPROCS(0)
	}
	states := uint64(1) // power-up
	for p.Levels = 0; len(p.active) > 0 && (p.until == 0 || p.Levels < p.until); {
		if p.keep != nil {
			p.keep(p.Levels, p.active, p.fresh)
		}
		p.Levels++
		p.level()
		if p.told != nil {
			states += p.fresher()
			p.told(states)
		}
	}
	return nil
}

// fresher is how many states the last level has brought.
func (p *Product) fresher() (n uint64) {
	for _, row := range p.active {
		for _, w := range p.fresh[int(row)*p.words : (int(row)+1)*p.words] {
			n += uint64(bits.OnesCount64(w))
		}
	}
	return n
}

// States is the number of states reached.
func (p *Product) States() uint64 {
	n := uint64(0)
	for _, w := range p.seen {
		n += uint64(bits.OnesCount64(w))
	}
	return n
}

// image is what one row's fresh channel states lead to, class by class.
type image struct {
	class []uint64   // class*words+word
	some  [][]uint32 // words that are not empty, for each class
	steps []uint64   // channel steps in each class
}

// level expands every active row. Rows with the same fresh states share their
// image; what each worker finds is united by OR, so that the result does not
// depend on who came first.
func (p *Product) level() {
	groups, members := p.sameFresh()
	var next sync.WaitGroup
	locks := make([]sync.Mutex, 64)
	found := make([]tally, p.Workers)
	work := make(chan int, len(groups))
	for g := range groups {
		work <- g
	}
	close(work)
	for w := 0; w < p.Workers; w++ {
		next.Add(1)
		go func() {
			defer next.Done()
			img := p.newImage()
			for g := range work {
				p.imageOf(members[g][0], img)
				for _, row := range members[g] {
					p.spread(row, img, locks, &found[w])
				}
			}
		}()
	}
	next.Wait()
	for i := range found {
		p.note(&found[i])
	}
	p.advance()
}

// sameFresh gathers active rows whose fresh states are the same.
func (p *Product) sameFresh() (groups []uint64, members [][]uint32) {
	byHash := map[uint64][]int{}
	for _, row := range p.active {
		words := p.fresh[int(row)*p.words : (int(row)+1)*p.words]
		hash := uint64(14695981039346656037)
		for _, w := range words {
			hash = (hash ^ w) * 1099511628211
			hash ^= hash >> 29
		}
		at := -1
		for _, g := range byHash[hash] {
			first := int(members[g][0])
			if equalWords(p.fresh[first*p.words:(first+1)*p.words], words) {
				at = g
			}
		}
		if at < 0 {
			at = len(members)
			groups, members = append(groups, hash), append(members, nil)
			byHash[hash] = append(byHash[hash], at)
		}
		members[at] = append(members[at], row)
	}
	return groups, members
}

func equalWords(a, b []uint64) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func (p *Product) newImage() *image {
	n := p.Stem.classes
	return &image{class: make([]uint64, n*p.words), some: make([][]uint32, n), steps: make([]uint64, n)}
}

func (p *Product) imageOf(row uint32, img *image) {
	for c, list := range img.some {
		for _, i := range list {
			img.class[c*p.words+int(i)] = 0
		}
		img.some[c] = list[:0]
	}
	clear(img.steps)
	class := &p.Stem.Class
	fresh := p.fresh[int(row)*p.words : (int(row)+1)*p.words]
	for i, word := range fresh {
		for ; word != 0; word &= word - 1 {
			state := uint32(i*64 + bits.TrailingZeros64(word))
			for _, e := range p.Channel.fromAll(state) {
				c := class[e.letter]
				at := &img.class[c*p.words+int(e.next>>6)]
				if *at == 0 {
					img.some[c] = append(img.some[c], e.next>>6)
				}
				*at |= 1 << (e.next & 63)
				img.steps[c]++
			}
		}
	}
}

// tally is what one worker met in one level.
type tally struct {
	hit, bad    mask
	transitions uint64
}

// spread puts the image of a row into every row that can follow.
func (p *Product) spread(row uint32, img *image, locks []sync.Mutex, found *tally) {
	if p.skip != nil && p.skip(int(row), p.Levels) {
		return
	}
	for c, some := range img.some {
		if len(some) == 0 {
			continue
		}
		from := img.class[c*p.words : (c+1)*p.words]
		edges := p.Stem.From(int(row), c)
		for _, e := range edges {
			found.hit |= e.Hit
			found.bad |= e.Bad
			base := int(e.Next) * p.words
			seen, later := p.seen[base:base+p.words], p.later[base:base+p.words]
			if p.Workers > 1 {
				locks[e.Next&63].Lock()
			}
			any := uint64(0)
			for _, i := range some {
				w := from[i] &^ seen[i]
				later[i] |= w
				any |= w
			}
			if any != 0 {
				p.touched[e.Next] = true
			}
			if p.Workers > 1 {
				locks[e.Next&63].Unlock()
			}
		}
		found.transitions += uint64(len(edges)) * img.steps[c]
	}
}

func (p *Product) note(t *tally) {
	for i := range p.FirstBad {
		if t.bad>>i&1 == 1 && p.FirstBad[i] == 0 {
			p.FirstBad[i] = p.Levels
		}
		if t.hit>>i&1 == 1 && p.FirstHit[i] == 0 {
			p.FirstHit[i] = p.Levels
		}
	}
	p.Hit |= t.hit
	p.Bad |= t.bad
	p.Transitions += t.transitions
}

// advance makes the next level the current one.
func (p *Product) advance() {
	for _, row := range p.active {
		clear(p.fresh[int(row)*p.words : (int(row)+1)*p.words])
	}
	p.fresh, p.later = p.later, p.fresh
	p.active = p.active[:0]
	for row, touched := range p.touched {
		if !touched {
			continue
		}
		p.touched[row] = false
		p.active = append(p.active, uint32(row))
		base := row * p.words
		for i := base; i < base+p.words; i++ {
			p.seen[i] |= p.fresh[i]
		}
	}
}
