package verify

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// bypasses: a bypass lets an unreadable channel pass for its time and no longer,
// lets nothing else pass, and leaves every vessel's memory as it would be.
func (v *verification) bypasses(output int) *Result {
	s, none := v.ready(output)
	if none != nil {
		return none
	}
	r := &Result{Verdict: Shown}
	for _, i := range v.Model.BypassesOf(output) {
		b := &v.Model.Config.Bypasses[i]
		r.Subject = v.Model.Names.Bypasses[i]
		if said := v.bypass(s, output, b); said != "" {
			r.Verdict, r.Says = Violated, r.Subject+": "+said
			return r
		}
		r.Says = fmt.Sprintf("%s: passes unreadable only, ends after %d scans, no vessel differs", r.Subject, b.For)
	}
	return r
}

func (v *verification) bypass(s *runs.Started, output int, b *interlock.Bypass) string {
	alone := model.IsCut(v.Model.Config.Outputs[output].Permissive, b.Channel)
	limit := b.For + v.DetectAll() + 2
	for _, class := range [...]monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High} {
		with, _ := s.From()
		without, _ := s.From()
		covered := (class == monitor.Missing || class == monitor.Invalid) || b.CoversLost
		lasted, alike := model.Scans(0), true
		for n := model.Scans(0); n < limit; n++ {
			for _, d := range [...]*runs.Driver{with, without} {
				d.Healthy()
				d.In.Readings[b.Channel] = table.ReadingOf(&d.Config.Channels[b.Channel].Config, class, d.Stamp)
			}
			with.In.Signals[b.Input-1] = with.Signal(int(b.Input-1), model.Truth(n < 5))
			with.Turn()
			without.Turn()
			if with.Enabled() {
				lasted = n + 1
			}
			alike = alike && sameModes(with.State, without.State)
			if alike && !sameVessels(with.State, without.State) {
				return fmt.Sprintf("it changes a vessel's memory after %d scans of class %s", n+1, class)
			}
		}
		switch {
		case alone && lasted >= limit:
			return "it does not end"
		case alone && !covered && lasted > v.DetectAll():
			return fmt.Sprintf("it lets class %s pass", class)
		case alone && covered && class != monitor.Open && class != monitor.High && lasted < b.For-1:
			return fmt.Sprintf("it ends after %d scans, must last %d", lasted, b.For)
		}
	}
	boot := runs.NewDriver(v.Logic, v.Model.Config, output)
	for n := model.Scans(0); n < b.Gap+10; n++ {
		boot.Healthy()
		boot.In.Signals[b.Input-1] = boot.Signal(int(b.Input-1), interlock.True)
		boot.Turn()
		for i := range v.Model.Config.Bypasses {
			if boot.State.Bypasses[i].Active != 0 && v.Model.Config.Bypasses[i].Input == b.Input {
				return "a key that is jammed since power-up starts it"
			}
		}
	}
	return ""
}

// sameModes says that all outputs do the same; as long as they have, so must the
// charge memories.
func sameModes(a, b *interlock.State) bool {
	for i := range a.Outputs {
		if a.Outputs[i].Mode != b.Outputs[i].Mode {
			return false
		}
	}
	return true
}

func sameVessels(a, b *interlock.State) bool {
	for i := range a.Vessels {
		if a.Vessels[i].Clear != b.Vessels[i].Clear || a.Vessels[i].Waited != b.Vessels[i].Waited {
			return false
		}
	}
	return true
}
