package table

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// EachStep calls f with every tabulated step of the channel; again says that a
// parted connection reads good again in it.
func (t *ChannelTable) EachStep(f func(from, to uint32, news monitor.Class, again bool)) {
	for state := range t.States {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			for _, e := range t.From(uint32(state), news) {
				f(uint32(state), e.Next, news, e.Letter.Again())
			}
		}
	}
}

// EachFrom calls f with every tabulated step from one state.
func (t *ChannelTable) EachFrom(state uint32, f func(to uint32, news monitor.Class)) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range t.From(state, news) {
			f(e.Next, news)
		}
	}
}

// Leads lists the news under which a channel can step from one state to another.
func (t *ChannelTable) Leads(from, to uint32) (list []monitor.Class) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range t.From(from, news) {
			if e.Next == to {
				list = append(list, news)
				break
			}
		}
	}
	return list
}

// Hears says that some news can come to a channel in this state.
func (t *ChannelTable) Hears(state uint32, news monitor.Class) bool {
	return len(t.From(state, news)) > 0
}

// StateOf is the number of a state that the table knows.
func (t *ChannelTable) StateOf(s *interlock.ChannelState) (uint32, bool) {
	key := ChannelState{s.Control, s.Parted}
	key.Stay = t.Stay.First[t.Stay.Index(key.Stay)]
	i, ok := t.Index[key]
	return i, ok
}

// Passes says that some reachable state in one phase leads to another phase
// under some news.
func (t *ChannelTable) Passes(from monitor.Phase, news monitor.Class, to monitor.Phase) bool {
	for state := range t.States {
		if t.Phase(uint32(state)) != from {
			continue
		}
		for _, e := range t.From(uint32(state), news) {
			if t.Phase(e.Next) == to {
				return true
			}
		}
	}
	return false
}

// UpTo is the shortest news that lead from a channel that reads good to another
// state in which it is fit to keep, and never out of that; nil if there are none.
func (t *ChannelTable) UpTo(state uint32) []monitor.Class {
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
			for _, e := range t.From(queue[i], class) {
				if came[e.Next].from < 0 && t.fitToKeep(e.Next) {
					came[e.Next] = step{int32(queue[i]), class}
					queue = append(queue, e.Next)
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
	return t.Phase(s) == monitor.Bonded && t.States[s].Class == monitor.Good && t.States[s].Age == 0 && !t.States[s].Parted
}

// Reversed is the same channel with every step the other way round.
func (t *ChannelTable) Reversed() *ChannelTable {
	lists := make([][]edge, len(t.States))
	for s := range t.States {
		for _, e := range t.FromAll(uint32(s)) {
			lists[e.Next] = append(lists[e.Next], edge{uint32(s), e.Letter})
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
