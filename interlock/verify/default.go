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
	if left := v.Model.LeftOut(output); p.byCuts && r.Verdict == Shown && left != "" {
		r.Verdict, r.Says, r.Example = NotShown, left, nil
	}
	v.glanceAt(output, p.Number, r)
	if r.Verdict == Violated && r.Counterexample == nil {
		r.Counterexample = v.huntFor(output, p)
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

// jobsOf lists the searches of an output, of one kind or of both.
func (v *verification) jobsOf(output int, kind string) []*Searched {
	var list []*Searched
	for _, s := range v.searches {
		if s.output == output && (kind == "" || s.Kind == kind) {
			list = append(list, s)
		}
	}
	return list
}

// found sums up what the searches say of one property of an output.
func (v *verification) found(output int, property model.Property, kind string) *Result {
	r := &Result{Verdict: Nothing}
	jobs := v.jobsOf(output, kind)
	hits, cut := 0, 0
	for _, s := range jobs {
		r.States += s.States
		r.Steps += s.Steps
		switch {
		case s.cutOff != nil:
			cut++
			r.Says = s.cutOff.Error()
		case s.Bad.Has(property):
			r.Verdict = Violated
			r.Says = fmt.Sprintf("first after %d scans, with channel %s in full detail", s.FirstBad[property], s.Channel)
			v.replay(r, s, property)
			return r
		case s.Hit.Has(property):
			hits++
		}
	}
	switch {
	case cut > 0:
		r.Verdict = NotShown
	case hits > 0:
		r.Verdict = Shown
		r.Says = searchedText(jobs)
	case len(jobs) == 0:
		v.byTable(output, property, r)
		if r.Verdict == Violated && v.Options.Logic == nil {
			v.needsRun(r, output, property)
		}
	default:
		r.Says = "no run came to where it would matter"
	}
	return r
}

// searchedText says how much was searched.
func searchedText(jobs []*Searched) string {
	if states := jobs[0].jointly; states != "" {
		return states + " joint states"
	}
	return model.Plural(len(jobs), "search", "searches") + ", every state"
}

// searchedFor is what the searches alone say of a property. Outputs that are not
// wanted were not searched.
func (v *verification) searchedFor(output int, property model.Property) Verdict {
	jobs := v.jobsOf(output, "")
	if len(jobs) == 0 {
		r := &Result{Verdict: Nothing}
		v.byTable(output, property, r)
		return r.Verdict
	}
	met := Nothing
	for _, s := range jobs {
		switch {
		case s.Bad.Has(property):
			return Violated
		case s.cutOff != nil:
			met = NotShown
		case s.Hit.Has(property) && met == Nothing:
			met = Shown
		}
	}
	return met
}

// replay looks for a run of the whole site that shows what a search has met. A
// search lets more happen than can; without such a run nothing is called
// violated, and nothing shown. Mutants of the parts cannot be replayed, because
// the whole Step is not theirs.
func (v *verification) replay(r *Result, s *Searched, property model.Property) {
	if v.Options.Logic != nil {
		return
	}
	if v.needsRun(r, s.output, property); r.Counterexample == nil {
		r.Searched = v.searchedRun(s, property)
	}
}

// needsRun adds the run that shows what was met; without one it is not shown.
func (v *verification) needsRun(r *Result, output int, property model.Property) {
	r.Counterexample = v.huntFor(output, v.property(property))
	if r.Counterexample == nil {
		r.Verdict = NotShown
		r.Says += "; but no run of the whole site was found that shows it"
	}
}

// searchedRun tells the shortest run through a product that violates a property,
// in at most twelve lines. It is a run of the tables, in which more can happen
// than on the whole site.
func (v *verification) searchedRun(s *Searched, property model.Property) []string {
	p, err := v.product(s, v.Options.MemoryLimit())
	if err != nil {
		return nil
	}
	p.FirstBad = s.FirstBad
	var lines []string
	last := ""
	for scan, at := range p.Shortest(property) {
		c := &p.Channel.States[at.Column]
		text := fmt.Sprintf("%s %s; %s %s", s.Channel, c.Phase, s.Output, p.Stem.Name(int(at.Row)))
		if text != last {
			lines = append(lines, fmt.Sprintf("scan %d: %s", scan, text))
		}
		last = text
	}
	return lines[max(0, len(lines)-runs.MaxLines):]
}

// huntFor looks for a run that breaks a default property: first what one or two
// things that go wrong can do, then along the compass of every search that has
// met it, then for longer. Mutants of the parts have none, because the whole Step
// is not theirs. Where a long hunt has found none for one output, the others are
// not hunted for as long.
func (v *verification) huntFor(output int, p *Property) *runs.Run {
	if v.Options.Logic != nil {
		return nil
	}
	q := quarry{output: output, property: p.Number, faults: 2, turns: min(probeTurns, v.turns), recovery: p.attack.comes,
		is: func(_ *runs.Driver, _ *sight, found model.PropertySet) bool { return found&p.breaks() != 0 }}
	run := v.attack(q, p)
	if run == nil {
		run = v.hunt(q)
	}
	if run == nil {
		run = v.along(q)
	}
	if run == nil && !v.gaveUp[p.Number] {
		q.turns = v.turns
		run = v.hunt(q)
	}
	if run == nil {
		v.gaveUp[p.Number] = true
	}
	return run
}

// along hunts with the compass of one search after the other.
func (v *verification) along(q quarry) *runs.Run {
	tried := map[string]bool{}
	for _, job := range v.jobsOf(q.output, "") {
		if !job.Bad.Has(q.property) || tried[job.key] || len(tried) == maxCompasses {
			continue
		}
		tried[job.key] = true
		if q.compass = v.compassTo(job, q.property); q.compass != nil {
			q.faults = guidedFaults
			if run := v.hunt(q); run != nil {
				return run
			}
		}
	}
	return nil
}

// A hunt along a compass may let many things go wrong, one after the other; what
// is not needed is left out afterwards.
const (
	guidedFaults = 24
	maxCompasses = 4
)

// byTable judges an output whose permissive reads no channel: its own table, in
// which the permissive is free, is then the whole search.
func (v *verification) byTable(output int, property model.Property, r *Result) {
	t, err := v.OutputTable(&v.Model.Config.Outputs[output], false)
	if err != nil {
		r.Verdict, r.Says = NotShown, err.Error()
		return
	}
	var hit, bad model.PropertySet
	for i := range t.Edges {
		hit |= t.Edges[i].Hit
		bad |= t.Edges[i].Bad
	}
	r.States, r.Steps = uint64(len(t.States)), uint64(len(t.Edges))
	switch {
	case bad.Has(property):
		r.Verdict, r.Says = Violated, "in the output's own table"
	case hit.Has(property):
		r.Verdict, r.Says = Shown, "no channel in its permissive; every state of the output"
	}
}

// withhold: what the searches say, with a run in which it is withheld.
func (v *verification) withhold(output int) *Result {
	r := v.found(output, model.PropertyWithhold, "")
	sets := model.CutSets(v.Model.Config.Outputs[output].Permissive)
	if len(sets) == 0 {
		return v.withRun(r, output, model.PropertyWithhold)
	}
	return v.withRunOn(r, output, model.PropertyWithhold, func(d *runs.Driver, record *runs.Recorder) string {
		v.hold(d, record, sets[0], v.DetectAll())
		return fmt.Sprintf("%s runs, then %s goes bad and it is withheld", v.Model.Names.Outputs[output], v.Model.Cause(sets[0][0]))
	})
}

func (v *verification) start(output int) *Result {
	return v.withRun(v.found(output, model.PropertyStart, ""), output, model.PropertyStart)
}

// withRun adds the example run of a property that was exercised: to where the output
// runs.
func (v *verification) withRun(r *Result, output int, property model.Property) *Result {
	return v.withRunOn(r, output, property, func(_ *runs.Driver, record *runs.Recorder) string {
		return fmt.Sprintf("%s runs after %d scans", v.Model.Names.Outputs[output], record.Scans)
	})
}

// withRunOn is withRun to where more has happened, which it says in a sentence.
func (v *verification) withRunOn(r *Result, output int, property model.Property, more func(*runs.Driver, *runs.Recorder) string) *Result {
	if r.Verdict != Shown {
		return r
	}
	s := v.Start(output)
	if !s.Runs {
		r.Verdict, r.Says = Nothing, "a healthy plant never brought it to run, so nothing was exercised"
		return r
	}
	d, record := s.From()
	sentence := more(d, record)
	r.Example = record.Finish(sentence, 0)
	r.Example.Property, r.Example.Output = property.String(), v.Model.Names.Outputs[output]
	return r
}

// hold lets some causes be bad until the target is withheld, or for so many
// scans, while everything else is well.
func (v *verification) hold(d *runs.Driver, record *runs.Recorder, causes []int, limit model.Scans) (after model.Scans) {
	for after = 0; after < limit && d.Enabled(); after++ {
		d.Healthy()
		for _, cause := range causes {
			d.Spoil(cause, monitor.High)
		}
		record.Turn(d)
	}
	return after
}

func (v *verification) boot(output int) *Result {
	channels := v.Model.Needed(output)
	r := v.found(output, model.PropertyStart, searchReset)
	if len(channels) == 0 {
		r.Verdict, r.Says = Nothing, "no channel is needed to run it"
		return r
	}
	for _, ch := range channels {
		f, err := v.FactsOf(ch)
		c := &v.Model.Config.Channels[ch].Config
		switch {
		case err != nil:
			r.Verdict, r.Says = Worse(r.Verdict, NotShown), err.Error()
		case f.BondScans == model.Endless:
			r.Verdict, r.Says = Worse(r.Verdict, Nothing), v.Model.Names.Channels[ch]+" can never bond"
		case min(f.BondScans, f.RebondScans) < c.SettleScans || min(f.BondReadings, f.RebondReadings) < c.SettleReadings:
			r.Verdict = Violated
			r.Says = fmt.Sprintf("%s bonds after %d scans and %d readings, must take %d and %d", v.Model.Names.Channels[ch],
				min(f.BondScans, f.RebondScans), min(f.BondReadings, f.RebondReadings), c.SettleScans, c.SettleReadings)
			return r
		case r.Verdict == Shown:
			r.Says = fmt.Sprintf("%s: at least %d scans and %d fresh good readings", v.Model.Names.Channels[ch], f.BondScans, f.BondReadings)
		}
	}
	return v.withRun(v.misjudged(output, model.PropertyBoot, r), output, model.PropertyBoot)
}

func (v *verification) reset(output int) *Result {
	return v.withRun(v.found(output, model.PropertyReset, searchReset), output, model.PropertyReset)
}

func (v *verification) waits(output int) *Result {
	return v.withRun(v.misjudged(output, model.PropertyWait, v.found(output, model.PropertyWait, searchWait)), output, model.PropertyWait)
}

func (v *verification) dips(output int) *Result {
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
		c := &v.Model.Config.Channels[ch].Config
		for _, class := range table.Bad {
			if !table.Possible(c)[class] {
				continue
			}
			want := dipsForgiven(c, class)
			if f.Patience[class] < want {
				r.Verdict, r.Says = Violated, fmt.Sprintf("%s: %d bad scans of class %s trip it, %d must be forgiven", v.Model.Names.Channels[ch], f.Patience[class]+1, class, want)
				return r
			}
			r.Verdict = Shown
		}
		r.Says = fmt.Sprintf("%s forgives %s; repaid after %d good", v.Model.Names.Channels[ch], patienceText(c, &f), f.Repay)
	}
	return v.withRun(v.misjudged(output, model.PropertyPatience, r), output, model.PropertyPatience)
}

// dipsForgiven is how many bad scans of one class the budget must cover: one
// fewer than spend it, and no more than doubtful may last.
func dipsForgiven(c *monitor.Config, class monitor.Class) model.Scans {
	if c.Cost[class] == 0 {
		return 0
	}
	spend := model.Scans((c.Full-1)/c.Cost[class]) + 1
	forgiven := min(spend-1, c.LongestStay)
	if class == monitor.Missing { // a gap is bad only once it is stale
		forgiven += c.StaleAfter
	}
	return forgiven
}

func patienceText(c *monitor.Config, f *table.ChannelFacts) string {
	text := ""
	for _, class := range [...]monitor.Class{monitor.High, monitor.Open, monitor.Invalid, monitor.Missing} {
		if table.Possible(c)[class] {
			if text != "" {
				text += ", "
			}
			text += fmt.Sprintf("%d %s", f.Patience[class], class)
		}
	}
	return text
}

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
