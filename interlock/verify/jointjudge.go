package verify

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// JointFound is what a joint search of one output met.
type JointFound struct {
	Hit, Bad uint32           // properties, as bits
	Runs     map[int]JointRun // a shortest one for each that is broken
	States   string           // past 64 bits, so a text
	CutOff   error            // how far it came, if not to the end

	// Response measures one cut set of channels.
	Response func(set []string) (JointResponse, error)
	// Lost is a run to where a pair is lost in one scan; no scans where it cannot be.
	Lost func(pair []string) (JointResponse, error)
	// Alone is the most scans that the output runs on while one cut set, of channels
	// and of inputs, alone is bad; 0 where all else is never well, Endless where it
	// never stops.
	Alone func(channels []string, inputs []int) (scans int, err error)
	// Recovery is the number of scans with all well after which every channel
	// is bonded from every joint state, and whether the output can then be brought
	// to run from every one of its own.
	Recovery func() (scans int, runs bool, err error)
}

// JointRun is a run from power-up: what every channel hears in each scan, and the
// output's abstract state after it.
type JointRun struct {
	News  [][]monitor.Class
	Words []uint64
}

// JointResponse is the longest that an output runs on while a cut set is bad, and
// what every channel hears in a run that may last as long: from where all is
// well, then from the first bad scan on. Without Bad no run was rebuilt.
type JointResponse struct {
	Scans     int
	Lead, Bad [][]monitor.Class // by scan, then by channel of the joint search
}

// Taken are the default properties whose verdict is that of verify without
// --joint, and why.
func (j *Joint) Taken() map[int]string {
	return map[int]string{14: "no property of the states: the real Step is asked, as without --joint"}
}

// restsOn are the properties of the search that others rest on, and themselves.
var restsOn = [16]table.Mask{1: table.Bit(3), 2: table.Bit(2), 3: table.Bit(3), 4: table.Bit(2), 5: table.Bit(2), 6: table.Bit(2), 7: table.Bit(7), 10: table.Bit(10)}

// composed is what the explicit engine says where the joint search met something
// that its own run does not show on the whole site: its hunt may find one that
// does. If not, nothing is shown.
func (j *Joint) composed(number int) *Result {
	o := j.verification.Options
	o.Properties = []string{strconv.Itoa(number)}
	r := Result{Verdict: NotShown, Says: "the joint search met it, but no run of the whole site was found that shows it"}
	report, err := Verify(j.verification.Model, o)
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

// Judge says of every wanted property that a joint search can judge what it met,
// in the words, with the replays and the lemmas of the explicit verification.
func (j *Joint) Judge(f *JointFound) (results []Result, responses []Response, err error) {
	v := j.begin()
	s := &Searched{Kind: "reset", Output: j.Output, Channel: "all", output: j.output, channel: j.Channels[0].Cause, vessel: -1, key: jointKey,
		Hit: table.Mask(f.Hit), Bad: table.Mask(f.Bad), cutOff: f.CutOff}
	for n, run := range f.Runs {
		s.FirstBad[n] = len(run.News)
	}
	v.searches = []*Searched{s}
	v.cuts(j.output)
	cut := &v.report.Cuts[len(v.report.Cuts)-1]
	if f.CutOff == nil {
		for i := range cut.Response {
			if err := j.respond(f, &cut.Response[i]); err != nil {
				return nil, nil, err
			}
		}
	}
	checks := map[int]func(int) *Result{1: v.boot, 2: v.bySearch(2), 3: v.bySearch(3), 4: v.response, 5: v.chatter, 6: v.dips, 7: v.reset, 10: v.unconfirmed,
		12: func(int) *Result { return j.complete(f) }, 13: func(int) *Result { return j.firstOut(f) }, 14: v.kick, 15: func(int) *Result { return j.recovery(f) }}
	for number := 1; number <= 15; number++ {
		if checks[number] == nil || !v.wants(strconv.Itoa(number)) {
			continue
		}
		r := j.shownBy(number, f.Runs[number])
		if r == nil && table.Mask(f.Bad)&restsOn[number] != 0 && v.Options.Logic == nil {
			r = j.composed(number)
		} else if r == nil {
			r = checks[number](j.output)
		}
		if r == nil {
			continue
		}
		if r.Verdict == Shown && strings.HasPrefix(r.Says, "1 search") {
			r.Says = f.States + " joint states"
		}
		results = append(results, *j.finish(r, number))
	}
	return results, cut.Response, nil
}

// respond puts the joint number in the place of the composed one. The composed
// one bounds a doubt whose cells the joint search cannot tell apart.
func (j *Joint) respond(f *JointFound, r *Response) error {
	if r.Class != "any mixture" || !j.hasAll(r.Set) {
		return nil
	}
	found, err := f.Response(r.Set)
	if err != nil {
		return err
	}
	if found.Scans <= 0 {
		if found.Scans != 0 && r.Scans != model.Endless {
			return nil
		}
		r.Scans, r.Bound, r.Run = model.Scans(0), "upper bound", nil
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
	r.Scans, r.Bound, r.Run = model.Scans(found.Scans), "upper bound", nil
	r.Seconds = (v.Model.Longest(r.Scans) + v.slowest(j.output, set)).Seconds()
	if composed.Run != nil && composed.Bound == "exact" && composed.Scans == r.Scans {
		*r = composed
		return nil
	}
	j.attain(&found, r)
	return nil
}

func (j *Joint) hasAll(names []string) bool {
	for _, name := range names {
		known := false
		for i := range j.Channels {
			known = known || j.Channels[i].Name == name
		}
		if !known {
			return false
		}
	}
	return true
}

// complete adds to the runs of the real Step that no history changes it: from every
// joint state in which all else is well each cut set alone trips the output. What is
// outside the cone is no part of the search; the real Step is asked about it.
func (j *Joint) complete(f *JointFound) *Result {
	v := j.verification
	r := v.complete(j.output)
	if r.Verdict != Shown {
		return r
	}
	if f.CutOff != nil {
		return &Result{Verdict: NotShown, Says: f.CutOff.Error()}
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
		scans, err := f.Alone(channels, inputs)
		said := strings.Join(names, " and ")
		switch {
		case err != nil:
			return &Result{Verdict: NotShown, Says: err.Error()}
		case scans == 0:
			return &Result{Verdict: Nothing, Says: "it never runs with all well but " + said}
		case scans < 0 || model.Scans(scans) > v.DetectAll()+1:
			return j.met(12, said+" alone bad does not trip it from every joint state")
		}
		longest = max(longest, scans)
	}
	r.Says += fmt.Sprintf("; each alone within %s from every joint state with all else well", model.ScansText(longest))
	return r
}

// met is a property that the joint search alone has found broken. Without a run of
// the whole site nothing is called violated, and nothing shown; the mistakes of
// mutants of parts are in none.
func (j *Joint) met(number int, says string) *Result {
	if j.verification.Options.Logic == nil {
		return j.composed(number)
	}
	return &Result{Verdict: Violated, Says: says}
}

// attain replays a joint run on the real Step of the whole site. Only where that
// takes as long is the number exact.
func (j *Joint) attain(found *JointResponse, r *Response) {
	v := j.verification
	s := v.Start(j.output)
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
		r.Bound = "exact"
	}
	r.Run = record.Finish(fmt.Sprintf("%s bad (%s) from scan %d on: %s withheld in the %s scan", strings.Join(r.Set, " and "), r.Class, from, j.Output, nth(model.Scans(n))), len(r.Set))
	r.Run.Property, r.Run.Output = "4", j.Output
	r.Run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", n, from, j.Output)
}

// turn is one scan in which the channels hear what a joint run says and all else
// is well.
func (j *Joint) turn(d *runs.Driver, record *runs.Recorder, news []monitor.Class) {
	d.Healthy()
	for i, class := range news {
		cause := j.Channels[i].Cause
		d.In.Readings[cause] = table.ReadingOf(&d.Config.Channels[cause].Config, class, d.Stamp)
	}
	record.Turn(d)
}

// Settled is the state of every channel where a healthy plant has brought the
// output to run; false where it never does.
func (j *Joint) Settled() ([]uint32, bool) {
	s := j.verification.Start(j.output)
	if !s.Runs {
		return nil, false
	}
	var list []uint32
	for i := range j.Channels {
		at, ok := j.Channels[i].Table.StateOf(&s.Driver.State.Channels[j.Channels[i].Cause])
		if !ok {
			return nil, false
		}
		list = append(list, at)
	}
	return list, true
}

// recovery joins two halves: all channels together come back within a number of
// scans, from every joint state; from every memory of the output, its vessels and
// its streams the real Step then comes to enabled.
func (j *Joint) recovery(f *JointFound) *Result {
	if f.CutOff != nil {
		return &Result{Verdict: NotShown, Says: f.CutOff.Error()}
	}
	r := j.verification.recovery(j.output)
	if r.Verdict != Shown {
		return r
	}
	scans, runs, err := f.Recovery()
	switch {
	case err != nil:
		r.Verdict, r.Says = NotShown, err.Error()
	case scans == -1:
		r.Verdict, r.Says = NotShown, "some joint state has channels that all well alone does not bring to where they must be, and no run of the whole site was found that shows it"
	case !runs:
		r.Verdict, r.Says = NotShown, "all bonded, some joint state leads nowhere, and no run of the whole site was found that shows it"
	default:
		r.Says = fmt.Sprintf("all %s after at most %d scans, from every joint state; then %s", j.wellIs(), scans, r.Says)
	}
	return r
}

// wellIs says what all channels are where all is well.
func (j *Joint) wellIs() string {
	for i := range j.Channels {
		if j.Channels[i].Reads != monitor.Good {
			return "bonded, or off where they must be,"
		}
	}
	return "bonded"
}
