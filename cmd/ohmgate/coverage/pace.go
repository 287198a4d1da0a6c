package coverage

import (
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
)

// pace watches whether the judged outputs stay as they are until a unit's contact must have followed.
type pace struct {
	bench *Bench
	last  []uint64 // scan of each output's last change
	coils interlock.CoilSet
	hasty bool
}

// Watch is one scan.
func (p *pace) Watch(t *loop.Turn) error {
	if p.last == nil {
		p.last = make([]uint64, len(p.bench.Site.Outputs))
	}
	const few = 3 // scans: the unit's own may lie anywhere beside ours, and so does the poll
	for output := range p.bench.Site.Outputs {
		if p.bench.Wires.Contacts[output] == nil || p.coils.Energised(output) == t.Decision.Coils.Energised(output) {
			continue
		}
		follows := uint64(p.bench.Site.Outputs[output].OutputDelay.Hi/p.bench.Site.Period.Max.Seconds()) + few
		p.hasty = p.hasty || p.last[output] != 0 && t.Scan-p.last[output] < follows
		p.last[output] = t.Scan
	}
	p.coils = t.Decision.Coils
	return nil
}
