package verify

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
)

// unconfirmed: what the search says, and that a failing actuator takes its
// backups with it in the same scan.
func (v *verification) unconfirmed(output int) *Result {
	o := &v.Model.Config.Outputs[output]
	r := &Result{Verdict: Shown}
	if o.Confirmable() {
		r = v.found(output, model.PropertyUnconfirmed, searchReset)
	}
	for _, b := range o.Backup {
		s, none := v.ready(b)
		if none != nil {
			r.Verdict, r.Says = Worse(r.Verdict, none.Verdict), v.Model.Names.Outputs[b]+": "+none.Says
			continue
		}
		if said := v.callsBackup(s, output, b); said != "" {
			r.Verdict, r.Says = Violated, said
			return r
		}
		r.Says += fmt.Sprintf("; calls %s in the same scan", v.Model.Names.Outputs[b])
	}
	return r
}

// callsBackup puts a running backup beside every way in which the output can
// fail, and lets it fail of itself as well.
func (v *verification) callsBackup(s *runs.Started, output, backup int) string {
	o := &v.Model.Config.Outputs[output]
	name := v.Model.Names.Outputs
	for latch := interlock.Unconfirmed(0); latch < 16; latch++ {
		for mode := interlock.Mode(0); mode < interlock.Modes; mode++ {
			if mode == interlock.Enabled && latch != 0 {
				continue
			}
			d, _ := s.From()
			d.Healthy()
			d.State.Outputs[output].OutputControl = interlock.OutputControl{Mode: mode, Unconfirmed: latch}
			d.Turn()
			must := table.MayBeOpen(latch) || o.AtOnce && d.State.Outputs[output].Mode == interlock.Tripped
			if must && d.Enabled() {
				return fmt.Sprintf("%s runs on while %s may still be open", name[backup], name[output])
			}
		}
	}
	if o.Closed == 0 {
		return ""
	}
	d, _ := s.From()
	for n := model.Scans(0); n <= o.Travel.Next(); n++ {
		d.Healthy()
		d.In.Signals[o.Closed-1] = d.Signal(int(o.Closed-1), interlock.False)
		d.Turn()
		if table.MayBeOpen(d.State.Outputs[output].Unconfirmed) {
			if d.Enabled() {
				return fmt.Sprintf("%s is not withheld in the scan in which %s is unconfirmed", name[backup], name[output])
			}
			return ""
		}
	}
	if d.State.Outputs[output].Mode == interlock.Enabled {
		return ""
	}
	return fmt.Sprintf("%s stays open for its travel time and is not unconfirmed", name[output])
}
