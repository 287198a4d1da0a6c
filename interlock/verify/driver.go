package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// driver turns the real logic of the whole site, with people and a plant that
// do everything right: clamps on, instruments alive, actuators that report
// honestly, and an operator who presses what must be pressed, when it counts.
// A run deviates from that on purpose, scan by scan.
type driver struct {
	logic    *model.Logic
	config   *interlock.Config
	state    *interlock.State
	in       *interlock.Inputs
	decision *interlock.Decision
	target   int // the output that the operator wants to run
	stamp    uint16
	scans    uint64
	roles    []role          // by input
	order    []int           // outputs that the operator brings to run, one after the other; nil is the target alone
	shown    []monitor.Class // by channel: what it is made to read, missing where a measurement is repeated
	supply   bool            // the supply is lost before the next scan
	gives    []interlock.Truth
	givesTo  int // the target that gives was worked out for
}

// role is what an input is wired to.
type role struct {
	kind   roleKind
	number int // output, vessel or stream
}

type roleKind uint8

const (
	roleFree roleKind = iota // evidence and the like: provided, so true
	roleReset
	roleStart
	roleStop
	roleClosed
	roleOpened
	roleAcknowledge
	roleFlow
	roleKey
)

func newDriver(logic *model.Logic, c *interlock.Config, target int) *driver {
	d := bareDriver(logic, c, target)
	d.roles = make([]role, len(c.Inputs))
	d.wire()
	return d
}

// bareDriver does not know yet what its inputs are wired to.
func bareDriver(logic *model.Logic, c *interlock.Config, target int) *driver {
	return &driver{logic: logic, config: c, target: target, state: interlock.NewState(c), in: interlock.NewInputs(c), decision: interlock.NewDecision(c), shown: make([]monitor.Class, len(c.Channels))}
}

func (d *driver) wire() {
	set := func(ref interlock.Ref, kind roleKind, number int) {
		if ref != 0 && d.roles[ref-1].kind == roleFree {
			d.roles[ref-1] = role{kind, number}
		}
	}
	for i := range d.config.Outputs {
		o := &d.config.Outputs[i]
		set(o.Reset, roleReset, i)
		set(o.Start, roleStart, i)
		set(o.Stop, roleStop, i)
		set(o.Closed, roleClosed, i)
		set(o.Opened, roleOpened, i)
	}
	for i := range d.config.Vessels {
		set(d.config.Vessels[i].Acknowledge, roleAcknowledge, i)
	}
	for i := range d.config.Streams {
		set(d.config.Streams[i].Flow, roleFlow, i)
	}
	for i := range d.config.Bypasses {
		set(d.config.Bypasses[i].Input, roleKey, i)
	}
}

// copyOf is a driver in the same state.
func (d *driver) copyOf() *driver {
	e := bareDriver(d.logic, d.config, d.target)
	e.roles = d.roles // wired once and for all
	e.state.CopyFrom(d.state)
	e.stamp, e.scans, e.gives, e.givesTo, e.order = d.stamp, d.scans, d.gives, d.givesTo, d.order
	e.decision.Coils = d.decision.Coils
	return e
}

// signal is what makes an input say a value.
func (d *driver) signal(input int, v interlock.Truth) interlock.Signal {
	switch {
	case v == interlock.Unknown:
		return interlock.Faulty
	case (v == interlock.True) != d.config.Inputs[input].Inverted:
		return interlock.High
	}
	return interlock.Low
}

// healthy fills the inputs of the next scan as a good plant and a careful
// operator would.
func (d *driver) healthy() {
	d.stamp++
	d.in.Overrun, d.supply = false, false
	d.aim()
	for i := range d.in.Readings {
		d.shown[i] = d.reads(i)
		d.in.Readings[i] = table.ReadingOf(&d.config.Channels[i].Config, d.shown[i], d.stamp)
	}
	button, value := d.operator()
	for i, r := range d.roles {
		v := interlock.False
		switch r.kind {
		case roleFree:
			v = d.provided(i)
		case roleClosed:
			v = model.Truth(!d.moved(r.number))
		case roleOpened:
			v = model.Truth(d.moved(r.number))
		case roleFlow:
			v = model.Truth(d.flowing(r.number))
		}
		if interlock.Ref(i+1) == button {
			v = value
		}
		d.in.Signals[i] = d.signal(i, v)
	}
}

// aim chooses the output that the operator now wants to run.
func (d *driver) aim() {
	for _, o := range d.order {
		if d.target = o; d.state.Outputs[o].Mode != interlock.Enabled {
			return
		}
	}
}

// moved says that an actuator is away from rest: because it is commanded so, or
// because somebody strokes it by hand to show that both of its ends report.
func (d *driver) moved(output int) bool {
	s := &d.state.Outputs[output]
	both := s.Unconfirmed&(interlock.StayedOpen|interlock.StayedShut) != 0
	return s.Mode == interlock.Enabled || both && !s.SeenAway
}

// provided is the value of an input that lets the target run: evidence is given,
// and an input under a NOT is kept away.
func (d *driver) provided(input int) interlock.Truth {
	return d.helps(len(d.config.Channels) + input)
}

// helps is the value of a cause that lets the target run.
func (d *driver) helps(cause int) interlock.Truth {
	if d.gives == nil || d.givesTo != d.target {
		d.gives, d.givesTo = helpful(d.config.Outputs[d.target].Permissive, len(d.config.Channels)+len(d.config.Inputs)), d.target
	}
	return d.gives[cause]
}

// reads is what a channel of a good plant reads: its clamp is on, unless it must
// be off for the target to run.
func (d *driver) reads(channel int) monitor.Class {
	if d.helps(channel) != interlock.False {
		return monitor.Good
	}
	return off(&d.config.Channels[channel].Config)
}

// off is what a channel reads whose connection is taken off.
func off(c *monitor.Config) monitor.Class {
	if table.Possible(c)[monitor.Open] {
		return monitor.Open
	}
	return monitor.High
}

// helpful are values of all causes that let a permissive be true together: each
// is true where it can be with those before it.
func helpful(p interlock.Permissive, causes int) []interlock.Truth {
	list := make([]interlock.Truth, causes)
	for at := range list {
		list[at] = interlock.True
		if set := p.Causes(); !set.Has(at) {
			continue
		}
		can := model.Outcomes(p, func(c int) model.TruthSet {
			if c <= at {
				return model.SetOf(list[c])
			}
			return model.AnyTruth
		})
		list[at] = model.Truth(can.Has(interlock.True))
	}
	return list
}

// helpfulFor is the value of a cause that lets a permissive be true.
func helpfulFor(p interlock.Permissive, cause int) interlock.Truth {
	with := func(v interlock.Truth) model.TruthSet {
		return model.Outcomes(p, func(c int) model.TruthSet {
			if c == cause {
				return model.SetOf(v)
			}
			return model.AnyTruth
		})
	}
	return model.Truth(with(interlock.True).Has(interlock.True))
}

func (d *driver) flowing(stream int) bool {
	for _, o := range d.config.Streams[stream].Through {
		if d.state.Outputs[o].Mode != interlock.Enabled {
			return false
		}
	}
	return true
}

// operator chooses the one button to hold in this scan, if any.
func (d *driver) operator() (interlock.Ref, interlock.Truth) {
	for i := range d.config.Vessels {
		v, s := &d.config.Vessels[i], &d.state.Vessels[i]
		if s.Early && v.Acknowledge != 0 {
			return v.Acknowledge, d.press(s.Ack, v.Press, true)
		}
	}
	for _, i := range d.config.CallersOf(d.target) {
		o, s := &d.config.Outputs[i], &d.state.Outputs[i]
		if o.Reset != 0 && (s.Mode == interlock.Tripped && o.AtOnce || s.Unconfirmed != 0) {
			return o.Reset, d.press(s.Button, o.Press, s.Ready)
		}
	}
	o, s := &d.config.Outputs[d.target], &d.state.Outputs[d.target]
	switch {
	case s.Mode == interlock.Enabled:
	case o.Reset != 0 && !s.Armed && (!o.Automatic || s.Unconfirmed != 0):
		return o.Reset, d.press(s.Button, o.Press, s.Ready)
	case o.Start != 0 && s.Ready && s.StartLow:
		return o.Start, interlock.True
	}
	return 0, interlock.False
}

// press is what a careful hand does with a button in this scan.
func (d *driver) press(b interlock.Button, p interlock.Press, ready bool) interlock.Truth {
	return model.Truth(ready && (b.Phase == interlock.Idle || b.Phase == interlock.Pressed && !b.Released && b.Held < p.Min))
}

// turn is one scan with the inputs as they are.
func (d *driver) turn() {
	if d.supply {
		d.state.PowerUp()
	}
	d.logic.Step(d.config, d.state, d.in, d.decision)
	d.scans++
}

// enabled says that the target runs.
func (d *driver) enabled() bool { return d.state.Outputs[d.target].Mode == interlock.Enabled }

// settled says that every clamp is on that must be.
func (d *driver) settled() bool {
	for i := range d.state.Channels {
		if d.helps(i) == interlock.True && d.state.Channels[i].Phase != monitor.Bonded {
			return false
		}
	}
	return true
}

// patienceOf bounds how long a healthy plant may take to enable an output: all
// waits, run-downs, delays, presses and settle times of the site one after the
// other, twice.
func patienceOf(c *interlock.Config) uint64 {
	n := uint64(100)
	for i := range c.Channels {
		n = max(n, uint64(c.Channels[i].SettleScans)+uint64(c.Channels[i].LongestStay))
	}
	for i := range c.Streams {
		n += uint64(c.Streams[i].RunDown)
	}
	wait := uint64(0)
	for i := range c.Vessels {
		v := &c.Vessels[i]
		wait = max(wait, uint64(v.Wait))
		n += 2 * uint64(v.Press.Min)
	}
	for i := range c.Outputs {
		o := &c.Outputs[i]
		n += uint64(o.OnDelay) + 2*uint64(o.Press.Min) + 20
	}
	return 2 * (n + wait)
}

// spoil makes one cause bad in the next scan: a channel reads the class, an
// input the value that does not help.
func (d *driver) spoil(cause int, class monitor.Class) {
	if cause < len(d.config.Channels) {
		c := &d.config.Channels[cause].Config
		if d.helps(cause) == interlock.False { // the clamp is put on
			class = monitor.Good
		}
		if !table.Possible(c)[class] {
			class = monitor.Invalid
		}
		d.in.Readings[cause] = table.ReadingOf(c, class, d.stamp)
		return
	}
	input := cause - len(d.config.Channels)
	d.in.Signals[input] = d.signal(input, -d.provided(input))
}

// stays says that an output that has just been enabled still runs a little later.
func (d *driver) stays() bool {
	for n := 0; n < 3 && d.enabled(); n++ {
		d.healthy()
		d.turn()
	}
	return d.enabled()
}
