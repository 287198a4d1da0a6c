package replay

import (
	"fmt"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Recording hands out one scan after the other; nil ends it.
type Recording interface {
	Next() (*trace.Recorded, error)
}

// Options say how a recording is held against the logic.
type Options struct {
	// Tolerance is how many scans a recorded output may lead or trail the
	// logic's. A recording by this program needs none; a plant's own scans
	// began at a moment that nobody knows.
	Tolerance int
	// Running begins with the logic as it would stand in a plant that was
	// running when the recording began: connections bonded, nothing charged,
	// outputs as first recorded. Otherwise the logic begins at power-up.
	Running bool
	// RunningIfEnabled does so if an output is enabled in the first scan.
	RunningIfEnabled bool
	Watch            trace.Writer // told every scan, as the logic decides it; may be nil
}

// Replayer is one replay.
type Replayer struct {
	config *interlock.Config
	header *trace.Header
	option Options
	turner *turner
	ring   *ring
	report Report
	events [interlock.Kinds]int
	off    []int // per output: scans in a row in which it differed
	pulsed []pulse
	parted []int8 // per output: what was recorded at a divergence that still stands
	text   []byte
	first  *subject
	row    trace.Row
}

// what kind of thing differs.
type what uint8

const (
	output what = iota
	phase
	vessel
	events
)

var whatTexts = [...]string{"output", "phase", "vessel", "events"}

// subject is a difference as it was found.
type subject struct {
	what  what
	index int
	scan  uint64 // where it began
	found uint64 // where it was found: later, with a tolerance
}

// New prepares a replay; c must come from Compile, and h names its parts.
func New(c *interlock.Config, h *trace.Header, o Options) *Replayer {
	return &Replayer{
		config: c, header: h, option: o, turner: newTurner(c), off: make([]int, len(c.Outputs)), pulsed: make([]pulse, len(c.Outputs)), parted: unparted(len(c.Outputs)),
		ring: newRing(before + after + 1 + o.Tolerance),
	}
}

func unparted(n int) []int8 {
	list := make([]int8, n)
	for i := range list {
		list[i] = trace.NotRecorded
	}
	return list
}

// Run replays to the end of the recording. diary is where the recording's
// reader notes what was wrong with it; it is read at the end.
func (r *Replayer) Run(from Recording, diary *trace.Diary) (*Report, error) {
	r.report.ToleranceScans = r.option.Tolerance
	r.report.Start = "power-up"
	var last time.Duration
	reader := readAhead(from, r.config)
	defer reader.close()
	for {
		rec, err := reader.Next()
		if err != nil {
			return nil, err
		}
		if rec == nil {
			break
		}
		if rec.Resumed || r.report.Scans == 0 && r.runs(rec) {
			r.warm(rec)
			r.turner.disturbed()
		}
		if err := r.scan(rec); err != nil {
			return nil, err
		}
		last = rec.Time
	}
	reader.wait() // the diary is complete only now
	r.finishExcerpt()
	r.report.Lasts = last.Seconds()
	for kind, n := range r.events {
		if n > 0 {
			r.report.EventCounts = append(r.report.EventCounts, EventCount{interlock.Kind(kind).String(), n})
		}
	}
	r.report.judge(diary)
	return &r.report, nil
}

// runs reports that the plant was running when the recording began.
func (r *Replayer) runs(first *trace.Recorded) bool {
	running := r.option.Running
	for _, recorded := range first.Outputs {
		running = running || r.option.RunningIfEnabled && recorded == int8(interlock.Enabled)
	}
	return running
}

// scan turns the logic once and compares.
func (r *Replayer) scan(rec *trace.Recorded) error {
	if rec.PowerUp {
		r.turner.state.PowerUp()
		r.turner.disturbed()
	}
	moved := r.turner.turn(rec.In, !rec.Changed)
	if moved {
		for i := range r.turner.decision.Events {
			r.events[r.turner.decision.Events[i].Kind]++
		}
	}
	for i := range rec.In.Readings {
		if rec.In.Readings[i].Quality != monitor.Absent {
			r.report.Readings++
		}
	}
	if !r.ring.done {
		r.ring.keep(rec, r.turner.state)
		r.follow()
	}
	if err := r.watch(rec, moved); err != nil {
		return err
	}
	if moved || rec.Changed || len(rec.Events) > 0 {
		r.compare(rec)
	} else {
		r.countAlike(rec)
	}
	r.report.Scans++
	return nil
}

// watch tells the scan to the writers, with nothing told in a scan that moved
// nothing.
func (r *Replayer) watch(rec *trace.Recorded, moved bool) error {
	if r.option.Watch == nil {
		return nil
	}
	if !moved {
		r.turner.decision.Events = r.turner.decision.Events[:0]
	}
	r.row = trace.Row{Scan: rec.Scan, Time: rec.Time, PowerUp: rec.PowerUp, In: rec.In, State: r.turner.state, Decision: r.turner.decision}
	return r.option.Watch.Write(&r.row)
}

// countAlike counts what was compared in a scan in which neither side moved
// since they were last found alike; with a tolerance running, it looks.
func (r *Replayer) countAlike(rec *trace.Recorded) {
	for i, recorded := range rec.Outputs {
		if recorded != trace.NotRecorded {
			r.report.Compared++
		}
		if r.off[i] > 0 {
			r.compareOutput(i, recorded, rec)
		}
	}
	for _, list := range [...][]int8{rec.Phases, rec.Vessels} {
		for _, recorded := range list {
			if recorded != trace.NotRecorded {
				r.report.Compared++
			}
		}
	}
}

func (r *Replayer) compare(rec *trace.Recorded) {
	s := r.turner.state
	for i, recorded := range rec.Phases {
		if recorded == trace.NotRecorded {
			continue
		}
		r.report.Compared++
		if monitor.Phase(recorded) != s.Channels[i].Phase {
			r.diverge(subject{phase, i, rec.Scan, rec.Scan}, rec, phaseText(recorded), s.Channels[i].Phase.String())
			s.Channels[i].Control = monitor.Control{Phase: monitor.Phase(recorded), Class: s.Channels[i].Class, Age: s.Channels[i].Age}
			r.turner.disturbed()
		}
	}
	for i, recorded := range rec.Vessels {
		if recorded == trace.NotRecorded {
			continue
		}
		r.report.Compared++
		if have := int8(tell.ChargeOf(&s.Vessels[i])); recorded != have {
			r.diverge(subject{vessel, i, rec.Scan, rec.Scan}, rec, vesselText(recorded), vesselText(have))
			charge := tell.Charge(recorded)
			s.Vessels[i].Clear, s.Vessels[i].Early, s.Vessels[i].Waited = charge == tell.Clear, charge == tell.Early, 0
			r.turner.disturbed()
		}
	}
	for i, recorded := range rec.Outputs {
		if recorded != trace.NotRecorded {
			r.report.Compared++
			r.compareOutput(i, recorded, rec)
		}
	}
	// Events come last: a phase or an output says where and why the two part, the
	// text of an event only that they do. They were told by the turn already, so
	// what was brought together above has not touched them.
	r.compareEvents(rec)
}

// compareOutput holds one output against its recording, with the tolerance.
func (r *Replayer) compareOutput(i int, recorded int8, rec *trace.Recorded) {
	state := &r.turner.state.Outputs[i]
	alike := recorded == int8(state.Mode) || recorded == trace.Withheld && state.Mode != interlock.Enabled ||
		recorded == trace.NotRecorded
	p := &r.pulsed[i]
	p.follow(state.Mode == interlock.Enabled, rec.Scan)
	if alike {
		if r.off[i] > 0 && p.alone(recorded, r.option.Tolerance) {
			r.diverge(subject{output, i, p.began, rec.Scan}, rec, outputText(p.recorded), state.Mode.String())
		} else {
			r.report.LargestSkew = max(r.report.LargestSkew, r.off[i])
		}
		r.off[i], r.parted[i] = 0, trace.NotRecorded
		return
	}
	if r.parted[i] == recorded {
		return // the logic came to its decision once more: the same divergence
	}
	if r.off[i]++; r.off[i] == 1 {
		p.recorded, p.began = recorded, rec.Scan
	}
	if r.off[i] <= r.option.Tolerance {
		return
	}
	began := rec.Scan - uint64(r.off[i]-1)
	r.off[i], r.parted[i] = 0, recorded
	r.diverge(subject{output, i, began, rec.Scan}, rec, outputText(recorded), state.Mode.String())
	r.resynchronise(state, recorded)
	p.enabled = state.Mode == interlock.Enabled
}

// resynchronise makes the logic agree on what the plant did, so that the next
// difference is a new one. A withheld output keeps the record of its trip.
func (r *Replayer) resynchronise(state *interlock.OutputState, recorded int8) {
	mode := interlock.Tripped
	if recorded != trace.Withheld {
		mode = interlock.Mode(recorded)
	}
	button := state.Button
	state.OutputControl = interlock.OutputControl{Mode: mode, Button: button, StartLow: state.StartLow}
	r.turner.disturbed()
}

func (r *Replayer) compareEvents(rec *trace.Recorded) {
	if !rec.HasEvents {
		return
	}
	told := r.turner.decision.Events
	if len(told) == 0 && len(rec.Events) == 0 {
		return
	}
	r.text = r.header.AppendEvents(r.text[:0], told)
	r.report.Compared++
	if string(r.text) != string(rec.Events) {
		r.diverge(subject{events, 0, rec.Scan, rec.Scan}, rec, orNothing(string(rec.Events)), orNothing(string(r.text)))
	}
}

func orNothing(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}

// diverge counts a difference and, if it is the first, tells all about it.
// Phases, vessels and outputs are compared before their cause is overwritten.
func (r *Replayer) diverge(d subject, rec *trace.Recorded, recorded, logic string) {
	r.report.Divergences++
	at := (rec.Time - time.Duration(d.found-d.scan)*r.header.Period).Seconds()
	name, rule, causes, channel := r.explain(d, recorded)
	kind := fmt.Sprintf("%s: recorded %s, logic %s", name, recorded, logic)
	if d.what == events {
		kind = "events differ"
	} else if len(rule) > 0 {
		kind += " (" + rule[0] + ")"
	}
	r.report.count(kind, at)
	if r.report.First != nil {
		return
	}
	r.first = &d
	r.report.First = &Divergence{
		Scan: d.scan, Time: at, Line: r.ring.lineOf(d.scan, rec.Line), Subject: name,
		What: whatTexts[d.what], Recorded: recorded, Logic: logic, Rule: rule, Causes: causes,
	}
	if channel >= 0 {
		r.report.First.Channel = r.header.Channels[channel]
	}
	r.ring.left = after
}

// follow keeps the scans after the first divergence, then closes the excerpt.
func (r *Replayer) follow() {
	if r.first == nil {
		return
	}
	if r.ring.left--; r.ring.left <= 0 {
		r.finishExcerpt()
	}
}

func (r *Replayer) finishExcerpt() {
	if r.first == nil || r.ring.done {
		return
	}
	channel := -1
	for i, name := range r.header.Channels {
		if name == r.report.First.Channel {
			channel = i
		}
	}
	r.report.First.Excerpt = r.excerpt(r.first, channel)
	r.ring.done = true
}
