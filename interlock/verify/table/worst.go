package table

import (
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// Bad lists the news that speak against a connection.
var Bad = [...]monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High}

// ChannelFacts are the worst cases of one channel, exact: each is a longest or
// shortest way through the channel's own graph, over everything that it can
// reach. Counts are in scans.
type ChannelFacts struct {
	States, Transitions int

	// Bond: the fewest scans and the fewest fresh good readings from power-up,
	// and from any state that is not fit, to the first scan that is bonded.
	BondScans, BondReadings     model.Scans
	RebondScans, RebondReadings model.Scans

	// Detect is the longest that a channel that is fit to keep stays so while
	// every scan is bad in any mixture, the scan of the loss counted; DetectOf
	// the same for one class alone. Run is a sequence of news that attains it.
	Detect   model.Scans
	DetectOf [monitor.Classes]model.Scans
	Run      []monitor.Class

	// Patience is how many bad scans of one class in a row, from bonded, are always
	// forgiven, good readings alone before and after them.
	Patience [monitor.Classes]model.Scans
	// Repay is the most fresh good scans until the doubt of such a dip is gone.
	Repay model.Scans

	// Recover is the longest from any state to bonded under fresh good
	// readings alone; Endless if some state never comes back.
	Recover model.Scans

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
func (t *ChannelTable) Facts(memory uint64, poll model.Scans) ChannelFacts {
	f := ChannelFacts{States: len(t.States), Transitions: len(t.edges)}
	f.BondScans, f.BondReadings = t.shortestBond(func(s uint32) bool { return s == 0 })
	f.RebondScans, f.RebondReadings = t.shortestBond(func(s uint32) bool { return !t.fitToKeep(s) && t.Phase(s) != monitor.Settling })
	f.Detect, f.Run = t.LongestBad(Bad[:])
	for _, class := range Bad {
		f.DetectOf[class], _ = t.LongestBad([]monitor.Class{class})
		f.Patience[class] = t.ShortestDip(class, poll)
	}
	f.Repay = t.longestGood(func(s uint32) bool { return t.Phase(s) == monitor.Doubtful })
	f.Recover = t.longestGood(func(s uint32) bool { return true })
	f.Share = t.Share(memory)
	f.Exact = f.Detect <= t.Config.LongestStay
	return f
}

func (t *ChannelTable) fitToKeep(s uint32) bool { return t.Phase(s).MayKeep() }

// shortestBond finds the fewest scans, and apart from that the fewest fresh good
// readings, to a bonded state.
func (t *ChannelTable) shortestBond(from func(uint32) bool) (scans, readings model.Scans) {
	return t.shortest(from, func(monitor.Class) model.Scans { return 1 }),
		t.shortest(from, func(news monitor.Class) model.Scans { return model.Scans(model.Int(news == monitor.Good)) })
}

// shortest is the cheapest way from a state in from to a bonded one that does
// not pass through any that is fit to keep; each step costs 0 or 1.
func (t *ChannelTable) shortest(from func(uint32) bool, cost func(monitor.Class) model.Scans) model.Scans {
	distance := make([]model.Scans, len(t.States))
	var now, next []uint32
	for i := range distance {
		distance[i] = model.Endless
		if from(uint32(i)) {
			distance[i] = 0
			now = append(now, uint32(i))
		}
	}
	for d := model.Scans(0); len(now)+len(next) > 0; d++ {
		for len(now) > 0 {
			s := now[len(now)-1]
			now = now[:len(now)-1]
			if distance[s] != d {
				continue
			}
			if t.Phase(s) == monitor.Bonded {
				return d
			}
			for news := monitor.Class(0); news < monitor.Classes; news++ {
				for _, e := range t.From(s, news) {
					if c := d + cost(news); c < distance[e.Next] {
						distance[e.Next] = c
						if c == d {
							now = append(now, e.Next)
						} else {
							next = append(next, e.Next)
						}
					}
				}
			}
		}
		now, next = next, nil
	}
	return model.Endless
}

// LongestBad is the longest stay in fit-to-keep while all news is of the given
// classes, over every state, and news that attains it.
func (t *ChannelTable) LongestBad(classes []monitor.Class) (model.Scans, []monitor.Class) {
	n, run, _ := t.LongestBadFrom(classes)
	return n, run
}

// LongestBadFrom says as well where that stay begins.
func (t *ChannelTable) LongestBadFrom(classes []monitor.Class) (model.Scans, []monitor.Class, uint32) {
	l := longest{t: t, done: make([]model.Scans, len(t.States)), best: make([]uint32, len(t.States)), news: make([]monitor.Class, len(t.States)), classes: classes}
	worst, at := model.Scans(0), uint32(0)
	for s := range t.States {
		if t.fitToKeep(uint32(s)) {
			if n := l.from(uint32(s)); n > worst {
				worst, at = n, uint32(s)
			}
		}
	}
	if worst == model.Endless {
		return model.Endless, nil, at
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
	done    []model.Scans // 0 is not yet, onStack while walked
	best    []uint32
	news    []monitor.Class
	classes []monitor.Class
}

const onStack = model.Endless - 1

func (l *longest) from(s uint32) model.Scans {
	switch l.done[s] {
	case 0:
	case onStack:
		return model.Endless
	default:
		return l.done[s]
	}
	l.done[s] = onStack
	most := model.Scans(0)
	for _, class := range l.classes {
		for _, e := range l.t.From(s, class) {
			n := model.Scans(1)
			if l.t.fitToKeep(e.Next) {
				if n = l.from(e.Next); n != model.Endless {
					n++
				}
			}
			if n > most {
				most, l.best[s], l.news[s] = n, e.Next, class
			}
		}
	}
	l.done[s] = most
	return most
}

// ShortestDip is how many scans of one class in a row, from bonded, are always
// forgiven: neither they nor the good readings after them, one in every poll, end
// in a loss. It follows the step itself, so that doubtful has its real length.
func (t *ChannelTable) ShortestDip(class monitor.Class, poll model.Scans) model.Scans {
	least, _ := t.ShortestDipFrom(class, poll)
	return least
}

// ShortestDipFrom says as well where that dip begins.
func (t *ChannelTable) ShortestDipFrom(class monitor.Class, poll model.Scans) (model.Scans, uint32) {
	least, at := model.Endless, uint32(0)
	for i := range t.States {
		// Missing is counted from a fresh reading on: only then does a gap begin.
		fresh := class != monitor.Missing || t.States[i].Age == 0
		if t.Phase(uint32(i)) != monitor.Bonded || !fresh {
			continue
		}
		if n := t.dipFrom(t.States[i].Control, Dip{Class: class, Poll: poll}, least); n < least {
			least, at = n, uint32(i)
		}
	}
	if least == model.Endless && !Possible(t.Config)[class] {
		return 0, 0
	}
	return least, at
}

// dipFrom is the same from one state, as far as it is less than the limit. Every
// bad scan spends at least one part once the reading is stale: a channel that
// lasts longer than its whole budget is never lost to them.
func (t *ChannelTable) dipFrom(s monitor.Control, d Dip, limit model.Scans) model.Scans {
	longest := min(limit, model.Scans(min(uint64(t.Config.Full)+uint64(t.Config.StaleAfter)+8, uint64(model.Endless))))
	lasts := model.Scans(0)
	for bad := s; lasts < longest; lasts++ {
		if bad = t.logic.Advance(t.Config, bad, d.Class); !bad.Phase.MayKeep() {
			break
		}
	}
	// The more bad scans, the more there is to repay: the first dip that is lost
	// only afterwards is found by halving.
	forgiven, lost := model.Scans(0), lasts.Next()
	for forgiven+1 < lost {
		if d.Scans = forgiven + (lost-forgiven)/2; t.Lost(s, d) > 0 {
			lost = d.Scans
		} else {
			forgiven = d.Scans
		}
	}
	if forgiven == longest {
		return limit
	}
	return forgiven
}

// Dip is so many scans of one class in a row, and after them one good reading in
// every poll.
type Dip struct {
	Class       monitor.Class
	Scans, Poll model.Scans
}

// News is what a scan of the dip brings; the first is 0.
func (d Dip) News(scan model.Scans) monitor.Class {
	switch {
	case scan < d.Scans:
		return d.Class
	case (scan-d.Scans)%d.Poll == 0:
		return monitor.Good
	}
	return monitor.Missing
}

// Lost is the scan of a dip, counted from one, in which the channel is lost; 0 if
// it is bonded again, or stays doubtful.
func (t *ChannelTable) Lost(s monitor.Control, d Dip) model.Scans {
	last := uint64(d.Scans) + uint64(t.Config.LongestStay) + uint64(d.Poll)
	for scan := model.Scans(0); uint64(scan) <= last; scan++ {
		s = t.logic.Advance(t.Config, s, d.News(scan))
		if !s.Phase.MayKeep() {
			return scan + 1
		}
		if scan >= d.Scans && s.Phase == monitor.Bonded {
			return 0
		}
	}
	return 0
}

// longestGood is the most scans of fresh good readings, from any state wanted,
// until the channel is bonded; Endless if one never comes there.
func (t *ChannelTable) longestGood(wanted func(uint32) bool) model.Scans {
	most := model.Scans(0)
	known := map[uint32]model.Scans{}
	for s := range t.States {
		if wanted(uint32(s)) {
			most = max(most, t.goodFrom(uint32(s), known))
		}
	}
	return most
}

func (t *ChannelTable) goodFrom(s uint32, known map[uint32]model.Scans) model.Scans {
	if t.Phase(s) == monitor.Bonded {
		return 0
	}
	if n, ok := known[s]; ok {
		return n
	}
	known[s] = model.Endless // until shown otherwise
	most := model.Scans(0)
	for _, e := range t.From(s, monitor.Good) {
		n := model.Scans(1)
		if e.Next == s {
			continue // the same cell of doubtful; its last value goes on
		}
		if further := t.goodFrom(e.Next, known); further == model.Endless {
			n = model.Endless
		} else {
			n += further
		}
		most = max(most, n)
	}
	known[s] = most
	return most
}
