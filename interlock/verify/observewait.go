package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/runs"
)

// observeWait: no vessel and no stream is taken for more than it has waited, nobody is
// told otherwise, and the output is not enabled while a wait is owed.
func (o *observer) observeWait(x *scan) (b breach) {
	for _, i := range o.streams {
		if st := &o.config.Streams[i]; x.stopped[i] <= st.RunDown && x.d.State.Streams[i].Still(st) {
			name := o.v.Model.Names.Streams[i]
			b = broken("%s counts as ended after %d scans of confirmed stop, must run down for more than %d", name, x.stopped[i], st.RunDown).must("never: %s is still", name)
		}
	}
	for n := range o.vessels {
		if wrong := o.toldOf(x, n); wrong.says != "" {
			b = wrong
		}
		if wrong := o.forgotten(x, n); wrong.says != "" {
			b = wrong
		}
	}
	if x.judged.Enables && x.owed {
		b = broken("%s is enabled while a vessel that it charges may be charged", o.name())
	}
	return b
}

// forgotten: a vessel that may be charged counts as clear, or one that is clear as
// charged; or an early reconnection that nobody has acknowledged does not stand.
func (o *observer) forgotten(x *scan, n int) (b breach) {
	vessel, is := o.vessels[n], &x.vessels[n]
	name, state := o.v.Model.Names.Vessels[vessel], &x.d.State.Vessels[vessel]
	if state.Clear && !is.paid {
		b = broken("%s counts as clear and may be charged: still for %d scans since, must be more than %d", name, is.still, o.config.Vessels[vessel].Wait).must("never: %s is clear", name)
	}
	if !state.Clear && is.paid {
		b = broken("%s counts as charged, and since it was clear nothing was seen to charge it", name).must("always: %s is clear", name)
	}
	if is.early && !state.Early {
		b = broken("%s has reconnected early and it is forgotten", name).must("always: %s is reconnected early", name)
	}
	return b
}

// toldOf compares what people are told of a vessel with what happened: that
// somebody has acknowledged, and that the earth was taken off too soon.
func (o *observer) toldOf(x *scan, n int) (b breach) {
	vessel, was, is := o.vessels[n], &x.was.vessels[n], &x.vessels[n]
	name, rest := o.v.Model.Names.Vessels[vessel], o.config.Vessels[vessel].Rest
	if !x.shown[n].given && wasTold(x.d, interlock.Acknowledged, vessel) {
		b = broken("an acknowledge for %s counts without one whole press begun while the early reconnection stood", name).must("never: %s %s", interlock.Acknowledged, name)
	}
	if was.held && !is.held && x.shown[n].still && was.paid && is.rested <= rest != wasTold(x.d, interlock.ReleasedTooSoon, vessel) {
		expect := map[bool]string{true: "always", false: "never"}[is.rested <= rest]
		b = broken("the earth of %s is taken off %d scans after the end of flow, must rest for more than %d, and people are told otherwise", name, is.rested, rest).must(expect+": %s %s", interlock.ReleasedTooSoon, name)
	}
	return b
}

func wasTold(d *runs.Driver, kind interlock.Kind, subject int) bool {
	for i := range d.Decision.Events {
		if e := &d.Decision.Events[i]; e.Kind == kind && e.Subject == subject {
			return true
		}
	}
	return false
}
