package verify

import (
	"ohmgate/monitor"
)

// bad lists the news that speak against a connection.
var bad = [...]monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High}

// ChannelFacts are the worst cases of one channel, exact: each is a longest or
// shortest way through the channel's own graph, over everything that it can
// reach. Counts are in scans.
type ChannelFacts struct {
	States, Transitions int

	// Bond: the fewest scans and the fewest fresh good readings from power-up,
	// and from any state that is not fit, to the first scan that is bonded.
	BondScans, BondReadings     Scans
	RebondScans, RebondReadings Scans

	// Detect is the longest that a channel that is fit to keep stays so while
	// every scan is bad in any mixture, the scan of the loss counted; DetectOf
	// the same for one class alone. Run is a sequence of news that attains it.
	Detect   Scans
	DetectOf [monitor.Classes]Scans
	Run      []monitor.Class

	// Patience is how many bad scans of one class in a row, from bonded, are always
	// forgiven, good readings alone before and after them.
	Patience [monitor.Classes]Scans
	// Repay is the most fresh good scans until the doubt of such a dip is gone.
	Repay Scans

	// Recover is the longest from any state to bonded under fresh good
	// readings alone; Endless if some state never comes back.
	Recover Scans

	Share Share

	// Exact says that Detect is attained, not only a bound.
	Exact bool
}

// Share is the largest share of bad readings that is tolerated for ever, and a
// pattern that attains it.
type Share struct {
	Bad, Of uint64
	Pattern []monitor.Class
	Bound   bool // an upper bound only: doubtful was too long to follow exactly
}

// Facts finds the worst cases of a tabulated channel of which a fresh reading comes
// in every poll.
func (t *ChannelTable) Facts(memory uint64, poll Scans) ChannelFacts {
	f := ChannelFacts{States: len(t.States), Transitions: len(t.edges)}
	f.BondScans, f.BondReadings = t.shortestBond(func(s uint32) bool { return s == 0 })
	f.RebondScans, f.RebondReadings = t.shortestBond(func(s uint32) bool { return !t.fitToKeep(s) && t.phase(s) != monitor.Settling })
	f.Detect, f.Run = t.longestBad(bad[:])
	for _, class := range bad {
		f.DetectOf[class], _ = t.longestBad([]monitor.Class{class})
		f.Patience[class] = t.shortestDip(class, poll)
	}
	f.Repay = t.longestGood(func(s uint32) bool { return t.phase(s) == monitor.Doubtful })
	f.Recover = t.longestGood(func(s uint32) bool { return true })
	f.Share = t.share(memory)
	f.Exact = f.Detect <= t.Config.LongestStay
	return f
}

func (t *ChannelTable) fitToKeep(s uint32) bool { return t.phase(s).MayKeep() }

// shortestBond finds the fewest scans, and apart from that the fewest fresh good
// readings, to a bonded state.
func (t *ChannelTable) shortestBond(from func(uint32) bool) (scans, readings Scans) {
	return t.shortest(from, func(monitor.Class) Scans { return 1 }),
		t.shortest(from, func(news monitor.Class) Scans { return Scans(b2i(news == monitor.Good)) })
}

// shortest is the cheapest way from a state in from to a bonded one that does
// not pass through any that is fit to keep; each step costs 0 or 1.
func (t *ChannelTable) shortest(from func(uint32) bool, cost func(monitor.Class) Scans) Scans {
	distance := make([]Scans, len(t.States))
	var now, next []uint32
	for i := range distance {
		distance[i] = Endless
		if from(uint32(i)) {
			distance[i] = 0
			now = append(now, uint32(i))
		}
	}
	for d := Scans(0); len(now)+len(next) > 0; d++ {
		for len(now) > 0 {
			s := now[len(now)-1]
			now = now[:len(now)-1]
			if distance[s] != d {
				continue
			}
			if t.phase(s) == monitor.Bonded {
				return d
			}
			for news := monitor.Class(0); news < monitor.Classes; news++ {
				for _, e := range t.from(s, news) {
					if c := d + cost(news); c < distance[e.next] {
						distance[e.next] = c
						if c == d {
							now = append(now, e.next)
						} else {
							next = append(next, e.next)
						}
					}
				}
			}
		}
		now, next = next, nil
	}
	return Endless
}

// longestBad is the longest stay in fit-to-keep while all news is of the given
// classes, over every state, and news that attains it.
func (t *ChannelTable) longestBad(classes []monitor.Class) (Scans, []monitor.Class) {
	n, run, _ := t.longestBadFrom(classes)
	return n, run
}

// longestBadFrom says as well where that stay begins.
func (t *ChannelTable) longestBadFrom(classes []monitor.Class) (Scans, []monitor.Class, uint32) {
	l := longest{t: t, done: make([]Scans, len(t.States)), best: make([]uint32, len(t.States)), news: make([]monitor.Class, len(t.States)), classes: classes}
	worst, at := Scans(0), uint32(0)
	for s := range t.States {
		if t.fitToKeep(uint32(s)) {
			if n := l.from(uint32(s)); n > worst {
				worst, at = n, uint32(s)
			}
		}
	}
	if worst == Endless {
		return Endless, nil, at
	}
	var run []monitor.Class
	for s := at; t.fitToKeep(s); s = l.best[s] {
		run = append(run, l.news[s])
		if len(run) > int(worst) {
			break
		}
	}
	return worst, run, at
}

// longest finds longest ways with a depth-first walk; a way that bites its own
// tail is endless.
type longest struct {
	t       *ChannelTable
	done    []Scans // 0 is not yet, onStack while walked
	best    []uint32
	news    []monitor.Class
	classes []monitor.Class
}

const onStack = Endless - 1

func (l *longest) from(s uint32) Scans {
	switch l.done[s] {
	case 0:
	case onStack:
		return Endless
	default:
		return l.done[s]
	}
	l.done[s] = onStack
	most := Scans(0)
	for _, class := range l.classes {
		for _, e := range l.t.from(s, class) {
			n := Scans(1)
			if l.t.fitToKeep(e.next) {
				if n = l.from(e.next); n != Endless {
					n++
				}
			}
			if n > most {
				most, l.best[s], l.news[s] = n, e.next, class
			}
		}
	}
	l.done[s] = most
	return most
}

// shortestDip is how many scans of one class in a row, from bonded, are always
// forgiven: neither they nor the good readings after them, one in every poll, end
// in a loss. It follows the step itself, so that doubtful has its real length.
func (t *ChannelTable) shortestDip(class monitor.Class, poll Scans) Scans {
	least, _ := t.shortestDipFrom(class, poll)
	return least
}

// shortestDipFrom says as well where that dip begins.
func (t *ChannelTable) shortestDipFrom(class monitor.Class, poll Scans) (Scans, uint32) {
	least, at := Endless, uint32(0)
	for i := range t.States {
		// Missing is counted from a fresh reading on: only then does a gap begin.
		fresh := class != monitor.Missing || t.States[i].Age == 0
		if t.phase(uint32(i)) != monitor.Bonded || !fresh {
			continue
		}
		if n := t.dipFrom(t.States[i].Control, dip{class: class, poll: poll}, least); n < least {
			least, at = n, uint32(i)
		}
	}
	if least == Endless && !possible(t.Config)[class] {
		return 0, 0
	}
	return least, at
}

// dipFrom is the same from one state, as far as it is less than the limit. Every
// bad scan spends at least one part once the reading is stale: a channel that
// lasts longer than its whole budget is never lost to them.
func (t *ChannelTable) dipFrom(s monitor.Control, d dip, limit Scans) Scans {
	longest := min(limit, Scans(min(uint64(t.Config.Full)+uint64(t.Config.StaleAfter)+8, uint64(Endless))))
	lasts := Scans(0)
	for bad := s; lasts < longest; lasts++ {
		if bad = t.logic.Advance(t.Config, bad, d.class); !bad.Phase.MayKeep() {
			break
		}
	}
	// The more bad scans, the more there is to repay: the first dip that is lost
	// only afterwards is found by halving.
	forgiven, lost := Scans(0), lasts.Next()
	for forgiven+1 < lost {
		if d.scans = forgiven + (lost-forgiven)/2; t.lost(s, d) > 0 {
			lost = d.scans
		} else {
			forgiven = d.scans
		}
	}
	if forgiven == longest {
		return limit
	}
	return forgiven
}

// dip is so many scans of one class in a row, and after them one good reading in
// every poll.
type dip struct {
	class       monitor.Class
	scans, poll Scans
}

// news is what a scan of the dip brings; the first is 0.
func (d dip) news(scan Scans) monitor.Class {
	switch {
	case scan < d.scans:
		return d.class
	case (scan-d.scans)%d.poll == 0:
		return monitor.Good
	}
	return monitor.Missing
}

// lost is the scan of a dip, counted from one, in which the channel is lost; 0 if
// it is bonded again, or stays doubtful.
func (t *ChannelTable) lost(s monitor.Control, d dip) Scans {
	last := uint64(d.scans) + uint64(t.Config.LongestStay) + uint64(d.poll)
	for scan := Scans(0); uint64(scan) <= last; scan++ {
		s = t.logic.Advance(t.Config, s, d.news(scan))
		if !s.Phase.MayKeep() {
			return scan + 1
		}
		if scan >= d.scans && s.Phase == monitor.Bonded {
			return 0
		}
	}
	return 0
}

// longestGood is the most scans of fresh good readings, from any state wanted,
// until the channel is bonded; Endless if one never comes there.
func (t *ChannelTable) longestGood(wanted func(uint32) bool) Scans {
	most := Scans(0)
	known := map[uint32]Scans{}
	for s := range t.States {
		if wanted(uint32(s)) {
			most = max(most, t.goodFrom(uint32(s), known))
		}
	}
	return most
}

func (t *ChannelTable) goodFrom(s uint32, known map[uint32]Scans) Scans {
	if t.phase(s) == monitor.Bonded {
		return 0
	}
	if n, ok := known[s]; ok {
		return n
	}
	known[s] = Endless // until shown otherwise
	most := Scans(0)
	for _, e := range t.from(s, monitor.Good) {
		n := Scans(1)
		if e.next == s {
			continue // the same cell of doubtful; its last value goes on
		}
		if further := t.goodFrom(e.next, known); further == Endless {
			n = Endless
		} else {
			n += further
		}
		most = max(most, n)
	}
	known[s] = most
	return most
}
