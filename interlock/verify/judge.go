package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock/verify/runs"
)

// judge says of every wanted property of every wanted output what was found.
func (v *verification) judge() {
	for _, o := range v.outputs {
		v.cuts(o)
		for i := range v.properties {
			if p := &v.properties[i]; v.wants(p.Number.String()) && p.about(v.Model, o) {
				v.report.Results = append(v.report.Results, *v.conclude(p, o, p.judge(v, o), &p.Sampled))
			}
		}
	}
	v.own()
	v.channelWorst()
}

// conclude gives what was found of a property its words, and a run where one is
// found.
func (v *verification) conclude(p *Property, output int, r *Result, sampled *Sampling) *Result {
	r.Sampled = sampled.of(v.Model, output)
	r.Property, r.Title, r.Output, r.Assumes = p.Number.String(), p.Title, v.Model.Names.Outputs[output], p.Assumes
	counted := v.rest(r, p)
	v.contradict(output, p.Number, r)
	if left := v.Model.LeftOut(output); p.byCuts && r.Verdict == Shown && left != "" {
		r.Verdict, r.Says, r.Example = NotShown, left, nil
	}
	if r.Verdict == Violated && r.Counterexample == nil {
		r.Counterexample = v.counterexample(output, p)
	}
	if counted && r.Counterexample == nil && v.Options.Logic == nil {
		// The proof fails with its lemma; that the promise is broken is something else.
		r.Verdict = NotShown
		r.Says += "; no run of the whole site was found that breaks the property by it"
	}
	return r
}

func (v *verification) wants(property string) bool {
	return len(v.Options.Properties) == 0 || slices.Contains(v.Options.Properties, property)
}

// rest brings down a property whose counter lemma does not hold, and says that it
// did.
func (v *verification) rest(r *Result, p *Property) (counted bool) {
	for i := range v.report.Lemmas {
		if l := &v.report.Lemmas[i]; !l.holds() && slices.Contains(p.counters, l.Counter) {
			counted = r.Verdict != Violated
			r.Verdict = Violated
			r.Says = fmt.Sprintf("%s of %s: %s", l.Counter, l.Of, l.Wrong)
		}
	}
	return counted
}

// ready is an output that a healthy plant has brought to run, from where the real Step
// is asked; or the result that says why there is none.
func (v *verification) ready(output int) (*runs.Started, *Result) {
	s := v.Start(output)
	if s.Runs {
		return s, nil
	}
	return nil, &Result{Verdict: Nothing, Says: "a healthy plant never brought it to run, so nothing was exercised"}
}
