package sim

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
)

// Outcome is an expectation after the run.
type Outcome struct {
	Expectation *Expectation
	Verdict     verdict.Verdict
	Detail      string // why, for people
	Scan        uint64 // of the scenario: where it was decided
	Decided     bool
	// Left is how many scans were left to a bound, of how many.
	Left, Of uint64
	Bounded  bool
}

// checker follows one expectation through a run. Scans are counted from the
// beginning of the scenario.
type checker struct {
	e       *Expectation
	outcome Outcome
	period  periodScans

	from, to uint64
	begun    bool // within: the antecedent came; until, never: the window was entered
	start    uint64
	was      bool // the conditions held in the scan before
	previous bool // within: …the antecedent's conditions
	index    int  // in order: how many have come
	rose     []bool
	seen     []bool
	last     uint64
	output   int
	trip     uint64
	tripped  bool
	is       interlock.CauseSet
	names    *names
}

// periodScans turns the moments of an expectation into scans.
type periodScans struct{ within, of, end uint64 }

func newChecker(e *Expectation, p *Plant, n *names, last uint64) *checker {
	c := &checker{e: e, names: n, from: e.From.ceil(p.Period), to: last}
	if e.To.Declared {
		c.to = min(last, e.To.floor(p.Period))
		if e.From == e.To {
			c.to = min(last, c.from)
		}
	}
	c.period = periodScans{within: e.Within.floor(p.Period), of: e.OfTime.ceil(p.Period), end: last}
	c.outcome.Expectation = e
	c.rose, c.seen = make([]bool, len(e.That)), make([]bool, len(e.That))
	if e.Kind == FirstOut {
		c.output = n.number[e.Output].i
		for _, name := range e.Is {
			c.is.Add(p.Site.CauseIndex(name))
		}
	}
	return c
}

// decide ends the expectation.
func (c *checker) decide(v verdict.Verdict, scan uint64, format string, args ...any) {
	if !c.outcome.Decided {
		c.outcome.Verdict, c.outcome.Scan, c.outcome.Decided = v, scan, true
		c.outcome.Detail = fmt.Sprintf(format, args...)
	}
}

// watch is one scan.
func (c *checker) watch(v *view, scan uint64) {
	if c.outcome.Decided {
		return
	}
	switch c.e.Kind {
	case Within:
		c.watchWithin(v, scan)
	case Never:
		c.watchNever(v, scan)
	case InOrder:
		c.watchOrder(v, scan)
	case Until:
		c.watchUntil(v, scan)
	case FirstOut:
		c.watchFirstOut(v, scan)
	case Holds:
		c.watchHolds(v, scan)
	}
}

// watchWithin waits for the antecedent, then for the conditions to become true.
// Conditions that held already before the antecedent show nothing.
func (c *checker) watchWithin(v *view, scan uint64) {
	holds := all(c.e.That, v)
	if !c.begun && scan >= c.from && scan <= c.to {
		if len(c.e.Of) == 0 {
			c.begun = scan == c.period.of
		} else {
			now := all(c.e.Of, v)
			c.begun = now && (!c.previous || scan == c.from)
			c.previous = now
		}
		if c.begun {
			c.start = scan
			if c.was && holds && scan > 0 {
				c.decide(verdict.NothingChecked, scan, "it was so already before")
				return
			}
		}
	}
	c.was = holds
	if !c.begun {
		return
	}
	took := scan - c.start
	switch {
	case holds && took <= c.period.within:
		c.outcome.Left, c.outcome.Of, c.outcome.Bounded = c.period.within-took, c.period.within, true
		c.decide(verdict.Shown, scan, "after %d scans of %d", took, c.period.within)
	case took >= c.period.within:
		c.decide(verdict.Violated, scan, "not within %d scans", c.period.within)
	}
}

func (c *checker) watchNever(v *view, scan uint64) {
	if scan < c.from || scan > c.to {
		return
	}
	if len(c.e.While) > 0 && !all(c.e.While, v) {
		return
	}
	c.begun = true
	if all(c.e.That, v) {
		c.decide(verdict.Violated, scan, "it was so")
	}
}

func (c *checker) watchOrder(v *view, scan uint64) {
	if scan > c.to {
		return
	}
	for i := range c.e.That {
		now := c.e.That[i].holds(v)
		rises := now && (!c.rose[i] || scan == 0)
		c.rose[i] = now
		if scan < c.from || !rises || c.seen[i] {
			continue
		}
		if i > c.index {
			c.decide(verdict.Violated, scan, "%q came before %q", c.e.That[i].text, c.e.That[c.index].text)
			return
		}
		c.seen[i] = true
		c.index++
		c.last = scan
	}
	if c.index == len(c.e.That) {
		c.decide(verdict.Shown, scan, "in this order")
	}
}

func (c *checker) watchUntil(v *view, scan uint64) {
	if scan < c.from || scan > c.to {
		return
	}
	c.begun = true
	if all(c.e.Of, v) {
		if scan == c.from {
			c.decide(verdict.NothingChecked, scan, "what ends it came at once")
			return
		}
		c.decide(verdict.Shown, scan, "held for %d scans", scan-c.from)
		return
	}
	if !all(c.e.That, v) {
		c.decide(verdict.Violated, scan, "not true any more, and not yet over")
	}
}

// watchFirstOut compares the trip record at the given moment, or else once the
// bus cycle of the first trip is over.
func (c *checker) watchFirstOut(v *view, scan uint64) {
	record := &v.State.Outputs[c.output].Trip
	tripped := v.State.Outputs[c.output].Mode == interlock.Tripped
	if tripped && !c.tripped && scan >= c.from {
		c.tripped, c.trip = true, scan
	}
	due := c.tripped && record.Window == 0
	if c.e.From.Declared && c.e.From == c.e.To {
		due = scan == c.from
		c.tripped = tripped
	}
	if !due || scan < c.from || scan > c.to {
		return
	}
	if !c.tripped {
		c.decide(verdict.NothingChecked, scan, "%s is not tripped then", c.e.Output)
		return
	}
	got := record.FirstOut
	for w := range got {
		got[w] |= record.Alongside[w]
	}
	order := "known"
	if record.OrderUnknown() {
		order = "not known"
	}
	if got != c.is {
		c.decide(verdict.Violated, scan, "it is %s", causesText(v.plant.called.Causes(got)))
		return
	}
	if c.e.Order != "" && c.e.Order != order {
		c.decide(verdict.Violated, scan, "the order is %s", order)
		return
	}
	c.decide(verdict.Shown, scan, "order %s", order)
}

func causesText(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

func (c *checker) watchHolds(v *view, scan uint64) {
	if scan < c.from || scan > c.to {
		return
	}
	c.begun = true
	if !all(c.e.That, v) {
		c.decide(verdict.Violated, scan, "it was not so")
	} else if scan == c.to {
		c.decide(verdict.Shown, scan, "it was so")
	}
}

// finish decides what the run left open. stirred says that something happened
// to the plant by the end of the expectation's window.
func (c *checker) finish(scan uint64, stirred bool) {
	e := c.e
	switch {
	case c.outcome.Decided:
	case e.Kind == Never && len(e.While) > 0 && !c.begun:
		c.decide(verdict.NothingChecked, scan, "%s never came", textOf(e.While))
	case e.Kind == Never && c.begun && (stirred || len(e.While) > 0):
		c.decide(verdict.Shown, min(scan, c.to), "in no scan")
	case e.Kind == Never:
		c.decide(verdict.NothingChecked, scan, "nothing happened that could have made it so")
	case e.Kind == InOrder && c.index > 0:
		c.decide(verdict.Violated, scan, "%q never came", e.That[c.index].text)
	case e.Kind == Until && c.begun:
		c.decide(verdict.NothingChecked, scan, "%s never came", textOf(e.Of))
	case e.Kind == Within && c.begun:
		c.decide(verdict.Violated, scan, "not within the run")
	case e.Kind == FirstOut:
		c.decide(verdict.NothingChecked, scan, "%s never tripped", e.Output)
	default:
		c.decide(verdict.NothingChecked, scan, "what it is counted from never came")
	}
}
