package verify

import (
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// counterexample looks for a run that breaks a default property: first what one or two
// things that go wrong can do, then along the distances of every search that has
// met it, then for longer. Mutants of the parts have none, because the whole Step
// is not theirs. Where a long search has found none for one output, the others are
// not looked for as long.
func (v *verification) counterexample(output int, p *Property) *runs.Run {
	if v.Options.Logic != nil {
		return nil
	}
	q := goal{output: output, property: p.Number, faults: 2, turns: min(probeTurns, v.turns), recovery: p.attack.comes,
		is: func(_ *runs.Driver, _ *memory, found model.PropertySet) bool { return found&p.breaks() != 0 }}
	run := v.attack(q, p)
	if run == nil {
		run = v.falsify(q)
	}
	if run == nil {
		run = v.along(q)
	}
	if run == nil && !v.gaveUp[p.Number] {
		q.turns = v.turns
		run = v.falsify(q)
	}
	if run == nil {
		v.gaveUp[p.Number] = true
	}
	return run
}

// along looks with the distances of one search after the other.
func (v *verification) along(q goal) *runs.Run {
	tried := map[string]bool{}
	for _, job := range v.jobsOf(q.output, "") {
		if !job.Bad.Has(q.property) || tried[job.key] || len(tried) == maxDistances {
			continue
		}
		tried[job.key] = true
		if q.distances = v.distancesTo(job, q.property); q.distances != nil {
			q.faults = guidedFaults
			if run := v.falsify(q); run != nil {
				return run
			}
		}
	}
	return nil
}

// A falsifier along distances may let many things go wrong, one after the other; what
// is not needed is left out afterwards.
const (
	guidedFaults = 24
	maxDistances = 4
)
