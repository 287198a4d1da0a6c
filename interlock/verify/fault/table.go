package fault

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"sync"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

// The fault table asks of every fault of the catalogue, and of every pair, what
// the real logic makes of it on the whole site: which rule sees it, after how
// many scans, with what effect; or that no rule does, so that only a proof test
// can. Every look that a fault can have is result for as long as it takes.

// Found is what becomes of a fault.
type Found string

// What can become of a fault, from the best seen to what is never seen.
const (
	Withheld    Found = "withheld"     // a rule stops the output
	KeptOut     Found = "kept out"     // it runs on, and the next start is refused or its actuator latched
	Announced   Found = "announced"    // people are told; the permissive holds without it, so it runs on
	NotDetected Found = "not detected" // no rule and no event
	NotRun      Found = "nothing checked"
)

var foundRank = map[Found]int{Withheld: 0, KeptOut: 1, Announced: 2, NotDetected: 3, NotRun: 4}

// Row is one line of the fault table: one fault, or two together, in the
// way of showing itself that is seen worst.
type Row struct {
	Output   string `json:"output"`
	Fault    string `json:"fault"`
	On       string `json:"on"`
	Second   string `json:"second,omitempty"`
	SecondOn string `json:"second_on,omitempty"`
	Look     string `json:"look"`
	Found    Found  `json:"found"`
	Rule     string `json:"rule"`
	// Scans is counted from the first scan that shows it, from healthy running;
	// AtMost is the longest after any history, where one channel decides.
	Scans   model.Scans `json:"scans_from_healthy"`
	AtMost  model.Scans `json:"scans_at_most,omitempty"`
	Effect  string      `json:"effect"`
	Defeats bool        `json:"defeats"`              // it runs, or flows, although the bond is gone
	Minimal bool        `json:"minimal_set"`          // and no fault less does that
	Instead string      `json:"proof_test,omitempty"` // what shows it where no rule does
	// Limit is up to which values of their parameters the faults hide a loss, where
	// these bound it.
	Limit string `json:"limit,omitempty"`
	// Once is what becomes of it as soon as it shows anything, in the worst way of
	// that, where it may as well show nothing.
	Once *Once `json:"once_it_shows,omitempty"`

	Run func() *runs.Run `json:"-"` // of what is not detected, made when asked for
}

// Once is what becomes of a fault that shows something.
type Once struct {
	Look   string      `json:"look"`
	Found  Found       `json:"found"`
	Rule   string      `json:"rule"`
	Scans  model.Scans `json:"scans_from_healthy"`
	AtMost model.Scans `json:"scans_at_most,omitempty"`
	Effect string      `json:"effect"`
}

// FoundOnce says that nothing detects a fault while it shows nothing, and something
// does as soon as it shows anything.
func (r *Row) FoundOnce() bool {
	return r.Found == NotDetected && r.Once != nil && r.Once.Found != NotDetected
}

// Defeat is a minimal set of faults under which product flows although a bond
// that is needed is gone, after every rule had its time.
type Defeat struct {
	Output string    `json:"output"`
	Faults []At      `json:"faults"` // in alphabetical order
	Seen   bool      `json:"seen"`   // a rule acted or told, and yet it flows
	Says   string    `json:"says"`
	Hidden bool      `json:"by_nature"` // each fault hides a loss: only a proof test can show it
	Run    *runs.Run `json:"run,omitempty"`

	replay func() *runs.Run
}

// Replay makes the runs of all sets that defeat the interlock.
func (t *Table) Replay() {
	for i := range t.Defeats {
		t.Defeats[i].Run = t.Defeats[i].replay()
	}
}

// Table is every single fault, every pair, and what defeats the interlock.
type Table struct {
	Rows     []Row    `json:"rows"`
	Defeats  []Defeat `json:"defeats"`
	NeverRan []string `json:"never_ran"` // outputs of which nothing was checked
	Singles  int      `json:"singles"`
	Pairs    int      `json:"pairs"`
	// Apart counts the pairs that meet nowhere, so that what each does alone says
	// what both do; Runs is how many runs the rest took, equal ones made once.
	Apart int `json:"pairs_that_meet_nowhere"`
	Runs  int `json:"runs"`
	// Missed counts the single faults that no rule sees and no event tells of.
	// Unshown counts those of them of which that is true only while they show nothing.
	Missed  int `json:"not_detected"`
	Unshown int `json:"not_detected_while_nothing_shows"`
}

// Verdict: the table is information, so that it is complete is all that is
// shown. It is violated where one fault that hides nothing defeats the interlock
// by itself, because then a rule had what it takes to stop it.
func (t *Table) Verdict() verdict.Verdict {
	all := verdict.Shown
	if len(t.NeverRan) > 0 || t.Singles == 0 {
		all = verdict.NothingChecked
	}
	for i := range t.Defeats {
		if d := &t.Defeats[i]; len(d.Faults) == 1 && !d.Hidden {
			all = verdict.Worse(all, verdict.Violated)
		}
	}
	return all
}

// Tabulate makes the fault table of the wanted outputs, of single faults and, where
// asked for, of pairs. The error is of the wanted names.
func Tabulate(m *model.Model, o model.Options, pairs bool) (*Table, error) {
	outputs, err := m.OutputsNamed(o.Outputs)
	if err != nil {
		return nil, err
	}
	t, p := &Table{Rows: []Row{}, Defeats: []Defeat{}, NeverRan: []string{}}, placerOn(runs.NewBench(m, o))
	told := p.progress(outputs, pairs)
	for _, output := range outputs {
		p.rowsOf(t, output, pairs, told)
	}
	return t, nil
}

// progress is told of every place whose rows are judged.
func (p placer) progress(outputs []int, pairs bool) func(output, rows int) {
	var mu sync.Mutex
	done, all, of := 0, 0, 0
	for _, output := range outputs {
		of += len(p.places(output)) * (1 + model.Int(pairs))
	}
	return func(output, rows int) {
		mu.Lock()
		defer mu.Unlock()
		done, all = done+1, all+rows
		if p.Options.Progress != nil {
			p.Options.Progress(done, of, "faults of "+p.Model.Names.Outputs[output], uint64(all))
		}
	}
}

// campaign is all trials of one output: where they begin, how long its rules take, and
// what came of those that were made.
type campaign struct {
	placer
	s       *runs.Started
	output  int
	mu      sync.Mutex
	known   map[string]*result
	usual   map[interlock.Event]bool // what people are told when nothing is wrong
	ands    bool                     // the permissive is an AND of causes, so that what is apart acts apart
	detect  model.Scans              // the longest that any channel takes to see anything
	travel  model.Scans              // the longest travel of the actuators around the output
	restart model.Scans              // how long a healthy restart takes after a stop

	told      func(output, rows int)
	everyScan bool // tests skip none
}

// result is what came of one injection. The coils tell what runs after every rule had
// its time; late, what still runs when, after the output was withheld, every
// actuator had its time as well. That costs another run, and few ask for it.
type result struct {
	once  sync.Once
	came  outcome
	coils interlock.CoilSet
	after sync.Once
	late  interlock.CoilSet
}

func (p placer) newCampaign(output int) *campaign {
	c := p.Model.Config
	x := &campaign{placer: p, s: p.Start(output), output: output, known: map[string]*result{}, usual: map[interlock.Event]bool{}}
	x.ands, x.detect, x.travel = onlyAnds(c.Outputs[output].Permissive), p.DetectAll(), travelOf(c, output)
	if x.s.Runs {
		x.restart = x.healthyRestart()
	}
	for i := range c.Inputs {
		x.s.Driver.Provided(i) // works it out while nobody else reads
	}
	return x
}

func (p placer) rowsOf(t *Table, output int, pairs bool, told func(output, rows int)) {
	x, name := p.newCampaign(output), p.Model.Names.Outputs[output]
	x.told = told
	if !x.s.Runs {
		t.NeverRan = append(t.NeverRan, name)
		t.Rows = append(t.Rows, Row{Output: name, Found: NotRun, Effect: "a healthy plant never brought it to run"})
		return
	}
	places := x.around()
	alone := make([]bool, len(places)) // defeats it by itself, so no set with it is minimal
	for i, r := range x.rows(len(places), func(i int) []faultJudged { return []faultJudged{x.row(&places[i], nil)} }) {
		r.row.Minimal = r.defeat != nil
		t.Rows = append(t.Rows, r.row)
		t.Singles++
		t.Missed += model.Int(r.row.Found == NotDetected)
		t.Unshown += model.Int(r.row.FoundOnce())
		if alone[i] = r.defeat != nil; alone[i] {
			t.Defeats = append(t.Defeats, *r.defeat)
		}
	}
	if pairs {
		x.pairs(t, places, alone)
	}
	t.Runs += len(x.known)
}

// pairs adds every pair of faults. One with a fault that defeats it alone is no
// minimal set.
func (x *campaign) pairs(t *Table, places []placed, alone []bool) {
	rows := x.rows(len(places), func(i int) []faultJudged {
		var list []faultJudged
		for k := i + 1; k < len(places); k++ {
			r := x.row(&places[i], &places[k])
			if r.row.Minimal = r.defeat != nil && !alone[i] && !alone[k]; !r.row.Minimal {
				r.defeat = nil
			}
			list = append(list, r)
		}
		return list
	})
	for i := range rows {
		t.Rows = append(t.Rows, rows[i].row)
		t.Pairs++
		t.Apart += model.Int(rows[i].apart)
		if rows[i].defeat != nil {
			t.Defeats = append(t.Defeats, *rows[i].defeat)
		}
	}
}

// around are the faults around the output, and what they have to do with.
func (x *campaign) around() []placed {
	list := x.places(x.output)
	for i := range list {
		list[i].meets = x.meetsAt(&list[i])
	}
	return list
}

// faultJudged is one row, and the set that defeats if it is one.
type faultJudged struct {
	row    Row
	defeat *Defeat
	apart  bool
}

// rows judges on all cores, in the order of the places whatever core is first.
func (x *campaign) rows(n int, of func(int) []faultJudged) []faultJudged {
	lists := make([][]faultJudged, n)
	jobs := make(chan int)
	var all sync.WaitGroup
	for range x.Options.WorkerCount() {
		all.Go(func() {
			for i := range jobs {
				lists[i] = of(i)
				x.told(x.output, len(lists[i]))
			}
		})
	}
	for i := range n {
		jobs <- i
	}
	close(jobs)
	all.Wait()
	return slices.Concat(lists...)
}

// worst is the worst of some looks.
type worst struct {
	looks []look
	came  outcome
}

func (w *worst) take(looks []look, o outcome) {
	if w.looks == nil || o.worseThan(w.came) {
		w.looks, w.came = looks, o
	}
}

// row takes the worst over all looks: what defeats counts before what does not, what
// is not seen before what is told, and that before what is seen late.
func (x *campaign) row(a, b *placed) faultJudged {
	row := Row{Output: x.Model.Names.Outputs[x.output], Fault: a.Fault.Name, On: a.On, Limit: a.Limit}
	if b != nil {
		row.Second, row.SecondOn = b.Fault.Name, b.On
		if row.Limit != "" && b.Limit != "" {
			row.Limit += ", "
		}
		row.Limit += b.Limit
	}
	var all, shown worst
	apart, hidden := b != nil && x.apart(a, b), true
	for _, looks := range together(a, b) {
		o := x.outcome(looks, apart)
		all.take(looks, o)
		if showsSomething(looks) {
			shown.take(looks, o)
			hidden = hidden && !o.defeats
		}
	}
	o := all.came
	row.Look, row.Found, row.Scans, row.Rule, row.Effect = textOf(all.looks), o.found, o.scans, o.rule, o.effect
	row.AtMost, row.Defeats = x.atMost(all.looks, o), o.defeats
	if o := shown.came; shown.looks != nil && !showsSomething(all.looks) {
		row.Once = &Once{textOf(shown.looks), o.found, o.rule, o.scans, x.atMost(shown.looks, o), o.effect}
	}
	if row.Found == NotDetected {
		row.Effect, row.Instead = "NOT detected: proof test", a.Fault.ShownBy
		if text := ""; b != nil {
			if text = b.Fault.ShownBy; text != row.Instead {
				row.Instead += "; " + text
			}
		}
		row.Run = func() *runs.Run { return x.runOf(a, b, all.looks, "goes on, and nothing detects it") }
	}
	if !row.Defeats {
		return faultJudged{row, nil, apart}
	}
	d := x.defeat(a, b, all.looks, o)
	d.Hidden = d.Hidden && (b != nil || hidden)
	return faultJudged{row, d, apart}
}

// showsSomething says that none of the looks is that of a healthy plant.
func showsSomething(looks []look) bool {
	for i := range looks {
		if !looks[i].shows {
			return false
		}
	}
	return true
}

// atMost is the longest that a row's fault stays unseen after any history: for
// one channel with one class it is known from the channel's whole graph. What a slow
// instrument shows passes through other classes on its way there.
func (x *campaign) atMost(looks []look, o outcome) model.Scans {
	if o.found != Withheld || len(looks) != 1 || looks[0].last > hidingIt || looks[0].bad == monitor.Good {
		return 0
	}
	ch := model.Index(x.Model.Names.Channels, looks[0].on)
	if ch < 0 || !model.IsCut(x.Model.Config.Outputs[x.output].Permissive, ch) {
		return 0
	}
	f, err := x.FactsOf(ch)
	if err != nil {
		return 0
	}
	n := f.DetectOf[looks[0].bad]
	if x.channel(ch).Slow {
		n = f.Detect
	}
	if n == model.Endless {
		return 0
	}
	return max(o.scans, n)
}

// together lists how one fault, or two, can look, in the order in which they
// have the last word. Two at the same place are result both ways round, unless one
// of them hides what the other does.
func together(a, b *placed) [][]look {
	var list [][]look
	for _, x := range a.looks {
		if b == nil {
			list = append(list, []look{x})
			continue
		}
		for _, y := range b.looks {
			switch {
			case x.last > y.last:
				list = append(list, []look{y, x})
			case x.last == y.last && a.samePlace(b):
				list = append(list, []look{x, y}, []look{y, x})
			default:
				list = append(list, []look{x, y})
			}
		}
	}
	return list
}

func textOf(looks []look) string {
	text := ""
	for i := range looks {
		if text != "" {
			text += "; "
		}
		text += looks[i].on + " " + looks[i].text
	}
	return text
}

// outcome is what became of looks; what was result before is known. Two that meet
// none are not run again: each does to a permissive of ANDs what it does alone.
func (x *campaign) outcome(looks []look, apart bool) outcome {
	if apart {
		one, other := x.outcome(looks[:1], false), x.outcome(looks[1:], false)
		if a, b := one.precedence(), other.precedence(); a > b || a == b && one.scans > other.scans {
			one, other = other, one
		}
		one.defeats = one.defeats || other.defeats && one.found != Withheld // no set with one of them is minimal
		return one
	}
	return x.outcomeOf(looks)
}

// outcomeOf runs looks, or takes what came of equal ones; what is true behind
// them is their own.
func (x *campaign) outcomeOf(looks []look) outcome {
	does := injectionOf(looks)
	key := does.key()
	x.mu.Lock()
	r := x.known[key]
	if r == nil {
		r = &result{}
		x.known[key] = r
	}
	x.mu.Unlock()
	r.once.Do(func() { r.came, r.coils = x.trial(does).run() })
	o, coils := r.came, r.coils
	if x.truly(looks) {
		return o
	}
	if o.found == Withheld && someStuck(looks) {
		r.after.Do(func() {
			again := x.trial(does)
			again.running()
			again.lasts()
			r.late = again.d.Decision.Coils
		})
		coils = r.late
	}
	o.defeats = x.flows(looks, coils)
	return o
}

// WriteCSV writes the whole table; every record says of which site and by which
// tool it is.
func (t *Table) WriteCSV(w io.Writer, site, hash, tool string) error {
	out := csv.NewWriter(w)
	head := []string{"site", "site_hash", "tool", "output", "fault", "on", "second", "second_on", "look", "found", "rule", "scans_from_healthy", "scans_at_most", "effect", "defeats", "proof_test", "minimal_set",
		"once_look", "once_found", "once_rule", "once_scans_from_healthy", "once_scans_at_most", "once_effect", "limit"}
	if err := out.Write(head); err != nil {
		return err
	}
	number := func(n model.Scans, known bool) string {
		if !known {
			return ""
		}
		return strconv.FormatUint(uint64(n), 10)
	}
	for i := range t.Rows {
		r := &t.Rows[i]
		known := func(found Found) bool { return found != NotDetected && found != NotRun }
		fields := []string{site, hash, tool, r.Output, r.Fault, r.On, r.Second, r.SecondOn, r.Look, string(r.Found), r.Rule,
			number(r.Scans, known(r.Found)), number(r.AtMost, r.AtMost > 0), r.Effect, strconv.FormatBool(r.Defeats), r.Instead, strconv.FormatBool(r.Minimal)}
		if o := r.Once; o != nil {
			fields = append(fields, o.Look, string(o.Found), o.Rule, number(o.Scans, known(o.Found)), number(o.AtMost, o.AtMost > 0), o.Effect)
		} else {
			fields = append(fields, make([]string, len(head)-1-len(fields))...)
		}
		fields = append(fields, r.Limit)
		err := out.Write(fields)
		if err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// slowestInput is the longest that a signal may stay away unnoticed.
func (p placer) slowestInput() model.Scans {
	most := model.Scans(0)
	for i := range p.Model.Config.Inputs {
		most = max(most, p.Model.Config.Inputs[i].StaleAfter)
	}
	return most
}
