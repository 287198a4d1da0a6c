package verify

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// deviation is one thing that is not well for a while.
type deviation struct {
	kind  deviationKind
	cause int             // or the output whose actuator is stuck
	class monitor.Class   // of a channel
	value interlock.Truth // of an input; of a stuck actuator: true is away from rest
}

type deviationKind uint8

const (
	wrongReading deviationKind = iota
	frozenReading
	wrongInput
	noInput
	stuckActuator
	lateScan
	lostSupply
)

// place is what goes wrong: one place, one fault at a time.
func (x deviation) place() int {
	switch x.kind {
	case stuckActuator:
		return -1 - x.cause
	case lateScan, lostSupply:
		return -1_000_000 - int(x.kind)
	}
	return x.cause
}

// once says that it acts in one scan and is then over.
func (x deviation) once() bool { return x.kind == lostSupply }

// deviations lists what can go wrong with some causes, or with whatever reaches
// an output.
func (v *verification) deviations(causes []int, output int) []deviation {
	c := v.Model.Config
	all := causes == nil
	if all {
		causes = v.reach(output)
	}
	var list []deviation
	for _, cause := range causes {
		switch {
		case cause < len(c.Channels):
			can := table.Possible(&c.Channels[cause].Config)
			for _, class := range [...]monitor.Class{monitor.Open, monitor.High, monitor.Invalid, monitor.Missing, monitor.Between, monitor.Good} {
				if can[class] && (class != monitor.Good || runs.HelpfulFor(c.Outputs[output].Permissive, cause) == interlock.False) {
					list = append(list, deviation{cause: cause, class: class})
				}
			}
			if c.Channels[cause].Stamped {
				list = append(list, deviation{kind: frozenReading, cause: cause})
			}
		case cause < len(c.Channels)+len(c.Inputs):
			for _, value := range model.Truths {
				list = append(list, deviation{kind: wrongInput, cause: cause, value: value})
			}
			list = append(list, deviation{kind: noInput, cause: cause})
		}
	}
	if all {
		if o := &c.Outputs[output]; o.Closed != 0 && o.Opened != 0 {
			list = append(list, deviation{kind: stuckActuator, cause: output, value: interlock.True}, deviation{kind: stuckActuator, cause: output, value: interlock.False})
		}
		list = append(list, deviation{kind: lateScan}, deviation{kind: lostSupply})
	}
	return list
}

// reach lists every cause that can touch an output at all: its cone, and what
// tells of the vessels that it charges.
func (v *verification) reach(output int) []int {
	c, cone := v.Model.Config, v.Model.Cone(output)
	input := func(ref interlock.Ref) {
		if ref != 0 {
			cone[len(c.Channels)+int(ref)-1] = true
		}
	}
	for _, vessel := range c.VesselsOf(output) {
		input(c.Vessels[vessel].Acknowledge)
		for _, st := range c.ChargedBy(vessel) {
			input(c.Streams[st].Flow)
			for _, o := range c.Streams[st].Through {
				input(c.Outputs[o].Closed)
				input(c.Outputs[o].Opened)
			}
		}
		set := c.Vessels[vessel].BondedBy.Causes()
		set.Each(func(cause int) { cone[cause] = true })
	}
	var list []int
	for cause := 0; cause < len(c.Channels)+len(c.Inputs); cause++ {
		if cone[cause] {
			list = append(list, cause)
		}
	}
	return list
}

// differs says that a thing that goes wrong shows itself in the scan that is armed.
// What does not yet is begun no sooner than it does.
func differs(d *runs.Driver, x deviation) bool {
	input := func(ref interlock.Ref, v interlock.Truth) bool {
		return ref != 0 && d.In.Signals[ref-1] != d.Signal(int(ref-1), v)
	}
	switch x.kind {
	case wrongInput:
		return input(interlock.Ref(x.cause-len(d.Config.Channels)+1), x.value)
	case stuckActuator:
		o := &d.Config.Outputs[x.cause]
		return input(o.Closed, -x.value) || input(o.Opened, x.value)
	}
	return true
}

// deviate makes one thing go wrong in the scan that is about to be turned.
func deviate(d *runs.Driver, x deviation) {
	switch input := x.cause - len(d.Config.Channels); x.kind {
	case wrongReading:
		d.In.Readings[x.cause] = table.ReadingOf(&d.Config.Channels[x.cause].Config, x.class, d.Stamp)
		d.Shown[x.cause] = x.class
	case frozenReading:
		d.In.Readings[x.cause].Stamp = d.State.Channels[x.cause].Stamp
		d.Shown[x.cause] = monitor.Missing
		if d.Supply || !d.State.Channels[x.cause].Seen { // the first since power-up is news
			d.Shown[x.cause] = monitor.Good
		}
	case wrongInput:
		d.In.Signals[input] = d.Signal(input, x.value)
	case noInput:
		d.In.Signals[input] = interlock.NoSignal
	case stuckActuator:
		o := &d.Config.Outputs[x.cause]
		d.In.Signals[o.Closed-1] = d.Signal(int(o.Closed-1), -x.value)
		d.In.Signals[o.Opened-1] = d.Signal(int(o.Opened-1), x.value)
	case lateScan:
		d.In.Overrun = true
	}
}

func (v *verification) deviationText(x deviation) string {
	switch x.kind {
	case wrongReading:
		return fmt.Sprintf("%s reads %s", v.Model.Cause(x.cause), x.class)
	case frozenReading:
		return fmt.Sprintf("%s repeats one measurement", v.Model.Cause(x.cause))
	case noInput:
		return v.Model.Cause(x.cause) + " does not arrive"
	case stuckActuator:
		return fmt.Sprintf("%s is stuck %s", v.Model.Names.Outputs[x.cause], map[interlock.Truth]string{interlock.True: "away from rest", interlock.False: "at rest"}[x.value])
	case lateScan:
		return "scans overrun"
	case lostSupply:
		return "the supply is lost"
	}
	return fmt.Sprintf("%s is %s", v.Model.Cause(x.cause), levelText(x.value))
}
