package verify

import (
	"slices"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// stopped is how an output that ran came to be withheld in a scan, beside what must
// be: a trip, unless a stop was asked for and nothing else, or its flow had ended and
// no more than its permissive is not true.
type stopped uint8

const (
	notStopped stopped = iota // or as it must be
	stoppedForNothing
	trippedForKeptOut
	keptOutForTripped
)

// how says how it was stopped. What charges nothing is not followed here.
func (o *observer) how(x *scan) stopped {
	if x.before.Mode != interlock.Enabled || x.after.Mode == interlock.Enabled {
		return notStopped
	}
	c, streams := &o.config.Outputs[o.output], o.config.StreamsOf(o.output)
	ended := len(streams) > 0
	for _, st := range streams {
		if !slices.Contains(o.streams, st) {
			return notStopped
		}
		ended = ended && x.stopped[st] > o.config.Streams[st].RunDown
	}
	hard := x.d.In.Overrun || x.called || x.after.Unconfirmed != 0
	stop := c.Stop != 0 && x.level(c.Stop) != interlock.False
	fine := x.letter.Perm == interlock.True
	switch mode := x.after.Mode; {
	case !hard && !stop && fine:
		return stoppedForNothing
	case !hard && (ended || stop && fine):
		if mode != interlock.KeptOut {
			return trippedForKeptOut
		}
	case mode != interlock.Tripped:
		return keptOutForTripped
	}
	return notStopped
}

// observeFirstOut: a trip counts as one and nothing else does; first-out names what
// was not as it must be, all of it, and stands.
func (o *observer) observeFirstOut(x *scan) (b breach) {
	switch o.how(x) {
	case trippedForKeptOut:
		b = broken("%s counts as tripped: its flow had ended, or it was only stopped", o.name()).must("never: %s is tripped", o.name())
	case keptOutForTripped:
		b = broken("%s is tripped and counts as %s", o.name(), x.after.Mode).must("always: %s is tripped", o.name())
	}
	if wrong := o.wrongFirstOut(x); wrong.says != "" {
		return wrong
	}
	return b
}

func (o *observer) wrongFirstOut(x *scan) breach {
	perm, trip := o.config.Outputs[o.output].Permissive, &x.d.State.Outputs[o.output].Trip
	switch {
	case !x.tripped:
		return breach{}
	case x.was.tripped && x.named != x.was.named:
		named := x.was.named
		for i := range named { // a scenario tells both together
			named[i] |= trip.Alongside[i]
		}
		return o.named(broken("the first-out of %s changes while its trip stands", o.name()), named)
	case x.was.tripped:
		return breach{}
	case model.Evaluate(perm, func(c int) interlock.Truth { return o.keep[c] }) != interlock.True && x.named.Len() == 0:
		return broken("the permissive of %s tripped it and nothing is named", o.name()).must("never: %s is tripped", o.name())
	}
	return o.wronglyNamed(perm, x.named)
}

// named says what the first-out of this very scan must be: more may go while the bus
// cycle lasts.
func (o *observer) named(b breach, causes interlock.CauseSet) breach {
	var list []string
	causes.Each(func(c int) { list = append(list, o.v.Model.Cause(c)) })
	b = b.must("first-out of: %s, is: [%s]", o.name(), strings.Join(list, ", "))
	b.exactly = true
	return b
}

// wronglyNamed looks for a cause in the first-out that was as it must be.
func (o *observer) wronglyNamed(perm interlock.Permissive, named interlock.CauseSet) breach {
	var guilty interlock.CauseSet
	wrong := ""
	named.Each(func(c int) {
		if want, known := model.Wanted(perm, c); known && o.keep[c] == want {
			wrong = o.v.Model.Cause(c)
		} else {
			guilty.Add(c)
		}
	})
	if wrong == "" {
		return breach{}
	}
	return o.named(broken("%s is named as first-out of %s and was as it must be", wrong, o.name()), guilty)
}
