package verify

import (
	"fmt"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// jobsOf lists the searches of an output, of one kind or of both.
func (v *verification) jobsOf(output int, kind string) []*Searched {
	var list []*Searched
	for _, s := range v.searches {
		if s.output == output && (kind == "" || s.Kind == kind) {
			list = append(list, s)
		}
	}
	return list
}

// found sums up what the searches say of one property of an output.
func (v *verification) found(output int, property model.Property, kind string) *Result {
	r := &Result{Verdict: Nothing}
	jobs := v.jobsOf(output, kind)
	hits, cut := 0, 0
	for _, s := range jobs {
		r.States += s.States
		r.Steps += s.Steps
		switch {
		case s.cutOff != nil:
			cut++
			r.Says = s.cutOff.Error()
		case s.Bad.Has(property):
			r.Verdict = Violated
			r.Says = fmt.Sprintf("first after %d scans, with channel %s in full detail", s.FirstBad[property], s.Channel)
			v.replay(r, s, property)
			return r
		case s.Hit.Has(property):
			hits++
		}
	}
	switch {
	case cut > 0:
		r.Verdict = NotShown
	case hits > 0:
		r.Verdict = Shown
		r.Says = searchedText(jobs)
	case len(jobs) == 0:
		v.byTable(output, property, r)
		if r.Verdict == Violated && v.Options.Logic == nil {
			v.needsRun(r, output, property)
		}
	default:
		r.Says = "no run came to where it would matter"
	}
	return r
}

// searchedText says how much was searched.
func searchedText(jobs []*Searched) string {
	if states := jobs[0].jointly; states != "" {
		return states + " joint states"
	}
	return model.Plural(len(jobs), "search", "searches") + ", every state"
}

// searchedFor is what the searches alone say of a property. Outputs that are not
// wanted were not searched.
func (v *verification) searchedFor(output int, property model.Property) Verdict {
	jobs := v.jobsOf(output, "")
	if len(jobs) == 0 {
		r := &Result{Verdict: Nothing}
		v.byTable(output, property, r)
		return r.Verdict
	}
	met := Nothing
	for _, s := range jobs {
		switch {
		case s.Bad.Has(property):
			return Violated
		case s.cutOff != nil:
			met = NotShown
		case s.Hit.Has(property) && met == Nothing:
			met = Shown
		}
	}
	return met
}

// replay looks for a run of the whole site that shows what a search has met. A
// search lets more happen than can; without such a run nothing is called
// violated, and nothing shown. Mutants of the parts cannot be replayed, because
// the whole Step is not theirs.
func (v *verification) replay(r *Result, s *Searched, property model.Property) {
	if v.Options.Logic != nil {
		return
	}
	if v.needsRun(r, s.output, property); r.Counterexample == nil {
		r.Searched = v.searchedRun(s, property)
	}
}

// needsRun adds the run that shows what was met; without one it is not shown.
func (v *verification) needsRun(r *Result, output int, property model.Property) {
	r.Counterexample = v.counterexample(output, v.property(property))
	if r.Counterexample == nil {
		r.Verdict = NotShown
		r.Says += "; but no run of the whole site was found that shows it"
	}
}

// searchedRun tells the shortest run through a product that violates a property,
// in at most twelve lines. It is a run of the tables, in which more can happen
// than on the whole site.
func (v *verification) searchedRun(s *Searched, property model.Property) []string {
	p, err := v.product(s, v.Options.MemoryLimit())
	if err != nil {
		return nil
	}
	p.FirstBad = s.FirstBad
	var lines []string
	last := ""
	for scan, at := range p.Shortest(property) {
		c := &p.Channel.States[at.Column]
		text := fmt.Sprintf("%s %s; %s %s", s.Channel, c.Phase, s.Output, p.Stem.Name(int(at.Row)))
		if text != last {
			lines = append(lines, fmt.Sprintf("scan %d: %s", scan, text))
		}
		last = text
	}
	return lines[max(0, len(lines)-runs.MaxLines):]
}

// byTable judges an output whose permissive reads no channel: its own table, in
// which the permissive is free, is then the whole search.
func (v *verification) byTable(output int, property model.Property, r *Result) {
	t, err := v.OutputTable(&v.Model.Config.Outputs[output], false)
	if err != nil {
		r.Verdict, r.Says = NotShown, err.Error()
		return
	}
	var hit, bad model.PropertySet
	for i := range t.Edges {
		hit |= t.Edges[i].Hit
		bad |= t.Edges[i].Bad
	}
	r.States, r.Steps = uint64(len(t.States)), uint64(len(t.Edges))
	switch {
	case bad.Has(property):
		r.Verdict, r.Says = Violated, "in the output's own table"
	case hit.Has(property):
		r.Verdict, r.Says = Shown, "no channel in its permissive; every state of the output"
	}
}
