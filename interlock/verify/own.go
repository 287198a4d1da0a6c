package verify

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// own judges the properties that the site itself declares.
func (v *verification) own() {
	for i := range v.Model.Own {
		p := &v.Model.Own[i]
		if !v.wants(p.Name) || p.Output >= 0 && !slices.Contains(v.outputs, p.Output) {
			continue
		}
		kinds := map[string]func(*model.Own) Result{"within": v.within, "never": v.never, "until": v.until, "tolerates": v.tolerates}
		r := kinds[p.Kind](p)
		r.Property, r.Title, r.Line = p.Name, p.Title, p.Line
		if r.Title == "" {
			r.Title = p.Kind
		}
		if p.Output >= 0 {
			r.Output = v.Model.Names.Outputs[p.Output]
		}
		if r.Counterexample != nil {
			r.Counterexample.Property, r.Counterexample.Output = p.Name, r.Output
		}
		v.report.Results = append(v.report.Results, r)
	}
}

// excludes says that one condition over causes and outputs cannot be true while
// another permissive is. Every value of the causes that the condition reads is
// tried; all others are free. A channel that a bypass may stand in for is free in
// the permissive whatever it reads itself.
func (v *verification) excludes(when, permissive interlock.Permissive) bool {
	return !v.meets(when, interlock.True, permissive)
}

// meets says that a condition can have a value while a permissive is true.
func (v *verification) meets(when interlock.Permissive, want interlock.Truth, permissive interlock.Permissive) bool {
	var causes []int
	set := when.Causes()
	set.Each(func(c int) { causes = append(causes, c) })
	value := map[int]interlock.Truth{}
	met := false
	var walk func(i int)
	walk = func(i int) {
		if met {
			return
		}
		if i < len(causes) {
			for _, t := range model.Truths {
				value[causes[i]] = t
				walk(i + 1)
			}
			return
		}
		if model.Evaluate(when, func(c int) interlock.Truth { return value[c] }) != want || v.outputsContradict(value) {
			return
		}
		met = model.Outcomes(permissive, v.allowed(value)).Has(interlock.True)
	}
	walk(0)
	return met
}

// allowed is what each cause can be for a permissive when some show a value.
func (v *verification) allowed(value map[int]interlock.Truth) func(int) model.TruthSet {
	return func(c int) model.TruthSet {
		t, fixed := value[c]
		switch {
		case fixed && !v.mayBeBypassed(c, t):
			return model.SetOf(t)
		case fixed || c >= len(v.Model.Config.Channels) || v.Model.Config.Channels[c].Evidence == 0:
			return model.AnyTruth
		}
		// A channel counts for no more than its evidence, bypassed or not.
		evidence, fixed := value[len(v.Model.Config.Channels)+int(v.Model.Config.Channels[c].Evidence)-1]
		if !fixed {
			return model.AnyTruth
		}
		set := model.TruthSet(0)
		for _, t := range model.Truths {
			if t <= evidence {
				set |= model.SetOf(t)
			}
		}
		return set
	}
}

func (v *verification) mayBeBypassed(cause int, t interlock.Truth) bool {
	for i := range v.Model.Config.Bypasses {
		b := &v.Model.Config.Bypasses[i]
		if b.Channel == cause && (t == interlock.Unknown || t == interlock.False && b.CoversLost) {
			return true
		}
	}
	return false
}

// outputsContradict says that an output is said to run while its own permissive
// cannot be true: property 2 excludes that.
func (v *verification) outputsContradict(value map[int]interlock.Truth) bool {
	causes := len(v.Model.Config.Channels) + len(v.Model.Config.Inputs)
	for c, t := range value {
		if c < causes {
			continue
		}
		if t == interlock.Unknown {
			return true // an output is enabled or it is not
		}
		p := v.Model.Config.Outputs[c-causes].Permissive
		if t == interlock.True && !model.Outcomes(p, v.allowed(value)).Has(interlock.True) {
			return true
		}
	}
	return false
}

// holds evaluates a condition on a turned scan.
func (v *verification) holds(p interlock.Permissive, d *runs.Driver) bool {
	causes := len(v.Model.Config.Channels) + len(v.Model.Config.Inputs)
	return model.Evaluate(p, func(c int) interlock.Truth {
		if c >= causes {
			return model.Truth(d.State.Outputs[c-causes].Mode == interlock.Enabled)
		}
		return d.Decision.Keep[c]
	}) == interlock.True
}

// within: the output is withheld at most so long after the condition sets in,
// counted from the first bad reading of the channels in it.
func (v *verification) within(p *model.Own) Result {
	if p.Output < 0 {
		return Result{Verdict: Nothing, Says: "names no output"}
	}
	perm := v.Model.Config.Outputs[p.Output].Permissive
	slow, causes := model.Scans(1), []int{}
	set := p.When.Causes()
	set.Each(func(c int) { causes = append(causes, c) })
	for _, c := range causes {
		if c < len(v.Model.Config.Channels)+len(v.Model.Config.Inputs) {
			n, _ := v.detection(c, monitor.Classes)
			slow = max(slow, n)
		}
	}
	excluded := v.excludes(p.When, perm)
	steady := v.steady(p.When, perm)
	bound := time.Duration(0)
	if slow != model.Endless {
		bound = v.Model.Longest(slow) + v.slowest(p.Output, causes)
	}
	if excluded && steady && slow != model.Endless && bound <= p.Time {
		says := fmt.Sprintf("withheld within %s, asked %s (%s, upper bound)", quantity.Duration(bound), quantity.Duration(p.Time), model.ScansText(slow))
		return v.exercised(p, Result{Verdict: Shown, Says: says, But: v.standIns(p.Output, causes), Assumes: v.property(model.PropertyResponse).Assumes}, model.PropertyWithhold)
	}
	if run := v.slowly(p, causes, bound); run != nil {
		return Result{Verdict: Violated, Says: fmt.Sprintf("takes up to %s, asked %s", quantity.Duration(bound), quantity.Duration(p.Time)), Counterexample: run}
	}
	run := v.falsify(goal{output: p.Output, causes: causes, faults: 2, turns: probeTurns, says: "it still runs",
		is: func(d *runs.Driver, s *memory, _ model.PropertySet) bool {
			s.own++
			if d.State.Outputs[p.Output].Mode != interlock.Enabled || !v.headedFor(p.When, d) {
				s.own = 0
			}
			return s.own > 0 && v.Model.Longest(model.Scans(s.own))+v.slowest(p.Output, causes) > p.Time
		},
		expect: func(t *path, scans uint64) string {
			n := uint64(t.memory.own)
			return fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", n-1, scans-n, v.Model.Names.Outputs[p.Output])
		}})
	if run != nil {
		return Result{Verdict: Violated, Says: fmt.Sprintf("still enabled after %s", quantity.Duration(p.Time)), Counterexample: run}
	}
	if excluded && !steady {
		return Result{Verdict: NotShown, Says: "its condition can hold while now one cause is bad, now another, each for less than its patience; so no bound is known, and no run was found that takes longer than asked"}
	}
	if excluded {
		return Result{Verdict: NotShown, Says: fmt.Sprintf("the bound is %s, asked %s; no run was found that takes longer than asked", quantity.Duration(bound), quantity.Duration(p.Time))}
	}
	return Result{Verdict: NotShown, Says: "the permissive does not exclude it, and no run was found that violates it"}
}

// steady says that what makes a condition true is always the same: the causes that
// must be bad for it, in every scan of it, exclude the permissive whatever the
// others are. Else causes may take turns, each within its patience.
func (v *verification) steady(when, perm interlock.Permissive) bool {
	can := map[int]model.TruthSet{}
	set := when.Causes()
	set.Each(func(c int) {
		for _, t := range model.Truths {
			if model.Outcomes(when, func(x int) model.TruthSet {
				if x == c {
					return model.SetOf(t)
				}
				return model.AnyTruth
			}).Has(interlock.True) {
				can[c] |= model.SetOf(t)
			}
		}
	})
	return !model.Outcomes(perm, func(c int) model.TruthSet {
		values, read := can[c]
		for _, t := range model.Truths {
			if values.Has(t) && v.mayBeBypassed(c, t) {
				return model.AnyTruth
			}
		}
		if !read {
			return model.AnyTruth
		}
		return values
	}).Has(interlock.True)
}

// standIns tells what a bound on the response to some causes leaves out: a bypass
// that stands in for one of them. How long it may is property 11.
func (v *verification) standIns(output int, causes []int) string {
	var list []string
	for _, i := range v.Model.BypassesOf(output) {
		b := &v.Model.Config.Bypasses[i]
		if slices.Contains(causes, b.Channel) {
			list = append(list, fmt.Sprintf("%s, while it stands in for %s, adds up to %s", v.Model.Names.Bypasses[i], v.Model.Cause(b.Channel), quantity.Duration(v.Model.Longest(b.For))))
		}
	}
	return strings.Join(list, "; ")
}

// slowly lets the causes of a condition go bad in the way that takes longest to be
// seen, on the whole site; it is a run only if it takes longer than asked.
func (v *verification) slowly(p *model.Own, causes []int, bound time.Duration) *runs.Run {
	s := v.Start(p.Output)
	if !s.Runs || bound <= p.Time {
		return nil
	}
	d, record := s.From()
	n := model.Scans(0)
	for ; n < 1<<16 && d.Enabled() && (n == 0 || v.Model.Longest(n)+v.slowest(p.Output, causes) <= p.Time); n++ {
		d.Healthy()
		for _, c := range causes {
			if c < len(v.Model.Config.Channels)+len(v.Model.Config.Inputs) {
				v.worsen(d, c, monitor.Classes, n)
			}
		}
		record.Turn(d)
	}
	if !d.Enabled() {
		return nil
	}
	from := record.Scans - uint64(n)
	run := record.Finish(fmt.Sprintf("bad from scan %d on, and %s still runs in scan %d", from, v.Model.Names.Outputs[p.Output], record.Scans-1), 1)
	run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", n-1, from, v.Model.Names.Outputs[p.Output])
	for _, c := range causes {
		run.Slice = append(run.Slice, "reading of "+v.nameOf(c))
	}
	run.Slice = append(run.Slice, "counters: age of the last reading, doubt", "rule: patience")
	return run
}

// nameOf is the name of a cause, or of an output behind them.
func (v *verification) nameOf(c int) string {
	if causes := len(v.Model.Config.Channels) + len(v.Model.Config.Inputs); c >= causes {
		return v.Model.Names.Outputs[c-causes]
	}
	return v.Model.Cause(c)
}

// headedFor says that the condition is true, or that it is not yet because the
// channels in it are still patient with readings that are bad already.
func (v *verification) headedFor(when interlock.Permissive, d *runs.Driver) bool {
	causes := len(v.Model.Config.Channels) + len(v.Model.Config.Inputs)
	return model.Evaluate(when, func(c int) interlock.Truth {
		switch {
		case c >= causes:
			return model.Truth(d.State.Outputs[c-causes].Mode == interlock.Enabled)
		case c < len(v.Model.Config.Channels) && d.Shown[c] < monitor.Between:
			return interlock.False
		}
		return d.Decision.Keep[c]
	}) == interlock.True
}

// exercised adds a run in which the antecedent was met; without one nothing was
// checked.
func (v *verification) exercised(p *model.Own, r Result, leansOn ...model.Property) Result {
	for _, o := range v.asked(p) {
		for _, property := range leansOn {
			if met := v.searchedFor(o, property); met != Shown && v.property(property).about(v.Model, o) {
				r.Verdict = Worse(r.Verdict, map[Verdict]Verdict{Violated: NotShown, NotShown: NotShown, Nothing: Nothing}[met])
				r.Says += fmt.Sprintf("; but property %s of %s, on which it rests, is %s", property, v.Model.Names.Outputs[o], met)
				return r
			}
		}
	}
	set := p.When.Causes()
	var causes []int
	set.Each(func(c int) { causes = append(causes, c) })
	run := v.falsify(goal{output: max(p.Output, 0), causes: causes, faults: 2, turns: probeTurns, says: "its condition sets in",
		is: func(d *runs.Driver, _ *memory, _ model.PropertySet) bool { return v.holdsWithoutOutputs(p.When, d) }})
	if run == nil {
		return Result{Verdict: Nothing, Says: "no run was found in which its condition sets in"}
	}
	run.Sentence = "a run in which the condition sets in"
	r.Example = run
	return r
}

// asked lists the outputs that a property speaks of.
func (v *verification) asked(p *model.Own) (list []int) {
	if p.Output >= 0 {
		list = append(list, p.Output)
	}
	causes := len(v.Model.Config.Channels) + len(v.Model.Config.Inputs)
	set := p.When.Causes()
	set.Each(func(c int) {
		if c >= causes && !slices.Contains(list, c-causes) {
			list = append(list, c-causes)
		}
	})
	return list
}

// holdsWithoutOutputs is the condition with its outputs taken as enabled: the
// antecedent that the site asks about.
func (v *verification) holdsWithoutOutputs(p interlock.Permissive, d *runs.Driver) bool {
	causes := len(v.Model.Config.Channels) + len(v.Model.Config.Inputs)
	for _, wanted := range [...]interlock.Truth{interlock.True, interlock.False} {
		if model.Evaluate(p, func(c int) interlock.Truth {
			if c >= causes {
				return wanted
			}
			return d.Decision.Keep[c]
		}) == interlock.True {
			return true
		}
	}
	return false
}

// never: the condition is never true, or never while the output is enabled.
func (v *verification) never(p *model.Own) Result {
	perm := interlock.Permissive(nil)
	if p.Output >= 0 {
		perm = v.Model.Config.Outputs[p.Output].Permissive
	}
	possible := v.meets(p.When, interlock.True, orTrue(perm))
	if !possible {
		return v.exercised(p, Result{Verdict: Shown, Says: "the permissives exclude it in every scan (with properties 2 and 3)", Assumes: v.property(model.PropertyWithhold).Assumes}, model.PropertyWithhold, model.PropertyStart)
	}
	target := p.Output
	if target < 0 {
		target = v.anOutput(p.When)
	}
	run := v.falsify(goal{output: target, causes: v.around(target, p.When), faults: 2, turns: probeTurns, says: "it comes about",
		is: func(d *runs.Driver, _ *memory, _ model.PropertySet) bool {
			return v.holds(p.When, d) && (p.Output < 0 || d.State.Outputs[p.Output].Mode == interlock.Enabled)
		},
		expect: func(t *path, scans uint64) string {
			return fmt.Sprintf("{never: [%s], from: %d scans, to: %d scans}", strings.Join(v.situation(p, t.state), ", "), scans-1, scans)
		}})
	if run != nil {
		return Result{Verdict: Violated, Says: "it comes about", Counterexample: run}
	}
	return Result{Verdict: NotShown, Says: "the permissives do not exclude it, and no run was found in which it comes about"}
}

// situation is what a condition reads of a state, in the words of a scenario.
func (v *verification) situation(p *model.Own, s *interlock.State) []string {
	channels, inputs := len(v.Model.Config.Channels), len(v.Model.Config.Inputs)
	var list []string
	add := func(c int, is string) { list = append(list, v.nameOf(c)+" is "+is) }
	set := p.When.Causes()
	set.Each(func(c int) {
		switch {
		case c < channels:
			add(c, s.Channels[c].Phase.String())
		case c < channels+inputs:
			add(c, map[interlock.Truth]string{interlock.True: "on", interlock.False: "off", interlock.Unknown: "unknown"}[s.Inputs[c-channels].Level])
		default:
			add(c, s.Outputs[c-channels-inputs].Mode.String())
		}
	})
	if p.Output >= 0 && !set.Has(channels+inputs+p.Output) {
		add(channels+inputs+p.Output, s.Outputs[p.Output].Mode.String())
	}
	return list
}

// orTrue is a permissive that is always true where there is none.
func orTrue(p interlock.Permissive) interlock.Permissive {
	if p != nil {
		return p
	}
	// A vote of none: met whatever the causes are.
	return interlock.Permissive{{Op: interlock.OpVote, M: 0}}
}

func (v *verification) anOutput(p interlock.Permissive) int {
	causes := len(v.Model.Config.Channels) + len(v.Model.Config.Inputs)
	found := v.outputs[0]
	set := p.Causes()
	set.Each(func(c int) {
		if c >= causes {
			found = c - causes
		}
	})
	return found
}

// around lists the causes in an output's cone and those of a condition.
func (v *verification) around(output int, p interlock.Permissive) []int {
	cone := v.Model.Cone(output)
	set := p.Causes()
	set.Each(func(c int) { cone[c] = true })
	var list []int
	for c := 0; c < len(v.Model.Config.Channels)+len(v.Model.Config.Inputs); c++ {
		if cone[c] {
			list = append(list, c)
		}
	}
	return list
}

// until: from the scan in which the condition is true the output is withheld,
// until another is true.
func (v *verification) until(p *model.Own) Result {
	if p.Output < 0 {
		return Result{Verdict: Nothing, Says: "names no output"}
	}
	o := &v.Model.Config.Outputs[p.Output]
	stops := v.excludes(p.When, o.Permissive)
	reset := len(v.Model.Config.Channels) + int(o.Reset) - 1
	// A whole press shows the reset at 1; whatever else the other condition reads may
	// have any value in that scan.
	byReset := o.Reset != 0 && !o.Automatic && model.Outcomes(p.Then, func(c int) model.TruthSet {
		if c == reset {
			return model.SetOf(interlock.True)
		}
		return model.AnyTruth
	}) == model.SetOf(interlock.True)
	byPermissive := !v.meets(p.Then, interlock.False, o.Permissive) && !v.meets(p.Then, interlock.Unknown, o.Permissive)
	if stops && (byReset || byPermissive) {
		how := "a start needs it (property 3)"
		if byReset {
			how = "a start needs a whole press of its reset (property 7)"
		}
		return v.exercised(p, Result{Verdict: Shown, Says: "withheld by its permissive; " + how, Assumes: v.property(model.PropertyReset).Assumes}, model.PropertyWithhold, model.PropertyStart, model.PropertyReset)
	}
	run := v.falsify(goal{output: p.Output, causes: v.around(p.Output, p.When), faults: 2, turns: probeTurns, says: "it runs before that",
		is: func(d *runs.Driver, s *memory, _ model.PropertySet) bool {
			owed := (s.own == 1 || v.holds(p.When, d)) && !v.holds(p.Then, d)
			s.own = uint32(model.Int(owed))
			return owed && d.State.Outputs[p.Output].Mode == interlock.Enabled
		}})
	if run != nil {
		return Result{Verdict: Violated, Says: "it runs before the other condition was true", Counterexample: run}
	}
	return Result{Verdict: NotShown, Says: "neither the permissive nor the reset excludes it, and no run was found that violates it"}
}

// tolerates: dips of a class up to a time, or a share of bad readings for ever,
// do not trip.
func (v *verification) tolerates(p *model.Own) Result {
	f, err := v.FactsOf(p.Channel)
	if err != nil {
		return Result{Verdict: NotShown, Says: err.Error()}
	}
	name := v.Model.Names.Channels[p.Channel]
	if p.Output >= 0 && !slices.Contains(v.Model.ChannelsOf(p.Output, -1), p.Channel) {
		return Result{Verdict: Nothing, Subject: name, Says: fmt.Sprintf("%s does not depend on %s", v.Model.Names.Outputs[p.Output], name)}
	}
	if p.Share[1] > 0 {
		return v.toleratesShare(p, name)
	}
	dip := v.Model.Hit(p.Class, p.Time)
	r := Result{Verdict: Shown, Subject: name, Assumes: v.property(model.PropertyPatience).Assumes, Says: fmt.Sprintf("forgives %s of class %s every time, the dip can hit %d", model.Plural(f.Patience[p.Class], "sample", "samples"), p.Class, dip)}
	pattern := make([]monitor.Class, dip)
	for i := range pattern {
		pattern[i] = p.Class
	}
	run, tripped := v.play(p, pattern, 1)
	switch {
	case run == nil:
		return Result{Verdict: Nothing, Subject: name, Says: "no output that needs the channel was brought to run"}
	case f.Patience[p.Class] >= dip:
		r.Example = run
	case tripped:
		r.Verdict, r.Counterexample = Violated, run
	default:
		r.Verdict = NotShown
	}
	return r
}

func (v *verification) toleratesShare(p *model.Own, name string) Result {
	pattern := make([]monitor.Class, p.Share[1])
	for i := range pattern {
		pattern[i] = monitor.Good
		if uint64(i) < p.Share[0] {
			pattern[i] = p.Class
		}
	}
	c := &v.Model.Config.Channels[p.Channel].Config
	turns := 3 + 2*(int(c.Full)+int(c.LongestStay))/len(pattern)
	run, tripped := v.play(p, pattern, turns)
	r := Result{Verdict: Shown, Subject: name, Says: fmt.Sprintf("%d of %d of class %s, %s over", p.Share[0], p.Share[1], p.Class, model.Plural(turns, "time", "times"))}
	switch {
	case run == nil:
		return Result{Verdict: Nothing, Subject: name, Says: "no output that needs the channel was brought to run"}
	case tripped:
		r.Verdict, r.Counterexample = Violated, run
	default:
		r.Example = run
	}
	return r
}

// play repeats a pattern of readings on one channel of the running site.
func (v *verification) play(p *model.Own, pattern []monitor.Class, turns int) (run *runs.Run, tripped bool) {
	output := p.Output
	if output < 0 {
		for _, o := range v.outputs {
			if slices.Contains(v.Model.Needed(o), p.Channel) {
				output = o
			}
		}
	}
	if output < 0 {
		return nil, false
	}
	s := v.Start(output)
	if !s.Runs {
		return nil, false
	}
	d, record := s.From()
	for i := 0; i < turns*len(pattern) && d.Enabled(); i++ {
		d.Healthy()
		d.In.Readings[p.Channel] = table.ReadingOf(&d.Config.Channels[p.Channel].Config, pattern[i%len(pattern)], d.Stamp)
		record.Turn(d)
	}
	run = record.Finish(fmt.Sprintf("%s reads %s, %s over", v.Model.Names.Channels[p.Channel], model.PatternText(pattern), model.Plural(turns, "time", "times")), 1)
	run.Expect = fmt.Sprintf("{never: %s is tripped}", v.Model.Names.Outputs[output])
	return run, !d.Enabled()
}
