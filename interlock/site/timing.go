package site

import (
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Timing is what one channel's patience for one class of bad readings comes to,
// in both directions: what is sure to be ridden through, and what is sure to be
// caught. They differ, by the sampling phase and by the scan period's ends.
type Timing struct {
	Class monitor.Class
	Asked time.Duration // patience in the file

	// BadScans of this class in a row, from a bonded channel without doubt, end
	// in a loss; the last of them is the scan of the loss.
	BadScans interlock.Scans

	// GuaranteedScans bad scans in a row never end in a loss, and a disturbance
	// shorter than Guaranteed never does, at any phase. For missing readings it
	// includes the time until they are stale.
	GuaranteedScans interlock.Scans
	Guaranteed      time.Duration

	// DetectionScans after the first bad reading could be seen, and Detection
	// after the fault itself, the channel has left fit-to-keep, at the latest.
	// Missing includes stale-after; all include the aperture, and a poll cycle
	// where that is longer than a scan.
	DetectionScans interlock.Scans
	Detection      time.Duration

	// Tolerated bad readings in a row and then good ones up to Of, again and
	// again, one reading a scan, never end in a loss: the largest share of bad
	// readings that the counting rule forgives for ever.
	Tolerated, Of uint64
}

// Settling is how long it takes from the first good reading to a bond.
type Settling struct {
	Asked    time.Duration
	Scans    interlock.Scans
	Readings interlock.Scans
	Shortest time.Duration // never faster than this
	// Longest is the time when every reading arrives and is good; Paused when
	// the pauses are used up as well. A bad reading starts it again.
	Longest, Paused time.Duration
}

// Timings are what one channel's times come to, in scans and as durations.
type Timings struct {
	Channel  string
	Patience [4]Timing // high, open, invalid, missing
	Settle   Settling
	// StaleScans may pass without a fresh reading.
	StaleScans interlock.Scans
	// LongestDoubt is the longest stay in doubtful.
	LongestDoubtScans interlock.Scans
	LongestDoubt      time.Duration
}

// Of is the timing of one class.
func (t Timings) Of(class monitor.Class) Timing {
	for _, one := range t.Patience {
		if one.Class == class {
			return one
		}
	}
	return Timing{Class: class}
}

// Timing computes what the times of one channel come to; i is its number. The
// configuration is what Logic gave.
func (s *Site) Timing(config *interlock.Config, i int) Timings {
	c, run, clock := &s.Channels[i], &config.Channels[i].Config, s.Clock()
	made := Timings{
		Channel: c.Name, StaleScans: run.StaleAfter,
		LongestDoubtScans: run.LongestStay, LongestDoubt: clock.Longest(run.LongestStay),
	}
	for k, bad := range badClasses {
		made.Patience[k] = s.patienceTiming(c, run, bad.class)
	}
	needed := run.SettleScans - min(1, run.SettleScans)
	settle := Settling{Asked: c.SettleTime, Scans: run.SettleScans, Readings: run.SettleReadings}
	settle.Shortest = clock.Shortest(needed)
	settle.Longest = max(clock.Longest(needed), s.slowPoll(run.SettleReadings-1))
	if s.Poll > clock.Max { // the bond waits for the next fresh reading
		settle.Longest = sum(settle.Longest, s.Poll, clock.Max)
	}
	settle.Paused = sum(settle.Longest, clock.Longest(run.SettlePause))
	made.Settle = settle
	return made
}

// slowPoll is how long a number of poll cycles lasts where they are longer than
// a scan; otherwise every scan may bring a reading.
func (s *Site) slowPoll(n interlock.Scans) time.Duration {
	if s.Poll <= s.Period.Max {
		return 0
	}
	return times64(n, s.Poll)
}

func (s *Site) patienceTiming(c *Channel, run *monitor.Config, class monitor.Class) Timing {
	clock := s.Clock()
	held := uint64(1) // scans that one reading stands for
	if s.Poll > clock.Max {
		held = max(1, uint64(clock.AtLeast(s.Poll)))
	}
	t := Timing{
		Class: class, Asked: c.Patience[class], BadScans: run.BadScans(class),
		GuaranteedScans: forgiven(run, class, held), DetectionScans: run.DetectionScans(class),
	}
	if class == monitor.Missing {
		t.GuaranteedScans += min(run.StaleAfter, monitor.ScansMax-t.GuaranteedScans)
	}
	t.Guaranteed = clock.Shortest(t.GuaranteedScans)
	t.Detection = sum(clock.Longest(t.DetectionScans), c.Aperture)
	if held > 1 {
		t.Detection = sum(t.Detection, s.Poll)
		t.Guaranteed = s.slowGuarantee(class, t.GuaranteedScans, held)
	}
	t.Tolerated, t.Of = tolerated(run, class, uint64(forgiven(run, class, 1)))
	return t
}

// slowGuarantee is the guaranteed patience where a poll cycle is longer than a
// scan. One bad reading then stands for all scans until the next poll; and a
// gap begins with the last reading before it and ends with the first behind it.
// It is as many polls as may be spoilt.
func (s *Site) slowGuarantee(class monitor.Class, n interlock.Scans, held uint64) time.Duration {
	spoilt := uint64(n) / held
	if class == monitor.Missing {
		polls := uint64(s.Clock().Shortest(n.Next()) / s.Poll)
		spoilt = polls - min(1, polls)
	}
	return times64(saturated(spoilt), s.Poll)
}

// repaid is how many fresh good readings repay so many bad scans of a class.
func repaid(run *monitor.Config, class monitor.Class, bad uint64) uint64 {
	doubt := bad * uint64(run.Cost[class])
	return (doubt + uint64(run.Repay) - 1) / uint64(run.Repay)
}

// forgiven is the largest number of bad scans in a row that never ends in a
// loss, from a bonded channel without doubt: the budget holds, and the doubt is
// repaid, by a good reading every so many scans, before the longest stay in
// doubtful is over.
func forgiven(run *monitor.Config, class monitor.Class, every uint64) interlock.Scans {
	none, lost := uint64(0), uint64(run.BadScans(class))
	for none+1 < lost {
		bad := (none + lost) / 2
		if bad+(repaid(run, class, bad)-1)*every-1 < uint64(run.LongestStay) {
			none = bad
		} else {
			lost = bad
		}
	}
	return interlock.Scans(none)
}

// mostTolerated bounds the search for the largest share; longer patterns repeat
// shorter ones closely enough.
const mostTolerated = 10_000

// tolerated is the largest share of bad readings in a pattern of at most so
// many in a row, each time repaid in full.
func tolerated(run *monitor.Config, class monitor.Class, inRow uint64) (bad, of uint64) {
	bad, of = 0, 1
	for k := uint64(1); k <= min(inRow, mostTolerated); k++ {
		if n := k + repaid(run, class, k); k*of > bad*n {
			bad, of = k, n
		}
	}
	if run.Repay == run.Full && inRow > 0 { // consecutive: one good reading repays any number
		return inRow, inRow + 1
	}
	return bad, of
}

// sum adds durations, saturating.
func sum(list ...time.Duration) time.Duration {
	total := time.Duration(0)
	for _, d := range list {
		total += d
		if total < 0 {
			return 1<<63 - 1
		}
	}
	return total
}
