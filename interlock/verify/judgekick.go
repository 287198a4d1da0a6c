package verify

import (
	"fmt"
)

// kick: only in scans that were not overrun; in a scan that was, and in the first
// since power-up, nothing is energised.
func (v *verification) kick(output int) *Result {
	s, none := v.ready(output)
	if none != nil {
		return none
	}
	d, _ := s.From()
	for n := 0; n < 8; n++ {
		d.Healthy()
		d.In.Overrun = n == 2 || n == 5
		d.Turn()
		switch {
		case d.Decision.Kick == d.In.Overrun:
			return &Result{Verdict: Violated, Says: fmt.Sprintf("overrun %v, kick %v", d.In.Overrun, d.Decision.Kick)}
		case d.Decision.Coils.Energised(output) != d.Enabled():
			return &Result{Verdict: Violated, Says: "the coil is not what the output's memory says"}
		case d.In.Overrun && d.Enabled():
			return &Result{Verdict: Violated, Says: "it runs through an overrun scan"}
		}
	}
	d.State.PowerUp()
	d.Healthy()
	d.Turn()
	if d.Decision.Coils != 0 {
		return &Result{Verdict: Violated, Says: "something is energised in the first scan since power-up"}
	}
	return &Result{Verdict: Shown, Says: "running, overrun, tripped and at power-up"}
}
