package main

import (
	"fmt"
	"slices"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/verdict"
)

// ownTwin is what sheets call the unit of a twin that runs the site's own logic.
const ownTwin = "the site's own logic"

// Reasons why a sheet counts for nothing.
const (
	notThisSite   = "of another site, or of another version of its file"
	notOnBench    = "played on the twin: no bench saw it (rig --twin --coverage counts those)"
	notOnTwin     = "played on hardware, not on the twin"
	notTheRight   = "of a wrong unit on the twin"
	notPlayed     = "in which the rig played nothing (listen, analyser)"
	notEnded      = "without an end"
	notRight      = "in which the unit was violated"
	notGraphed    = "written before the graph was recorded: play the scenarios again"
	notJudged     = "in which no step was judged: a dead unit does nothing either"
	notTold       = "with a step that cannot be told"
	countedBefore = "counted before: named twice"
)

// sightedRecord is what sheets say of the graph.
type sightedRecord struct {
	Twin    bool // counts the runs on the twin, in the place of those on hardware
	Seen    map[string]bool
	Counts  int            // sheets that say something
	Against map[string]int // sheets that count for nothing, by reason
	known   map[string]bool
}

func newSighted(twin bool) *sightedRecord {
	return &sightedRecord{Twin: twin, Seen: map[string]bool{}, Against: map[string]int{}, known: map[string]bool{}}
}

// read adds the sheets of one record.
func (r *sightedRecord) read(f *rigFiles, sheets []sheet.Sheet) {
	for i := range sheets {
		s := &sheets[i]
		if because := r.against(f, s); because != "" {
			r.Against[because]++
			continue
		}
		r.Counts++
		r.known[s.HeadHash] = true
		for _, one := range s.End.Graph {
			r.Seen[one] = true
		}
		for _, one := range s.End.Faults {
			r.Seen[one] = r.Seen[one] || s.End.Played && faultsMet(s)
		}
	}
}

// against says why a sheet counts for nothing. What counts is what a unit was seen to follow, step by step: the logic beside it
// goes through the graph whether a unit is there or not.
func (r *sightedRecord) against(f *rigFiles, s *sheet.Sheet) string {
	judged := func(found sheet.Finding) bool {
		return slices.ContainsFunc(s.Steps, func(one sheet.Step) bool { return one.Verdict == found })
	}
	switch {
	case s.Head.SiteHash != f.site.Hash:
		return notThisSite
	case r.known[s.HeadHash]:
		return countedBefore
	case !r.Twin && s.Head.Twin != "":
		return notOnBench
	case r.Twin && s.Head.Twin == "":
		return notOnTwin
	case r.Twin && s.Head.Twin != ownTwin:
		return notTheRight
	case s.Head.Mode != wiring.Stimulate.String() && s.Head.Mode != wiring.StandIn.String():
		return notPlayed
	case s.End == nil:
		return notEnded
	case s.End.Verdict == verdict.Violated || judged(sheet.Violated):
		return notRight
	case s.End.Played && len(s.End.Graph) == 0:
		return notGraphed
	case judged(sheet.CannotTell):
		return notTold
	case !judged(sheet.Consistent):
		return notJudged
	}
	return ""
}

// faultsMet says that a run's faults met a unit that had energised its output. A bench that stands in for the unit plays no
// faults: the plant is real there.
func faultsMet(s *sheet.Sheet) bool {
	return (s.Head.Mode == wiring.Stimulate.String() || s.Head.Twin != "") &&
		slices.ContainsFunc(s.Steps, func(one sheet.Step) bool { return one.Change == sheet.Energised && one.Verdict == sheet.Consistent })
}

// notes says which sheets count for nothing.
func (r *sightedRecord) notes() (list []string) {
	for _, because := range []string{notGraphed, notThisSite, notOnBench, notOnTwin, notTheRight, notPlayed, notEnded, notRight, notTold, notJudged, countedBefore} {
		if count := r.Against[because]; count > 0 {
			list = append(list, fmt.Sprintf("%s not counted: %s", counted(count, "sheet"), because))
		}
	}
	return list
}
