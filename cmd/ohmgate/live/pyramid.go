package live

import (
	"math"

	"ohmgate/monitor"
)

// Flags say what else a stretch of readings held, beside its numbers.
type Flags uint8

const (
	FlagAbsent    Flags = 1 << iota // nothing arrived in at least one scan
	FlagBad                         // bad quality
	FlagOverRange                   // over-range
	FlagNumber                      // at least one number
)

// sample is one scan's reading, or the extremes of a stretch of them.
type sample struct {
	min, max float32 // ohms; NaN without a number
	flags    Flags
}

var nothing = sample{min: float32(math.NaN()), max: float32(math.NaN())}

// sampleOf turns a reading into what is drawn of it.
func sampleOf(r monitor.Reading) sample {
	s := nothing
	switch r.Quality {
	case monitor.Valid:
		ohms := float32(float64(r.Value) / 1e6)
		return sample{ohms, ohms, FlagNumber}
	case monitor.OverRange:
		s.flags = FlagOverRange
	case monitor.Bad:
		s.flags = FlagBad
	default:
		s.flags = FlagAbsent
	}
	return s
}

// join is the extremes of two stretches together.
func (s sample) join(o sample) sample {
	if o.flags&FlagNumber == 0 {
		s.flags |= o.flags
		return s
	}
	if s.flags&FlagNumber == 0 {
		o.flags |= s.flags
		return o
	}
	return sample{min(s.min, o.min), max(s.max, o.max), s.flags | o.flags}
}

const (
	levels      = 8       // the coarsest bucket holds 8^7 scans
	fan         = 8       // buckets of one level in one of the next
	ringBuckets = 1 << 15 // kept at each level, so that memory stays flat however long it runs
)

// ring is the newest buckets of one level. It grows up to its limit and then
// overwrites the oldest.
type ring struct {
	min, max []float32
	flags    []Flags
	next     uint64 // number of the bucket to come; bucket n is at n % ringBuckets
}

func (r *ring) push(s sample) {
	if at := r.next % ringBuckets; int(at) < len(r.min) {
		r.min[at], r.max[at], r.flags[at] = s.min, s.max, s.flags
	} else {
		r.min, r.max, r.flags = append(r.min, s.min), append(r.max, s.max), append(r.flags, s.flags)
	}
	r.next++
}

func (r *ring) oldest() uint64 {
	if r.next > ringBuckets {
		return r.next - ringBuckets
	}
	return 0
}

func (r *ring) at(n uint64) sample {
	i := n % ringBuckets
	return sample{r.min[i], r.max[i], r.flags[i]}
}

// pyramid keeps one channel's readings at falling resolution: the newest scan
// by scan, everything else as the extremes of longer and longer stretches. A
// short spike is never averaged away.
type pyramid struct {
	rings [levels]ring
	open  [levels]sample // the bucket that is being filled at each level above 0
	count [levels]int
}

func newPyramid() *pyramid {
	p := &pyramid{}
	for k := range p.open {
		p.open[k] = nothing
	}
	return p
}

func (p *pyramid) push(s sample) {
	for k := 0; ; k++ {
		p.rings[k].push(s)
		if k+1 == levels {
			return
		}
		p.open[k+1] = p.open[k+1].join(s)
		p.count[k+1]++
		if p.count[k+1] < fan {
			return
		}
		s = p.open[k+1]
		p.open[k+1], p.count[k+1] = nothing, 0
	}
}

// stretch is how many scans one bucket of a level holds.
func stretch(level int) uint64 { return 1 << (3 * level) }

// choose finds the finest level that still holds the scan from and needs no
// more than width buckets.
func (p *pyramid) choose(from, to uint64, width int) int {
	for k := 0; k < levels-1; k++ {
		enough := (to-from)/stretch(k) <= uint64(width)
		if enough && p.rings[k].oldest()*stretch(k) <= from {
			return k
		}
	}
	return levels - 1
}

// tail is what has arrived since the last whole bucket of a level.
func (p *pyramid) tail(level int) (sample, bool) {
	s, any := nothing, false
	for k := 1; k <= level; k++ {
		if p.count[k] > 0 {
			s, any = s.join(p.open[k]), true
		}
	}
	return s, any
}

// Readings is a stretch of one channel for drawing. Bucket i holds the scans
// from Start+i*Step up to the next bucket.
type Readings struct {
	Start uint64     `json:"start"`
	Step  uint64     `json:"step"`
	Min   []*float32 `json:"min"` // ohms; null without a number
	Max   []*float32 `json:"max"`
	Flags []int      `json:"flags"`
}

func (r *Readings) add(s sample) {
	if s.flags&FlagNumber == 0 {
		r.Min, r.Max = append(r.Min, nil), append(r.Max, nil)
	} else {
		low, high := s.min, s.max
		r.Min, r.Max = append(r.Min, &low), append(r.Max, &high)
	}
	r.Flags = append(r.Flags, int(s.flags))
}

// read gives the scans from..to, to included, in about width buckets.
func (p *pyramid) read(from, to uint64, width int) Readings {
	k := p.choose(from, to, width)
	ring, step := &p.rings[k], stretch(k)
	first := max(from/step, ring.oldest())
	out := Readings{Start: first * step, Step: step, Min: []*float32{}, Max: []*float32{}, Flags: []int{}}
	for n := first; n < ring.next && n*step <= to; n++ {
		out.add(ring.at(n))
	}
	if s, any := p.tail(k); any && ring.next*step <= to && ring.next >= first {
		out.add(s)
	}
	return out
}
