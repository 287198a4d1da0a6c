package sim

import (
	"fmt"
	"math"
	"strings"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// schedule plans all steps and faults of a scenario; zero is the scan in which
// its time begins.
func (p *Plant) schedule(sc *Scenario, zero uint64, n *names) {
	for i := range sc.Steps {
		p.planStep(&sc.Steps[i], zero, n)
	}
	for i := range sc.Faults {
		for _, name := range sc.Faults[i].On {
			if sc.Faults[i].Fault.On == fault.OnBus {
				break
			}
			p.planFault(sc, i, name, zero, n)
		}
		if f := sc.Faults[i].Fault; f.On == fault.OnBus || f.On == fault.OnLogic {
			p.planFault(sc, i, "", zero, n)
		}
	}
}

// planStep plans one step for everything it names.
func (p *Plant) planStep(st *Step, zero uint64, n *names) {
	at := zero + st.At.ceil(p.Period)
	end := uint64(never)
	if st.For.Declared {
		end = at + max(1, st.For.ceil(p.Period))
	}
	if len(st.On) == 0 {
		p.planMachine(st, at)
	}
	for _, name := range st.On {
		i := n.number[name].i
		switch st.Act {
		case Connect, Disconnect:
			p.planClamp(st, name, i, at)
		case Press, Hold, Release, Set:
			p.planHand(st, name, i, at, end)
		default:
			p.planForce(st, name, n.number[name], at, end)
		}
	}
}

func (p *Plant) planMachine(st *Step, at uint64) {
	if st.Act == Restart {
		p.plan(at, Deed{Text: "logic restarted: memory lost"}, func(p *Plant, _ uint64) { p.restart = true })
	} else {
		p.plan(at, Deed{Text: interlock.Overrun.String()}, func(p *Plant, _ uint64) { p.overrun = true })
	}
}

func (p *Plant) planClamp(st *Step, name string, i int, at uint64) {
	if st.Act == Disconnect {
		p.plan(at, Deed{"clamp of " + name + " taken off", name}, func(p *Plant, _ uint64) { p.channels[i].attached = hangingFree })
		return
	}
	text := "clamp of " + name + " put on the " + st.To
	p.plan(at, Deed{text, name}, func(p *Plant, _ uint64) {
		c := &p.channels[i]
		c.attached = onPart
		c.touch = defaultTouch(&p.Site.Channels[i], c.lead)
		switch st.To {
		case "wrong object":
			c.attached, c.object = onWrongObject, 0.2
			if st.HasOhm {
				c.object = st.Ohms
			}
			return
		case "paint":
			c.touch = 50e3
		}
		if st.HasOhm {
			c.touch = st.Ohms
		}
	})
}

func (p *Plant) planHand(st *Step, name string, i int, at, end uint64) {
	in := &p.inputs[i]
	switch st.Act {
	case Press:
		p.press(in, "pressed", at, end)
	case Hold:
		p.plan(at, Deed{name + " held down", name}, func(*Plant, uint64) { in.on = true })
	case Release:
		p.plan(at, Deed{name + " let go", name}, func(*Plant, uint64) { in.on = false })
	case Set:
		yes := st.To == "yes"
		p.plan(at, Deed{name + " set to " + st.To, name}, func(*Plant, uint64) { in.on = yes })
	}
}

// press plans a press of a button from one scan up to another.
func (p *Plant) press(in *input, word string, at, end uint64) {
	text := in.name + " " + word
	if end != never {
		text += fmt.Sprintf(" for %.3g s", float64(end-at)*p.seconds)
	}
	p.plan(at, Deed{text, in.name}, func(*Plant, uint64) { in.pressed++ })
	if end != never {
		p.plan(end, Deed{}, func(*Plant, uint64) { in.pressed-- })
	}
}

// planForce plans a read: step: exactly what the logic gets.
func (p *Plant) planForce(st *Step, name string, where place, at, end uint64) {
	p.noteForce(name, at)
	if where.what == anInput {
		in := &p.inputs[where.i]
		if st.Act == ReadPlant {
			p.plan(at, Deed{}, func(*Plant, uint64) { in.isForced = false })
			return
		}
		p.plan(at, Deed{}, func(*Plant, uint64) { in.isForced, in.forced = true, st.Signal })
		if end != never {
			p.plan(end, Deed{}, func(p *Plant, scan uint64) { in.isForced = p.forcedAgain(name, scan) })
		}
		return
	}
	c := &p.channels[where.i]
	p.plan(at, Deed{}, func(*Plant, uint64) { c.forced = c.force(st) })
	if end != never {
		p.plan(end, Deed{}, func(p *Plant, scan uint64) {
			if !p.forcedAgain(name, scan) {
				c.forced = force{}
			}
		})
	}
}

// noteForce and forcedAgain let the end of one read: step give way to another
// that begins in the same scan.
func (p *Plant) noteForce(name string, at uint64) {
	if p.forces == nil {
		p.forces = map[string]map[uint64]bool{}
	}
	if p.forces[name] == nil {
		p.forces[name] = map[uint64]bool{}
	}
	p.forces[name][at] = true
}

func (p *Plant) forcedAgain(name string, scan uint64) bool { return p.forces[name][scan] }

// force is what a read: step makes of a channel.
func (c *channel) force(st *Step) force {
	switch st.Act {
	case ReadPlant:
		return force{}
	case ReadAgain:
		return force{on: true, repeat: true}
	case ReadValue:
		return force{on: true, reading: monitor.Reading{Value: st.Value, Quality: monitor.Valid}}
	}
	reading, _ := forcedReading(c.logic, st.Class)
	return force{on: true, reading: reading}
}

// planFault plans the beginning and the end of one fault on one thing.
func (p *Plant) planFault(sc *Scenario, i int, name string, zero uint64, n *names) {
	f := &sc.Faults[i]
	at, end := zero+f.At.ceil(p.Period), uint64(never)
	if f.Until.Declared {
		end = zero + f.Until.ceil(p.Period)
	}
	a := &acting{
		fault: f.Fault, num: f.Num, word: f.Word, on: n.number[name].i,
		draw: NewStream(p.Seed, name, f.Fault.Name, fmt.Sprint(i)),
	}
	a.label = f.Fault.Name
	text := f.Fault.Title
	if name != "" {
		a.label += " " + name
		text += " on " + name
	}
	if len(f.Texts) > 0 {
		text += " (" + strings.Join(f.Texts, ", ") + ")"
	}
	targets := make([]place, 0, len(f.On))
	for _, on := range f.On {
		targets = append(targets, n.number[on])
	}
	a.targets = targets
	p.plan(at, Deed{text, name}, func(p *Plant, scan uint64) {
		a.begun = scan
		p.active = append(p.active, a)
		p.begin(a, targets, end)
	})
	if end != never && !f.Fault.Act {
		p.plan(end, Deed{"over: " + text, name}, func(p *Plant, scan uint64) {
			if a.over {
				return
			}
			p.active = without(p.active, a)
			p.finish(a, targets)
		})
	} else if f.Fault.Act && end != never && f.Fault.Name == "clamp_removed" {
		p.plan(end, Deed{"clamp of " + name + " put back", name}, func(p *Plant, _ uint64) {
			p.active = without(p.active, a)
			p.channels[a.on].attached = onPart
		})
	}
}

func without(list []*acting, gone *acting) []*acting {
	kept := list[:0]
	for _, a := range list {
		if a != gone {
			kept = append(kept, a)
		}
	}
	return kept
}

// begin lets a fault act.
func (p *Plant) begin(a *acting, on []place, end uint64) {
	switch a.fault.On {
	case fault.OnChannel:
		p.beginOnChannel(a)
	case fault.OnBus:
		p.cutBus(on, 1)
	case fault.OnOutput:
		p.actuators[a.on].suffer(a, 1)
	case fault.OnInput:
		p.beginOnInput(&p.inputs[a.on], a)
	case fault.OnBypass:
		key := p.Site.InputIndex(p.Site.Bypasses[a.on].Input)
		p.pressFor(&p.inputs[key], a)
	case fault.OnLogic:
		if a.is("power_dip") {
			p.off++
		}
		p.machine = append(p.machine, a)
	}
}

// finish lets a fault end.
func (p *Plant) finish(a *acting, on []place) {
	switch a.fault.On {
	case fault.OnChannel:
		c := &p.channels[a.on]
		c.acting = without(c.acting, a)
		if a.is("clamp_on_wrong_object") {
			c.attached = onPart
		}
	case fault.OnBus:
		p.cutBus(on, -1)
	case fault.OnOutput:
		p.actuators[a.on].suffer(a, -1)
	case fault.OnInput:
		p.inputs[a.on].suffer(a, -1, p.seconds)
	case fault.OnLogic:
		if a.is("power_dip") {
			p.off--
			p.restart = true
		}
		p.machine = without(p.machine, a)
	}
}

func (p *Plant) beginOnChannel(a *acting) {
	c := &p.channels[a.on]
	switch a.fault.Name {
	case "clamp_removed":
		c.attached = hangingFree
	case "clamp_put_back":
		c.attached, c.touch = onPart, a.num[0]
	case "clamp_on_wrong_object":
		c.attached, c.object = onWrongObject, a.num[0]
	default:
		if a.is("frozen_reading") && c.last.Quality == monitor.Valid {
			a.kept, a.seen = c.last, true
		}
		c.acting = append(c.acting, a)
	}
}

func (p *Plant) cutBus(on []place, by int) {
	for _, where := range on {
		if where.what == aChannel {
			p.channels[where.i].cut += by
		} else {
			p.inputs[where.i].cut += by
		}
	}
}

func (p *Plant) beginOnInput(in *input, a *acting) {
	if a.is("button_pressed") {
		p.pressFor(in, a)
		return
	}
	in.suffer(a, 1, p.seconds)
}

// pressFor presses a button for the time in the fault's first parameter.
func (p *Plant) pressFor(in *input, a *acting) {
	in.pressed++
	end := a.begun + max(1, p.Scans(time.Duration(a.num[0]*1e9)))
	p.insert(end, func(p *Plant, _ uint64) {
		in.pressed--
		p.active = without(p.active, a)
	})
}

// insert plans a deed while the plant runs.
func (p *Plant) insert(scan uint64, do func(p *Plant, scan uint64)) {
	at := p.next
	for at < len(p.agenda) && p.agenda[at].scan <= scan {
		at++
	}
	p.agenda = append(p.agenda, deed{})
	copy(p.agenda[at+1:], p.agenda[at:])
	p.agenda[at] = deed{scan: scan, do: do}
}

// suffer begins (by 1) or ends (by -1) a fault on an input.
func (in *input) suffer(a *acting, by int, seconds float64) {
	switch a.fault.Name {
	case "input_lost":
		if a.word == "faulty" {
			in.faulty += by
		} else {
			in.lost += by
		}
	case "input_stuck":
		if a.word == "1" {
			in.stuckHigh += by
		} else {
			in.stuckLow += by
		}
	case "end_switch_on":
		in.made += by
	case "end_switch_off":
		in.open += by
	case "button_held", "button_taped":
		in.pressed += by
	case "button_bouncing":
		in.bounce = 0
		if by > 0 {
			in.bounce = max(1, uint64(math.Ceil(a.num[0]/seconds-1e-9)))
		}
	}
}

// suffer begins (by 1) or ends (by -1) a fault on an actuator.
func (a *actuator) suffer(f *acting, by int) {
	switch f.fault.Name {
	case "welded_contact":
		a.welded += by
	case "stuck_valve":
		a.stuck += by
	case "slow_valve":
		a.slower += float64(float64(by) * f.num[0])
		a.setPace()
	}
}

// prelude plans what brings a site from power-up to the beginning of a
// scenario, and returns how many scans it takes.
func (p *Plant) prelude(sc *Scenario, n *names) uint64 {
	if sc.Begin == AtPowerUp {
		return 0
	}
	except := map[string]bool{}
	for _, name := range sc.Except {
		except[name] = true
	}
	for i := range p.channels {
		if !except[p.channels[i].name] {
			p.plan(0, Deed{}, func(p *Plant, _ uint64) { p.channels[i].attached = onPart })
		}
	}
	p.presetInputs(sc, except, n)
	at := p.longestWait()
	if sc.Begin == Running {
		at = p.startAll(at, except)
	}
	return at
}

// presetInputs sets what shows that everything is in its place.
func (p *Plant) presetInputs(sc *Scenario, except map[string]bool, n *names) {
	yes := map[string]bool{}
	for i := range p.Site.Channels {
		if c := &p.Site.Channels[i]; c.Evidence != "" && !except[c.Name] {
			yes[c.Evidence] = true
		}
	}
	for _, name := range sc.With {
		yes[name] = true
	}
	for i := range p.inputs {
		in := &p.inputs[i]
		if yes[in.name] && !except[in.name] && in.follows == people {
			p.plan(0, Deed{}, func(*Plant, uint64) { in.on = true })
		}
	}
}

// longestWait is a number of scans after which every channel has settled and
// every vessel has waited.
func (p *Plant) longestWait() uint64 {
	longest := uint64(0)
	for i := range p.Logic.Channels {
		c := &p.Logic.Channels[i]
		slow := p.Site.Channels[i].ResponseTime
		longest = max(longest, uint64(c.SettleScans)+uint64(c.SettleReadings)+p.Scans(2*slow))
	}
	travel, down := uint64(0), uint64(0)
	for i := range p.Logic.Outputs {
		travel = max(travel, uint64(p.Logic.Outputs[i].Travel))
	}
	for i := range p.Logic.Streams {
		down = max(down, uint64(p.Logic.Streams[i].RunDown))
	}
	for i := range p.Logic.Vessels {
		longest = max(longest, uint64(p.Logic.Vessels[i].Wait)+down+travel)
	}
	return longest + 20
}

// startAll plans the presses that reset and start every output, one after the
// other, and returns when all of them have arrived.
func (p *Plant) startAll(at uint64, except map[string]bool) uint64 {
	arrive := at
	done := map[int]bool{}
	for _, i := range p.Logic.Order() {
		o, f := &p.Logic.Outputs[i], &p.Site.Outputs[i]
		if except[f.Name] {
			continue
		}
		at += uint64(o.OnDelay) + 5
		for _, name := range []string{f.Reset, f.Start} {
			if name == "" || done[p.Site.InputIndex(name)] || except[name] {
				continue
			}
			in := p.Site.InputIndex(name)
			done[in] = true
			at = p.pressQuietly(&p.inputs[in], at, uint64(o.Press.Min))
		}
		a := &p.actuators[i]
		arrive = max(arrive, at+a.lag+uint64(stroke/a.pace)+2)
	}
	return max(arrive, at) + 10
}

func (p *Plant) pressQuietly(in *input, at, least uint64) uint64 {
	end := at + least + 2
	p.plan(at, Deed{}, func(*Plant, uint64) { in.pressed++ })
	p.plan(end, Deed{}, func(*Plant, uint64) { in.pressed-- })
	return end + 5
}

// position is where a scenario says something, for messages.
func (s *Scenario) problem(at site.Position, text, instead string) site.Problem {
	return site.Problem{File: s.File, Line: at.Line, Column: at.Column, Text: text, Instead: instead}
}
