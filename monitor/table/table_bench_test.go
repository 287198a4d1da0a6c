package table

import (
	"fmt"
	"math/rand"
	"testing"
	"time"

	"ohmgate/monitor"
)

// benchReadings is how many readings one round of a benchmark takes in, however
// many channels share them: too many for a processor to learn the random ones
// by heart, few enough for its caches.
const benchReadings = 1 << 16

// feed is what a number of channels read, scan by scan, channel by channel: the
// readings, and the classes that they are heard as.
type feed struct {
	channels int
	readings []monitor.Reading
	classes  []monitor.Class
}

func newFeed(c *monitor.Config, channels int, realistic bool) feed {
	f := feed{channels: channels, readings: make([]monitor.Reading, benchReadings), classes: make([]monitor.Class, benchReadings)}
	for ch := 0; ch < channels; ch++ {
		r := rand.New(rand.NewSource(int64(ch)))
		own := randomReadings(r, c, benchReadings/channels)
		if realistic {
			own = readings(r, c, benchReadings/channels, 200)
		}
		var s monitor.State
		for i, in := range own {
			f.readings[i*channels+ch] = in
			f.classes[i*channels+ch] = monitor.Hear(c, &s, in)
			s = monitor.Step(c, s, in)
		}
	}
	return f
}

// eachFeed runs a benchmark on 8 and 64 channels, realistic and random.
func eachFeed(b *testing.B, run func(b *testing.B, c *monitor.Config, f feed)) {
	c := loadingRack()
	for _, channels := range []int{8, 64} {
		for _, realistic := range []bool{true, false} {
			kind := map[bool]string{true: "realistic", false: "random"}[realistic]
			b.Run(fmt.Sprintf("%s-%d", kind, channels), func(b *testing.B) { run(b, &c, newFeed(&c, channels, realistic)) })
		}
	}
}

// compare times two ways of doing the same scans in turn, and reports the
// quickest round of each in ns per channel and scan, and their ratio.
func compare(b *testing.B, f feed, nameA string, a func() uint64, nameB string, other func() uint64) {
	b.ReportAllocs()
	best := [2]time.Duration{time.Hour, time.Hour}
	var sum uint64
	rounds := 0
	for b.Loop() {
		for k, work := range []func() uint64{a, other} {
			begin := time.Now()
			sum += work()
			best[k] = min(best[k], time.Since(begin))
		}
		rounds++
	}
	if sum == 0 || rounds == 0 {
		b.Fatal("nothing was computed")
	}
	per := float64(benchReadings)
	b.ReportMetric(float64(best[0])/per, nameA+"-ns")
	b.ReportMetric(float64(best[1])/per, nameB+"-ns")
	b.ReportMetric(float64(best[1])/float64(best[0]), "ratio")
}

// Target: the tabulated logic costs at most 2.5 times adding up the classes of
// the same readings.
func BenchmarkTableAgainstSum(b *testing.B) {
	eachFeed(b, func(b *testing.B, c *monitor.Config, f feed) {
		tab, ok := Build(c, 1<<20)
		if !ok {
			b.Fatal("the channel does not fit into a table")
		}
		states := make([]State, f.channels)
		compare(b, f, "sum", func() (sum uint64) {
			for at := 0; at < len(f.classes); at += f.channels {
				for _, class := range f.classes[at : at+f.channels] {
					sum += uint64(class)
				}
			}
			return sum
		}, "table", func() (sum uint64) {
			clear(states)
			for at := 0; at < len(f.classes); at += f.channels {
				for i, class := range f.classes[at : at+f.channels] {
					states[i] = tab.Next(states[i], class)
				}
			}
			for _, s := range states {
				sum += uint64(s) + 1
			}
			return sum
		})
	})
}

// debounce is what people write by hand for the same job: the same six classes
// of reading, a fresh stamp, a settle count, a patience for each kind of bad
// reading. It has no common budget, no pauses, no late stamps, no longest stay
// and no cause.
type debounce struct {
	on, seen              bool
	stamp                 uint16
	age, good, high, dark uint32
}

func (d *debounce) scan(c *monitor.Config, in monitor.Reading) {
	if in.Quality == monitor.Absent || in.Quality != monitor.Bad && d.seen && in.Stamp == d.stamp {
		if d.age++; d.age > uint32(c.StaleAfter) {
			d.unusable()
		}
		return
	}
	d.age = 0
	if in.Quality == monitor.Bad {
		d.unusable()
		return
	}
	d.stamp, d.seen = in.Stamp, true
	switch v := in.Value; {
	case in.Quality == monitor.OverRange:
		d.on, d.good = false, 0
	case v < 0 || v < c.Floor || v > c.ValidMax:
		d.unusable()
	case v >= c.OpenAbove:
		d.on, d.good = false, 0
	case v > c.Reject:
		d.good = 0
		if d.on {
			if d.high++; d.high >= 20 {
				d.on = false
			}
		}
	case v > c.Accept:
		d.good = 0
	default:
		d.high, d.dark = 0, 0
		if !d.on {
			if d.good++; d.good >= uint32(c.SettleScans) {
				d.on = true
			}
		}
	}
}

func (d *debounce) unusable() {
	d.good = 0
	if d.on {
		if d.dark++; d.dark >= 6 {
			d.on = false
		}
	}
}

// Target: plain Step costs at most 1.5 times a hand-written branching debounce.
// Both in place, as the interlock calls it.
func BenchmarkStepAgainstDebounce(b *testing.B) {
	eachFeed(b, func(b *testing.B, c *monitor.Config, f feed) {
		states, plain := make([]monitor.State, f.channels), make([]debounce, f.channels)
		compare(b, f, "debounce", func() (sum uint64) {
			clear(plain)
			for at := 0; at < len(f.readings); at += f.channels {
				for i, in := range f.readings[at : at+f.channels] {
					plain[i].scan(c, in)
				}
			}
			return sumOf(plain)
		}, "step", func() (sum uint64) {
			clear(states)
			for at := 0; at < len(f.readings); at += f.channels {
				for i, in := range f.readings[at : at+f.channels] {
					states[i].Step(c, in)
				}
			}
			return ages(states)
		})
	})
}

// The same with both as functions from value to value: what is added is the
// copying of a debounce's 20 bytes and of a State's 56.
func BenchmarkStepAgainstDebounceByValue(b *testing.B) {
	eachFeed(b, func(b *testing.B, c *monitor.Config, f feed) {
		states, plain := make([]monitor.State, f.channels), make([]debounce, f.channels)
		compare(b, f, "debounce", func() (sum uint64) {
			clear(plain)
			for at := 0; at < len(f.readings); at += f.channels {
				for i, in := range f.readings[at : at+f.channels] {
					plain[i] = debounced(c, plain[i], in)
				}
			}
			return sumOf(plain)
		}, "step", func() (sum uint64) {
			clear(states)
			for at := 0; at < len(f.readings); at += f.channels {
				for i, in := range f.readings[at : at+f.channels] {
					states[i] = monitor.Step(c, states[i], in)
				}
			}
			return ages(states)
		})
	})
}

func debounced(c *monitor.Config, d debounce, in monitor.Reading) debounce {
	d.scan(c, in)
	return d
}

func sumOf(plain []debounce) (sum uint64) {
	for i := range plain {
		sum += uint64(plain[i].age) + 1
	}
	return sum
}

func ages(states []monitor.State) (sum uint64) {
	for i := range states {
		sum += uint64(states[i].Age) + 1
	}
	return sum
}

// Deriving a table from the function, once at load.
func BenchmarkBuild(b *testing.B) {
	c := loadingRack()
	states := 0
	for b.Loop() {
		tab, _ := Build(&c, 1<<20)
		states = tab.Len()
	}
	b.ReportMetric(float64(states), "states")
}
