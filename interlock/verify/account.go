package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// account is what properties 1, 4 and 6 remember of a channel, from their own
// words and not from the logic: how long what it reads has been good, how often
// it was told so anew, how many scans of that could not be used; and how much of
// its budget of doubt is spent.
type account struct {
	class              monitor.Class // in effect
	age                model.Scans   // since the last news
	span, good, paused model.Scans
	spent              monitor.Parts
	parted, again      bool // since its last fresh good reading; that this one is the first since
}

// see follows one scan from one phase to another. A channel that was fit to keep
// has nothing to settle; one that is neither fit nor settling has not begun to.
func (w account) see(c *monitor.Config, news monitor.Class, was, is monitor.Phase) account {
	fresh, wasGood := news != monitor.Missing, w.class == monitor.Good
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
		w.good = min(w.good+model.Scans(model.Int(fresh)), c.SettleReadings)
	case w.class != monitor.Good && w.span > 0:
		if w.paused++; w.paused > c.SettlePause {
			w.span, w.good, w.paused = 0, 0, 0
		}
	}
	switch {
	case !was.MayKeep():
		w.spent = 0
	case w.class < monitor.Between:
		w.spent += min(c.Full-w.spent, c.Cost[w.class])
	case w.class == monitor.Good && fresh:
		w.spent -= min(w.spent, c.Repay)
	}
	gone := is != was && (is == monitor.Lost || is == monitor.Unreadable)
	parted := w.parted || w.class == monitor.High || w.class == monitor.Open || gone && (was.MayKeep() || was == monitor.Settling || wasGood)
	w.again = parted && w.class == monitor.Good && fresh
	w.parted = parted && !w.again && !(w.class == monitor.Good && fresh)
	return w
}

// wrong says which property a step breaks, and how; w is after the step. A stay
// in doubtful may end for its length alone.
func (w account) wrong(c *monitor.Config, before monitor.Control, is monitor.Phase, again bool) (property model.Property, says, expect string) {
	was := before.Phase
	switch {
	case !was.MayKeep() && is.MayKeep() && (w.span < c.SettleScans || w.good < c.SettleReadings):
		return model.PropertyBoot, fmt.Sprintf("is bonded after %d scans and %d fresh good readings, must take %d and %d", w.span, w.good, c.SettleScans, c.SettleReadings), "never: %s is bonded"
	case was.MayKeep() && is.MayKeep() && w.spent >= c.Full:
		return model.PropertyResponse, fmt.Sprintf("is still fit to keep with its whole budget of doubt spent (%d of %d)", w.spent, c.Full), "never: %s is fit to keep"
	case was == monitor.Doubtful && is == monitor.Doubtful && before.Stay.Next() >= c.LongestStay:
		return model.PropertyResponse, fmt.Sprintf("is doubtful for more than %d scans", c.LongestStay), "never: %s is fit to keep"
	case was.MayKeep() && !is.MayKeep() && w.spent < c.Full && before.Stay.Next() < c.LongestStay:
		return model.PropertyPatience, fmt.Sprintf("is %s with %d of %d of its budget of doubt spent", is, w.spent, c.Full), "always: %s is fit to keep"
	}
	if w.again && !again {
		return model.PropertyWait, "reads good again after it had parted, and nothing sees it", ""
	}
	return 0, "", ""
}

// misjudged is how a channel breaks a property, and the shortest news from
// power-up to there.
type misjudged struct {
	news []monitor.Class
	says string
	err  error
}

// misjudges follows a channel's graph together with the account of it, and
// returns the first breach of each property. Where the logic is right, both
// remember the same, so that there are hardly more pairs than states.
func misjudges(t *table.ChannelTable, memory uint64) (found [model.MaxProperties]misjudged) {
	type pair struct {
		state uint32
		w     account
	}
	type step struct {
		from int
		news monitor.Class
	}
	all, came, known := []pair{{}}, []step{{-1, 0}}, map[pair]bool{{}: true}
	for i := 0; i < len(all); i++ {
		before := t.States[all[i].state].Control
		before.Stay = t.Stay.Last(t.Stay.Index(before.Stay))
		for class := monitor.Class(0); class < monitor.Classes; class++ {
			for _, e := range t.From(all[i].state, class) {
				next := pair{e.Next, all[i].w.see(t.Config, class, before.Phase, t.Phase(e.Next))}
				if property, says, _ := next.w.wrong(t.Config, before, t.Phase(e.Next), e.Letter.Again()); property > 0 {
					if found[property].says == "" {
						news := []monitor.Class{class}
						for at := i; came[at].from >= 0; at = came[at].from {
							news = append(news, came[at].news)
						}
						slices.Reverse(news)
						found[property] = misjudged{news: news, says: says}
					}
					continue
				}
				if !known[next] {
					known[next] = true
					all, came = append(all, next), append(came, step{i, class})
				}
			}
		}
		if uint64(len(all))*150 > memory {
			for p := range found {
				if found[p].says == "" {
					found[p].err = &table.CutOff{Where: "following a channel and the account of it", States: uint64(len(all)), Limit: memory}
				}
			}
			break
		}
	}
	return found
}

// misheard says which readings a channel sorts in another way than its limits
// say; empty if none. Only at the limits can it change.
func misheard(hear func(c *monitor.Config, s *monitor.State, in monitor.Reading) monitor.Class, c *monitor.Config) string {
	for _, limit := range [...]monitor.Microohm{0, c.Floor, c.Accept, c.Reject, c.OpenAbove, c.ValidMax} {
		for value := limit - 1; value <= limit+1; value++ {
			in := monitor.Reading{Value: value, Quality: monitor.Valid, Stamp: 1}
			if got, want := hear(c, &monitor.State{}, in), sorted(c, value); got != want {
				return fmt.Sprintf("sorts a reading of %d µΩ as %s, by its limits it is %s", value, got, want)
			}
		}
	}
	over := map[bool]monitor.Class{true: monitor.Open, false: monitor.Invalid}[c.OverRangeIsOpen]
	for quality, want := range [...]monitor.Class{monitor.Absent: monitor.Missing, monitor.Bad: monitor.Invalid, monitor.OverRange: over} {
		in := monitor.Reading{Value: c.Accept, Quality: monitor.Quality(quality), Stamp: 1}
		if got := hear(c, &monitor.State{}, in); got != want {
			return fmt.Sprintf("takes a reading of quality %d as %s, it is %s", quality, got, want)
		}
	}
	return ""
}

// misstamped says which stamp a bonded channel takes for new where it is not, or
// the other way round; empty if none. The same stamp is never new; a lower one is
// only once the channel has been stale.
func misstamped(step func(c *monitor.Config, s monitor.State, in monitor.Reading) monitor.State, c *monitor.Config) string {
	for _, age := range [...]model.Scans{0, c.StaleAfter, c.StaleAfter.Next()} {
		for _, ahead := range [...]uint16{0, 1, 1<<15 - 1, 1 << 15, 1<<16 - 1} {
			s := monitor.State{Control: monitor.Control{Phase: monitor.Bonded, Class: monitor.Good, Age: age}, Stamp: 7, Seen: true}
			in := monitor.Reading{Value: c.Accept, Quality: monitor.Valid, Stamp: 7 + ahead}
			fresh := !c.Stamped || ahead != 0 && (ahead < 1<<15 || age > c.StaleAfter)
			if news := step(c, s, in).Age == 0; news != fresh {
				return fmt.Sprintf("takes a stamp %d ahead, %d scans after the last news, as new: %v, must be %v", ahead, age, news, fresh)
			}
		}
	}
	for _, value := range [...]monitor.Microohm{c.Floor - 1, c.Floor, c.Accept, c.Accept + 1} {
		s := monitor.State{Control: monitor.Control{Phase: monitor.Bonded, Class: monitor.Good}}
		if got, want := step(c, s, monitor.Reading{Value: value, Quality: monitor.Valid, Stamp: 1}).Class, sorted(c, value); got != want {
			return fmt.Sprintf("takes a reading of %d µΩ while bonded as %s, by its limits it is %s", value, got, want)
		}
	}
	return ""
}

// sorted is the class of a valid value by the limits, the first that matches.
func sorted(c *monitor.Config, value monitor.Microohm) monitor.Class {
	switch {
	case value < 0 || value < c.Floor || c.ValidMax > 0 && value > c.ValidMax:
		return monitor.Invalid
	case value >= c.OpenAbove:
		return monitor.Open
	case value > c.Reject:
		return monitor.High
	case value > c.Accept:
		return monitor.Between
	}
	return monitor.Good
}
