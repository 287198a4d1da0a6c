package site

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// badClasses are the classes that spend doubt, with their keys under patience.
var badClasses = []struct {
	class monitor.Class
	key   string
}{{monitor.High, "high"}, {monitor.Open, "open"}, {monitor.Invalid, "invalid"}, {monitor.Missing, "missing"}}

// budget is one channel's patience in integer parts.
type budget struct {
	full, repay uint64
	scans       [monitor.Classes]uint64 // bad scans in a row that end in a loss
}

// patienceScans is how many bad scans in a row end in a loss: at least one.
func (c Clock) patienceScans(asked time.Duration) uint64 { return max(1, uint64(c.AtMost(asked))) }

// makeBudget finds the smallest budget in which every class spends whole parts
// and a good reading repays whole parts. ok is false if it does not fit.
func makeBudget(scans [monitor.Classes]uint64, good, bad uint64) (b budget, ok bool) {
	b = budget{full: 1, scans: scans}
	most := uint64(1)
	for _, spends := range badClasses {
		n := scans[spends.class]
		most = max(most, n)
		b.full = b.full / gcd(b.full, n) * n // below 2^32 times below 2^32
		if b.full >= 1<<32 {
			return b, false
		}
	}
	b.repay = b.full
	if good == 0 { // consecutive
		return b, true
	}
	// good repay = bad full/most, so full is scaled by what good lacks.
	share := b.full / most * bad
	factor := good / gcd(good, share)
	b.full *= factor
	b.repay = min(share*factor/good, b.full)
	return b, b.full < 1<<32
}

func gcd(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// budget is the channel's.
func (c Clock) budget(ch *Channel) (budget, bool) {
	var scans [monitor.Classes]uint64
	for _, spends := range badClasses {
		scans[spends.class] = c.patienceScans(ch.Patience[spends.class])
	}
	good, bad := uint64(0), uint64(0)
	if ch.Counting == "integrating" {
		good, bad = uint64(ch.RepayGood), uint64(ch.RepayBad)
	}
	return makeBudget(scans, good, bad)
}

// rounder finds what to round, downwards and as little as possible, so that the
// budget fits: one patience if that is enough, or else all of them to multiples
// of one step.
func (c Clock) rounder(ch *Channel) (key, instead string) {
	best := uint64(2000) // far enough to find one in, near enough to look for it in every channel
	for _, spends := range badClasses {
		asked := c.patienceScans(ch.Patience[spends.class])
		for less := uint64(1); less < min(asked, best); less++ {
			tried := *ch
			tried.Patience[spends.class] = c.Longest(interlock.Scans(asked - less))
			if _, ok := c.budget(&tried); ok {
				best, key = less, spends.key
				instead = fmt.Sprintf("round %s to %s", key, quantity.Duration(tried.Patience[spends.class]))
				break
			}
		}
	}
	if key != "" {
		return key, instead
	}
	return c.roundAll(ch)
}

func (c Clock) roundAll(ch *Channel) (key, instead string) {
	for step := uint64(2); step < 1<<32; step += max(1, step/16) {
		tried := *ch
		var advice []string
		for _, spends := range badClasses {
			asked := c.patienceScans(ch.Patience[spends.class])
			rounded := max(1, asked/step*step)
			tried.Patience[spends.class] = c.Longest(interlock.Scans(rounded))
			if rounded != asked {
				advice = append(advice, spends.key+" to "+quantity.Duration(tried.Patience[spends.class]))
			}
		}
		if _, ok := c.budget(&tried); ok && len(advice) > 0 {
			return strings.Fields(advice[0])[0], "round " + strings.Join(advice, ", ")
		}
	}
	return "high", "write patiences that are multiples of each other, or another counting rule"
}

// apply writes the budget into the monitor's configuration.
func (b budget) apply(to *monitor.Config) {
	to.Full, to.Repay = monitor.Parts(b.full), monitor.Parts(b.repay)
	for _, spends := range badClasses {
		to.Cost[spends.class] = monitor.Parts(b.full / b.scans[spends.class])
	}
}
