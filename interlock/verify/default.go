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

// titles are the default properties in the reader's words.
var titles = [16]string{
	1:  "no start before every bond was good for its settle time",
	2:  "withheld in the very scan in which its permissive is not true",
	3:  "goes enabled only with every needed channel bonded",
	4:  "a bad bond stops it in bounded time, whatever came before",
	5:  "bad in more than half of the readings is not tolerated for ever",
	6:  "short dips of one class never trip it",
	7:  "no restart without one whole deliberate press of its reset",
	8:  "no start before the whole wait after confirmed end of flow",
	9:  "unknown never helps: what is missing or invalid prolongs no run",
	10: "an unconfirmed actuator is latched, calls its backup, and is not restarted",
	11: "a bypass ends by its time and changes no wait",
	12: "each required cause alone trips it, nothing outside its cone touches it",
	13: "first-out names what was not true in the trip scan, until reset",
	14: "the watchdog is kicked only where everything was evaluated",
	15: "from every state, all well again leads back to enabled",
}

// assumptions are what the default properties rest on, and who checks it.
var assumptions = [16][]string{
	1:  {"the reading is the truth (object evidence, proof test)"},
	2:  {"the coil that is written off does stop the actuator (confirmation, proof test)"},
	3:  {"the reading is the truth (object evidence, proof test)"},
	4:  {"the scan period stays within its limits (overrun trips)", "the reading turns bad when the bond does (change-of-state test)"},
	5:  {"one reading in every scan is fresh"},
	6:  {"between two dips the doubt is repaid, by a good reading in every poll"},
	7:  {"the reset input is wired as declared (test sheet)"},
	8:  {"end switches tell the truth (proof test)", "the valve seals"},
	9:  {"the instrument says when it is not valid"},
	10: {"end switches tell the truth (proof test)"},
	11: {"the key is wired as declared (test sheet)"},
	12: {"channels and inputs are wired as declared (test sheet)"},
	13: {"within one bus cycle the order is not known"},
	14: {"the caller writes the outputs before it kicks"},
	15: {"plant and people do everything right from then on"},
}

// judge says of every wanted property of every wanted output what was found.
func (v *verification) judge() {
	for _, o := range v.outputs {
		v.cuts(o)
		checks := [16]func(int) *Result{1: v.boot, 2: v.bySearch(2), 3: v.bySearch(3), 4: v.response, 5: v.chatter, 6: v.dips, 7: v.reset,
			8: v.waits, 9: v.unknown, 10: v.unconfirmed, 11: v.bypasses, 12: v.complete, 13: v.firstOut, 14: v.kick, 15: v.recovery}
		for number := 1; number < len(checks); number++ {
			if !v.wants(strconv.Itoa(number)) {
				continue
			}
			if r := checks[number](o); r != nil {
				r.Property, r.Title, r.Output = strconv.Itoa(number), titles[number], v.Model.Names.Outputs[o]
				r.Assumes = assumptions[number]
				counted := v.rest(r, number)
				v.glanceAt(o, number, r)
				if r.Verdict == Violated && r.Counterexample == nil {
					r.Counterexample = v.huntFor(o, number)
				}
				if counted && r.Counterexample == nil && v.Options.Logic == nil {
					// The proof fails with its lemma; that the promise is broken is
					// something else.
					r.Verdict = NotShown
					r.Says += "; no run of the whole site was found that breaks the property by it"
				}
				v.report.Results = append(v.report.Results, *r)
			}
		}
	}
	v.own()
	v.channelWorst()
}

func (v *verification) wants(property string) bool {
	return len(v.Options.Properties) == 0 || slices.Contains(v.Options.Properties, property)
}

// rest brings down a property whose counter lemma does not hold, and says that it
// did.
func (v *verification) rest(r *Result, number int) (counted bool) {
	for i := range v.report.Lemmas {
		l := &v.report.Lemmas[i]
		for _, p := range l.properties {
			if p == number && !l.holds() {
				counted = r.Verdict != Violated
				r.Verdict = Violated
				r.Says = fmt.Sprintf("%s of %s: %s", l.Counter, l.Of, l.Wrong)
			}
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
func (v *verification) found(output, property int, kind string) *Result {
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
		case s.Bad>>property&1 == 1:
			r.Verdict = Violated
			r.Says = fmt.Sprintf("first after %d scans, with channel %s in full detail", s.FirstBad[property], s.Channel)
			v.replay(r, s, property)
			return r
		case s.Hit>>property&1 == 1:
			hits++
		}
	}
	switch {
	case cut > 0:
		r.Verdict = NotShown
	case hits > 0:
		r.Verdict = Shown
		r.Says = model.Plural(len(jobs), "search", "searches") + ", every state"
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

// searchedFor is what the searches alone say of a property. Outputs that are not
// wanted were not searched.
func (v *verification) searchedFor(output, property int) Verdict {
	jobs := v.jobsOf(output, "")
	if len(jobs) == 0 {
		r := &Result{Verdict: Nothing}
		v.byTable(output, property, r)
		return r.Verdict
	}
	met := Nothing
	for _, s := range jobs {
		switch {
		case s.Bad>>property&1 == 1:
			return Violated
		case s.cutOff != nil:
			met = NotShown
		case s.Hit>>property&1 == 1 && met == Nothing:
			met = Shown
		}
	}
	return met
}

// replay looks for a run of the whole site that shows what a search has met. A
// search lets more happen than can; without such a run nothing is called
// violated, and nothing shown. Mutants of the parts cannot be replayed, because
// the whole Step is not theirs.
func (v *verification) replay(r *Result, s *Searched, property int) {
	if v.Options.Logic != nil {
		return
	}
	if v.needsRun(r, s.output, property); r.Counterexample == nil {
		r.Searched = v.searchedRun(s, property)
	}
}

// needsRun adds the run that shows what was met; without one it is not shown.
func (v *verification) needsRun(r *Result, output, property int) {
	r.Counterexample = v.huntFor(output, property)
	if r.Counterexample == nil {
		r.Verdict = NotShown
		r.Says += "; but no run of the whole site was found that shows it"
	}
}

// searchedRun tells the shortest run through a product that violates a property,
// in at most twelve lines. It is a run of the tables, in which more can happen
// than on the whole site.
func (v *verification) searchedRun(s *Searched, property int) []string {
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
func (v *verification) huntFor(output, property int) *runs.Run {
	if v.Options.Logic != nil {
		return nil
	}
	q := quarry{output: output, property: property, faults: 2, turns: min(probeTurns, v.turns), recovery: property == 15,
		is: func(_ *runs.Driver, _ *sight, found table.Mask) bool { return found&broken(property) != 0 }}
	run := v.channelRun(q)
	if run == nil {
		run = v.hunt(q)
	}
	if run == nil {
		run = v.along(q)
	}
	if run == nil && !v.gaveUp[property] {
		q.turns = v.turns
		run = v.hunt(q)
	}
	if run == nil {
		v.gaveUp[property] = true
	}
	return run
}

// broken is what shows that a property is broken: what prolongs a run that must
// end shows as that.
func broken(property int) table.Mask {
	if property == 9 {
		return table.Bit(9) | table.Bit(1) | table.Bit(4) | table.Bit(6)
	}
	return table.Bit(property)
}

// along hunts with the compass of one search after the other.
func (v *verification) along(q quarry) *runs.Run {
	tried := map[string]bool{}
	for _, job := range v.jobsOf(q.output, "") {
		if job.Bad>>q.property&1 == 0 || tried[job.key] || len(tried) == maxCompasses {
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
func (v *verification) byTable(output, property int, r *Result) {
	t, err := v.OutputTable(&v.Model.Config.Outputs[output], false)
	if err != nil {
		r.Verdict, r.Says = NotShown, err.Error()
		return
	}
	var hit, bad table.Mask
	for i := range t.Edges {
		hit |= t.Edges[i].Hit
		bad |= t.Edges[i].Bad
	}
	r.States, r.Steps = uint64(len(t.States)), uint64(len(t.Edges))
	switch {
	case bad>>property&1 == 1:
		r.Verdict, r.Says = Violated, "in the output's own table"
	case hit>>property&1 == 1:
		r.Verdict, r.Says = Shown, "no channel in its permissive; every state of the output"
	}
}

func (v *verification) bySearch(property int) func(int) *Result {
	return func(output int) *Result { return v.withRun(v.found(output, property, ""), output, property) }
}

// withRun adds the example run of a property that was exercised.
func (v *verification) withRun(r *Result, output, property int) *Result {
	if r.Verdict != Shown {
		return r
	}
	s := v.Start(output)
	if !s.Runs {
		r.Verdict, r.Says = Nothing, "a healthy plant never brought it to run, so nothing was exercised"
		return r
	}
	d, record := s.From()
	sentence := fmt.Sprintf("%s runs after %d scans", v.Model.Names.Outputs[output], record.Scans)
	if sets := model.CutSets(v.Model.Config.Outputs[output].Permissive); len(sets) > 0 && property == 2 {
		v.hold(d, record, sets[0], v.DetectAll())
		sentence = fmt.Sprintf("%s runs, then %s goes bad and it is withheld", v.Model.Names.Outputs[output], v.Model.Cause(sets[0][0]))
	}
	r.Example = record.Finish(sentence, 0)
	r.Example.Property, r.Example.Output = strconv.Itoa(property), v.Model.Names.Outputs[output]
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
	if v.Model.WithoutBond(output) {
		return nil
	}
	r := v.found(output, 3, "reset")
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
	return v.withRun(v.misjudged(output, 1, r), output, 1)
}

func (v *verification) reset(output int) *Result {
	if v.Model.Config.Outputs[output].Automatic {
		return nil // restarts by itself, with a written reason; review says so
	}
	return v.withRun(v.found(output, 7, "reset"), output, 7)
}

func (v *verification) waits(output int) *Result {
	if len(v.Model.Config.VesselsOf(output)) == 0 {
		return nil // it charges nothing
	}
	return v.withRun(v.misjudged(output, 8, v.found(output, 8, "wait")), output, 8)
}

func (v *verification) dips(output int) *Result {
	if v.Model.WithoutBond(output) {
		return nil
	}
	r := v.found(output, 2, "reset")
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
	return v.withRun(v.misjudged(output, 6, r), output, 6)
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
	if v.Model.WithoutBond(output) {
		return nil
	}
	r := v.found(output, 2, "reset")
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
	return v.withRun(r, output, 5)
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
	run.Property, run.Output = "5", v.Model.Names.Outputs[output]
	run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", turns-1, from, run.Output)
	run.Lines = append(run.Lines, fmt.Sprintf("scan %d: still enabled after %d scans of it", record.Scans-1, turns))
	if len(run.Lines) > runs.MaxLines {
		run.Lines = run.Lines[len(run.Lines)-runs.MaxLines:]
	}
	return run
}
