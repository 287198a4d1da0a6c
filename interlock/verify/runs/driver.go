package runs

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Driver turns the real logic of the whole site, with people and a plant that
// do everything right: clamps on, instruments alive, actuators that report
// honestly, and an operator who presses what must be pressed, when it counts.
// A run deviates from that on purpose, scan by scan.
type Driver struct {
	Logic    *model.Logic
	Config   *interlock.Config
	State    *interlock.State
	In       *interlock.Inputs
	Decision *interlock.Decision
	Target   int // the output that the operator wants to run
	Stamp    uint16
	Scans    uint64
	Roles    []Role          // by input
	Order    []int           // outputs that the operator brings to run, one after the other; nil is the target alone
	Shown    []monitor.Class // by channel: what it is made to read, missing where a measurement is repeated
	Supply   bool            // the supply is lost before the next scan
	gives    []interlock.Truth
	givesTo  int // the target that gives was worked out for
}

// Role is what an input is wired to.
type Role struct {
	Kind   RoleKind
	Number int // output, vessel or stream
}

type RoleKind uint8

const (
	RoleFree RoleKind = iota // evidence and the like: provided, so true
	RoleReset
	RoleStart
	RoleStop
	RoleClosed
	RoleOpened
	RoleAcknowledge
	RoleFlow
	roleKey
)

func NewDriver(logic *model.Logic, c *interlock.Config, target int) *Driver {
	d := bareDriver(logic, c, target)
	d.Roles = make([]Role, len(c.Inputs))
	d.wire()
	return d
}

// bareDriver does not know yet what its inputs are wired to.
func bareDriver(logic *model.Logic, c *interlock.Config, target int) *Driver {
	return &Driver{Logic: logic, Config: c, Target: target, State: interlock.NewState(c), In: interlock.NewInputs(c), Decision: interlock.NewDecision(c), Shown: make([]monitor.Class, len(c.Channels))}
}

func (d *Driver) wire() {
	set := func(ref interlock.Ref, kind RoleKind, number int) {
		if ref != 0 && d.Roles[ref-1].Kind == RoleFree {
			d.Roles[ref-1] = Role{kind, number}
		}
	}
	for i := range d.Config.Outputs {
		o := &d.Config.Outputs[i]
		set(o.Reset, RoleReset, i)
		set(o.Start, RoleStart, i)
		set(o.Stop, RoleStop, i)
		set(o.Closed, RoleClosed, i)
		set(o.Opened, RoleOpened, i)
	}
	for i := range d.Config.Vessels {
		set(d.Config.Vessels[i].Acknowledge, RoleAcknowledge, i)
	}
	for i := range d.Config.Streams {
		set(d.Config.Streams[i].Flow, RoleFlow, i)
	}
	for i := range d.Config.Bypasses {
		set(d.Config.Bypasses[i].Input, roleKey, i)
	}
}

// CopyOf is a driver in the same state.
func (d *Driver) CopyOf() *Driver {
	e := bareDriver(d.Logic, d.Config, d.Target)
	e.Roles = d.Roles // wired once and for all
	e.State.CopyFrom(d.State)
	e.Stamp, e.Scans, e.gives, e.givesTo, e.Order = d.Stamp, d.Scans, d.gives, d.givesTo, d.Order
	e.Decision.Coils = d.Decision.Coils
	return e
}

// Signal is what makes an input say a value.
func (d *Driver) Signal(input int, v interlock.Truth) interlock.Signal {
	switch {
	case v == interlock.Unknown:
		return interlock.Faulty
	case (v == interlock.True) != d.Config.Inputs[input].Inverted:
		return interlock.High
	}
	return interlock.Low
}

// Healthy fills the inputs of the next scan as a good plant and a careful
// operator would.
func (d *Driver) Healthy() {
	d.Stamp++
	d.In.Overrun, d.Supply = false, false
	d.aim()
	for i := range d.In.Readings {
		d.Shown[i] = d.reads(i)
		d.In.Readings[i] = table.ReadingOf(&d.Config.Channels[i].Config, d.Shown[i], d.Stamp)
	}
	button, value := d.Operator()
	for i, r := range d.Roles {
		v := interlock.False
		switch r.Kind {
		case RoleFree:
			v = d.Provided(i)
		case RoleClosed:
			v = model.Truth(!d.moved(r.Number))
		case RoleOpened:
			v = model.Truth(d.moved(r.Number))
		case RoleFlow:
			v = model.Truth(d.flowing(r.Number))
		}
		if interlock.Ref(i+1) == button {
			v = value
		}
		d.In.Signals[i] = d.Signal(i, v)
	}
}

// aim chooses the output that the operator now wants to run.
func (d *Driver) aim() {
	for _, o := range d.Order {
		if d.Target = o; d.State.Outputs[o].Mode != interlock.Enabled {
			return
		}
	}
}

// moved says that an actuator is away from rest: because it is commanded so, or
// because somebody strokes it by hand to show that both of its ends report.
func (d *Driver) moved(output int) bool {
	s := &d.State.Outputs[output]
	both := s.Unconfirmed&(interlock.StayedOpen|interlock.StayedShut) != 0
	return s.Mode == interlock.Enabled || both && !s.SeenAway
}

// Provided is the value of an input that lets the target run: evidence is given,
// and an input under a NOT is kept away.
func (d *Driver) Provided(input int) interlock.Truth {
	return d.helps(len(d.Config.Channels) + input)
}

// helps is the value of a cause that lets the target run.
func (d *Driver) helps(cause int) interlock.Truth {
	if d.gives == nil || d.givesTo != d.Target {
		d.gives, d.givesTo = Helpful(d.Config.Outputs[d.Target].Permissive, len(d.Config.Channels)+len(d.Config.Inputs)), d.Target
	}
	return d.gives[cause]
}

// reads is what a channel of a good plant reads: its clamp is on, unless it must
// be off for the target to run.
func (d *Driver) reads(channel int) monitor.Class {
	if d.helps(channel) != interlock.False {
		return monitor.Good
	}
	return Off(&d.Config.Channels[channel].Config)
}

// Off is what a channel reads whose connection is taken off.
func Off(c *monitor.Config) monitor.Class {
	if table.Possible(c)[monitor.Open] {
		return monitor.Open
	}
	return monitor.High
}

// Helpful are values of all causes that let a permissive be true together: each
// is true where it can be with those before it.
func Helpful(p interlock.Permissive, causes int) []interlock.Truth {
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

// HelpfulFor is the value of a cause that lets a permissive be true.
func HelpfulFor(p interlock.Permissive, cause int) interlock.Truth {
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

func (d *Driver) flowing(stream int) bool {
	for _, o := range d.Config.Streams[stream].Through {
		if d.State.Outputs[o].Mode != interlock.Enabled {
			return false
		}
	}
	return true
}

// Operator chooses the one button to hold in this scan, if any.
func (d *Driver) Operator() (interlock.Ref, interlock.Truth) {
	for i := range d.Config.Vessels {
		v, s := &d.Config.Vessels[i], &d.State.Vessels[i]
		if s.Early && v.Acknowledge != 0 {
			return v.Acknowledge, d.press(s.Ack, v.Press, true)
		}
	}
	for _, i := range d.Config.CallersOf(d.Target) {
		o, s := &d.Config.Outputs[i], &d.State.Outputs[i]
		if o.Reset != 0 && (s.Mode == interlock.Tripped && o.AtOnce || s.Unconfirmed != 0) {
			return o.Reset, d.press(s.Button, o.Press, s.Ready)
		}
	}
	o, s := &d.Config.Outputs[d.Target], &d.State.Outputs[d.Target]
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
func (d *Driver) press(b interlock.Button, p interlock.Press, ready bool) interlock.Truth {
	return model.Truth(ready && (b.Phase == interlock.Idle || b.Phase == interlock.Pressed && !b.Released && b.Held < p.Min))
}

// Turn is one scan with the inputs as they are.
func (d *Driver) Turn() {
	if d.Supply {
		d.State.PowerUp()
	}
	d.Logic.Step(d.Config, d.State, d.In, d.Decision)
	d.Scans++
}

// Enabled says that the target runs.
func (d *Driver) Enabled() bool { return d.State.Outputs[d.Target].Mode == interlock.Enabled }

// settled says that every clamp is on that must be.
func (d *Driver) settled() bool {
	for i := range d.State.Channels {
		if d.helps(i) == interlock.True && d.State.Channels[i].Phase != monitor.Bonded {
			return false
		}
	}
	return true
}

// PatienceOf bounds how long a healthy plant may take to enable an output: all
// waits, run-downs, delays, presses and settle times of the site one after the
// other, twice.
func PatienceOf(c *interlock.Config) uint64 {
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

// Spoil makes one cause bad in the next scan: a channel reads the class, an
// input the value that does not help.
func (d *Driver) Spoil(cause int, class monitor.Class) {
	if cause < len(d.Config.Channels) {
		c := &d.Config.Channels[cause].Config
		if d.helps(cause) == interlock.False { // the clamp is put on
			class = monitor.Good
		}
		if !table.Possible(c)[class] {
			class = monitor.Invalid
		}
		d.In.Readings[cause] = table.ReadingOf(c, class, d.Stamp)
		return
	}
	input := cause - len(d.Config.Channels)
	d.In.Signals[input] = d.Signal(input, -d.Provided(input))
}

// Stays says that an output that has just been enabled still runs a little later.
func (d *Driver) Stays() bool {
	for n := 0; n < 3 && d.Enabled(); n++ {
		d.Healthy()
		d.Turn()
	}
	return d.Enabled()
}
