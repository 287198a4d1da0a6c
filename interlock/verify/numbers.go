package verify

import (
	"slices"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Alone is one channel with the numbers that the verifier prints of it, for those
// who state the channel again in another language and count for themselves.
type Alone struct {
	Channel string // as people call it
	Config  monitor.Config
	News    []monitor.Class // that can reach it
	Facts   table.ChannelFacts
}

// AloneOf finds the numbers of one channel.
func AloneOf(m *model.Model, o model.Options, channel int) (*Alone, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	facts, err := v.FactsOf(channel)
	if err != nil {
		return nil, err
	}
	a := &Alone{Channel: m.Names.Channels[channel], Config: m.Config.Channels[channel].Config, Facts: facts}
	for class, can := range table.Possible(&a.Config) {
		if can {
			a.News = append(a.News, monitor.Class(class))
		}
	}
	return a, nil
}

// Can says that a class of news can reach the channel.
func (a *Alone) Can(class monitor.Class) bool { return slices.Contains(a.News, class) }
