package play

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/wiring"
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

// Stimulation is one run of a scenario on a bench, in Stimulate mode.
type Stimulation struct {
	judge.Observed // with the map and the logic beside the unit
	Bench          *bench.Bench
	Source         loop.Source
	Watchers       []loop.Watcher // told every scan of the logic beside the unit
	Phase          time.Duration  // where in a scan the run begins

	Seen     map[Transition]bool
	Scans    uint64
	Polls    int
	state    stimulus.State
	observed interlock.CoilSet
	obeyed   [2]interlock.CoilSet // observed in the last two scans, the older first
	asked    map[int]port.Stamp   // per input module: when the last clear poll was on the wire
	clear    port.Stamp           // when all contacts were last read clearly
	turns    *loop.Loop
	before   interlock.CoilSet
	starting time.Duration // how long the scenario has to wait, because the unit has just been given its supply again
	phases   []monitor.Phase
	modes    []interlock.Mode
}

// Next hands the scenario the contacts of the unit instead of the logic's own decision, so that the plant obeys the unit. It
// does so two scans later: a unit may be a scan ahead of the logic, and the logic must not see a valve leave its end before
// it has decided itself.
func (p *Stimulation) Next(scan uint64, _ interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	obeyed := p.obeyed[0]
	p.obeyed = [2]interlock.CoilSet{p.obeyed[1], p.observed}
	return p.Source.Next(scan, obeyed, in)
}

// PowerUp passes on that the supply failed.
func (p *Stimulation) PowerUp(scan uint64) bool {
	r, ok := p.Source.(loop.Restarter)
	return ok && r.PowerUp(scan)
}

// Run plays the scenario to its end. The caller lets go of the bench afterwards, whatever comes back.
func (p *Stimulation) Run(ctx context.Context) error {
	p.asked, p.Seen = map[int]port.Stamp{}, map[Transition]bool{}
	p.turns = loop.New(p.Logic)
	p.phases, p.modes = make([]monitor.Phase, len(p.Logic.Channels)), make([]interlock.Mode, len(p.Logic.Outputs))
	p.state = stimulus.Rest(p.Map)
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

func (p *Stimulation) keepAlive() error {
	for _, module := range p.Bench.ModulesOf(wiring.KindRelays) {
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
func (p *Stimulation) powerUp(ctx context.Context) (more bool, err error) {
	if err := p.show(); err != nil {
		return false, err
	}
	if !bench.Pause(ctx, offTime+p.Phase) {
		return false, ctx.Err()
	}
	if more, err = p.turns.Once(p, append([]loop.Watcher{p}, p.Watchers...)...); err != nil || !more {
		return more, err
	}
	if p.Map.Supply != nil && !bench.Pause(ctx, p.Bench.Settled()) {
		return false, ctx.Err()
	}
	supplied := port.Now()
	p.state.Supply = true
	if err := p.show(); err != nil {
		return false, err
	}
	if err := p.boot(ctx); err != nil {
		return false, err
	}
	p.Begun, p.Scans = port.Now(), 1
	for index := range p.Stimuli { // a unit that was off has seen them since it was up, nobody knows when
		if p.Map.Supply != nil {
			p.Stimuli[index].When = interval.Moment{From: supplied, To: p.Begun}
		}
	}
	return true, nil
}

// boot waits for the unit to start, and for the first clear answer of its contacts.
func (p *Stimulation) boot(ctx context.Context) error {
	if boot := p.Map.Site.Rig.Supply.Boot; boot > 0 {
		for until := port.Now().Add(boot); port.Now() < until; {
			if !bench.Pause(ctx, min(boot, 50*time.Millisecond)) {
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
func (p *Stimulation) show() error {
	_, err := p.write(&p.state)
	return err
}

func (p *Stimulation) contactModules() (list []int) {
	for _, module := range p.Bench.ModulesOf(wiring.KindInputs) {
		for _, contact := range p.Map.Contacts {
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
func (p *Stimulation) poll() error {
	clear := true
	for _, module := range p.contactModules() {
		bits, times, err := p.Bench.ReadInputs(module)
		p.Polls++
		if bench.Fatal(err) {
			return bench.Lost(err)
		}
		if err != nil {
			p.Bench.Unclear++
			if port.Now().Sub(p.clear) > mostBlind {
				return bench.Lost(fmt.Errorf("no clear answer from the contacts for %v: %w", mostBlind, err))
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

func (p *Stimulation) heard(module int, bits []bool, times modbus.Times) {
	for output, contact := range p.Map.Contacts {
		if contact == nil || contact.Module != module || bits[contact.Point] == p.observed.Energised(output) {
			continue
		}
		on := bits[contact.Point]
		when := interval.Moment{From: p.asked[module], To: times.ReplyStart}
		if when.From == 0 {
			when.From = times.Asked // made from the beginning
		}
		p.Answers = append(p.Answers, judge.Answer{Output: output, On: on, When: when, Scan: p.Scans})
		p.observed ^= 1 << output
	}
}

// turn plays every scan that is due, each with its own write if it changes anything.
func (p *Stimulation) turn() (more bool, err error) {
	for {
		due := p.Begun.Add(time.Duration(p.Scans) * p.Map.Site.Period.Max)
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
		// A unit that starts again lives through none of the scenario until it has: the scenario waits for it.
		p.Begun, p.starting = p.Begun.Add(p.starting), 0
		p.Scans++
	}
}

// noteLag remembers how far behind the play was, and the first time that it was further behind than two scans and two cycles
// of the bus.
func (p *Stimulation) noteLag(lag time.Duration) {
	p.MostLag = max(p.MostLag, lag)
	m := p.Map
	if p.FirstLag == nil && lag > 2*m.Site.Period.Max+2*m.Load().Cycle {
		p.FirstLag = &judge.Lag{Scan: p.Scans, By: lag}
	}
}

// Watch is told every scan of the logic beside the unit: it shows the unit what the logic was shown.
func (p *Stimulation) Watch(t *loop.Turn) error {
	restarted := t.Scan > 0 && p.PowerUp(t.Scan)
	before := p.state.Clone()
	p.state.Supply = !restarted && t.Scan > 0 // powerUp gives it after scan zero
	if !restarted {
		p.state.Follow(p.Map, p.Logic, t.In, nil)
	}
	when, err := p.write(&before)
	if err != nil {
		return err
	}
	p.noteStimuli(&before, t.Scan, when)
	if p.state.Supply && !before.Supply {
		p.starting = p.Map.Site.Rig.Supply.Boot
	}
	p.decide(t)
	return nil
}

// written is when each module was moved in one scan, and when each channel's decade that was stepped under the unit's eyes.
type written struct {
	modules, channels map[int]interval.Moment
}

// write moves everything that does not show the scene yet. Decades first: behind an open relay their steps glitch unseen.
func (p *Stimulation) write(before *stimulus.State) (written, error) {
	b, when := p.Bench, written{map[int]interval.Moment{}, map[int]interval.Moment{}}
	for i := range b.Map.Channels {
		value, module := p.state.Channels[i], b.Map.Channels[i].Decade
		if module < 0 || value.Broken || value.Short || b.Setting(module) == value.Ohms {
			continue
		}
		if stimulus.Stepped(b.Map, i, before.Channels[i], value) {
			if err := p.step(i, before.Channels[i], value, when); err != nil {
				return when, err
			}
			continue
		}
		interval, err := b.SetDecade(module, value.Ohms)
		if err != nil {
			return when, err
		}
		when.modules[module] = interval
	}
	for module, wanted := range p.state.Relays(b.Map, b.Sizes()) {
		if b.Map.Kind(module) != wiring.KindRelays || slices.Equal(b.Commanded(module), wanted) {
			continue
		}
		interval, err := b.WriteRelays(module, wanted)
		if err != nil {
			return when, err
		}
		when.modules[module] = when.modules[module].Hull(interval)
	}
	return when, nil
}

// noteStimuli writes down what the unit was shown, and when.
func (p *Stimulation) noteStimuli(before *stimulus.State, scan uint64, when written) {
	m := p.Map
	for i := range m.Channels {
		from, to := before.Channels[i], p.state.Channels[i]
		if from == to {
			continue
		}
		c := &p.Logic.Channels[i].Config
		s := judge.Stimulus{Scan: scan, Name: m.Site.Channels[i].Name, From: from.String(), To: to.String(), Channel: true, Class: to.Class(c), Clean: p.phases[i] == monitor.Bonded, Minor: from.Class(c) == to.Class(c)}
		for _, module := range m.ModulesOfChannel(i) {
			if interval, moved := when.modules[module]; moved {
				s.When = s.When.Hull(interval)
			}
		}
		if interval, stepped := when.channels[i]; stepped {
			s.When = interval
			p.noteGlitch(i, from, to, scan)
		}
		p.Stimuli = append(p.Stimuli, s)
	}
	for i, t := range m.Drives {
		if t != nil && before.Levels[i] != p.state.Levels[i] {
			p.Stimuli = append(p.Stimuli, judge.Stimulus{Scan: scan, Name: m.Site.Inputs[i].Name, From: level(before.Levels[i]), To: level(p.state.Levels[i]), When: when.modules[t.Module]})
		}
	}
	if m.Supply != nil && before.Supply != p.state.Supply {
		p.Stimuli = append(p.Stimuli, judge.Stimulus{Scan: scan, Name: "supply", From: supplyLevel(before.Supply), To: supplyLevel(p.state.Supply), When: when.modules[m.Supply.Module], Supply: true})
	}
}

// decide writes down what the logic decided beside the unit.
func (p *Stimulation) decide(t *loop.Turn) {
	m := p.Map
	for i := range p.phases {
		if phase := t.State.Channels[i].Phase; phase != p.phases[i] {
			if m.Plays(i) {
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
		d := judge.Decided{Output: output, On: on, Scan: t.Scan}
		if !on {
			trip := &t.State.Outputs[output].Trip
			trip.FirstOut.Each(func(cause int) { d.FirstOut = append(d.FirstOut, cause) })
			d.Unconfirmed = len(d.FirstOut) == 0 && trip.Why&interlock.ReasonUnconfirmed != 0
		}
		p.Decided = append(p.Decided, d)
	}
	p.before = t.Decision.Coils
}

// LastPoll is the last moment at which all contacts were known.
func (p *Stimulation) LastPoll() port.Stamp {
	last := port.Stamp(1<<63 - 1)
	for _, at := range p.asked {
		last = min(last, at)
	}
	return max(last, p.Begun)
}
