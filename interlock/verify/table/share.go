package table

import (
	"fmt"

	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// The largest share of bad readings that a channel tolerates for ever is the
// maximum cycle mean of its graph. Every cycle that stays fit to keep runs
// through bonded, because doubtful ends by itself; so the question is which way
// from bonded back to bonded has the largest share of bad scans. It is answered
// exactly, in whole numbers: assume a share, find the way that exceeds it most,
// take that way's share, and repeat until none exceeds it.

// strain is what decides in doubtful while every scan brings something fresh.
type strain struct {
	doubt monitor.Parts
	stay  model.Scans
}

// way is a way through doubtful: how far above the assumed share it is, its
// length, its bad scans, and how to go on.
type way struct {
	excess   int64
	bad, len uint64
	news     monitor.Class
	next     strain
	possible bool
}

// Share finds the maximum cycle mean over fresh readings that are good or bad.
func (t *ChannelTable) Share(memory uint64) Share {
	return t.ShareOf(memory, monitor.Invalid, monitor.Open, monitor.High)
}

// ShareOf is the same where nothing bad is read but these classes. Where doubtful is
// too long to follow exactly, the pattern is one that is tolerated, not the worst.
func (t *ChannelTable) ShareOf(memory uint64, bad ...monitor.Class) Share {
	w := ways{t: t}
	for _, class := range bad {
		if Possible(t.Config)[class] && t.Config.Cost[class] < t.Config.Full {
			w.classes = append(w.classes, class)
		}
	}
	best := Share{Bad: 0, Of: 1}
	if len(w.classes) == 0 {
		return best
	}
	size := uint64(t.Config.LongestStay) * uint64(t.Config.Full) * 48
	if size > memory {
		return Share{Bad: 1, Of: 1, Bound: true, Pattern: w.patient()}
	}
	for {
		w.share = best
		w.known = map[strain]way{}
		found := w.best(monitor.Control{Phase: monitor.Bonded, Class: monitor.Good})
		if !found.possible || found.excess <= 0 {
			return best
		}
		best = Share{Bad: found.bad, Of: found.len, Pattern: w.pattern(found)}
	}
}

// patient is a pattern that is tolerated: the class of which most are forgiven, one
// less than are lost, and good readings until the doubt is gone. Empty where the bad
// ones are lost even so, because doubtful ends before they are repaid.
func (w *ways) patient() []monitor.Class {
	class := w.classes[0]
	for _, other := range w.classes {
		if w.t.Config.BadScans(other) > w.t.Config.BadScans(class) {
			class = other
		}
	}
	var list []monitor.Class
	s := monitor.Control{Phase: monitor.Bonded, Class: monitor.Good}
	for n := w.t.Config.BadScans(class); n > 1; n-- {
		list, s = append(list, class), w.t.logic.Advance(w.t.Config, s, class)
	}
	for s.Phase == monitor.Doubtful {
		list, s = append(list, monitor.Good), w.t.logic.Advance(w.t.Config, s, monitor.Good)
	}
	if s.Phase != monitor.Bonded {
		return nil
	}
	return list
}

type ways struct {
	t       *ChannelTable
	classes []monitor.Class
	share   Share
	known   map[strain]way
}

// best is the best way on from a state back to bonded.
func (w *ways) best(s monitor.Control) way {
	at := strain{s.Doubt, s.Stay}
	if s.Phase == monitor.Doubtful {
		if have, ok := w.known[at]; ok {
			return have
		}
	}
	var most way
	try := func(news monitor.Class, spent uint64) {
		next := w.t.logic.Advance(w.t.Config, s, news)
		gain := int64(spent*w.share.Of) - int64(w.share.Bad)
		found := way{excess: gain, bad: spent, len: 1, news: news, next: strain{next.Doubt, next.Stay}, possible: true}
		switch {
		case next.Phase == monitor.Doubtful:
			rest := w.best(next)
			found.excess, found.bad, found.len = gain+rest.excess, spent+rest.bad, 1+rest.len
			found.possible = rest.possible
		case next.Phase != monitor.Bonded:
			return
		}
		if found.possible && (!most.possible || found.excess > most.excess) {
			most = found
		}
	}
	for _, class := range w.classes {
		try(class, 1)
	}
	if s.Phase == monitor.Doubtful {
		try(monitor.Good, 0)
		w.known[at] = most
	}
	return most
}

func (w *ways) pattern(from way) []monitor.Class {
	var list []monitor.Class
	for at := from; ; at = w.known[at.next] {
		list = append(list, at.news)
		if at.next.stay == 0 && at.next.doubt == 0 || len(list) > int(from.len) {
			return list
		}
	}
}

// Text tells a share as people count it, and the readings that it is made of.
func (s *Share) Text() string {
	if s.Bad == 0 {
		return "no bad readings for ever"
	}
	common := Divisor(s.Bad, s.Of)
	return fmt.Sprintf("%d bad of every %s for ever: %s", s.Bad/common, model.Plural(int(s.Of/common), "reading", "readings"), model.PatternText(s.Pattern))
}

// Divisor is the greatest common one, so that 17 in 51 is told as 1 in 3.
func Divisor(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, 1)
}
