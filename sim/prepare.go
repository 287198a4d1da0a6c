package sim

import (
	"ohmgate/interlock"
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
