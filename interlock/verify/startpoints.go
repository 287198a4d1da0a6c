package verify

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// Most mistakes show themselves soon after power-up, or where the output runs.
// Others need a start point that lies far behind what a falsifier can try scan by scan: a
// wait that is over while the earth is off, an actuator that was found stuck, the
// one count of a long counter at which a lemma fails. A falsifier begins from there as
// well.

// startPoints are paths to begin from, but for power-up.
func (f *falsifier) startPoints(root *path) (list []*path) {
	add := func(from *path, needs *deviation, there func(*interlock.State) bool) *path {
		if wrong, known := f.only(needs); known && from != nil {
			if t := f.until(from, wrong, there); t != nil {
				list = append(list, t)
				return t
			}
		}
		return nil
	}
	running := add(root, nil, f.runs)
	for _, m := range f.v.suspicious(f.goal.property) {
		add(root, m.needs, m.there)
	}
	add(root, f.v.stuckAway(f.goal.output), func(s *interlock.State) bool {
		return s.Outputs[f.goal.output].Unconfirmed != 0
	})
	if len(f.observer.followed) > 0 {
		off := &deviation{cause: f.observer.followed[0], class: runs.Off(&f.d.Config.Channels[f.observer.followed[0]].Config)}
		if len(f.observer.vessels) > 0 {
			add(root, off, func(s *interlock.State) bool { return s.Vessels[f.observer.vessels[0]].Clear })
		}
		add(running, off, func(s *interlock.State) bool { return !f.runs(s) })
	}
	return list
}

// stuckAway is what makes an actuator be found away from rest.
func (v *verification) stuckAway(output int) *deviation {
	o, inputs := &v.Model.Config.Outputs[output], len(v.Model.Config.Channels)-1
	switch {
	case o.Closed != 0 && o.Opened != 0:
		return &deviation{kind: stuckActuator, cause: output, value: interlock.True}
	case o.Closed != 0:
		return &deviation{kind: wrongInput, cause: inputs + int(o.Closed), value: interlock.False}
	}
	return &deviation{kind: wrongInput, cause: inputs + int(o.Opened), value: interlock.True}
}

func (f *falsifier) runs(s *interlock.State) bool {
	return s.Outputs[f.goal.output].Mode == interlock.Enabled
}

// only is one thing that goes wrong, as a list of this falsifier's, or nothing that
// does; it is not known where it is none of this falsifier's.
func (f *falsifier) only(x *deviation) (list []int, known bool) {
	if x == nil {
		return nil, true
	}
	i := f.numberOf(*x)
	return []int{i}, i >= 0
}

// until turns scans with some things going wrong until the site is somewhere; nil
// where it never gets there.
func (f *falsifier) until(t *path, wrong []int, there func(*interlock.State) bool) *path {
	next := f.copyOf(t)
	next.wrong, next.segment = wrong, &segment{t.scans, wrong, t.segment}
	d := f.d
	d.State, d.Stamp = next.state, t.stamp
	for left := f.patience; !there(next.state); left-- {
		if left == 0 {
			return nil
		}
		f.turns++
		found := f.turn(next)
		next.scans, next.stamp = next.scans+1, d.Stamp
		f.alone(next)
		if f.reaches(next, found, false) {
			break
		}
	}
	return next
}

// startPoint is a place that a site comes to, with one thing going wrong or none.
type startPoint struct {
	needs *deviation
	there func(*interlock.State) bool
}

// suspicious are the start points just before a counter steps as a lemma says that it
// must not, for lemmas that a property rests on.
func (v *verification) suspicious(property model.Property) (list []startPoint) {
	p := v.property(property)
	for i := range v.report.Lemmas {
		l := &v.report.Lemmas[i]
		if l.holds() || l.counts == nil || p == nil || !slices.Contains(p.counters, l.Counter) {
			continue
		}
		list = append(list, startPoint{l.needs, func(s *interlock.State) bool { return l.counts(s) >= l.at }})
	}
	return list
}
