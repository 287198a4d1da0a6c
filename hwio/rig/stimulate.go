package rig

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/monitor"
)

// ErrLate: the program could not keep the pace of the scenario; what was measured after that means nothing.
var ErrLate = errors.New("the rig could not keep up with the scenario")

const (
	// mostLag is how far the play may fall behind its own time.
	mostLag = time.Second
	// mostBlind is how long the contacts may go without a clear answer.
	mostBlind = 2 * time.Second
)

// Stimulus is one change that was shown to the unit.
type Stimulus struct {
	Scan     uint64
	Name     string // channel or input
	When     Interval
	From, To string
	Class    monitor.Class // of a channel, afterwards
	Channel  bool
	Clean    bool // the channel was bonded, without doubt, before
	Minor    bool // of a channel: another value of the same class
	Supply   bool // of the unit: it reaches every output
}

// String is the stimulus for people.
func (s *Stimulus) String() string { return fmt.Sprintf("%s %s -> %s", s.Name, s.From, s.To) }

// Answer is one change of a contact of the unit.
type Answer struct {
	Output int
	On     bool
	When   Interval
	Scan   uint64
}

// Decided is one change by the logic itself, held against which the unit is judged.
type Decided struct {
	Output   int
	On       bool
	Scan     uint64
	FirstOut []int // of a trip: causes
	// Unconfirmed: of a trip that no cause made, but an actuator that did not report in time.
	Unconfirmed bool
}

// Performance is one run of a scenario on a bench, in Stimulate mode.
type Performance struct {
	Bench    *Bench
	Logic    *interlock.Config
	Source   loop.Source
	Watchers []loop.Watcher // told every scan of the logic beside the unit
	Phase    time.Duration  // where in a scan the run begins

	Stimuli  []Stimulus
	Answers  []Answer
	Decided  []Decided
	Seen     map[Transition]bool
	Begun    port.Stamp // scan zero
	Ended    port.Stamp
	Scans    uint64
	Polls    int
	MostLag  time.Duration
	bent     *bend // the first time that the play fell behind by more than a rig always does
	scene    scene
	observed interlock.CoilSet
	obeyed   [2]interlock.CoilSet // observed in the last two scans, the older first
	asked    map[int]port.Stamp   // per input module: when the last clear poll was on the wire
	clear    port.Stamp           // when all contacts were last read clearly
	turns    *loop.Loop
	before   interlock.CoilSet
	glitches []glitch      // steps of a decade that the unit may have tripped on
	starting time.Duration // what the story has to wait, because the unit has just been given its supply again
	phases   []monitor.Phase
	modes    []interlock.Mode
}

// Next hands the scenario the contacts of the unit instead of the logic's own decision, so that the plant obeys the unit. It
// does so two scans later: a unit may be a scan ahead of the logic, and the logic must not see a valve leave its end before
// it has decided itself.
func (p *Performance) Next(scan uint64, _ interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	obeyed := p.obeyed[0]
	p.obeyed = [2]interlock.CoilSet{p.obeyed[1], p.observed}
	return p.Source.Next(scan, obeyed, in)
}

// PowerUp passes on that the supply failed.
func (p *Performance) PowerUp(scan uint64) bool {
	r, ok := p.Source.(loop.Restarter)
	return ok && r.PowerUp(scan)
}

// Play runs the scenario to its end. The caller lets go of the bench afterwards, whatever comes back.
func (p *Performance) Play(ctx context.Context) error {
	p.asked, p.Seen = map[int]port.Stamp{}, map[Transition]bool{}
	p.turns = loop.New(p.Logic)
	p.phases, p.modes = make([]monitor.Phase, len(p.Logic.Channels)), make([]interlock.Mode, len(p.Logic.Outputs))
	p.scene = p.Bench.Map.newScene()
	more, err := p.powerUp(ctx)
	for more && err == nil {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := p.poll(); err != nil {
			return err
		}
		if more, err = p.turn(); err != nil || !more {
			break
		}
		if err := p.keepAlive(); err != nil {
			return err
		}
	}
	if err == nil {
		p.Ended = port.Now()
	}
	return err
}

func (p *Performance) keepAlive() error {
	for _, module := range p.Bench.modulesOf(kindRelays) {
		if err := p.Bench.KeepAlive(module); err != nil {
			return err
		}
	}
	return nil
}

// offTime is how long the unit stays without supply, so that it forgets.
const offTime = 300 * time.Millisecond

// powerUp opens everything, shows what scan zero brings, and only then gives the unit its supply, where a relay does: the unit
// must find at its power-up what the logic finds at its own. A clamp that came on a moment later would be a reconnection.
func (p *Performance) powerUp(ctx context.Context) (more bool, err error) {
	if err := p.show(); err != nil {
		return false, err
	}
	if !pause(ctx, offTime+p.Phase) {
		return false, ctx.Err()
	}
	if more, err = p.turns.Once(p, append([]loop.Watcher{p}, p.Watchers...)...); err != nil || !more {
		return more, err
	}
	if p.Bench.Map.Supply != nil && !pause(ctx, p.Bench.longestOperate()+settleContact) {
		return false, ctx.Err()
	}
	supplied := port.Now()
	p.scene.supply = true
	if err := p.show(); err != nil {
		return false, err
	}
	if err := p.boot(ctx); err != nil {
		return false, err
	}
	p.Begun, p.Scans = port.Now(), 1
	for index := range p.Stimuli { // a unit that was off has seen them since it was up, nobody knows when
		if p.Bench.Map.Supply != nil {
			p.Stimuli[index].When = Interval{supplied, p.Begun}
		}
	}
	return true, nil
}

// boot waits for the unit to start, and for the first clear answer of its contacts.
func (p *Performance) boot(ctx context.Context) error {
	if boot := p.Bench.Map.Site.Rig.Supply.Boot; boot > 0 {
		for until := port.Now().Add(boot); port.Now() < until; {
			if !pause(ctx, min(boot, 50*time.Millisecond)) {
				return ctx.Err()
			}
			if err := p.keepAlive(); err != nil {
				return err
			}
		}
	}
	p.clear = port.Now()
	for len(p.asked) < len(p.contactModules()) {
		if err := errors.Join(ctx.Err(), p.poll()); err != nil {
			return err
		}
	}
	return nil
}

// show writes the scene, where nobody asks when.
func (p *Performance) show() error {
	_, err := p.write(&p.scene)
	return err
}

func (p *Performance) contactModules() (list []int) {
	for _, module := range p.Bench.modulesOf(kindInputs) {
		for _, contact := range p.Bench.Map.Contacts {
			if contact != nil && contact.Module == module {
				list = append(list, module)
				break
			}
		}
	}
	return list
}

// poll reads the contacts of the unit once. An answer that is lost or in doubt concludes nothing: the next one then closes a
// longer interval.
func (p *Performance) poll() error {
	clear := true
	for _, module := range p.contactModules() {
		bits, times, err := p.Bench.ReadInputs(module)
		p.Polls++
		if fatal(err) {
			return lost(err)
		}
		if err != nil {
			p.Bench.Unclear++
			if port.Now().Sub(p.clear) > mostBlind {
				return lost(fmt.Errorf("no clear answer from the contacts for %v: %w", mostBlind, err))
			}
			clear = false
			continue
		}
		p.heard(module, bits, times)
		p.asked[module] = times.RequestEnd
	}
	if clear {
		p.clear = port.Now()
	}
	return nil
}

func (p *Performance) heard(module int, bits []bool, times modbus.Times) {
	for output, contact := range p.Bench.Map.Contacts {
		if contact == nil || contact.Module != module || bits[contact.Point] == p.observed.Energised(output) {
			continue
		}
		on := bits[contact.Point]
		when := Interval{p.asked[module], times.ReplyStart}
		if when.From == 0 {
			when.From = times.Asked // made from the beginning
		}
		p.Answers = append(p.Answers, Answer{Output: output, On: on, When: when, Scan: p.Scans})
		p.observed ^= 1 << output
	}
}

// turn plays every scan that is due, each with its own write if it changes anything.
func (p *Performance) turn() (more bool, err error) {
	for {
		due := p.Begun.Add(time.Duration(p.Scans) * p.Bench.Map.Site.Period.Max)
		lag := port.Now().Sub(due)
		if lag < 0 {
			return true, nil
		}
		p.noteLag(lag)
		if lag > mostLag {
			return false, fmt.Errorf("%w: %v behind in scan %d", ErrLate, lag.Round(time.Millisecond), p.Scans)
		}
		more, err := p.turns.Once(p, append([]loop.Watcher{p}, p.Watchers...)...)
		if err != nil || !more {
			return false, err
		}
		// A unit that starts again lives through none of the story until it has: the story waits for it.
		p.Begun, p.starting = p.Begun.Add(p.starting), 0
		p.Scans++
	}
}

// bend is a moment from which on the unit was shown another course of time than the logic: the logic counts scans, the unit
// lives through what lies between them.
type bend struct {
	scan uint64
	lag  time.Duration
}

// noteLag remembers how far behind the play was, and the first time that it was further behind than two scans and two cycles
// of the bus.
func (p *Performance) noteLag(lag time.Duration) {
	p.MostLag = max(p.MostLag, lag)
	m := p.Bench.Map
	if p.bent == nil && lag > 2*m.Site.Period.Max+2*m.Load().Cycle {
		p.bent = &bend{p.Scans, lag}
	}
}

// Forgive takes back what was found violated after the play had been bent: presses and waits were shorter or longer for the
// unit than for the logic, so a good unit may differ. But no bend excuses a trip that is later than its bound by more than it.
func (p *Performance) Forgive(steps []sheet.Step) []sheet.Step {
	for index := range steps {
		s := &steps[index]
		if s.Verdict == sheet.Violated {
			if text := p.excuse(s); text != "" {
				s.Verdict, s.Text = sheet.CannotTell, s.Text+"; but "+text
			}
		}
		if s.Verdict != sheet.Violated || p.bent == nil {
			continue
		}
		until := s.At
		if s.Bound != nil { // the time in which the answer was waited for
			until += (s.Bound.Most + ms(p.MostLag)) / 1000
		}
		if until < float64(p.bent.scan)*p.Bench.Map.Site.Period.Max.Seconds() {
			continue
		}
		if s.Change == change(false) && s.Measured != nil && s.Bound != nil && s.Measured.Least > s.Bound.Most+ms(p.MostLag) {
			continue
		}
		s.Verdict = sheet.CannotTell
		s.Text += fmt.Sprintf("; but the bench was %v behind in scan %d, and showed the unit another course of time than the logic: play it again", p.bent.lag.Round(time.Millisecond), p.bent.scan)
	}
	return steps
}

// Watch is told every scan of the logic beside the unit: it shows the unit what the logic was shown.
func (p *Performance) Watch(t *loop.Turn) error {
	restarted := t.Scan > 0 && p.PowerUp(t.Scan)
	before := scene{append([]Play(nil), p.scene.plays...), append([]bool(nil), p.scene.levels...), p.scene.supply}
	p.scene.supply = !restarted && t.Scan > 0 // powerUp gives it after scan zero
	if !restarted {
		p.Bench.Map.show(&p.scene, p.Logic, t.In, nil)
	}
	when, err := p.write(&before)
	if err != nil {
		return err
	}
	p.noteStimuli(&before, t.Scan, when)
	if p.scene.supply && !before.supply {
		p.starting = p.Bench.Map.Site.Rig.Supply.Boot
	}
	p.decide(t)
	return nil
}

// written is when each module was moved in one scan, and when each channel's decade that was stepped under the unit's eyes.
type written struct {
	modules, channels map[int]Interval
}

// write moves everything that does not show the scene yet. Decades first: behind an open relay their steps glitch unseen.
func (p *Performance) write(before *scene) (written, error) {
	b, when := p.Bench, written{map[int]Interval{}, map[int]Interval{}}
	for i := range b.Map.Channels {
		play, module := p.scene.plays[i], b.Map.Channels[i].Decade
		if module < 0 || play.Broken || play.Short || b.set[module] == play.Value {
			continue
		}
		if b.Map.stepped(i, before.plays[i], play) {
			if err := p.step(i, before.plays[i], play, when); err != nil {
				return when, err
			}
			continue
		}
		interval, err := b.SetDecade(module, play.Value)
		if err != nil {
			return when, err
		}
		when.modules[module] = interval
	}
	for module, wanted := range b.Map.coils(&p.scene, b.sizes) {
		if b.Map.kind(module) != kindRelays || len(differences(b.coils[module], wanted)) == 0 {
			continue
		}
		interval, err := b.WriteRelays(module, wanted)
		if err != nil {
			return when, err
		}
		when.modules[module] = when.modules[module].hull(interval)
	}
	return when, nil
}

// noteStimuli writes down what the unit was shown, and when.
func (p *Performance) noteStimuli(before *scene, scan uint64, when written) {
	m := p.Bench.Map
	for i := range m.Channels {
		from, to := before.plays[i], p.scene.plays[i]
		if from == to {
			continue
		}
		c := &p.Logic.Channels[i].Config
		s := Stimulus{Scan: scan, Name: m.Site.Channels[i].Name, From: from.String(), To: to.String(), Channel: true, Class: to.class(c), Clean: p.phases[i] == monitor.Bonded, Minor: from.class(c) == to.class(c)}
		for _, module := range m.modulesOfChannel(i) {
			if interval, moved := when.modules[module]; moved {
				s.When = s.When.hull(interval)
			}
		}
		if interval, stepped := when.channels[i]; stepped {
			s.When = interval
			p.noteGlitch(i, from, to, scan)
		}
		p.Stimuli = append(p.Stimuli, s)
	}
	for i, t := range m.Drives {
		if t != nil && before.levels[i] != p.scene.levels[i] {
			p.Stimuli = append(p.Stimuli, Stimulus{Scan: scan, Name: m.Site.Inputs[i].Name, From: level(before.levels[i]), To: level(p.scene.levels[i]), When: when.modules[t.Module]})
		}
	}
	if m.Supply != nil && before.supply != p.scene.supply {
		p.Stimuli = append(p.Stimuli, Stimulus{Scan: scan, Name: "supply", From: supplyLevel(before.supply), To: supplyLevel(p.scene.supply), When: when.modules[m.Supply.Module], Supply: true})
	}
}

func supplyLevel(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

func level(on bool) string {
	if on {
		return "1"
	}
	return "0"
}

// class is how the unit should see a play.
func (p Play) class(c *monitor.Config) monitor.Class {
	switch {
	case p.Broken:
		return monitor.Open
	case p.Short:
		return classOf(c, 0)
	}
	return classOf(c, p.Value)
}

func (m *Map) modulesOfChannel(channel int) (list []int) {
	c := &m.Channels[channel]
	if c.Decade >= 0 {
		list = append(list, c.Decade)
	}
	for _, t := range []*Terminal{c.Break, c.Short} {
		if t != nil {
			list = append(list, t.Module)
		}
	}
	for k := range c.Resistors {
		list = append(list, c.Resistors[k].Relay.Module)
	}
	return list
}

// decide writes down what the logic decided beside the unit.
func (p *Performance) decide(t *loop.Turn) {
	m := p.Bench.Map
	for i := range p.phases {
		if phase := t.State.Channels[i].Phase; phase != p.phases[i] {
			if m.wired(i) {
				p.Seen[Transition{m.Site.Channels[i].Name, p.phases[i].String(), phase.String()}] = true
			}
			p.phases[i] = phase
		}
	}
	for output, contact := range m.Contacts {
		mode := t.State.Outputs[output].Mode
		if contact != nil && mode != p.modes[output] {
			p.Seen[Transition{m.Site.Outputs[output].Name, p.modes[output].String(), mode.String()}] = true
		}
		p.modes[output] = mode
		on := t.Decision.Coils.Energised(output)
		if contact == nil || on == p.before.Energised(output) {
			continue
		}
		d := Decided{Output: output, On: on, Scan: t.Scan}
		if !on {
			trip := &t.State.Outputs[output].Trip
			trip.FirstOut.Each(func(cause int) { d.FirstOut = append(d.FirstOut, cause) })
			d.Unconfirmed = len(d.FirstOut) == 0 && trip.Why&interlock.ReasonUnconfirmed != 0
		}
		p.Decided = append(p.Decided, d)
	}
	p.before = t.Decision.Coils
}
