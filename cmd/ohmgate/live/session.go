package live

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Options is what a session is made of.
type Options struct {
	Site   *site.Site
	Config *interlock.Config // compiled
	Period time.Duration     // of one scan

	// Kind is simulator, recording or rig. Real says that real outputs are
	// attached: then nothing can be injected, paused, hurried or rewound.
	Kind string
	Real bool

	Open     func(Request) (Plant, error) // a fresh run; the same request gives the same run
	Request  Request                      // of the first run
	Control  bool                         // people may drive and break
	Speed    float64                      // 1 is real time, 0 as fast as it goes
	Paused   bool                         // begin paused
	Deadline time.Duration                // in real time a scan that begins later than this is an overrun

	Keeper Keeper // the journal; nil without one
	// Recorder follows a run scan by scan, such as its metrics; nil for none.
	Recorder  func(Request) (trace.Writer, error)
	Faults    []FaultKind
	Scenarios []ScenarioKind
}

// Keeper makes what happened durable. Keep returns when everything in the
// portion would survive a kill; nothing of it is shown to anybody before.
type Keeper interface {
	Keep(Portion) error
	Lag() time.Duration // of the last commit
}

// Portion is what is to be kept of some scans.
type Portion struct {
	Run     int
	First   uint64
	Scans   int
	Inputs  []byte // EncodeInputs, one after the other; empty in a portion that only tells
	Events  []Event
	Decided []Decided
}

// Session is one site being turned. Its methods may be called from anywhere.
type Session struct {
	Names *Names
	Lanes []Lane
	opts  Options

	commands chan command
	full     chan *batch
	free     chan *batch
	told     told

	// The loop's goroutine alone uses the rest.
	plant    Plant
	loop     *loop.Loop
	mirrors  *mirrors
	before   *interlock.State
	heard    []monitor.Reading // what arrived last of each channel
	scan     uint64
	run      int
	request  Request
	log      []logged
	batch    *batch
	sent     time.Time // of the last batch
	shotAt   time.Time
	values   []uint8
	decided  decision
	drive    Drive
	pace     pace
	late     lateness
	overruns uint64
	overrun  bool // of the scan to come
	measure  struct {
		at   time.Time
		scan uint64
	}
	failure   error
	quiet     bool // turning what was told before
	encoder   encoder
	recorder  trace.Writer
	poweredUp bool   // before the scan now turned
	ahead     uint64 // scans that nobody waits for

	turned atomic.Uint64 // scans of all runs
	handed atomic.Uint64 // batches
}

// logged is an action and the scan from which it acts.
type logged struct {
	scan    uint64
	action  Action
	overrun bool // not an action: this scan began too late
}

// decision is what the logic decided last, to notice changes.
type decision struct {
	coils   interlock.CoilSet
	kick    bool
	reasons []interlock.Reasons
	any     bool
}

type command struct {
	do   func() error
	done chan error
}

// ErrClosed says that the session has ended.
var ErrClosed = errors.New("the session has ended")

// batches is how many portions may be on their way; more, and the loop waits,
// which in real time shows as an overrun.
const batches = 8

// New makes a session; Run turns it.
func New(o Options) (*Session, error) {
	s := &Session{
		Names: &Names{Site: o.Site, Config: o.Config, Period: o.Period},
		Lanes: lanesOf(o.Site), opts: o,
		commands: make(chan command), full: make(chan *batch, batches), free: make(chan *batch, batches),
	}
	for range batches {
		s.free <- &batch{}
	}
	s.drive = Drive{Mode: "running", Speed: o.Speed}
	if o.Paused {
		s.drive.Mode = "paused"
	}
	s.values = make([]uint8, len(s.Lanes))
	s.told.begin(s.Lanes)
	s.batch = <-s.free
	s.batch.empty()
	if err := s.open(o.Request); err != nil {
		return nil, err
	}
	return s, nil
}

// Options is what the session was made of.
func (s *Session) Options() Options { return s.opts }

// open begins a new run from power-up.
func (s *Session) open(r Request) error {
	plant, err := s.opts.Open(r)
	if err != nil {
		return err
	}
	s.letGo()
	s.plant, s.request, s.log = plant, r, nil
	if err := s.rewire(); err != nil {
		return err
	}
	s.run++
	s.batch.run, s.batch.reset = s.run, true
	return nil
}

// rewire puts fresh logic beside the plant.
func (s *Session) rewire() error {
	c := s.opts.Config
	s.loop, s.before, s.heard = loop.New(c), interlock.NewState(c), make([]monitor.Reading, len(c.Channels))
	s.mirrors = newMirrors(s.Names, len(c.Channels), len(c.Outputs))
	s.decided = decision{reasons: make([]interlock.Reasons, len(c.Outputs))}
	s.scan, s.overrun, s.ahead = 0, false, 0
	if p, ok := s.plant.(Prepared); ok {
		s.ahead = p.Ahead()
	}
	s.anchor()
	if s.opts.Recorder == nil {
		return nil
	}
	var err error
	s.recorder, err = s.opts.Recorder(s.request)
	return err
}

func (s *Session) letGo() {
	if c, ok := s.plant.(Closer); ok {
		_ = c.Close()
	}
	s.plant = nil
}

// anchor makes the scan to come due now.
func (s *Session) anchor() {
	perScan := time.Duration(0)
	if _, fed := s.plant.(*Feed); s.drive.Speed > 0 && s.scan >= s.ahead && !fed {
		perScan = time.Duration(float64(s.opts.Period) / s.drive.Speed)
	}
	now := time.Now()
	s.pace.anchor(s.scan, now, perScan)
	s.measure.at, s.measure.scan = now, s.scan
}

// Run turns the session until the context ends. The error is what stopped the
// logic, if anything did; the session is still to be looked at until then.
func (s *Session) Run(ctx context.Context) error {
	var teller sync.WaitGroup
	teller.Go(s.tell)
	s.say("run began", tell.Note, fmt.Sprintf("run %d began on the %s", s.run, s.opts.Kind))
	for ctx.Err() == nil {
		s.work(ctx)
	}
	s.letGo()
	s.say("run ended", tell.Note, fmt.Sprintf("run %d ended after %d scans", s.run, s.scan))
	s.flush(true)
	close(s.full)
	teller.Wait()
	s.told.close()
	return errors.Join(s.failure, s.told.failure())
}

// work is one scan, one command or one pause.
func (s *Session) work(ctx context.Context) {
	if s.told.failure() != nil && s.drive.Mode == "running" {
		s.halt(s.told.failure())
	}
	if s.drive.Mode != "running" && s.scan < s.ahead && s.drive.Mode == "paused" {
		s.once()
		return
	}
	if s.drive.Mode != "running" {
		s.flush(true)
		select {
		case <-ctx.Done():
		case c := <-s.commands:
			s.carryOut(c)
		case <-s.told.broken:
			s.failure = errors.Join(s.failure, s.told.failure())
			s.told.broken = nil
		}
		return
	}
	if f, ok := s.plant.(*Feed); ok {
		if f.wait(s, ctx.Done()) {
			s.watchTheTime()
			s.once()
		}
		return
	}
	if wait := time.Until(s.pace.due(s.scan)); s.pace.perScan > 0 && wait > 0 {
		s.flushIfDue()
		timer := time.NewTimer(wait)
		defer timer.Stop()
		select {
		case <-ctx.Done():
			return
		case c := <-s.commands:
			s.carryOut(c)
			return
		case <-timer.C:
		}
	} else if s.scan%64 == 0 {
		select {
		case c := <-s.commands:
			s.carryOut(c)
			return
		default:
		}
	}
	s.watchTheTime()
	if s.once(); s.scan == s.ahead {
		s.anchor()
	}
}

// watchTheTime notices that a scan begins too late. In real time that is a
// cause of its own; at another speed the plant's time just waits.
func (s *Session) watchTheTime() {
	now := time.Now()
	if s.pace.perScan > 0 {
		late := now.Sub(s.pace.due(s.scan))
		s.late.add(late)
		if late > s.opts.Deadline {
			if s.overrun = s.drive.Speed == 1; s.overrun {
				s.log = append(s.log, logged{scan: s.scan, overrun: true})
			}
			s.pace.anchor(s.scan, now, s.pace.perScan)
		}
	}
	if span := now.Sub(s.measure.at); span >= time.Second {
		s.drive.Factor = float64(s.scan-s.measure.scan) * float64(s.opts.Period) / float64(span)
		s.measure.at, s.measure.scan = now, s.scan
	}
}

// once turns one scan.
func (s *Session) once() {
	more, err := s.loop.Once(source{s}, s)
	s.overrun = false
	switch {
	case err != nil:
		s.halt(err)
	case !more:
		s.drive.Mode, s.drive.Note = "ended", "the "+s.opts.Kind+" has ended"
		s.say("ended", tell.Note, s.drive.Note)
	case s.batch.scans >= batchScans:
		s.flush(false)
	}
}

// halt stops the logic for good in this run; nothing is energised any more.
func (s *Session) halt(err error) {
	s.failure = errors.Join(s.failure, err)
	s.loop.Decision.Coils, s.loop.Decision.Kick = 0, false
	s.letGo()
	s.drive.Mode, s.drive.Note = "stopped", err.Error()
	s.say("stopped", tell.Act, err.Error())
}

// batchScans is how many scans one portion holds at most.
const batchScans = 256

// source puts the overrun of the wall's time between plant and logic.
type source struct{ s *Session }

func (f source) Next(scan uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	more, err := f.s.plant.Next(scan, coils, in)
	in.Overrun = in.Overrun || f.s.overrun
	return more, err
}

func (f source) PowerUp(scan uint64) bool {
	f.s.poweredUp = false
	r, can := f.s.plant.(loop.Restarter)
	if !can || !r.PowerUp(scan) {
		return false
	}
	f.s.mirrors.powerUp()
	f.s.before.PowerUp()
	f.s.encoder.powerUp, f.s.poweredUp = true, true
	return true
}

// Watch is one scan, decided. It is the loop's watcher.
func (s *Session) Watch(t *loop.Turn) error {
	if err := s.mirrors.follow(t.Scan, t.State); err != nil {
		return err
	}
	for i, r := range t.In.Readings {
		if r.Quality != monitor.Absent {
			s.heard[i] = r
		}
	}
	if t.In.Overrun {
		s.overruns++
	}
	laneValues(s.opts.Config, t.State, s.values)
	b := s.batch
	if b.scans == 0 {
		b.first, b.run = t.Scan, s.run
	}
	b.readings, b.values = append(b.readings, t.In.Readings...), append(b.values, s.values...)
	b.inputs = s.encoder.append(b.inputs, t.In, b.scans == 0)
	b.scans++
	s.scan = t.Scan + 1
	s.turned.Add(1)
	if err := s.record(t); err != nil {
		return err
	}
	if s.quiet {
		s.decided.note(t.Decision)
	} else {
		s.word(t)
	}
	s.before.CopyFrom(t.State)
	return nil
}

// record gives a scan to whoever follows it.
func (s *Session) record(t *loop.Turn) error {
	observed, can := s.plant.(Observed)
	if can {
		for _, deed := range observed.Deeds() {
			if !s.quiet {
				s.say("plant", tell.Note, deed.Text, s.about(deed)...)
				told := &s.batch.events[len(s.batch.events)-1]
				told.Scan, told.TimeNs = t.Scan, int64(s.Elapsed(t.Scan))
			}
		}
	}
	if s.recorder == nil {
		return nil
	}
	row := trace.Row{Scan: t.Scan, Time: s.Elapsed(t.Scan), PowerUp: s.poweredUp, In: t.In, State: t.State, Decision: t.Decision}
	if can {
		row.Truth = observed.Truth()
	}
	return s.recorder.Write(&row)
}

// about names the lane that a deed is about.
func (s *Session) about(d Deed) []string {
	if slices.ContainsFunc(s.Lanes, func(l Lane) bool { return l.Name == d.On }) {
		return []string{d.On}
	}
	return nil
}

// word puts what happened in a scan into words.
func (s *Session) word(t *loop.Turn) {
	if len(t.Decision.Events) > 0 {
		w := s.Names.teller(s.before, t.In, t.State, t.Decision, t.Scan)
		for _, e := range t.Decision.Events {
			s.batch.events = append(s.batch.events, w.event(e))
		}
	}
	if s.decided.same(t.Decision) {
		return
	}
	s.decided.note(t.Decision)
	s.batch.records = append(s.batch.records, decidedOf(s.Names, t))
}

// decidedOf words a decision.
func decidedOf(n *Names, t *loop.Turn) Decided {
	record := Decided{Scan: t.Scan, Kick: t.Decision.Kick, Coils: []string{}, Withheld: map[string][]string{}}
	for i := range n.Config.Outputs {
		if t.Decision.Coils.Energised(i) {
			record.Coils = append(record.Coils, n.Output(i))
		} else {
			record.Withheld[n.Output(i)] = tell.Texts(t.Decision.Reasons[i])
		}
	}
	return record
}

func (d *decision) same(now *interlock.Decision) bool {
	if !d.any || d.coils != now.Coils || d.kick != now.Kick {
		return false
	}
	for i, r := range now.Reasons {
		if d.reasons[i] != r {
			return false
		}
	}
	return true
}

func (d *decision) note(now *interlock.Decision) {
	d.any, d.coils, d.kick = true, now.Coils, now.Kick
	copy(d.reasons, now.Reasons)
}

// say tells something about the session itself.
func (s *Session) say(kind string, rank tell.Rank, text string, causes ...string) {
	if s.batch.scans == 0 {
		s.batch.first, s.batch.run = s.scan, s.run
	}
	s.batch.events = append(s.batch.events, Event{
		Scan: s.scan, TimeNs: int64(time.Duration(s.scan) * s.opts.Period), Kind: kind, Rank: rank, Text: text,
		Causes: append([]string{}, causes...),
	})
}

// Flushing: at once for news when there is time, every 50 ms without.
const flushEvery = 50 * time.Millisecond

func (s *Session) flushIfDue() {
	if len(s.batch.events) > 0 || time.Since(s.sent) >= flushEvery {
		s.flush(false)
	}
}

// flush hands the batch over. It waits when the journal is behind.
func (s *Session) flush(still bool) {
	b := s.batch
	now := time.Now()
	if still || now.Sub(s.shotAt) >= flushEvery || len(b.events) > 0 && s.drive.Speed > 0 {
		b.shot, s.shotAt = s.shoot(), now
	}
	if b.scans == 0 && len(b.events) == 0 && !b.reset && !still {
		return
	}
	b.run, b.quiet = s.run, s.quiet
	s.handed.Add(1)
	s.full <- b
	s.batch, s.sent = <-s.free, now
	s.batch.empty()
	s.batch.first = s.scan
}

// shoot is the moment as it is now.
func (s *Session) shoot() *Snapshot {
	shot := s.Names.shoot(s.scan, s.heard, s.loop.State, s.loop.Decision)
	shot.Run, shot.Drive, shot.Overruns = s.run, s.drive, s.overruns
	if math.IsInf(shot.Drive.Factor, 0) || math.IsNaN(shot.Drive.Factor) || s.drive.Mode != "running" {
		shot.Drive.Factor = 0
	}
	shot.Late = LateShown{int64(s.late.max), int64(s.late.share(0.999))}
	if o, ok := s.plant.(Observed); ok {
		shot.Faults = append(shot.Faults, o.Acting()...)
	}
	return shot
}
