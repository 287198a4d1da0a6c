package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// trialTurns bounds how many scans one kind of look at an output may take.
const trialTurns = 40_000

// trial is something that goes wrong, and how long the site is followed after.
type trial struct {
	list []injection
	end  uint64
}

// trialsFound is what a look at the whole site found: by property, what goes wrong.
type trialsFound map[model.Property]*trial

// trials lets every single thing go wrong for two scans while an output runs, and
// follows the whole site until long after; then two things together, one after the
// other, and what a bypass lets pass. The searches step the parts of the logic;
// what ties them together, such as a stop, an overrun, a bypass or a wait that
// reach an output, is looked at here, for each output by itself: two with equal searches may be wired
// to different inputs.
func (v *verification) trials(output int) trialsFound {
	if found, known := v.tried[output]; known {
		return found
	}
	found := trialsFound{}
	v.tried[output] = found
	var seen model.PropertySet
	f := v.falsifierOf(goal{output: output, is: func(_ *runs.Driver, _ *memory, bad model.PropertySet) bool {
		seen |= bad
		return false
	}})
	if !v.Start(output).Runs {
		return found
	}
	f.keepAt(f.started() + 2)
	for _, trials := range [...][]trial{f.singles(), f.doubles(), f.underKey()} {
		for limit := f.turns + trialTurns; len(trials) > 0 && f.turns < limit; trials = trials[1:] {
			seen = 0
			f.play(trials[0].list, trials[0].end)
			for _, property := range seen.List() {
				if found[property] == nil {
					found[property] = &trials[0]
				}
			}
		}
	}
	return found
}

// singles: one thing goes wrong while the output runs.
func (f *falsifier) singles() (trials []trial) {
	from := f.started() + 2
	for i, x := range f.wrongs {
		if x.kind == wrongReading && x.class != monitor.Open && x.class != monitor.Missing {
			continue
		}
		trials = append(trials, trial{[]injection{{i, from, from + 2}}, from + 302})
	}
	return trials
}

// doubles: two places go wrong together, or one scan after the other.
func (f *falsifier) doubles() (trials []trial) {
	from := f.started() + 2
	plain := f.plainly()
	for _, i := range plain {
		for _, k := range plain {
			if i < k {
				trials = append(trials, trial{[]injection{{i, from, from + 3}, {k, from, from + 3}}, from + 20})
			}
			if i != k {
				trials = append(trials, trial{[]injection{{i, from, from + 4}, {k, from + 1, from + 4}}, from + 20})
			}
		}
	}
	return trials
}

// plainly lists one thing that goes wrong in every place: the worst that a channel
// can read, and first a channel that is only in doubt; what an input does not show
// while all is well.
func (f *falsifier) plainly() (list []int) {
	d := f.healthyUntil(f.started())
	f.d.State, f.d.Stamp = d.state, d.stamp
	f.arm(nil)
	places := map[int]bool{}
	for i, x := range f.wrongs {
		doubt := x.kind == wrongReading && x.class == monitor.High
		if x.kind == noInput || x.kind == frozenReading || x.value == interlock.Unknown && x.kind == wrongInput || !doubt && places[x.place()] || !differs(f.d, x) {
			continue
		}
		places[x.place()] = true
		list = append(list, i)
	}
	return list
}

// underKey: a bypassed channel reads badly, with its evidence and without; its key
// is turned as it must not be.
func (f *falsifier) underKey() (trials []trial) {
	for _, n := range f.v.Model.BypassesOf(f.goal.output) {
		b := &f.d.Config.Bypasses[n]
		key, dark := f.keyOf(b, interlock.True), f.keyOf(b, interlock.Unknown)
		from := max(f.started(), uint64(b.Gap)) + 5
		add := func(list ...injection) {
			for _, s := range list {
				if s.wrong < 0 {
					return
				}
			}
			trials = append(trials, trial{list, from + 80})
		}
		for _, class := range table.Bad {
			add(injection{key, from, from + 2}, injection{f.showing(b.Channel, class), from, from + 60})
		}
		unusable := injection{f.showing(b.Channel, monitor.Invalid), from, from + 60}
		add(injection{dark, from, from + 1}, injection{key, from + 1, from + 3}, unusable)
		if ref := f.d.Config.Channels[b.Channel].Evidence; ref != 0 {
			away := f.numberOf(deviation{kind: wrongInput, cause: len(f.d.Config.Channels) + int(ref) - 1, value: interlock.False})
			add(injection{key, from, from + 2}, unusable, injection{away, from + 30, from + 40})
		}
	}
	return trials
}

// keyOf is the deviation that makes the key of a bypass show a value; -1 if it is
// none of this falsifier's.
func (f *falsifier) keyOf(b *interlock.Bypass, value interlock.Truth) int {
	return f.numberOf(deviation{kind: wrongInput, cause: len(f.d.Config.Channels) + int(b.Input) - 1, value: value})
}

// contradict lets a result that is shown so far, or for which nothing was met, be
// contradicted by a run of the whole site.
func (v *verification) contradict(output int, property model.Property, r *Result) {
	seen := v.trials(output)[property]
	if r.Verdict != Shown && r.Verdict != Nothing || seen == nil || v.Options.Logic != nil {
		return
	}
	f := v.falsifierOf(goal{output: output, property: property, is: func(_ *runs.Driver, _ *memory, found model.PropertySet) bool { return found.Has(property) }})
	if run := f.shown(seen.list, seen.end); run != nil {
		r.Verdict, r.Says, r.Counterexample, r.Example = Violated, "seen on the whole site", run, nil
	}
}
