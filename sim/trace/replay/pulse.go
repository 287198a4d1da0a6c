package replay

import (
	"ohmgate/interlock"
	"ohmgate/sim/trace"
)

// pulse tells a recorded output that leads or trails from one that moved alone.
// Both differ from the logic for some scans and then agree with it again. But
// what leads or trails ends where the logic has gone or will go; a contact that
// dropped out for one scan ends where it began, and the logic never moved.
type pulse struct {
	recorded int8   // what was recorded when the two began to differ
	began    uint64 // the scan of that
	enabled  bool   // the logic's side
	moved    uint64 // scan in which that last changed, plus one; 0 if never
}

// follow is told the logic's side.
func (p *pulse) follow(enabled bool, scan uint64) {
	if enabled != p.enabled {
		p.enabled, p.moved = enabled, scan+1
	}
}

// alone is asked when the two agree again, on recorded: the recording moved to
// and fro, and the logic did not, not even a tolerance earlier.
func (p *pulse) alone(recorded int8, tolerance int) bool {
	if recorded == trace.NotRecorded || (recorded == int8(interlock.Enabled)) == (p.recorded == int8(interlock.Enabled)) {
		return false // the logic came to where the recording was
	}
	return p.moved == 0 || p.moved-1+uint64(tolerance) < p.began
}
