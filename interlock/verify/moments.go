package verify

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// Most mistakes show themselves soon after power-up, or where the output runs.
// Others need a moment that lies far behind what a hunt can try scan by scan: a
// wait that is over while the earth is off, an actuator that was found stuck, the
// one count of a long counter at which a lemma fails. A hunt begins from there as
// well.

// moments are trails to begin from, but for power-up.
func (h *hunt) moments(root *trail) (list []*trail) {
	add := func(from *trail, needs *deviation, there func(*interlock.State) bool) *trail {
		if wrong, known := h.only(needs); known && from != nil {
			if t := h.until(from, wrong, there); t != nil {
				list = append(list, t)
				return t
			}
		}
		return nil
	}
	running := add(root, nil, h.runs)
	for _, m := range h.v.suspicious(h.quarry.property) {
		add(root, m.needs, m.there)
	}
	add(root, h.v.stuckAway(h.quarry.output), func(s *interlock.State) bool {
		return s.Outputs[h.quarry.output].Unconfirmed != 0
	})
	if len(h.w.followed) > 0 {
		off := &deviation{cause: h.w.followed[0], class: runs.Off(&h.d.Config.Channels[h.w.followed[0]].Config)}
		if len(h.w.vessels) > 0 {
			add(root, off, func(s *interlock.State) bool { return s.Vessels[h.w.vessels[0]].Clear })
		}
		add(running, off, func(s *interlock.State) bool { return !h.runs(s) })
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

func (h *hunt) runs(s *interlock.State) bool {
	return s.Outputs[h.quarry.output].Mode == interlock.Enabled
}

// only is one thing that goes wrong, as a list of this hunt's, or nothing that
// does; it is not known where it is none of this hunt's.
func (h *hunt) only(x *deviation) (list []int, known bool) {
	if x == nil {
		return nil, true
	}
	i := h.numberOf(*x)
	return []int{i}, i >= 0
}

// until turns scans with some things going wrong until the site is somewhere; nil
// where it never gets there.
func (h *hunt) until(t *trail, wrong []int, there func(*interlock.State) bool) *trail {
	next := h.copyOf(t)
	next.wrong, next.leg = wrong, &leg{t.scans, wrong, t.leg}
	d := h.d
	d.State, d.Stamp = next.state, t.stamp
	for left := h.patience; !there(next.state); left-- {
		if left == 0 {
			return nil
		}
		h.turns++
		found := h.turn(next)
		next.scans, next.stamp = next.scans+1, d.Stamp
		h.alone(next)
		if h.catches(next, found, false) {
			break
		}
	}
	return next
}

// moment is a place that a site comes to, with one thing going wrong or none.
type moment struct {
	needs *deviation
	there func(*interlock.State) bool
}

// suspicious are the moments just before a counter steps as a lemma says that it
// must not, for lemmas that a property rests on.
func (v *verification) suspicious(property model.Property) (list []moment) {
	p := v.property(property)
	for i := range v.report.Lemmas {
		l := &v.report.Lemmas[i]
		if l.holds() || l.counts == nil || p == nil || !slices.Contains(p.counters, l.Counter) {
			continue
		}
		list = append(list, moment{l.needs, func(s *interlock.State) bool { return l.counts(s) >= l.at }})
	}
	return list
}
