package sim

import (
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
)

// Prepare is the plant of one scenario for a caller that turns the loop itself
// and in its own time, such as a test rig. The scenario's own time begins in
// scan zero, after whatever its beginning needs, and lasts so many scans.
func Prepare(s *site.Site, logic *interlock.Config, sc *Scenario, seed uint64) (p *Plant, zero, length uint64) {
	n := newNames(s)
	p = NewPlant(s, logic, seed, 0)
	zero = p.prelude(sc, n)
	length = sc.Lasts.ceil(p.Period)
	p.end = zero + length
	p.schedule(sc, zero, n)
	p.start()
	return p, zero, length
}

// Follower holds a scenario's expectations against a run that somebody else turns: it is a watcher of every scan.
type Follower struct{ w *watch }

// Follow follows the run of a plant from Prepare.
func Follow(s *site.Site, sc *Scenario, p *Plant, zero, length uint64) *Follower {
	return &Follower{newWatch(s, sc, p, newNames(s), zero, length)}
}

// Watch is one scan.
func (f *Follower) Watch(t *loop.Turn) error { return f.w.Watch(t) }

// Outcomes is what became of every expectation. Of a run that broke off only those are decided that were by then.
func (f *Follower) Outcomes(ended bool) []Outcome {
	if ended {
		return f.w.result(0).Outcomes
	}
	list := make([]Outcome, 0, len(f.w.checkers))
	for _, c := range f.w.checkers {
		list = append(list, c.outcome)
	}
	return list
}
