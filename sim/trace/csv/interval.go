package csv

import (
	"fmt"
	"time"

	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// A recording must hold every reading that the logic would have read. Whether it
// does is told from the intervals between the readings of a channel, and from
// whether two readings in a row are ever equal: a recorder with a dead-band
// never writes the same value twice.

// intervalsKept is the longest interval, in scans, that is told from others.
const intervalsKept = 4096

// intervals is what is known of one channel's readings.
type intervals struct {
	counts []uint32
	total  uint64
	scans  uint64           // in all intervals together
	last   uint64           // scan of the last reading, plus one; 0 if there was none
	value  monitor.Microohm // of the last reading; negative if it was not valid
	equal  uint64           // readings equal to the one before
	least  monitor.Microohm
	steps  uint64  // pairs of valid readings that differ
	moved  float64 // µΩ: what they differ by, together
	small  uint64  // … those that differ by less than a third of the mean so far
}

func (n *intervals) forget() { n.last = 0 }

func (n *intervals) arrive(scan uint64, reading monitor.Reading) {
	v := reading.Value
	if reading.Quality != monitor.Valid {
		v = -1
	}
	if n.counts == nil {
		n.counts = make([]uint32, intervalsKept+1)
	}
	if n.last > 0 {
		step := scan + 1 - n.last
		n.counts[min(step, intervalsKept)]++
		n.total++
		n.scans += step
		n.step(v)
	}
	n.last, n.value = scan+1, v
}

// step compares with the reading before, where both are valid.
func (n *intervals) step(v monitor.Microohm) {
	d := max(v-n.value, n.value-v)
	switch {
	case v < 0 || n.value < 0:
	case d == 0:
		n.equal++
	default:
		if n.steps == 0 || d < n.least {
			n.least = d
		}
		n.steps++
		n.moved += float64(d)
		if 3*float64(d)*float64(n.steps) < n.moved {
			n.small++
		}
	}
}

// leastSteps is how many steps it takes to tell a dead-band from noise.
const leastSteps = 100

// deadBand reports that the recorder seems to have left small changes out: at
// irregular intervals, and hardly ever a step that is small against the others,
// or none at all. Noise alone has steps of any size: of Gaussian ones, a third
// of the mean is undercut by about every fifth. The few that are allowed here
// are rows that were written because something else had changed.
func (n *intervals) deadBand() bool {
	return n.steps >= leastSteps && 20*(n.small+n.equal) <= n.steps && n.share(0.9) >= 2*max(n.share(0.1), 1)
}

// share is the interval that this share of all intervals does not exceed.
func (n *intervals) share(p float64) uint64 {
	want, sum := uint64(p*float64(n.total)), uint64(0)
	for step, count := range n.counts {
		sum += uint64(count)
		if sum > want {
			return uint64(step)
		}
	}
	return intervalsKept
}

// leastIntervals is how many intervals it takes to judge a recorder.
const leastIntervals = 20

// judgeIntervals notes every channel of which the recording cannot show what
// the logic would have read.
func (r *Mapped) judgeIntervals() {
	need := max(uint64(r.config.PollScans), 1)
	span := func(scans uint64) time.Duration { return time.Duration(int64(scans) * r.period) }
	for _, c := range r.m.Channels {
		n := &r.stats[c.Channel]
		name := c.Column
		switch {
		case r.m.OnChange:
			band := r.m.DeadBand
			if band == "" {
				band = "unknown"
			}
			r.blind(name, fmt.Sprintf("recorded on change only (dead-band %s): what moved less or faster is not there", band), span(need))
		case n.deadBand():
			r.blind(name, changesOnly(n, span), span(need))
		case n.total < leastIntervals || n.scans <= 2*need*n.total:
			// Few readings, or on average at least every second one that is needed.
		case n.equal == 0 && n.share(0.9) >= 2*max(n.share(0.1), 1):
			r.blind(name, changesOnly(n, span), span(need))
		default:
			r.blind(name, fmt.Sprintf("recorded slower than the logic reads: every %v on average, the logic reads every %v", span(n.scans/n.total).Round(time.Millisecond), span(need)), span(need))
		}
	}
}

func changesOnly(n *intervals, span func(uint64) time.Duration) string {
	alike := "never"
	if n.equal > 0 {
		alike = "hardly ever"
	}
	return fmt.Sprintf("looks recorded on change: %d readings, %s two alike, smallest step %s Ω, at irregular intervals of %v to %v", n.total+1, alike, trace.AppendOhms(nil, n.least), span(n.share(0.1)), span(n.share(0.9)))
}

// blind notes that a channel's recording cannot decide, and what would.
func (r *Mapped) blind(name, text string, need time.Duration) {
	kind := trace.Kind{Text: name + ": " + text, Undecided: true, Blind: true, Instead: fmt.Sprintf("record every reading, without dead-band, at least every %v", need)}
	r.Diary.Note(&kind, trace.Place{Line: r.lines.number})
}
