package table

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// ChannelState is what decides of one channel: its control, and whether its
// connection is presumed to have parted. Stay holds the first value of its cell.
type ChannelState struct {
	monitor.Control
	Parted bool
}

// Letter is all that the rest of the logic sees of a channel in one scan: how
// fit it is, and whether a parted connection reads good again.
type Letter uint8

// The fitness of a letter; twice this plus one for "again" is the letter.
const (
	fitOut = iota
	fitLost
	fitUnreadable
	fitDoubtful
	fitBonded
	fits
)

// Letters is how many letters there are.
const Letters = 2 * fits

func letterOf(p monitor.Phase, again bool) Letter {
	fit := [monitor.Phases]Letter{monitor.Unconnected: fitOut, monitor.Settling: fitOut, monitor.Bonded: fitBonded,
		monitor.Doubtful: fitDoubtful, monitor.Lost: fitLost, monitor.Unreadable: fitUnreadable}[p]
	if again {
		return fit<<1 | 1
	}
	return fit << 1
}

func (l Letter) Again() bool { return l&1 == 1 }

// phase is a phase that stands for all with this fitness.
func (l Letter) phase() monitor.Phase {
	return [fits]monitor.Phase{monitor.Unconnected, monitor.Lost, monitor.Unreadable, monitor.Doubtful, monitor.Bonded}[l>>1]
}

// edge is one step of a channel: the state that follows and the letter shown.
type edge struct {
	Next   uint32
	Letter Letter
}

// ChannelTable is one channel, tabulated: every state that it can reach from
// power-up under every sequence of news, and every step between them.
type ChannelTable struct {
	Config *monitor.Config
	States []ChannelState // 0 is power-up
	Stay   model.Cells
	at     []uint32 // state*Classes+news: where its edges start
	edges  []edge
	logic  *model.Logic
	Index  map[ChannelState]uint32
}

// CutOff says that a search ended at its memory limit, and how far it came.
type CutOff struct {
	Where  string
	States uint64 // 0 where none was counted
	Limit  uint64 // bytes
}

func (e *CutOff) Error() string {
	after := ""
	if e.States > 0 {
		after = fmt.Sprintf(" after %d states", e.States)
	}
	return fmt.Sprintf("%s: the memory limit of %d MB is reached%s; raise --memory", e.Where, e.Limit>>20, after)
}

// Tabulate explores one channel, breadth first.
func Tabulate(logic *model.Logic, c *monitor.Config, memory uint64) (*ChannelTable, error) {
	return TabulateWith(logic, c, model.CellsOf(c.LongestStay, 0, 1, c.LongestStay-1, c.LongestStay), memory)
}

func TabulateWith(logic *model.Logic, c *monitor.Config, stay model.Cells, memory uint64) (*ChannelTable, error) {
	t := &ChannelTable{Config: c, logic: logic, Stay: stay, Index: map[ChannelState]uint32{}}
	t.find(ChannelState{})
	can := Possible(c)
	for i := 0; i < len(t.States); i++ {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			t.at = append(t.at, uint32(len(t.edges)))
			if !can[news] {
				continue
			}
			from := len(t.edges)
			t.steps(t.States[i], news, func(next ChannelState, letter Letter) {
				e := edge{t.find(next), letter}
				for _, have := range t.edges[from:] {
					if have == e {
						return
					}
				}
				t.edges = append(t.edges, e)
			})
		}
		if uint64(len(t.States))*200 > memory {
			return nil, &CutOff{"tabulating a channel", uint64(len(t.States)), memory}
		}
	}
	t.at = append(t.at, uint32(len(t.edges)))
	return t, nil
}

func (t *ChannelTable) find(s ChannelState) uint32 {
	s.Stay = t.Stay.First[t.Stay.Index(s.Stay)]
	if i, ok := t.Index[s]; ok {
		return i
	}
	i := uint32(len(t.States))
	t.Index[s] = i
	t.States = append(t.States, s)
	return i
}

// steps calls f for every step from an abstract state.
func (t *ChannelTable) steps(s ChannelState, news monitor.Class, f func(ChannelState, Letter)) {
	t.Stay.Each(t.Stay.Index(s.Stay), func(stay model.Scans) {
		s.Stay = stay
		f(StepChannel(t.logic, t.Config, s, news))
	})
}

// StepChannel is one scan of what decides of a channel.
func StepChannel(logic *model.Logic, c *monitor.Config, s ChannelState, news monitor.Class) (ChannelState, Letter) {
	before := monitor.State{Control: s.Control}
	after := monitor.State{Control: logic.Advance(c, s.Control, news)}
	now, again := logic.Parted(s.Parted, &before, &after)
	return ChannelState{after.Control, now}, letterOf(after.Phase, again)
}

// From lists the edges of a state under some news.
func (t *ChannelTable) From(state uint32, news monitor.Class) []edge {
	i := int(state)*monitor.Classes + int(news)
	return t.edges[t.at[i]:t.at[i+1]]
}

// FromAll lists the edges of a state under any news.
func (t *ChannelTable) FromAll(state uint32) []edge {
	i := int(state) * monitor.Classes
	return t.edges[t.at[i]:t.at[i+monitor.Classes]]
}

func (t *ChannelTable) Phase(state uint32) monitor.Phase { return t.States[state].Phase }

// Letters is the set of letters that some edge shows, as bits.
func (t *ChannelTable) Letters() uint32 {
	var set uint32
	for _, e := range t.edges {
		set |= 1 << e.Letter
	}
	return set
}

// Audit compares every tabulated step with the whole Step of a site that has
// only this channel: the table, the step and the reading's way in must agree.
// It returns the number of comparisons and of differences.
func (t *ChannelTable) Audit(every int) (compared, different uint64) {
	c := &interlock.Config{Channels: []interlock.Channel{{Config: *t.Config}}}
	s, in, d := interlock.NewState(c), interlock.NewInputs(c), interlock.NewDecision(c)
	for i, state := range t.States {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			if i%every != 0 || len(t.From(uint32(i), news)) == 0 {
				continue
			}
			t.Stay.Each(t.Stay.Index(state.Stay), func(stay model.Scans) {
				concrete := state
				concrete.Stay = stay
				s.Channels[0] = interlock.ChannelState{State: monitor.State{Control: concrete.Control, Stamp: 7, Seen: true}, Parted: concrete.Parted}
				in.Readings[0] = ReadingOf(t.Config, news, 8)
				t.logic.Step(c, s, in, d)
				after := ChannelState{s.Channels[0].Control, s.Channels[0].Parted}
				compared++
				if !t.knows(uint32(i), news, after) {
					different++
				}
			})
		}
	}
	return compared, different
}

// Known is the number of a state, if the channel can reach it.
func (t *ChannelTable) Known(s ChannelState) (uint32, bool) {
	s.Stay = t.Stay.First[t.Stay.Index(s.Stay)]
	i, ok := t.Index[s]
	return i, ok
}

func (t *ChannelTable) knows(state uint32, news monitor.Class, after ChannelState) bool {
	after.Stay = t.Stay.First[t.Stay.Index(after.Stay)]
	next, ok := t.Index[after]
	if !ok {
		return false
	}
	for _, e := range t.From(state, news) {
		if e.Next == next {
			return true
		}
	}
	return false
}

// ReadingOf is a reading that a channel hears as the given news. Whatever the
// class, its value is one that the configuration really sorts there.
func ReadingOf(c *monitor.Config, news monitor.Class, stamp uint16) monitor.Reading {
	r := monitor.Reading{Quality: monitor.Valid, Stamp: stamp}
	switch news {
	case monitor.Missing:
		return monitor.Reading{}
	case monitor.Invalid:
		r.Quality = monitor.Bad
	case monitor.Open:
		r.Value = c.OpenAbove
		if c.ValidMax > 0 && c.OpenAbove > c.ValidMax {
			r.Value, r.Quality = 0, monitor.OverRange
		}
	case monitor.High:
		r.Value = c.Reject + 1
	case monitor.Between:
		r.Value = c.Accept + 1
	case monitor.Good:
		r.Value = c.Accept
	}
	return r
}

// Possible says which classes of news can reach a channel at all. `between` is
// absent where accept is reject; open where over-range is not open and the valid
// band ends below open-above; high where open-above follows reject at once.
func Possible(c *monitor.Config) [monitor.Classes]bool {
	var can [monitor.Classes]bool
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		can[news] = monitor.Hear(c, &monitor.State{}, ReadingOf(c, news, 1)) == news
	}
	return can
}
