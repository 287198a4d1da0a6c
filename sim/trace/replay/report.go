package replay

import (
	"sort"

	"ohmgate/interlock/verdict"
	"ohmgate/sim/trace"
)

// Report is the result of one replay.
type Report struct {
	Verdict verdict.Verdict `json:"verdict"`
	Because string          `json:"because"`

	Scans    uint64  `json:"scans"`
	Lasts    float64 `json:"lasts_s"`
	Readings uint64  `json:"readings"`
	Compared uint64  `json:"compared"` // recorded outputs, phases, vessels and events that were held against the logic
	Start    string  `json:"start"`    // from which state the logic began, and why

	// ToleranceScans is how far a recorded output may lead or trail; LargestSkew
	// is how far one did without being a divergence.
	ToleranceScans int `json:"tolerance_scans"`
	LargestSkew    int `json:"largest_skew_scans"`

	Divergences int         `json:"divergences"`
	First       *Divergence `json:"first,omitempty"`
	Kinds       []KindCount `json:"kinds,omitempty"`
	MoreKinds   int         `json:"more_kinds,omitempty"` // kinds beyond those that are kept

	EventCounts []EventCount `json:"events,omitempty"` // what the logic told

	Troubles []trace.Trouble `json:"troubles,omitempty"`
}

// Divergence is one moment where recording and logic part.
type Divergence struct {
	Scan     uint64   `json:"scan"`
	Time     float64  `json:"time_s"`
	Clock    string   `json:"clock,omitempty"` // time of day, where the recording has it
	Line     int      `json:"line"`
	Subject  string   `json:"subject"`
	What     string   `json:"what"` // output, phase, vessel or events
	Recorded string   `json:"recorded"`
	Logic    string   `json:"logic"`
	Rule     []string `json:"rule"`
	Causes   []string `json:"causes,omitempty"`
	Channel  string   `json:"channel,omitempty"` // the one shown in the excerpt

	Excerpt []Moment `json:"excerpt,omitempty"`
}

// Moment is one line of the side-by-side excerpt.
type Moment struct {
	Scan     uint64  `json:"scan"`
	Time     float64 `json:"time_s"`
	Line     int     `json:"line"`
	Reading  string  `json:"reading"`
	Class    string  `json:"class"`
	Phase    string  `json:"phase"`
	Recorded string  `json:"recorded"`
	Logic    string  `json:"logic"`
}

// KindCount is how often one kind of divergence came.
type KindCount struct {
	Kind      string  `json:"kind"`
	Count     int     `json:"count"`
	FirstTime float64 `json:"first_s"`
}

// EventCount is how often the logic told a kind of event.
type EventCount struct {
	Kind  string `json:"kind"`
	Count int    `json:"count"`
}

// kindsKept bounds the memory for kinds of divergence.
const kindsKept = 200

func (r *Report) count(kind string, at float64) {
	for i := range r.Kinds {
		if r.Kinds[i].Kind == kind {
			r.Kinds[i].Count++
			return
		}
	}
	if len(r.Kinds) < kindsKept {
		r.Kinds = append(r.Kinds, KindCount{kind, 1, at})
	} else {
		r.MoreKinds++
	}
}

// judge draws the verdict. A recording without outputs, as one made for a trend,
// holds nothing to judge. Otherwise what blinds it comes first: where it cannot
// show what the logic saw, a difference proves nothing.
func (r *Report) judge(d *trace.Diary) {
	r.Troubles = d.Troubles
	sort.SliceStable(r.Kinds, func(i, j int) bool { return r.Kinds[i].Count > r.Kinds[j].Count })
	switch {
	case r.Scans == 0:
		r.Verdict, r.Because = verdict.NothingChecked, "the recording holds no scan"
	case r.Compared == 0:
		r.Verdict, r.Because = verdict.NothingChecked, "the recording holds nothing to compare: no output, no phase"
	case d.Blind():
		r.Verdict, r.Because = verdict.NotShown, "the recording cannot show what the logic would have seen"
	case r.Divergences > 0:
		r.Verdict, r.Because = verdict.Violated, "the recording and the logic part"
	case d.Undecided():
		r.Verdict, r.Because = verdict.NotShown, "no divergence in what could be read, but not all could be"
	default:
		r.Verdict, r.Because = verdict.Shown, "the logic comes to the same decisions, to the last scan"
	}
}
