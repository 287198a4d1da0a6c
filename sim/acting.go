package sim

import (
	"ohmgate/interlock/fault"
	"ohmgate/monitor"
)

// never is a scan that no run reaches.
const never = ^uint64(0)

// acting is one fault of a scenario while it acts on one thing.
type acting struct {
	fault *fault.Fault
	on    int // number of the channel, input or output
	label string

	targets []place // all that the scenario named
	over    bool    // ended by hand, before its time

	begun uint64 // scan in which it began
	draw  Stream // its own randomness

	// Parameters, in the order of the catalogue, in base units.
	num  [4]float64
	word string

	// Memory of faults that have one.
	broken bool              // chatter, film: the state now
	kept   monitor.Reading   // frozen, repeated, on change: what was last handed over
	seen   bool              // kept means something
	queue  []monitor.Reading // late: what is still on its way
	ring   int
}

// is reports whether this is the named fault.
func (a *acting) is(name string) bool { return a.fault.Name == name }

// ramp is how far a change that takes so many seconds has got, 0 to 1.
func ramp(elapsed, over float64) float64 {
	if over <= 0 || elapsed >= over {
		return 1
	}
	return elapsed / over
}

// within reports whether a pattern that repeats every so many seconds is in the
// part of it that lasts.
func within(elapsed, every, lasts float64) bool {
	if every <= 0 {
		return true
	}
	turns := elapsed / every
	return float64(turns-float64(int64(turns)))*every < lasts-1e-9
}

// flip lets a two-state contact change at random: each scan it leaves its state
// with the share of its mean time that a scan takes.
func (a *acting) flip(scan uint64, seconds, meanMade, meanBroken float64) {
	mean := meanMade
	if a.broken {
		mean = meanBroken
	}
	if mean <= seconds || a.draw.Hit(scan, seconds/mean) {
		a.broken = !a.broken
	}
}
