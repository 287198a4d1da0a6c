package verify

import (
	"fmt"
	"slices"

	"ohmgate/monitor"
)

// settled is what property 1 remembers of a channel, from its own words and not
// from the logic: how long what it reads has been good, how often it was told so
// anew, and how many scans of that could not be used.
type settled struct {
	class              monitor.Class // in effect
	age                Scans         // since the last news
	span, good, paused Scans
}

// see follows one scan from one phase to another. A channel that was fit to keep
// has nothing to settle; one that is neither fit nor settling has not begun to.
func (w settled) see(c *monitor.Config, news monitor.Class, was, is monitor.Phase) settled {
	fresh := news != monitor.Missing
	switch {
	case fresh:
		w.class, w.age = news, 0
	case w.age >= c.StaleAfter:
		w.class, w.age = monitor.Missing, c.StaleAfter.Next()
	default:
		w.age++
	}
	switch {
	case was.MayKeep() || is != monitor.Settling && !is.MayKeep() || w.class == monitor.Between || w.class == monitor.High || w.class == monitor.Open:
		w.span, w.good, w.paused = 0, 0, 0
	case w.class == monitor.Good && (fresh || w.span > 0):
		w.span = min(w.span.Next(), c.SettleScans)
		w.good = min(w.good+Scans(b2i(fresh)), c.SettleReadings)
	case w.class != monitor.Good && w.span > 0:
		if w.paused++; w.paused > c.SettlePause {
			w.span, w.good, w.paused = 0, 0, 0
		}
	}
	return w
}

// enough says that a channel may be bonded.
func (w settled) enough(c *monitor.Config) bool {
	return w.span >= c.SettleScans && w.good >= c.SettleReadings
}

// unsettled follows a channel's graph together with what property 1 remembers,
// and returns the shortest news from power-up to a bond that has not settled; nil
// if there is none. Where the logic is right, both remember the same, so that
// there are hardly more pairs than states.
func (t *ChannelTable) unsettled(memory uint64) (news []monitor.Class, says string, err error) {
	type pair struct {
		state uint32
		w     settled
	}
	type step struct {
		from int
		news monitor.Class
	}
	all, came, known := []pair{{}}, []step{{-1, 0}}, map[pair]bool{{}: true}
	for i := 0; i < len(all); i++ {
		fit := t.fitToKeep(all[i].state)
		for class := monitor.Class(0); class < monitor.Classes; class++ {
			for _, e := range t.from(all[i].state, class) {
				next := pair{e.next, all[i].w.see(t.Config, class, t.phase(all[i].state), t.phase(e.next))}
				if !fit && t.fitToKeep(e.next) && !next.w.enough(t.Config) {
					news = []monitor.Class{class}
					for at := i; came[at].from >= 0; at = came[at].from {
						news = append(news, came[at].news)
					}
					slices.Reverse(news)
					return news, fmt.Sprintf("is bonded after %d scans and %d fresh good readings, must take %d and %d", next.w.span, next.w.good, t.Config.SettleScans, t.Config.SettleReadings), nil
				}
				if !known[next] {
					known[next] = true
					all, came = append(all, next), append(came, step{i, class})
				}
			}
		}
		if uint64(len(all))*120 > memory {
			return nil, "", &CutOff{"following how a channel settles", uint64(len(all)), memory}
		}
	}
	return nil, "", nil
}
