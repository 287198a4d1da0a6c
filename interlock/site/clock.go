package site

import (
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Clock turns times into scans. The scan period varies between its ends, so
// every conversion takes the end that is safe: a time that must pass is counted
// in the shortest scans, a time that is granted in the longest.
type Clock struct{ Min, Max time.Duration }

// Clock is the site's clock.
func (s *Site) Clock() Clock { return Clock{s.Period.Min, s.Period.Max} }

// AtLeast is how many scans are sure to last the whole time.
func (c Clock) AtLeast(t time.Duration) interlock.Scans {
	if t <= 0 || c.Min <= 0 {
		return 0
	}
	n := uint64(t / c.Min)
	if t%c.Min != 0 {
		n++
	}
	return saturated(n)
}

// AtMost is how many scans are sure to fit into the time.
func (c Clock) AtMost(t time.Duration) interlock.Scans {
	if t <= 0 || c.Max <= 0 {
		return 0
	}
	return saturated(uint64(t / c.Max))
}

func saturated(n uint64) interlock.Scans { return interlock.Scans(min(n, uint64(monitor.ScansMax))) }

// Shortest and Longest are how long a number of scans can last.
func (c Clock) Shortest(n interlock.Scans) time.Duration { return times64(n, c.Min) }

// Longest is how long a number of scans can last at the most.
func (c Clock) Longest(n interlock.Scans) time.Duration { return times64(n, c.Max) }

// times64 multiplies, saturating at the longest duration of 292 years.
func times64(n interlock.Scans, d time.Duration) time.Duration {
	const most = time.Duration(1<<63 - 1)
	if d > 0 && time.Duration(n) > most/d {
		return most
	}
	return time.Duration(n) * d
}

// Fits reports that a time, and the few scans that are added to some, stay
// below the end of a counter.
func (c Clock) Fits(t time.Duration) bool { return c.AtLeast(t) < monitor.ScansMax-2 }

// press is how many scans a deliberate press of a button lasts: surely no
// shorter and no longer than asked.
func (c Clock) press(shortest, longest time.Duration) interlock.Press {
	most := c.AtMost(longest)
	if most > 0 {
		most--
	}
	return interlock.Press{Min: c.AtLeast(shortest) + 1, Max: most}
}
