package verify

import (
	"fmt"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// complete: every minimal cut set trips the running output, and nothing outside
// its cone changes it.
func (v *verification) complete(output int) *Result {
	s, none := v.ready(output)
	if none != nil {
		return none
	}
	limit := v.DetectAll() + 1
	inside := 0
	for _, set := range model.CutSets(v.Model.Config.Outputs[output].Permissive) {
		if r := v.mustTrip(s, set, limit); r != nil {
			return r
		}
		inside++
	}
	outside, r := v.untouched(s, output, limit)
	if r != nil {
		return r
	}
	r = &Result{Verdict: Nothing, Says: "no cut set of up to three causes"}
	if inside > 0 {
		r.Verdict = Shown
		r.Says = fmt.Sprintf("%d minimal cut sets trip it, %d causes outside its cone do not touch it", inside, outside)
	}
	return r
}

// untouched disturbs everything outside the cone: all together, and where that
// stops the output one by one, to name which.
func (v *verification) untouched(s *runs.Started, output int, limit model.Scans) (outside int, r *Result) {
	cone := v.Model.Cone(output)
	var causes []int
	for cause := 0; cause < len(v.Model.Config.Channels)+len(v.Model.Config.Inputs); cause++ {
		if !cone[cause] {
			causes = append(causes, cause)
		}
	}
	d, record := s.From()
	after := v.hold(d, record, causes, limit)
	if d.Enabled() {
		return len(causes), nil
	}
	who, faults := fmt.Sprintf("%d causes outside its cone together trip it", len(causes)), len(causes)
	for _, cause := range causes {
		alone, itsRecord := s.From()
		if n := v.hold(alone, itsRecord, []int{cause}, limit); !alone.Enabled() {
			record, after, faults = itsRecord, n, 1
			who = v.Model.Cause(cause) + " is outside its cone and trips it"
			break
		}
	}
	r = &Result{Verdict: Violated, Says: fmt.Sprintf("%s after %d scans", who, after)}
	r.Counterexample = record.Finish(r.Says, faults)
	return 0, r
}

// mustTrip lets a whole cut set be bad, which must trip the output.
func (v *verification) mustTrip(s *runs.Started, set []int, limit model.Scans) *Result {
	d, record := s.From()
	if v.hold(d, record, set, limit); !d.Enabled() {
		return nil
	}
	names := ""
	for _, cause := range set {
		names += v.Model.Cause(cause) + " "
	}
	r := &Result{Verdict: Violated, Says: fmt.Sprintf("%sbad for %d scans does not trip it", names, limit)}
	r.Counterexample = record.Finish(r.Says, len(set))
	r.Counterexample.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", limit-1, record.Scans-uint64(limit), v.Model.Names.Outputs[s.Driver.Target])
	return r
}
