package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// What follows is asked of the real Step on the whole site, from an output that
// a healthy plant has brought to run.

// ready is a started output, or the result that says why there is none.
func (v *verification) ready(output int) (*runs.Started, *Result) {
	s := v.Start(output)
	if s.Runs {
		return s, nil
	}
	return nil, &Result{Verdict: Nothing, Says: "a healthy plant never brought it to run, so nothing was exercised"}
}

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

// complete: every minimal cut set trips the running output, and nothing outside
// its cone changes it.
func (v *verification) complete(output int) *Result {
	s, none := v.ready(output)
	if none != nil {
		return none
	}
	limit := v.DetectAll() + 1
	inside := 0
	for _, set := range model.CutSets(v.Model.Config.Outputs[output].Permissive) {
		if r := v.mustTrip(s, set, limit); r != nil {
			return r
		}
		inside++
	}
	outside, r := v.untouched(s, output, limit)
	if r != nil {
		return r
	}
	r = &Result{Verdict: Nothing, Says: "no cut set of up to three causes"}
	if inside > 0 {
		r.Verdict = Shown
		r.Says = fmt.Sprintf("%d minimal cut sets trip it, %d causes outside its cone do not touch it", inside, outside)
	}
	return r
}

// untouched disturbs everything outside the cone: all together, and where that
// stops the output one by one, to name which.
func (v *verification) untouched(s *runs.Started, output int, limit model.Scans) (outside int, r *Result) {
	cone := v.Model.Cone(output)
	var causes []int
	for cause := 0; cause < len(v.Model.Config.Channels)+len(v.Model.Config.Inputs); cause++ {
		if !cone[cause] {
			causes = append(causes, cause)
		}
	}
	d, record := s.From()
	after := v.hold(d, record, causes, limit)
	if d.Enabled() {
		return len(causes), nil
	}
	who, faults := fmt.Sprintf("%d causes outside its cone together trip it", len(causes)), len(causes)
	for _, cause := range causes {
		alone, itsRecord := s.From()
		if n := v.hold(alone, itsRecord, []int{cause}, limit); !alone.Enabled() {
			record, after, faults = itsRecord, n, 1
			who = v.Model.Cause(cause) + " is outside its cone and trips it"
			break
		}
	}
	r = &Result{Verdict: Violated, Says: fmt.Sprintf("%s after %d scans", who, after)}
	r.Counterexample = record.Finish(r.Says, faults)
	return 0, r
}

// mustTrip lets a whole cut set be bad, which must trip the output.
func (v *verification) mustTrip(s *runs.Started, set []int, limit model.Scans) *Result {
	d, record := s.From()
	if v.hold(d, record, set, limit); !d.Enabled() {
		return nil
	}
	names := ""
	for _, cause := range set {
		names += v.Model.Cause(cause) + " "
	}
	r := &Result{Verdict: Violated, Says: fmt.Sprintf("%sbad for %d scans does not trip it", names, limit)}
	r.Counterexample = record.Finish(r.Says, len(set))
	r.Counterexample.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is not enabled}", limit-1, record.Scans-uint64(limit), v.Model.Names.Outputs[s.Driver.Target])
	return r
}

// firstOut: what is named was not true in the trip scan, something is named
// where the permissive was the reason, and the name stands until the reset.
func (v *verification) firstOut(output int) *Result {
	s, none := v.ready(output)
	if none != nil {
		return none
	}
	p := v.Model.Config.Outputs[output].Permissive
	var causes []int
	set := p.Causes()
	set.Each(func(c int) { causes = append(causes, c) })
	trips, tried := 0, 0
	said := ""
	for size := 1; size <= 2; size++ {
		model.Choose(causes, size, nil, func(chosen []int) {
			if tried++; tried > 200 || said != "" {
				return
			}
			tripped, wrong := v.tripBy(s, output, chosen)
			trips += model.Int(tripped)
			said = wrong
		})
	}
	switch {
	case said != "":
		return &Result{Verdict: Violated, Says: said}
	case trips == 0:
		return &Result{Verdict: Nothing, Says: "nothing that was tried trips it"}
	}
	return &Result{Verdict: Shown, Says: fmt.Sprintf("%d trips by one cause and by two in one scan, each followed on for 20 scans", trips)}
}

// decides says that one cause with another value would make a permissive true: under
// an XOR either side is to blame.
func decides(p interlock.Permissive, cause int, value func(int) interlock.Truth) bool {
	return slices.ContainsFunc(model.Truths[:], func(t interlock.Truth) bool {
		return model.Evaluate(p, func(c int) interlock.Truth {
			if c == cause {
				return t
			}
			return value(c)
		}) == interlock.True
	})
}

// tripBy lets some causes go bad together and looks at what is named.
func (v *verification) tripBy(s *runs.Started, output int, chosen []int) (tripped bool, said string) {
	d, _ := s.From()
	p := v.Model.Config.Outputs[output].Permissive
	for n := model.Scans(0); n < v.DetectAll()+1 && d.Enabled(); n++ {
		d.Healthy()
		for _, cause := range chosen {
			d.Spoil(cause, monitor.High)
		}
		d.Turn()
	}
	trip := d.State.Outputs[output].Trip
	if d.State.Outputs[output].Mode != interlock.Tripped {
		return false, ""
	}
	keep := func(c int) interlock.Truth { return d.Decision.Keep[c] }
	if model.Evaluate(p, keep) == interlock.True {
		return true, "it trips while its permissive is true"
	}
	if trip.Why&(interlock.ReasonNotMet|interlock.ReasonUnknown) != 0 && trip.FirstOut.Len() == 0 {
		return true, "the permissive tripped it and nothing is named"
	}
	trip.FirstOut.Each(func(c int) {
		switch want, known := model.Wanted(p, c); {
		case known && d.Decision.Keep[c] == want:
			said = v.Model.Cause(c) + " is named and was as it must be"
		case !known && !slices.Contains(chosen, c) && !v.evidenceOf(c, chosen) && !decides(p, c, keep):
			said = v.Model.Cause(c) + " is named and had nothing to do with it"
		}
	})
	named := trip.FirstOut
	for n := 0; n < 20 && said == ""; n++ {
		d.Healthy()
		if n%2 == 0 {
			d.In.Overrun = n%4 == 0
			d.Spoil((chosen[0]+1)%len(d.Decision.Keep), monitor.Open)
		}
		d.Turn()
		now := &d.State.Outputs[output]
		if now.Mode != interlock.Tripped {
			break // reset, or restarted by itself: what follows is another trip
		}
		if now.Trip.FirstOut != named {
			said = "the first-out changes while the trip stands"
		}
	}
	return true, said
}

func (v *verification) evidenceOf(channel int, chosen []int) bool {
	c := v.Model.Config
	if channel >= len(c.Channels) || c.Channels[channel].Evidence == 0 {
		return false
	}
	return slices.Contains(chosen, len(c.Channels)+int(c.Channels[channel].Evidence)-1)
}

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
