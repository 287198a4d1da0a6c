package coverage

import (
	"slices"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/verdict"
)

// OwnTwin is what sheets call the unit of a twin that runs the site's own logic.
const OwnTwin = "the site's own logic"

// Discount is why a sheet counts for nothing.
type Discount uint8

// The zero Discount lets a sheet count. The order is the one in which people are told.
const (
	Counts Discount = iota
	NotGraphed
	NotThisSite
	NotOnBench
	NotOnTwin
	NotTheRight
	NotPlayed
	NotEnded
	NotRight
	NotTold
	NotJudged
	CountedBefore
	Discounts = iota
)

var discountTexts = [Discounts]string{
	Counts:        "that counts",
	NotGraphed:    "written before the graph was recorded: play the scenarios again",
	NotThisSite:   "of another site, or of another version of its file",
	NotOnBench:    "played on the twin: no bench saw it (rig coverage --twin counts those)",
	NotOnTwin:     "played on hardware, not on the twin",
	NotTheRight:   "of a wrong unit on the twin",
	NotPlayed:     "in which the rig played nothing (listen, analyser)",
	NotEnded:      "without an end",
	NotRight:      "in which the unit was violated",
	NotTold:       "with a step that cannot be told",
	NotJudged:     "in which no step was judged: a dead unit does nothing either",
	CountedBefore: "counted before: named twice",
}

// String says it of a sheet.
func (d Discount) String() string { return discountTexts[d] }

// Records is what the sheets of recorded runs say of the graph.
type Records struct {
	Twin    bool            // counts the runs on the twin, in the place of those on hardware
	Seen    map[string]bool // transitions and faults, by what records call them
	Sheets  int             // that say something
	Against [Discounts]int  // sheets that count for nothing
	site    string          // hash of its file
	known   map[string]bool
}

// NewRecords has read none yet; site is the hash of the site's file.
func NewRecords(site string, twin bool) *Records {
	return &Records{Twin: twin, Seen: map[string]bool{}, site: site, known: map[string]bool{}}
}

// Read adds the sheets of one record.
func (r *Records) Read(sheets []sheet.Sheet) {
	for i := range sheets {
		s := &sheets[i]
		if because := r.discount(s); because != Counts {
			r.Against[because]++
			continue
		}
		r.Sheets++
		r.known[s.HeadHash] = true
		for _, one := range s.End.Graph {
			r.Seen[one] = true
		}
		for _, one := range s.End.Faults {
			r.Seen[one] = r.Seen[one] || s.End.Played && faultsMet(s)
		}
	}
}

// discount says why a sheet counts for nothing. What counts is what a unit was seen to follow, step by step: the logic beside it
// goes through the graph whether a unit is there or not.
func (r *Records) discount(s *sheet.Sheet) Discount {
	judged := func(found sheet.Finding) bool {
		return slices.ContainsFunc(s.Steps, func(one sheet.Step) bool { return one.Verdict == found })
	}
	switch {
	case s.Head.SiteHash != r.site:
		return NotThisSite
	case r.known[s.HeadHash]:
		return CountedBefore
	case !r.Twin && s.Head.Twin != "":
		return NotOnBench
	case r.Twin && s.Head.Twin == "":
		return NotOnTwin
	case r.Twin && s.Head.Twin != OwnTwin:
		return NotTheRight
	case s.Head.Mode != wiring.Stimulate.String() && s.Head.Mode != wiring.StandIn.String():
		return NotPlayed
	case s.End == nil:
		return NotEnded
	case s.End.Verdict == verdict.Violated || judged(sheet.Violated):
		return NotRight
	case s.End.Played && len(s.End.Graph) == 0:
		return NotGraphed
	case judged(sheet.CannotTell):
		return NotTold
	case !judged(sheet.Consistent):
		return NotJudged
	}
	return Counts
}

// faultsMet says that a run's faults met a unit that had energised its output. A bench that stands in for the unit plays no
// faults: the plant is real there.
func faultsMet(s *sheet.Sheet) bool {
	return (s.Head.Mode == wiring.Stimulate.String() || s.Head.Twin != "") &&
		slices.ContainsFunc(s.Steps, func(one sheet.Step) bool { return one.Change == sheet.Energised && one.Verdict == sheet.Consistent })
}
