package verify

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// composed is what the explicit engine says where the joint search met something
// that its own run does not show on the whole site: its falsifier may find one that
// does. If not, nothing is shown.
func (j *jointly) composed(number model.Property) *Result {
	o := j.verification.Options
	o.Properties = []string{number.String()}
	r := Result{Verdict: NotShown, Says: "the joint search met it, but no run of the whole site was found that shows it"}
	v, err := verificationOf(j.verification.properties, j.verification.Model, o)
	if err != nil {
		r.Says = err.Error()
		return &r
	}
	report, err := v.run()
	if err != nil {
		r.Says = err.Error()
		return &r
	}
	for i := range report.Results {
		if x := report.Results[i]; x.Verdict == Violated && x.Counterexample != nil {
			return &x
		}
	}
	return &r
}

// judge says of every wanted property that a joint search can judge what it met,
// in the words, with the replays and the lemmas of the explicit verification.
func (j *jointly) judge() (results []Result, responses []Response, err error) {
	v, f := j.begin(), j.found
	s := &Searched{Kind: searchReset, Output: j.Output, Channel: "all", output: j.Number, channel: j.Channels[0].Cause, vessel: -1, key: jointKey,
		Hit: f.Hit, Bad: f.Bad, jointly: f.States}
	for n, run := range f.Runs {
		s.FirstBad[n] = len(run.News)
	}
	v.searches = []*Searched{s}
	v.cuts(j.Number)
	cut := &v.report.Cuts[len(v.report.Cuts)-1]
	for i := range cut.Response {
		if err := j.respond(&cut.Response[i]); err != nil {
			return nil, nil, err
		}
	}
	for i := range v.properties {
		p := &v.properties[i]
		if p.Joint.judge == nil || !v.wants(p.Number.String()) || !p.about(v.Model, j.Number) {
			continue
		}
		r := j.shownBy(p.Number, f.Runs[p.Number])
		if r == nil && f.Bad&p.restsOn != 0 && v.Options.Logic == nil {
			r = j.composed(p.Number)
		} else if r == nil {
			r = p.Joint.judge(j)
		}
		results = append(results, *j.finish(r, p.Number))
	}
	return results, cut.Response, nil
}

// respond puts the joint number in the place of the composed one. The composed
// one bounds a doubt whose cells the joint search cannot tell apart.
func (j *jointly) respond(r *Response) error {
	if r.Class != "any mixture" || !j.HasAll(r.Set) {
		return nil
	}
	found, err := j.engine.Attain(r.Set, longestResponse)
	if err != nil {
		return err
	}
	if found.Scans <= 0 {
		if found.Scans != 0 && r.Scans != model.Endless {
			return nil
		}
		r.Scans, r.Bound, r.Run = model.Scans(0), boundUpper, nil
		if found.Scans < 0 {
			r.Scans = model.Endless
		}
		return nil
	}
	v := j.verification
	var set []int
	for i := range j.Channels {
		if slices.Contains(r.Set, j.Channels[i].Name) {
			set = append(set, j.Channels[i].Cause)
		}
	}
	composed := *r
	r.Scans, r.Bound, r.Run = model.Scans(found.Scans), boundUpper, nil
	r.Seconds = (v.Model.Longest(r.Scans) + v.slowest(j.Number, set)).Seconds()
	if composed.Run != nil && composed.Bound == boundExact && composed.Scans == r.Scans {
		*r = composed
		return nil
	}
	j.attain(&found, r)
	return nil
}

// complete adds to the runs of the real Step that no history changes it: from every
// joint state in which all else is well each cut set alone trips the output. What is
// outside the cone is no part of the search; the real Step is asked about it.
func (j *jointly) complete() *Result {
	v := j.verification
	r := v.complete(j.Number)
	if r.Verdict != Shown {
		return r
	}
	longest := 0
	for _, set := range model.CutSets(j.Permissive) {
		var channels, names []string
		var inputs []int
		for _, cause := range set {
			name := v.Model.Cause(cause)
			if names = append(names, name); cause < len(v.Model.Config.Channels) {
				channels = append(channels, name)
			} else {
				inputs = append(inputs, cause)
			}
		}
		scans, err := j.engine.Alone(channels, inputs, longestResponse)
		said := strings.Join(names, " and ")
		switch {
		case err != nil:
			return &Result{Verdict: NotShown, Says: err.Error()}
		case scans == 0:
			return &Result{Verdict: Nothing, Says: "it never runs with all well but " + said}
		case scans < 0 || model.Scans(scans) > v.DetectAll()+1:
			return j.met(model.PropertyComplete, said+" alone bad does not trip it from every joint state")
		}
		longest = max(longest, scans)
	}
	r.Says += fmt.Sprintf("; each alone within %s from every joint state with all else well", model.ScansText(longest))
	return r
}

// met is a property that the joint search alone has found broken. Without a run of
// the whole site nothing is called violated, and nothing shown; the mistakes of
// mutants of parts are in none.
func (j *jointly) met(number model.Property, says string) *Result {
	if j.verification.Options.Logic == nil {
		return j.composed(number)
	}
	return &Result{Verdict: Violated, Says: says}
}

// attain replays a joint run on the real Step of the whole site. Only where that
// takes as long is the number exact.
func (j *jointly) attain(found *joint.Response, r *Response) {
	v := j.verification
	s := v.Start(j.Number)
	if !s.Runs || len(found.Bad) == 0 {
		return
	}
	d, record := s.From()
	for _, news := range found.Lead {
		j.turn(d, record, news)
	}
	from, n := record.Scans, 0
	for ; n < len(found.Bad) && d.Enabled(); n++ {
		j.turn(d, record, found.Bad[n])
	}
	if d.Enabled() || n == 0 {
		return
	}
	if n == found.Scans {
		r.Bound = boundExact
	}
	r.Run = record.Finish(fmt.Sprintf("%s bad (%s) from scan %d on: %s withheld in the %s scan", strings.Join(r.Set, " and "), r.Class, from, j.Output, nth(model.Scans(n))), len(r.Set))
	r.Run.Property, r.Run.Output = model.PropertyResponse.String(), j.Output
	r.Run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", n, from, j.Output)
}

// turn is one scan in which the channels hear what a joint run says and all else
// is well.
func (j *jointly) turn(d *runs.Driver, record *runs.Recorder, news []monitor.Class) {
	d.Healthy()
	for i, class := range news {
		cause := j.Channels[i].Cause
		d.In.Readings[cause] = table.ReadingOf(&d.Config.Channels[cause].Config, class, d.Stamp)
	}
	record.Turn(d)
}

// recovery joins two halves: all channels together come back within a number of
// scans, from every joint state; from every memory of the output, its vessels and
// its streams the real Step then comes to enabled.
func (j *jointly) recovery() *Result {
	r := j.verification.recovery(j.Number)
	if r.Verdict != Shown {
		return r
	}
	scans, runs, err := j.engine.Recovery()
	switch {
	case err != nil:
		r.Verdict, r.Says = NotShown, err.Error()
	case scans == -1:
		r.Verdict, r.Says = NotShown, "some joint state has channels that all well alone does not bring to where they must be, and no run of the whole site was found that shows it"
	case !runs:
		r.Verdict, r.Says = NotShown, "all bonded, some joint state leads nowhere, and no run of the whole site was found that shows it"
	default:
		r.Says = fmt.Sprintf("all %s after at most %d scans, from every joint state; then %s", j.WellIs(), scans, r.Says)
	}
	return r
}
