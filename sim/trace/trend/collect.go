package trend

import (
	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// bucketsKept bounds the points of one channel, samplesKept those of one bucket.
const bucketsKept, samplesKept = 400, 32

// bucket is readings side by side in time; its median is one point.
type bucket struct {
	begin  uint64 // scan of its first reading
	values []float64
	times  []float64
	stride uint64 // of so many readings one is kept
	seen   uint64
}

// thinned is one channel's readings, as few as are needed. While there are few
// enough, every reading is a point of its own.
type thinned struct {
	buckets []bucket
	width   uint64 // scans in one bucket
	at      uint64 // number of the last bucket
	any     bool
	total   uint64
	first   float64 // s
	last    float64
}

// Collector is a trace.Writer that keeps what a trend needs: the valid readings
// of a connection of some sort. Those of a clamp that hangs free say nothing of
// its contact. Whether the logic took it for bonded does not matter: a recorder
// of one reading a minute bonds nothing, and still shows rust.
type Collector struct {
	config   *interlock.Config
	header   *trace.Header
	channels []thinned
}

// NewCollector collects for one site.
func NewCollector(c *interlock.Config) *Collector { return &Collector{config: c} }

// Begin takes the names.
func (c *Collector) Begin(h *trace.Header) error {
	c.header = h
	c.channels = make([]thinned, len(h.Channels))
	return nil
}

// Write takes one scan.
func (c *Collector) Write(r *trace.Row) error {
	for i := range c.channels {
		reading, state := r.In.Readings[i], &r.State.Channels[i]
		config := &c.config.Channels[i]
		connected := reading.Value >= config.Floor && reading.Value >= 0 && reading.Value < config.OpenAbove
		if reading.Quality == monitor.Valid && connected && state.Age == 0 {
			c.channels[i].add(r.Scan, r.Time.Seconds(), float64(reading.Value)/1e6)
		}
	}
	return nil
}

// Close ends the collecting.
func (c *Collector) Close() error { return nil }

func (t *thinned) add(scan uint64, seconds, ohms float64) {
	if !t.any {
		t.any, t.width, t.first = true, 1, seconds
	}
	if at := scan / t.width; len(t.buckets) == 0 || at != t.at {
		if len(t.buckets) == bucketsKept {
			t.widen()
			t.add(scan, seconds, ohms)
			return
		}
		t.buckets = append(t.buckets, bucket{begin: scan, stride: 1})
		t.at = at
	}
	t.last = seconds
	t.total++
	t.buckets[len(t.buckets)-1].add(seconds, ohms)
}

func (b *bucket) add(seconds, ohms float64) {
	b.seen++
	if b.seen%b.stride != 0 {
		return
	}
	b.values, b.times = append(b.values, ohms), append(b.times, seconds)
	if len(b.values) > samplesKept {
		b.halve()
	}
}

// halve keeps every second sample.
func (b *bucket) halve() {
	n := 0
	for i := 0; i < len(b.values); i += 2 {
		b.values[n], b.times[n] = b.values[i], b.times[i]
		n++
	}
	b.values, b.times = b.values[:n], b.times[:n]
	b.stride *= 2
}

// widen doubles the width until at least one pair of buckets became one.
func (t *thinned) widen() {
	before := len(t.buckets)
	for len(t.buckets) == before {
		t.width *= 2
		merged := t.buckets[:0]
		last := uint64(0)
		for i := range t.buckets {
			b := t.buckets[i]
			at := b.begin / t.width
			if n := len(merged); n > 0 && at == last {
				merged[n-1].join(b)
			} else {
				merged = append(merged, b)
			}
			last = at
		}
		t.buckets = merged
		t.at = last
	}
}

// join takes another bucket in. Both then keep one of as many readings.
func (b *bucket) join(other bucket) {
	for b.stride < other.stride {
		b.halve()
	}
	for other.stride < b.stride {
		other.halve()
	}
	b.values, b.times = append(b.values, other.values...), append(b.times, other.times...)
	b.seen += other.seen
	for len(b.values) > samplesKept {
		b.halve()
	}
}
