package rig

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime/debug"
	"sort"
	"strings"
	"time"

	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/rig/play"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/verdict"
)

// Order is what is to be done on a bench.
type Order struct {
	Map      *wiring.Map
	Logic    *interlock.Config
	Mode     wiring.Mode
	Settings bench.Settings
	Verified []judge.Verified                             // worst responses by exhaustive search
	Head     sheet.Head                                   // of every run; run, runs, phase and instruments are filled in
	New      func() (loop.Source, error)                  // a fresh plant for each run (stimulate)
	Watch    func() ([]loop.Watcher, func() error, error) // told every scan of a run; closed after it; may be nil
	Sight    func() (loop.Watcher, func() []string)       // notes what of the verified graph a run passes through; may be nil
	// Expect follows the scenario's expectations on the logic beside the unit; may be nil. Unjudged are they where the mode
	// judges none.
	Expect   func(loop.Source) (loop.Watcher, func(ended bool) []sheet.Expectation)
	Unjudged []sheet.Expectation
	Scans    uint64 // of one run (stand-in, listen)
	Changes  int    // of the judged outputs, found by the dry run (stimulate)
	Runs     int
	Edges    int
	Seed     uint64
	Alpha    float64
	Faults   []string     // that the scenario plays, for coverage
	Progress func(string) // may be nil
}

// Run is one run and what came of it.
type Run struct {
	Number      int                 `json:"run"`
	PhaseMillis float64             `json:"phase_ms"`
	Steps       []sheet.Step        `json:"steps"`
	Heard       []string            `json:"heard"`
	Seen        []string            `json:"transitions_seen"`
	Graph       []string            `json:"graph_seen"`
	Expected    []sheet.Expectation `json:"expectations"`
	Reason      string              `json:"reason"`
	Verdict     verdict.Verdict     `json:"verdict"`
	RigState    string              `json:"rig_state"`
	Exit        verdict.Exit        `json:"exit"`
	Lag         float64             `json:"most_lag_ms"`
	Counts      string              `json:"bus_counts"`
	decided     int                 // changes by the logic
	Played      bool                `json:"-"` // to the end of the scenario
}

// Report is everything that one order came to.
type Report struct {
	Instruments []sheet.Instrument `json:"instruments"`
	Checks      []sheet.Inspection `json:"checks"`
	Latency     *bench.Latency     `json:"latency"`
	Runs        []Run              `json:"runs"`
	Statements  []string           `json:"statements"`
	RigState    string             `json:"rig_state"`
	Details     []string           `json:"rig_details"`
	Verdict     verdict.Verdict    `json:"verdict"`
	Exit        verdict.Exit       `json:"exit"`
	Unseen      []string           `json:"contacts_not_seen"` // of relays that have no loop-back input
	Trouble     string             `json:"trouble"`           // why it ended early, empty if it did not
}

// session is an order being carried out.
type session struct {
	Order
	book   *sheet.Book
	bench  *bench.Bench
	report Report
	slow   map[string][]float64
	cause  func() error // why the order was called off
}

// Perform carries an order out: head of the record, open, checks, runs; and lets go of the rig on every path, before the
// record is closed. Nothing moves before the record's first entry is on the disk.
func Perform(ctx context.Context, order Order, book *sheet.Book) *Report {
	s := &session{Order: order, book: book, slow: map[string][]float64{}, cause: func() error { return context.Cause(ctx) }}
	s.report = Report{Instruments: []sheet.Instrument{}, Checks: []sheet.Inspection{}, Runs: []Run{}, Statements: []string{}, Unseen: []string{}, RigState: sheet.StateUnmoved, Verdict: verdict.NothingChecked}
	s.perform(ctx)
	if s.bench != nil {
		_ = s.bench.Close()
	}
	s.report.Verdict = verdict.Over(s.report.Runs, func(run *Run) verdict.Verdict { return run.Verdict })
	if s.report.Verdict == verdict.Shown && s.report.Exit != verdict.ExitShown {
		s.report.Verdict = verdict.NotShown
	}
	return &s.report
}

func (s *session) tell(format string, args ...any) {
	if s.Progress != nil {
		s.Progress(fmt.Sprintf(format, args...))
	}
}

func (s *session) perform(ctx context.Context) {
	if err := s.head(1); err != nil {
		s.fail(err)
		return
	}
	s.tell("looking for the modules and instruments")
	opened, found, err := bench.Open(s.Map, s.Settings)
	s.bench = opened
	var spread bench.Latency
	if err == nil {
		s.report.Instruments = found
		if err = s.book.Add(sheet.KindFound, found); err == nil {
			spread, err = s.checks(ctx)
		}
	}
	if err != nil {
		s.fail(err)
		run := Run{Number: 1, Reason: s.why(err), Verdict: verdict.NothingChecked, Exit: s.report.Exit}
		s.letGo(&run)
		s.end(&run)
		return
	}
	for number := 1; number <= max(s.Runs, 1); number++ {
		if number > 1 {
			if err := s.head(number); err != nil {
				s.fail(err)
				return
			}
		}
		if !s.run(ctx, number, spread) {
			return
		}
	}
}

// head opens the sheet of one run.
func (s *session) head(number int) error {
	head := s.Head
	head.Mode, head.Run, head.Runs = s.Mode.String(), number, max(s.Runs, 1)
	head.PhaseMillis = interval.InMillis(Phase(number-1, s.Map.Site.Period.Max))
	head.Instruments = s.report.Instruments
	if number == 1 {
		head.Instruments = s.declared()
	}
	return s.book.Add(sheet.KindHead, head)
}

// declared are the instruments as the map knows them, before anybody has answered.
func (s *session) declared() (list []sheet.Instrument) {
	for index := range s.Map.Site.Rig.Modules {
		m := &s.Map.Site.Rig.Modules[index]
		list = append(list, sheet.Instrument{Name: m.Name, Kind: m.Kind, Where: m.Port, Serial: m.Serial, CalibrationDue: m.CalDue})
	}
	return list
}

// checks is everything before the first run; listening needs none but that the modules answer.
func (s *session) checks(ctx context.Context) (spread bench.Latency, err error) {
	defer s.guard(&err)
	answered := sheet.Inspection{Name: "modules and instruments", Verdict: verdict.Shown, Details: []string{}}
	for _, one := range s.report.Instruments {
		answered.Details = append(answered.Details, one.Name+": "+one.Identity)
	}
	answered.Details = append(answered.Details, s.Map.Overdue(time.Now())...)
	answered.Text = strings.Join(answered.Details, "; ")
	if err := s.check(answered, nil); err != nil {
		return spread, err
	}
	if s.Mode == wiring.Listen {
		return spread, nil
	}
	s.tell("wiring self-test")
	if err := s.check(s.bench.SelfTest(ctx)); err != nil {
		return spread, err
	}
	s.report.Unseen = append(s.report.Unseen, s.bench.Unseen()...)
	if s.Mode == wiring.Stimulate {
		s.tell("loop-back latency, %d edges", s.Edges)
		var inspection sheet.Inspection
		spread, inspection, err = s.bench.MeasureLatency(ctx, s.Edges, s.Seed)
		if err := s.check(inspection, err); err != nil {
			return spread, err
		}
		s.report.Latency = &spread
	}
	s.tell("silence proof")
	return spread, s.check(s.bench.ProveSilence(ctx))
}

// check writes down one inspection, or that it ended in an error.
func (s *session) check(inspection sheet.Inspection, err error) error {
	if err != nil {
		inspection.Verdict, inspection.Text = verdict.NotShown, err.Error()
		var refused *bench.Refused
		if errors.As(err, &refused) {
			inspection.Text = refused.Text // its name stands before it already
		}
	}
	s.report.Checks = append(s.report.Checks, inspection)
	return errors.Join(err, s.book.Add(sheet.KindCheck, inspection))
}

// guard turns a panic into an error.
func (s *session) guard(err *error) {
	if r := recover(); r != nil {
		*err = loop.InternalError{What: fmt.Sprintf("%v\n%s", r, debug.Stack())}
	}
}

// run is one run with its end; false: no further run.
func (s *session) run(ctx context.Context, number int, latency bench.Latency) bool {
	s.tell("run %d of %d", number, max(s.Runs, 1))
	run := Run{Number: number, PhaseMillis: interval.InMillis(Phase(number-1, s.Map.Site.Period.Max)), Steps: []sheet.Step{}, Expected: append([]sheet.Expectation{}, s.Unjudged...), Heard: []string{}, Seen: []string{}, Reason: "played to the end"}
	err := s.play(ctx, &run, latency)
	if run.Played = err == nil; err != nil {
		run.Reason = s.why(err)
		s.fail(err)
	}
	run.Verdict = judge.Verdict(run.Steps)
	if missing := s.missing(&run); run.Verdict == verdict.Shown && missing != "" {
		run.Verdict, run.Reason = verdict.NotShown, run.Reason+", but "+missing
	}
	run.Verdict = verdict.Worse(run.Verdict, judge.Expected(run.Expected))
	run.Exit = verdict.WorseExit(run.Verdict.Exit(), exitOfError(err))
	if run.Verdict == verdict.Shown && err != nil {
		run.Verdict = verdict.NotShown
	}
	s.letGo(&run)
	s.report.Exit = verdict.WorseExit(s.report.Exit, run.Exit)
	s.report.Runs = append(s.report.Runs, run)
	for name, times := range judge.Trips(run.Steps) {
		s.slow[name] = append(s.slow[name], times...)
	}
	s.report.Statements = s.statements()
	return s.end(&run) && err == nil && run.RigState != sheet.StateUnknown
}

// missing is what a run that looks well lacks: a check before it that was not shown, or a change of an output that the
// scenario is for and that did not come about, because disturbances of the bench have bent the course of it.
func (s *session) missing(run *Run) string {
	for index := range s.report.Checks {
		if check := &s.report.Checks[index]; check.Verdict != verdict.Shown {
			return fmt.Sprintf("%s was not shown before", check.Name)
		}
	}
	if s.Mode == wiring.Stimulate && run.decided < s.Changes {
		return fmt.Sprintf("the logic came to %d of the %d changes that this scenario makes when nothing disturbs it: play it again", run.decided, s.Changes)
	}
	return ""
}

// play runs the scenario in its mode and gathers what came of it, also of a run that broke off.
func (s *session) play(ctx context.Context, run *Run, latency bench.Latency) (err error) {
	defer s.guard(&err)
	var watchers []loop.Watcher
	if s.Watch != nil {
		made, closing, err := s.Watch()
		if err != nil {
			return err
		}
		watchers = made
		defer func() { err = errors.Join(err, closing()) }()
	}
	if s.Sight != nil {
		watcher, sighted := s.Sight()
		watchers = append(watchers, watcher)
		defer func() { run.Graph = sighted() }()
	}
	seen := map[play.Transition]bool{}
	if s.Mode == wiring.Stimulate {
		err = s.stimulate(ctx, run, latency, watchers, &seen)
	} else {
		standIn := &play.StandIn{Bench: s.bench, Logic: s.Logic, Watchers: watchers, Scans: s.Scans, Drive: s.Mode == wiring.StandIn}
		err = standIn.Run(ctx)
		seen = standIn.Seen
		run.Steps = append(run.Steps, standIn.Steps...)
		run.Heard = append(run.Heard, standIn.Heard...)
		if standIn.Missed+standIn.Overruns > 0 {
			run.Heard = append(run.Heard, fmt.Sprintf("%d answers did not come, %d scans were overrun", standIn.Missed, standIn.Overruns))
		}
	}
	for t := range seen {
		run.Seen = append(run.Seen, t.String())
	}
	sort.Strings(run.Seen)
	return err
}

func (s *session) stimulate(ctx context.Context, run *Run, latency bench.Latency, watchers []loop.Watcher, seen *map[play.Transition]bool) (err error) {
	source, err := s.New()
	if err != nil {
		return err
	}
	if s.Expect != nil {
		watcher, outcomes := s.Expect(source)
		watchers = append(watchers, watcher)
		defer func() { run.Expected = outcomes(err == nil) }()
	}
	p := &play.Stimulation{Observed: judge.Observed{Map: s.Map, Logic: s.Logic}, Bench: s.bench, Source: source, Watchers: watchers, Phase: Phase(run.Number-1, s.Map.Site.Period.Max)}
	err = p.Run(ctx)
	if p.Begun != 0 {
		p.Ended = p.LastPoll()
		run.Steps = append(run.Steps, p.Discount(p.Judge(s.Verified, latency.Spread))...)
	}
	*seen, run.Lag, run.decided = p.Seen, interval.InMillis(p.MostLag), len(p.Decided)
	return err
}

// letGo opens the relays and says what is known of the rig.
func (s *session) letGo(run *Run) {
	run.RigState = sheet.StateUnmoved
	if s.bench == nil {
		s.report.RigState = run.RigState
		return
	}
	counts := s.bench.Counts()
	run.Counts = fmt.Sprintf("%d questions, %d answers, %d silent, %d garbled, %d late, %d twice, %d in doubt, %d put again or unclear", counts.Questions, counts.Answers, counts.Silent, counts.Garbled, counts.Late, counts.Twice, counts.Doubtful, s.bench.Unclear)
	if s.bench.Moved() || s.bench.FoundClosed() && s.Mode != wiring.Listen {
		released := s.bench.Release()
		run.RigState, s.report.Details = released.State, released.Details
	}
	s.report.RigState = run.RigState
	if run.RigState == sheet.StateUnknown {
		run.Exit = verdict.WorseExit(run.Exit, verdict.ExitLost)
		run.Reason += "; " + strings.Join(s.report.Details, "; ")
		s.report.Exit = verdict.WorseExit(s.report.Exit, verdict.ExitLost)
	}
}

// end writes the steps and the end of one run; false: the record cannot be written.
func (s *session) end(run *Run) bool {
	for index := range run.Steps {
		if err := s.book.Add(sheet.KindStep, run.Steps[index]); err != nil {
			s.fail(err)
			return false
		}
	}
	err := s.book.Add(sheet.KindEnd, sheet.End{
		RigState: run.RigState, Reason: run.Reason, Played: run.Played, Verdict: run.Verdict, Exit: run.Exit, Steps: len(run.Steps), Seen: run.Seen, Graph: run.Graph, Faults: s.Faults, Expected: run.Expected,
		Statement: strings.Join(s.report.Statements, " "), Counts: run.Counts,
	})
	if err != nil {
		s.fail(err)
		return false
	}
	return true
}

// why is an error for people: who called an order off says more than that it was called off.
func (s *session) why(err error) string {
	if cause := s.cause(); errors.Is(err, context.Canceled) && cause != nil {
		return cause.Error()
	}
	return err.Error()
}

// fail notes why the order ended early.
func (s *session) fail(err error) {
	s.report.Trouble = s.why(err)
	s.report.Exit = verdict.WorseExit(s.report.Exit, exitOfError(err))
}

// statements say what the runs so far allow, trip by trip.
func (s *session) statements() []string {
	names := make([]string, 0, len(s.slow))
	for name := range s.slow {
		names = append(names, name)
	}
	sort.Strings(names)
	made := []string{}
	for _, name := range names {
		slowest := 0.0
		for _, one := range s.slow[name] {
			slowest = max(slowest, one)
		}
		made = append(made, judge.Statement(name, len(s.slow[name]), interval.FromMillis(slowest), s.Alpha))
	}
	return made
}

// exitOfError judges why an order ended early.
func exitOfError(err error) verdict.Exit {
	var internal loop.InternalError
	switch {
	case err == nil:
		return verdict.ExitShown
	case errors.As(err, &internal):
		return verdict.ExitInternal
	case wiring.IsInput(err):
		return verdict.ExitInput
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded), errors.Is(err, play.ErrLate):
		return verdict.ExitIncomplete
	}
	return verdict.ExitLost
}

// RandomSeed is a seed for runs that were given none; it stands in the record.
func RandomSeed() uint64 { return rand.Uint64() >> 16 }

// Phase is where in a scan the run with this number begins. The fractional parts of multiples of the golden ratio fill any
// interval evenly, however many runs there are in the end. They are deliberate on the rig's side; where the unit is in its
// own scan at that moment nobody knows.
func Phase(run int, scan time.Duration) time.Duration {
	_, part := math.Modf(float64(run) * (math.Sqrt(5) - 1) / 2)
	return time.Duration(float64(part * float64(scan)))
}
