package verify

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// chatter: no channel may tolerate more than one half of bad readings for ever.
func (v *verification) chatter(output int) *Result {
	r := v.found(output, model.PropertyWithhold, searchReset)
	if r.Verdict != Shown {
		return r
	}
	r.Verdict = Nothing
	for _, ch := range v.Model.Needed(output) {
		f, err := v.FactsOf(ch)
		if err != nil {
			return &Result{Verdict: NotShown, Says: err.Error()}
		}
		name := v.Model.Names.Channels[ch]
		switch {
		case f.Share.Bound && 2*f.Share.Bad > f.Share.Of:
			r.Verdict, r.Says = Worse(r.Verdict, NotShown), name+": doubtful lasts too long to follow within the memory limit"
		case 2*f.Share.Bad > f.Share.Of:
			r.Verdict = Worse(r.Verdict, Violated)
			r.Says = fmt.Sprintf("%s tolerates %s", name, f.Share.Text())
			if r.Counterexample == nil {
				r.Counterexample = v.chatterRun(output, ch, f.Share.Pattern)
			}
		default:
			if r.Verdict == Nothing {
				r.Verdict = Shown
			}
			if r.Verdict == Shown {
				r.Says = fmt.Sprintf("%s tolerates at most %s", name, f.Share.Text())
			}
		}
	}
	if r.Verdict == Violated && r.Counterexample == nil {
		r.Verdict, r.Says = NotShown, r.Says+" (the replay on the whole site did not show it)"
	}
	return v.withRun(r, output, model.PropertyChatter)
}

// smallestWith is the smallest cut set that a cause is in.
func smallestWith(sets [][]int, cause int) []int {
	best := []int(nil)
	for _, set := range sets {
		if slices.Contains(set, cause) && (best == nil || len(set) < len(best)) {
			best = set
		}
	}
	if best == nil {
		return []int{cause}
	}
	return best
}

// chatterOn lets one member of a cut set read the pattern; an input is unfit while
// it is bad.
func (v *verification) chatterOn(d *runs.Driver, cause int, class monitor.Class) {
	switch {
	case cause < len(d.Config.Channels):
		if !table.Possible(&d.Config.Channels[cause].Config)[class] {
			class = monitor.Invalid
		}
		d.In.Readings[cause] = table.ReadingOf(&d.Config.Channels[cause].Config, class, d.Stamp)
	case class != monitor.Good:
		d.Spoil(cause, class)
	}
}

// chatterRun repeats a pattern on the real site until it has lasted well beyond
// every patience, and is a counterexample only if the output still runs then.
func (v *verification) chatterRun(output, channel int, pattern []monitor.Class) *runs.Run {
	s := v.Start(output)
	if !s.Runs || len(pattern) == 0 {
		return nil
	}
	d, record := s.From()
	from := record.Scans
	turns := 3*len(pattern) + 2*int(v.Model.Config.Channels[channel].LongestStay)
	together := smallestWith(model.CutSets(v.Model.Config.Outputs[output].Permissive), channel)
	var names []string
	for _, cause := range together {
		names = append(names, v.Model.Cause(cause))
	}
	for i := 0; i < turns; i++ {
		d.Healthy()
		for _, cause := range together {
			v.chatterOn(d, cause, pattern[i%len(pattern)])
		}
		record.Turn(d)
		if !d.Enabled() {
			return nil
		}
	}
	run := record.Finish(fmt.Sprintf("%s runs on from scan %d with %s on %s", v.Model.Names.Outputs[output], from, model.PatternText(pattern), strings.Join(names, " and ")), len(together))
	run.Slice = []string{"reading of " + strings.Join(names, ", "), "counter: doubt, repaid by one good reading", "rule: counting"}
	run.Property, run.Output = model.PropertyChatter.String(), v.Model.Names.Outputs[output]
	run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", turns-1, from, run.Output)
	run.Lines = append(run.Lines, fmt.Sprintf("scan %d: still enabled after %d scans of it", record.Scans-1, turns))
	if len(run.Lines) > runs.MaxLines {
		run.Lines = run.Lines[len(run.Lines)-runs.MaxLines:]
	}
	return run
}
