package live

import (
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
)

// Described is what the page has to know of a site before it draws anything.
type Described struct {
	Tool      string         `json:"tool"`
	Site      string         `json:"site"`
	Title     string         `json:"title"`
	Hash      string         `json:"hash"`
	Kind      string         `json:"kind"` // simulator | recording | rig
	Real      bool           `json:"real"`
	Control   bool           `json:"control"`
	Journal   bool           `json:"journal"`
	PeriodNs  int64          `json:"period_ns"`
	Deadline  int64          `json:"deadline_ns"`
	Lanes     []LaneShown    `json:"lanes"`
	Faults    []FaultKind    `json:"faults"`
	Scenarios []ScenarioKind `json:"scenarios"`
	Caution   string         `json:"caution"`
	Words     Words          `json:"words"`
}

// Words is how the page calls what it draws.
type Words struct {
	Lanes        map[LaneKind][]LaneWord `json:"lanes"` // by value
	Ranks        map[tell.Rank]string    `json:"ranks"`
	OrderUnknown string                  `json:"order_unknown"`
}

func describedWords() Words {
	w := Words{Lanes: laneWords(), Ranks: map[tell.Rank]string{}, OrderUnknown: tell.OrderNotKnown}
	for _, r := range tell.Ranks {
		w.Ranks[r] = r.Words()
	}
	return w
}

// LaneShown is a lane with what is drawn and said beside it.
type LaneShown struct {
	Lane
	Accept     float64 `json:"accept_ohms,omitempty"`
	Reject     float64 `json:"reject_ohms,omitempty"`
	Open       float64 `json:"open_ohms,omitempty"`
	Floor      float64 `json:"floor_ohms,omitempty"`
	Stale      int     `json:"stale_scans,omitempty"` // a gap no longer than this is none
	Permissive string  `json:"permissive,omitempty"`
	WaitNs     int64   `json:"wait_ns,omitempty"`
	Use        string  `json:"use,omitempty"` // of an input
	Limits     string  `json:"limits,omitempty"`
	NotShown   string  `json:"not_shown,omitempty"`
}

// Describe says what a session turns.
func (s *Session) Describe(tool, caution string) Described {
	o := s.opts
	d := Described{
		Tool: tool, Site: o.Site.Name, Title: o.Site.Title, Hash: o.Site.Hash, Kind: o.Kind, Real: o.Real,
		Control: o.Control && !o.Real, Journal: o.Keeper != nil, PeriodNs: int64(o.Period), Deadline: int64(o.Deadline),
		Faults: append([]FaultKind{}, o.Faults...), Scenarios: append([]ScenarioKind{}, o.Scenarios...), Caution: caution,
		Lanes: []LaneShown{}, Words: describedWords(),
	}
	for _, l := range s.Lanes {
		d.Lanes = append(d.Lanes, s.laneShown(l))
	}
	return d
}

func (s *Session) laneShown(l Lane) LaneShown {
	shown := LaneShown{Lane: l}
	switch l.Kind {
	case LaneChannel:
		c := &s.opts.Config.Channels[l.Index]
		shown.Accept, shown.Reject = float64(c.Accept)/1e6, float64(c.Reject)/1e6
		shown.Open, shown.Floor = float64(c.OpenAbove)/1e6, float64(c.Floor)/1e6
		shown.Stale = int(c.StaleAfter)
		shown.Limits = "accept " + Ohms(c.Accept) + ", reject " + Ohms(c.Reject)
		shown.NotShown = notShown(&s.opts.Site.Channels[l.Index])
	case LaneInput:
		shown.Use = s.opts.Site.Inputs[l.Index].Use
	case LaneOutput:
		shown.Permissive = s.opts.Site.Outputs[l.Index].Permissive
	case LaneVessel:
		shown.WaitNs = int64(s.opts.Config.Vessels[l.Index].Wait) * int64(s.opts.Period)
	}
	return shown
}

// notShown says what a channel cannot tell, in words.
func notShown(c *site.Channel) string {
	text := ""
	switch c.Measures {
	case "clamp-loop":
		text = "does not show that the earth point reaches earth"
	case "earth-path":
		text = "does not show which path to earth it reads"
	}
	if c.Evidence == "" {
		if text != "" {
			text += "; "
		}
		text += "does not show that the clamp is on the right object"
	}
	return text
}
