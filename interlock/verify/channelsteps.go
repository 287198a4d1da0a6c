package verify

import (
	"ohmgate/interlock"
	"ohmgate/monitor"
	"slices"
)

// EachStep calls f with every tabulated step of the channel; again says that a
// parted connection reads good again in it.
func (t *ChannelTable) EachStep(f func(from, to uint32, news monitor.Class, again bool)) {
	for state := range t.States {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			for _, e := range t.from(uint32(state), news) {
				f(uint32(state), e.next, news, e.letter.again())
			}
		}
	}
}

// EachFrom calls f with every tabulated step from one state.
func (t *ChannelTable) EachFrom(state uint32, f func(to uint32, news monitor.Class)) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range t.from(state, news) {
			f(e.next, news)
		}
	}
}

// Leads lists the news under which a channel can step from one state to another.
func (t *ChannelTable) Leads(from, to uint32) (list []monitor.Class) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range t.from(from, news) {
			if e.next == to {
				list = append(list, news)
				break
			}
		}
	}
	return list
}

// Hears says that some news can come to a channel in this state.
func (t *ChannelTable) Hears(state uint32, news monitor.Class) bool {
	return len(t.from(state, news)) > 0
}

// stateOf is the number of a state that the table knows.
func (t *ChannelTable) stateOf(s *interlock.ChannelState) (uint32, bool) {
	key := ChannelState{s.Control, s.Parted}
	key.Stay = t.stay.first[t.stay.index(key.Stay)]
	i, ok := t.index[key]
	return i, ok
}

// passes says that some reachable state in one phase leads to another phase
// under some news.
func (t *ChannelTable) passes(from monitor.Phase, news monitor.Class, to monitor.Phase) bool {
	for state := range t.States {
		if t.phase(uint32(state)) != from {
			continue
		}
		for _, e := range t.from(uint32(state), news) {
			if t.phase(e.next) == to {
				return true
			}
		}
	}
	return false
}

// upTo is the shortest news that lead from a channel that reads good to another
// state in which it is fit to keep, and never out of that; nil if there are none.
func (t *ChannelTable) upTo(state uint32) []monitor.Class {
	type step struct {
		from int32
		news monitor.Class
	}
	came := make([]step, len(t.States))
	var queue []uint32
	for s := range came {
		came[s].from = -1
		if t.well(uint32(s)) {
			came[s].from = int32(s)
			queue = append(queue, uint32(s))
		}
	}
	for i := 0; i < len(queue) && came[state].from < 0; i++ {
		for class := monitor.Class(0); class < monitor.Classes; class++ {
			for _, e := range t.from(queue[i], class) {
				if came[e.next].from < 0 && t.fitToKeep(e.next) {
					came[e.next] = step{int32(queue[i]), class}
					queue = append(queue, e.next)
				}
			}
		}
	}
	var news []monitor.Class
	for s := int32(state); came[s].from >= 0 && came[s].from != s; s = came[s].from {
		news = append(news, came[s].news)
	}
	slices.Reverse(news)
	return news
}

// well is a channel that has read good for long.
func (t *ChannelTable) well(s uint32) bool {
	return t.phase(s) == monitor.Bonded && t.States[s].Class == monitor.Good && t.States[s].Age == 0 && !t.States[s].Parted
}

// reversed is the same channel with every step the other way round.
func (t *ChannelTable) reversed() *ChannelTable {
	lists := make([][]edge, len(t.States))
	for s := range t.States {
		for _, e := range t.fromAll(uint32(s)) {
			lists[e.next] = append(lists[e.next], edge{uint32(s), e.letter})
		}
	}
	r := &ChannelTable{Config: t.Config, States: t.States}
	for _, list := range lists {
		r.at = append(r.at, uint32(len(r.edges)))
		r.edges = append(r.edges, list...)
		for range monitor.Classes - 1 {
			r.at = append(r.at, uint32(len(r.edges)))
		}
	}
	r.at = append(r.at, uint32(len(r.edges)))
	return r
}
