package twinbench

import (
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/twin"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// contactTime is how long the unit's own output relay takes.
const contactTime = 4 * time.Millisecond

// unit is the unit under test.
type unit struct {
	w        *environment
	logic    *interlock.Config
	state    *interlock.State
	in       *interlock.Inputs
	decision *interlock.Decision
	stamp    uint16
	made     interlock.CoilSet // contacts as commanded
	defect   defect
	awake    port.Stamp // the end of its start, when it was last without supply
}

func newUnit(w *environment, wrong string) (*unit, error) {
	logic, problems := w.m.Site.Logic()
	if problems != nil {
		return nil, problems
	}
	u := &unit{w: w, logic: logic}
	if err := u.spoil(wrong); err != nil {
		return nil, err
	}
	u.state, u.in, u.decision = interlock.NewState(logic), interlock.NewInputs(logic), interlock.NewDecision(logic)
	return u, nil
}

// tick is one scan: read everything, decide, move the contacts.
func (u *unit) tick(devices *twin.Devices) {
	if u.w.m.Supply != nil && !u.w.closed(u.w.m.Supply) {
		u.state.PowerUp()
		u.awake = devices.Now().Add(u.w.m.Site.Rig.Supply.Boot * 9 / 10)
		u.move(devices, u.stuck())
		return
	}
	if devices.Now() < u.awake {
		return
	}
	u.stamp++
	for i := range u.in.Readings {
		u.in.Readings[i] = u.reading(i)
	}
	for i := range u.in.Signals {
		u.in.Signals[i] = interlock.Low
		if u.w.closed(u.w.m.Drives[i]) {
			u.in.Signals[i] = interlock.High
		}
	}
	if u.defect.reads != nil {
		u.defect.reads(u)
	}
	interlock.Step(u.logic, u.state, u.in, u.decision)
	coils := u.decision.Coils
	if u.defect.moves != nil {
		coils = u.defect.moves(u, coils)
	}
	u.move(devices, coils)
}

// stuck are the contacts that no lack of supply opens.
func (u *unit) stuck() interlock.CoilSet {
	if u.defect.welds {
		return u.made
	}
	return 0
}

// reading is what hangs at the unit's terminals, as its transmitter tells it.
func (u *unit) reading(channel int) monitor.Reading {
	wires := &u.w.m.Channels[channel]
	over := monitor.Reading{Quality: monitor.OverRange, Stamp: u.stamp}
	value := func(v monitor.Microohm) monitor.Reading {
		return monitor.Reading{Quality: monitor.Valid, Value: v, Stamp: u.stamp}
	}
	switch {
	case u.w.closed(wires.Short):
		return value(0)
	case wires.Break != nil && !u.w.closed(wires.Break):
		return over
	}
	conductance := 0.0 // of all in parallel
	if wires.Decade >= 0 && port.Now() > u.w.glitch[wires.Decade] {
		setting := u.w.decades[wires.Decade].Setting()
		if setting <= 0 {
			return value(0)
		}
		conductance += 1 / float64(setting)
	}
	if u.w.closed(wires.Bridge) {
		conductance += 1 / float64(wires.BridgeValue)
	}
	for k := range wires.Resistors {
		if u.w.closed(&wires.Resistors[k].Relay) {
			conductance += 1 / float64(wires.Resistors[k].Value)
		}
	}
	if conductance == 0 {
		return over
	}
	return value(monitor.Microohm(1/conductance + 0.5))
}

// move sends the contacts on their way, each after its own time.
func (u *unit) move(devices *twin.Devices, coils interlock.CoilSet) {
	for output, contact := range u.w.m.Contacts {
		on := coils.Energised(output)
		if contact == nil || on == u.made.Energised(output) {
			continue
		}
		wait := contactTime
		if !on {
			wait += u.defect.lag
		}
		u.made ^= 1 << output
		devices.After(wait, func(later *twin.Devices) { u.w.setInput(later, *contact, on) })
	}
}
