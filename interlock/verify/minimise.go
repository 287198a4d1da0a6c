package verify

import "slices"

// injection is one thing that goes wrong from one scan on, to before another.
type injection struct {
	wrong    int // of the falsifier's deviations
	from, to uint64
}

// minimiseTurns bounds how many scans the making smaller of one run may take.
const minimiseTurns = 1_500_000

// snapshotEvery is how far apart the healthy beginnings of a run are kept.
const snapshotEvery = 256

// injections says what goes wrong on a path, and when.
func (f *falsifier) injections(t *path) []injection {
	var segments []*segment
	for at := t.segment; at != nil; at = at.before {
		if len(segments) == 0 || at.at < segments[len(segments)-1].at {
			segments = append(segments, at)
		}
	}
	slices.Reverse(segments)
	var list []injection
	for i, l := range segments {
		end := t.scans
		if i+1 < len(segments) {
			end = segments[i+1].at
		}
		for _, wrong := range l.begun {
			list = f.prolong(list, injection{wrong, l.at, end})
		}
	}
	return list
}

// prolong adds an injection, or makes one longer that ends where it begins.
func (f *falsifier) prolong(list []injection, s injection) []injection {
	if f.wrongs[s.wrong].once() {
		s.to = s.from + 1
	}
	for i := range list {
		if list[i].wrong == s.wrong && list[i].to == s.from && !f.wrongs[s.wrong].once() {
			list[i].to = s.to
			return list
		}
	}
	return append(list, s)
}

// play turns the whole site from power-up with some things going wrong, and
// returns the trail as soon as what is looked for is there; nil if it is not
// within the limit.
func (f *falsifier) play(list []injection, limit uint64) *path {
	first := limit
	for i := range list {
		first = min(first, list[i].from)
	}
	t := f.healthyUntil(first)
	f.d.State, f.d.Stamp = t.state, t.stamp
	for t.scans < limit {
		t.wrong = t.wrong[:0]
		for i := range list {
			if list[i].from <= t.scans && t.scans < list[i].to {
				t.wrong = append(t.wrong, list[i].wrong)
			}
		}
		f.turns++
		found := f.turn(t)
		t.scans++
		f.alone(t)
		if f.reaches(t, found, false) {
			t.faults = len(list)
			return t
		}
	}
	return nil
}

// healthyUntil is a copy of the healthy beginning of a run, up to some scan or a
// little before; the beginnings are kept. It ends before anything is reached.
func (f *falsifier) healthyUntil(scan uint64) *path {
	if len(f.well) == 0 {
		f.well = []*path{{state: newState(f), memory: f.observer.begin()}}
	}
	for uint64(len(f.well))*snapshotEvery <= scan && !f.spoilt {
		t := f.copyOf(f.well[len(f.well)-1])
		f.d.State, f.d.Stamp = t.state, t.stamp
		for n := 0; n < snapshotEvery && !f.spoilt; n++ {
			found := f.turn(t)
			t.scans, t.stamp = t.scans+1, f.d.Stamp
			f.alone(t)
			f.spoilt = f.reaches(t, found, false)
		}
		if !f.spoilt {
			f.well = append(f.well, t)
		}
	}
	t := f.well[min(uint64(len(f.well)-1), scan/snapshotEvery)]
	if f.late != nil && t.scans < f.late.scans && f.late.scans <= scan {
		t = f.late
	}
	return f.copyOf(t)
}

// keepAt keeps the healthy beginning up to one scan, from which much is played.
func (f *falsifier) keepAt(scan uint64) {
	t := f.healthyUntil(scan)
	f.d.State, f.d.Stamp = t.state, t.stamp
	for t.scans < scan {
		f.turn(t)
		f.alone(t)
		t.scans, t.stamp = t.scans+1, f.d.Stamp
	}
	f.late = t
}

func (f *falsifier) copyOf(t *path) *path {
	next := *t
	next.state, next.memory = newState(f), f.observer.begin()
	next.state.CopyFrom(t.state)
	next.memory.copyFrom(t.memory)
	next.wrong, next.segment = nil, nil
	return &next
}

// smaller makes what goes wrong in a run less, as long as the whole site still
// shows the same: whole injections first, then scans, then changes. At its end no
// injection can be left out.
func (f *falsifier) smaller(list []injection, t *path) ([]injection, *path) {
	m := minimiser{f: f, list: list, best: t, end: f.turns + minimiseTurns}
	for again := true; again && f.turns < m.end; {
		again = m.fewer()
		again = m.shorter() || again
		again = m.sooner() || again
		again = m.joined() || again
	}
	return m.list, m.best
}

type minimiser struct {
	f    *falsifier
	list []injection
	best *path
	end  uint64 // turns
}

// try takes a list over if it still shows the same in no more scans.
func (m *minimiser) try(list []injection) bool {
	if m.f.turns > m.end {
		return false
	}
	t := m.f.play(list, m.best.scans)
	if t == nil {
		return false
	}
	m.list, m.best = trimmed(list, t.scans), t
	return true
}

// trimmed drops what lies beyond the end of a run.
func trimmed(list []injection, end uint64) []injection {
	var kept []injection
	for _, s := range list {
		if s.from < end {
			s.to = min(s.to, end)
			kept = append(kept, s)
		}
	}
	return kept
}

// fewer leaves out all that goes wrong in one place, then single injections.
func (m *minimiser) fewer() (better bool) {
	for i := 0; i < len(m.list); i++ {
		place := m.f.wrongs[m.list[i].wrong].place()
		without := slices.DeleteFunc(slices.Clone(m.list), func(s injection) bool { return m.f.wrongs[s.wrong].place() == place })
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

// shorter lets each injection end sooner, or begin later.
func (m *minimiser) shorter() (better bool) {
	for i := 0; i < len(m.list); i++ {
		for step := (m.list[i].to - m.list[i].from) / 2; step > 0; step /= 2 {
			for i < len(m.list) && m.list[i].to-m.list[i].from > step && m.change(i, func(s *injection) { s.to -= step }) {
				better = true
			}
			for i < len(m.list) && m.list[i].to-m.list[i].from > step && m.change(i, func(s *injection) { s.from += step }) {
				better = true
			}
		}
	}
	return better
}

func (m *minimiser) change(i int, f func(*injection)) bool {
	list := slices.Clone(m.list)
	f(&list[i])
	return m.try(list)
}

// sooner moves everything from one injection on to an earlier scan; it counts only
// where the run then ends earlier.
func (m *minimiser) sooner() (better bool) {
	slices.SortStableFunc(m.list, func(a, b injection) int { return int(a.from) - int(b.from) })
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

// joined makes one injection of two of the same kind that follow each other.
func (m *minimiser) joined() (better bool) {
	for i := 0; i < len(m.list); i++ {
		for k := i + 1; k < len(m.list); k++ {
			if m.list[i].wrong != m.list[k].wrong || m.f.wrongs[m.list[i].wrong].once() {
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
