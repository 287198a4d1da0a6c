package verify

import "slices"

// stretch is one thing that goes wrong from one scan on, to before another.
type stretch struct {
	wrong    int // of the hunt's deviations
	from, to uint64
}

// minimiseTurns bounds how many scans the making smaller of one run may take.
const minimiseTurns = 1_500_000

// snapshotEvery is how far apart the healthy beginnings of a run are kept.
const snapshotEvery = 256

// stretches says what goes wrong on a trail, and when.
func (h *hunt) stretches(t *trail) []stretch {
	var legs []*leg
	for at := t.leg; at != nil; at = at.before {
		if len(legs) == 0 || at.at < legs[len(legs)-1].at {
			legs = append(legs, at)
		}
	}
	slices.Reverse(legs)
	var list []stretch
	for i, l := range legs {
		end := t.scans
		if i+1 < len(legs) {
			end = legs[i+1].at
		}
		for _, wrong := range l.begun {
			list = h.prolong(list, stretch{wrong, l.at, end})
		}
	}
	return list
}

// prolong adds a stretch, or makes one longer that ends where it begins.
func (h *hunt) prolong(list []stretch, s stretch) []stretch {
	if h.wrongs[s.wrong].once() {
		s.to = s.from + 1
	}
	for i := range list {
		if list[i].wrong == s.wrong && list[i].to == s.from && !h.wrongs[s.wrong].once() {
			list[i].to = s.to
			return list
		}
	}
	return append(list, s)
}

// play turns the whole site from power-up with some things going wrong, and
// returns the trail as soon as what is looked for is there; nil if it is not
// within the limit.
func (h *hunt) play(list []stretch, limit uint64) *trail {
	first := limit
	for i := range list {
		first = min(first, list[i].from)
	}
	t := h.healthyUntil(first)
	h.d.State, h.d.Stamp = t.state, t.stamp
	for t.scans < limit {
		t.wrong = t.wrong[:0]
		for i := range list {
			if list[i].from <= t.scans && t.scans < list[i].to {
				t.wrong = append(t.wrong, list[i].wrong)
			}
		}
		h.turns++
		found := h.turn(t)
		t.scans++
		h.alone(t)
		if h.catches(t, found, false) {
			t.faults = len(list)
			return t
		}
	}
	return nil
}

// healthyUntil is a copy of the healthy beginning of a run, up to some scan or a
// little before; the beginnings are kept. It ends before anything is caught.
func (h *hunt) healthyUntil(scan uint64) *trail {
	if len(h.well) == 0 {
		h.well = []*trail{{state: newState(h), sight: h.w.begin()}}
	}
	for uint64(len(h.well))*snapshotEvery <= scan && !h.spoilt {
		t := h.copyOf(h.well[len(h.well)-1])
		h.d.State, h.d.Stamp = t.state, t.stamp
		for n := 0; n < snapshotEvery && !h.spoilt; n++ {
			found := h.turn(t)
			t.scans, t.stamp = t.scans+1, h.d.Stamp
			h.alone(t)
			h.spoilt = h.catches(t, found, false)
		}
		if !h.spoilt {
			h.well = append(h.well, t)
		}
	}
	t := h.well[min(uint64(len(h.well)-1), scan/snapshotEvery)]
	if h.late != nil && t.scans < h.late.scans && h.late.scans <= scan {
		t = h.late
	}
	return h.copyOf(t)
}

// keepAt keeps the healthy beginning up to one scan, from which much is played.
func (h *hunt) keepAt(scan uint64) {
	t := h.healthyUntil(scan)
	h.d.State, h.d.Stamp = t.state, t.stamp
	for t.scans < scan {
		h.turn(t)
		h.alone(t)
		t.scans, t.stamp = t.scans+1, h.d.Stamp
	}
	h.late = t
}

func (h *hunt) copyOf(t *trail) *trail {
	next := *t
	next.state, next.sight = newState(h), h.w.begin()
	next.state.CopyFrom(t.state)
	next.sight.copyFrom(t.sight)
	next.wrong, next.leg = nil, nil
	return &next
}

// smaller makes what goes wrong in a run less, as long as the whole site still
// shows the same: whole stretches first, then scans, then changes. At its end no
// stretch can be left out.
func (h *hunt) smaller(list []stretch, t *trail) ([]stretch, *trail) {
	m := minimiser{h: h, list: list, best: t, end: h.turns + minimiseTurns}
	for again := true; again && h.turns < m.end; {
		again = m.fewer()
		again = m.shorter() || again
		again = m.sooner() || again
		again = m.joined() || again
	}
	return m.list, m.best
}

type minimiser struct {
	h    *hunt
	list []stretch
	best *trail
	end  uint64 // turns
}

// try takes a list over if it still shows the same in no more scans.
func (m *minimiser) try(list []stretch) bool {
	if m.h.turns > m.end {
		return false
	}
	t := m.h.play(list, m.best.scans)
	if t == nil {
		return false
	}
	m.list, m.best = trimmed(list, t.scans), t
	return true
}

// trimmed drops what lies beyond the end of a run.
func trimmed(list []stretch, end uint64) []stretch {
	var kept []stretch
	for _, s := range list {
		if s.from < end {
			s.to = min(s.to, end)
			kept = append(kept, s)
		}
	}
	return kept
}

// fewer leaves out all that goes wrong in one place, then single stretches.
func (m *minimiser) fewer() (better bool) {
	for i := 0; i < len(m.list); i++ {
		place := m.h.wrongs[m.list[i].wrong].place()
		without := slices.DeleteFunc(slices.Clone(m.list), func(s stretch) bool { return m.h.wrongs[s.wrong].place() == place })
		if len(without) < len(m.list)-1 && m.try(without) {
			better, i = true, -1
		}
	}
	for i := 0; i < len(m.list); i++ {
		if m.try(slices.Delete(slices.Clone(m.list), i, i+1)) {
			better, i = true, i-1
		}
	}
	return better
}

// shorter lets each stretch end sooner, or begin later.
func (m *minimiser) shorter() (better bool) {
	for i := 0; i < len(m.list); i++ {
		for step := (m.list[i].to - m.list[i].from) / 2; step > 0; step /= 2 {
			for i < len(m.list) && m.list[i].to-m.list[i].from > step && m.change(i, func(s *stretch) { s.to -= step }) {
				better = true
			}
			for i < len(m.list) && m.list[i].to-m.list[i].from > step && m.change(i, func(s *stretch) { s.from += step }) {
				better = true
			}
		}
	}
	return better
}

func (m *minimiser) change(i int, f func(*stretch)) bool {
	list := slices.Clone(m.list)
	f(&list[i])
	return m.try(list)
}

// sooner moves everything from one stretch on to an earlier scan; it counts only
// where the run then ends earlier.
func (m *minimiser) sooner() (better bool) {
	slices.SortStableFunc(m.list, func(a, b stretch) int { return int(a.from) - int(b.from) })
	for i := 0; i < len(m.list); i++ {
		gap := m.list[i].from
		if i > 0 {
			gap -= m.list[i-1].from
		}
		for step := gap; step > 0; step /= 2 {
			for i < len(m.list) && m.list[i].from >= step && m.earlier(i, step) {
				better = true
			}
		}
	}
	return better
}

func (m *minimiser) earlier(i int, by uint64) bool {
	list, was, had := slices.Clone(m.list), m.best.scans, m.best
	kept := m.list
	for k := i; k < len(list); k++ {
		if list[k].from < by {
			return false
		}
		list[k].from, list[k].to = list[k].from-by, list[k].to-by
	}
	if !m.try(list) {
		return false
	}
	if m.best.scans < was {
		return true
	}
	m.list, m.best = kept, had
	return false
}

// joined makes one stretch of two of the same kind that follow each other.
func (m *minimiser) joined() (better bool) {
	for i := 0; i < len(m.list); i++ {
		for k := i + 1; k < len(m.list); k++ {
			if m.list[i].wrong != m.list[k].wrong || m.h.wrongs[m.list[i].wrong].once() {
				continue
			}
			list := slices.Clone(m.list)
			list[i].to = list[k].to
			if m.try(slices.Delete(list, k, k+1)) {
				return true
			}
		}
	}
	return better
}
