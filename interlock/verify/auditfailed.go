package verify

import (
	"fmt"
)

// auditFailed: tables that step in another way than the logic that runs have been
// searched for nothing. What they do not show, a run of the whole site may.
func (v *verification) auditFailed() {
	if v.report.Audit == nil || v.report.Audit.Different == 0 || v.Options.Logic != nil {
		return
	}
	for _, o := range v.outputs {
		run := v.falsify(goal{output: o, faults: 2, turns: v.turns, any: true})
		for i := range v.report.Results {
			r := &v.report.Results[i]
			if run != nil && r.Output == run.Output && r.Property == run.Property && r.Counterexample == nil {
				r.Verdict, r.Counterexample, r.Example = Violated, run, nil
				r.Says = fmt.Sprintf("seen on the whole site, where %d steps differ from those that were searched", v.report.Audit.Different)
				return
			}
		}
	}
}
