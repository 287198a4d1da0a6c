package sim

import (
	"fmt"
	"sort"

	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// Margin is how close a run came to a bound.
type Margin struct {
	Scan  uint64  // of the scenario
	Share float64 // what was left, as a share of the whole
	What  string
}

// margins follows how much of every channel's budget of doubt was spent in the
// episodes that it survived.
type margins struct {
	site     *site.Site
	channels []marginState
}

type marginState struct {
	peak    monitor.Parts // in this episode
	at      uint64
	stay    monitor.Scans
	closest Margin
	has     bool
}

func newMargins(p *Plant) margins {
	return margins{site: p.Site, channels: make([]marginState, len(p.channels))}
}

// watch is one scan.
func (m *margins) watch(v *view, scan uint64) {
	for i := range m.channels {
		c, s := &v.State.Channels[i], &m.channels[i]
		switch {
		case c.Phase == monitor.Doubtful:
			if c.Doubt > s.peak {
				s.peak, s.at = c.Doubt, scan
			}
			s.stay = max(s.stay, c.Stay)
		case s.peak > 0:
			if c.Phase == monitor.Bonded {
				m.survived(i, v.plant.Logic.Channels[i].Full, v.plant.Logic.Channels[i].LongestStay)
			}
			s.peak, s.stay = 0, 0
		}
	}
}

// survived keeps an episode of doubt that ended in bonded again.
func (m *margins) survived(i int, full monitor.Parts, longest monitor.Scans) {
	s := &m.channels[i]
	left := float64(full-s.peak) / float64(full)
	what := fmt.Sprintf("%s: %.0f %% of its patience left", m.site.Channels[i].Name, left*100)
	if stay := float64(longest-min(s.stay, longest)) / float64(longest); stay < left {
		left = stay
		what = fmt.Sprintf("%s: %d of %d scans left of its longest doubt", m.site.Channels[i].Name, longest-s.stay, longest)
	}
	if !s.has || left < s.closest.Share {
		s.closest, s.has = Margin{Scan: s.at, Share: left, What: what}, true
	}
}

// all lists the closest escapes of every channel and the bounds of every
// expectation, tightest first.
func (m *margins) all(outcomes []Outcome) []Margin {
	var list []Margin
	for i := range m.channels {
		if m.channels[i].has {
			list = append(list, m.channels[i].closest)
		}
	}
	for i := range outcomes {
		o := &outcomes[i]
		if o.Bounded && o.Of > 0 {
			list = append(list, Margin{
				Scan: o.Scan, Share: float64(o.Left) / float64(o.Of),
				What: fmt.Sprintf("%d of %d scans left: %s", o.Left, o.Of, o.Expectation.Text),
			})
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Share < list[j].Share })
	return list
}
