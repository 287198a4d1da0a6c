package sim

import (
	"math"
	"time"

	"ohmgate/interlock/site"
)

// stroke is the whole way of an actuator in the units in which it moves.
const stroke = 1 << 30

// actuator is a pump, valve, fan, conveyor or mixer. For a valve the way is its
// stroke; for a machine it is its speed.
type actuator struct {
	name string

	lag  uint64 // scans from the command until it moves: contact and dead time
	pace int64  // units a scan

	command bool   // as the contact gives it
	since   uint64 // scan of the last change of the command
	place   int64  // 0: stopped or shut; stroke: running or open

	welded, stuck int     // faults acting
	slower        float64 // seconds added to a whole stroke
	seconds       float64 // of one scan
	whole         float64 // seconds that a whole stroke takes without faults
}

// newActuator takes the times from the site. A declared travel time is the most
// that is allowed; the model needs three quarters of it, dead time included.
func newActuator(s *site.Site, i int, seconds float64) actuator {
	o := &s.Outputs[i]
	a := actuator{name: o.Name, seconds: seconds}
	before := middle(o.OutputDelay) + middle(o.DeadTime)
	a.lag = uint64(math.Ceil(before/seconds - 1e-9))
	a.whole = float64(o.Travel.Seconds()*0.75) - before
	if o.Travel == 0 {
		a.whole = float64(longestStop(s, o.Name).Seconds() * 0.75)
	}
	a.whole = max(a.whole, seconds)
	a.setPace()
	return a
}

// longestStop is the longest stop that the site declares for an output without
// a confirmation.
func longestStop(s *site.Site, output string) time.Duration {
	var longest time.Duration
	for i := range s.Streams {
		for _, through := range s.Streams[i].Through {
			if through == output {
				longest = max(longest, s.Streams[i].LongestStop)
			}
		}
	}
	return longest
}

// setPace follows from the whole stroke and what slows it.
func (a *actuator) setPace() {
	scans := math.Ceil((a.whole+a.slower)/a.seconds - 1e-9)
	a.pace = int64(math.Ceil(stroke / max(scans, 1)))
}

// step moves the actuator by one scan and reports whether it is still moving.
func (a *actuator) step(scan uint64, coil bool) bool {
	command := coil || a.welded > 0
	if command != a.command {
		a.command, a.since = command, scan
	}
	target := int64(0)
	if a.command {
		target = stroke
	}
	if a.place == target {
		return false
	}
	if a.stuck > 0 || scan < a.since+a.lag {
		return true
	}
	if a.place < target {
		a.place = min(a.place+a.pace, target)
	} else {
		a.place = max(a.place-a.pace, target)
	}
	return true
}

// closed and opened are what honest end switches see.
func (a *actuator) closed() bool { return a.place == 0 }
func (a *actuator) opened() bool { return a.place == stroke }

// stream is product that moves while every actuator in its way lets it, and a
// while after.
type stream struct {
	name    string
	through []int
	tail    uint64 // scans that product still moves after the stop
	left    uint64
	flowing bool
}

// newStream lets product run on for most of the declared run-down, but not
// where the site declares the whole stop as one time.
func newStream(s *site.Site, i int, outputs map[string]int, seconds float64) stream {
	f := &s.Streams[i]
	made := stream{name: f.Name}
	for _, name := range f.Through {
		made.through = append(made.through, outputs[name])
	}
	made.tail = uint64(float64(f.RunDown.Seconds()*0.7) / seconds)
	return made
}

// step reports whether the stream changed.
func (s *stream) step(actuators []actuator) bool {
	before := s.flowing
	open := true
	for _, i := range s.through {
		open = open && actuators[i].place > 0
	}
	switch {
	case open:
		s.flowing, s.left = true, s.tail
	case s.left > 0:
		s.left--
	default:
		s.flowing = false
	}
	return s.flowing != before
}
