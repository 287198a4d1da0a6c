package verify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/verify/runs"
)

// tell makes a run as small as it gets, turns it once more, from power-up, and
// keeps it.
func (f *falsifier) tell(t *path) *runs.Run {
	list := f.injections(t)
	again := f.play(list, t.scans)
	if again == nil {
		return nil // the same inputs lead elsewhere: the logic has a memory of its own
	}
	return f.keep(f.smaller(list, again))
}

// keep records what the whole site does with some things going wrong, from
// power-up and in fresh memory. What it does not show there again is no run: the
// logic then has a memory of its own.
func (f *falsifier) keep(list []injection, t *path) *runs.Run {
	d := runs.NewDriver(f.d.Logic, f.d.Config, f.goal.output)
	d.Order = f.d.Order
	record := runs.NewRecorder(f.v.Model)
	f.d = d
	seen, shows := f.observer.begin(), false
	for scan := uint64(0); scan < t.scans; scan++ {
		var wrong []int
		for _, s := range list {
			if s.from <= scan && scan < s.to {
				wrong = append(wrong, s.wrong)
			}
		}
		f.arm(wrong)
		if d.Supply {
			d.State.PowerUp()
			seen.forget()
		}
		f.observer.prior.CopyFrom(d.State)
		record.Turn(d)
		found := f.observer.observe(seen, d)
		shows = f.goal.is != nil && f.goal.is(d, seen, found)
	}
	if !shows && !f.goal.recovery {
		return nil
	}
	var named []int
	for _, s := range list {
		named = append(named, s.wrong)
	}
	return f.finish(record, t, named)
}

// finish says what the run shows and what moved the output.
func (f *falsifier) finish(record *runs.Recorder, t *path, named []int) *runs.Run {
	var texts []string
	for _, i := range named {
		if text := f.v.deviationText(f.wrongs[i]); !slices.Contains(texts, text) {
			texts = append(texts, text)
		}
	}
	how := "nothing goes wrong"
	if len(texts) > 0 {
		how = strings.Join(texts, ", then ")
	}
	sentence := how
	says := cmp.Or(t.breach.says, f.goal.says)
	if says != "" {
		sentence = fmt.Sprintf("in scan %d %s (%s)", t.scans-1, says, how)
	}
	run := record.Finish(sentence, t.faults)
	if f.goal.property > 0 {
		run.Property = f.goal.property.String()
	}
	name := f.observer.name()
	run.Output = name
	run.Expect = t.breach.expectation(name, run.Scans)
	if f.goal.recovery && t.breach.expect == "" {
		run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is enabled}", t.alone-1, t.scans-t.alone, name)
	}
	if f.goal.expect != nil {
		run.Expect = f.goal.expect(t, run.Scans)
	}
	run.Slice = append(texts, f.moved(t)...)
	return run
}

// moved names the counters and the rule that had the last word.
func (f *falsifier) moved(t *path) []string {
	o := &t.state.Outputs[f.goal.output]
	var list []string
	for _, ch := range f.observer.needed {
		c := &t.state.Channels[ch]
		list = append(list, fmt.Sprintf("%s %s, doubt %d of %d", f.v.Model.Names.Channels[ch], c.Phase, c.Doubt, f.d.Config.Channels[ch].Full))
	}
	for n, vessel := range f.observer.vessels {
		s := &t.state.Vessels[vessel]
		list = append(list, fmt.Sprintf("%s waited %d of %d scans, still for %d", f.v.Model.Names.Vessels[vessel], s.Waited, f.d.Config.Vessels[vessel].Wait.Next(), t.memory.vessels[n].still))
	}
	if len(list) > 4 {
		list = append(list[:4], fmt.Sprintf("and %d more", len(list)-4))
	}
	return append(list, fmt.Sprintf("%s %s, reset %s", f.observer.name(), o.Mode, o.Button.Phase))
}
