package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// shownBy is the verdict of a joint run that breaks a property also on the real
// Step of the whole site; nil if there is none.
func (j *jointly) shownBy(property model.Property, run joint.Run) *Result {
	if len(run.News) == 0 {
		return nil
	}
	shown := j.replay(property, &run)
	if shown == nil {
		return nil
	}
	return &Result{Verdict: Violated, Says: fmt.Sprintf("first after %d scans, with all channels in full detail", len(run.News)), Counterexample: shown}
}

// replay gives the channels what a joint run says, from power-up, and looks in
// every scan for inputs that move the output as the run says, what is healthy
// first. The last scan must break the property before an observer.
func (j *jointly) replay(property model.Property, run *joint.Run) *runs.Run {
	v := j.verification
	d, record, o := runs.NewDriver(v.Logic, v.Model.Config, j.Number), runs.NewRecorder(v.Model), v.observerOf(j.Number)
	remembered := o.begin()
	for k, news := range run.News {
		last := k == len(run.News)-1
		found := model.PropertySet(0)
		moves := j.eachMove(d, news, func() bool {
			try, seen := d.CopyOf(), o.begin()
			seen.copyFrom(remembered)
			j.sameInputs(try, d)
			o.prior.CopyFrom(try.State)
			try.Turn()
			found = o.observe(seen, try)
			now := uint64(j.Steps.Shape.Pack(try.State.Outputs[j.Number].OutputControl))
			return last && found.Has(property) || !last && now == run.Words[k]&(1<<table.WatchShift-1)
		})
		if !moves {
			return nil
		}
		o.prior.CopyFrom(d.State)
		record.Turn(d)
		found = o.observe(remembered, d)
	}
	wrong := o.breaches[property]
	shown := record.Finish(fmt.Sprintf("in scan %d %s", record.Scans-1, wrong.says), 0)
	shown.Property, shown.Output = property.String(), j.Output
	shown.Expect = wrong.expectation(j.Output, shown.Scans)
	shown.Slice = j.lastReadings(run)
	return shown
}

// lastReadings names what the channels read in the scan that matters.
func (j *jointly) lastReadings(run *joint.Run) (list []string) {
	for i, class := range run.News[len(run.News)-1] {
		list = append(list, fmt.Sprintf("reading of %s: %s", j.Channels[i].Name, class))
	}
	return append(list, "rule: "+j.Output+" and its permissive")
}

func (j *jointly) sameInputs(to, from *runs.Driver) {
	copy(to.In.Readings, from.In.Readings)
	copy(to.In.Signals, from.In.Signals)
	to.In.Overrun = from.In.Overrun
}

// eachMove arms the driver with one choice of the output's inputs after the other
// until one is right: what a careful operator does first, then every level of its
// buttons, switches and stop.
func (j *jointly) eachMove(d *runs.Driver, news []monitor.Class, right func() bool) bool {
	d.Healthy()
	for i, class := range news {
		cause := j.Channels[i].Cause
		d.In.Readings[cause] = table.ReadingOf(&d.Config.Channels[cause].Config, class, d.Stamp)
	}
	if right() {
		return true
	}
	o := &d.Config.Outputs[j.Number]
	healthy := append([]interlock.Signal(nil), d.In.Signals...)
	var choose func(refs []interlock.Ref) bool
	choose = func(refs []interlock.Ref) bool {
		if len(refs) == 0 {
			return right()
		}
		if refs[0] == 0 {
			return choose(refs[1:])
		}
		at := refs[0] - 1
		for _, s := range [...]interlock.Signal{healthy[at], interlock.Low, interlock.High, interlock.NoSignal, interlock.Faulty} {
			if d.In.Signals[at] = s; choose(refs[1:]) {
				return true
			}
		}
		d.In.Signals[at] = healthy[at]
		return false
	}
	for _, overrun := range [...]bool{false, true} {
		d.In.Overrun = overrun
		if choose([]interlock.Ref{o.Reset, o.Start, o.Closed, o.Opened, o.Stop}) {
			return true
		}
	}
	return false
}

// firstOut adds to the explicit property the losses of two channels in one scan:
// which pairs can be lost so is a matter of both histories. Both must be named.
func (j *jointly) firstOut() *Result {
	r := j.verification.firstOut(j.Number)
	if r.Verdict != Shown {
		return r
	}
	pairs, together, replayed := 0, 0, 0
	for a := range j.Channels {
		for b := a + 1; b < len(j.Channels); b++ {
			pair := []string{j.Channels[a].Name, j.Channels[b].Name}
			if !j.bothStop(a, b) {
				continue
			}
			pairs++
			found, err := j.engine.Lost(pair)
			if err != nil {
				return &Result{Verdict: NotShown, Says: err.Error()}
			}
			together += model.Int(found.Scans > 0)
			run, wrong := j.loseBoth(&found, a, b)
			replayed += model.Int(run)
			if wrong != nil {
				return wrong
			}
		}
	}
	if pairs > 0 {
		r.Says += fmt.Sprintf("; jointly: %d of %d pairs can be lost in one scan, both were named in the %d that the whole site repeated", together, pairs, replayed)
	}
	return r
}

// bothStop says that the loss of a pair in one scan must name both: each stops the
// output alone, or they are a cut set, and nothing turns the question round.
func (j *jointly) bothStop(a, b int) bool {
	x, y := &j.Channels[a], &j.Channels[b]
	for _, c := range []*joint.Channel{x, y} {
		if value, known := model.Wanted(j.Permissive, c.Cause); !known || value != interlock.True {
			return false
		}
	}
	pair := false
	for _, set := range model.CutSets(j.Permissive) {
		pair = pair || len(set) == 2 && slices.Contains(set, x.Cause) && slices.Contains(set, y.Cause)
	}
	return x.Cut && y.Cut || pair
}

// loseBoth replays a loss of two channels in one scan on the real Step.
func (j *jointly) loseBoth(found *joint.Response, a, b int) (replayed bool, wrong *Result) {
	if len(found.Bad) == 0 {
		return false, nil
	}
	d, record := j.verification.Start(j.Number).From()
	for _, news := range append(found.Lead, found.Bad...) {
		if !d.Enabled() {
			return false, nil
		}
		j.turn(d, record, news)
	}
	out := &d.State.Outputs[j.Number]
	for _, i := range [...]int{a, b} {
		c := &j.Channels[i]
		if out.Mode != interlock.Tripped || d.State.Channels[c.Cause].Phase.MayKeep() {
			return false, nil
		}
	}
	for _, i := range [...]int{a, b} {
		if c := &j.Channels[i]; !out.Trip.FirstOut.Has(c.Cause) {
			says := fmt.Sprintf("%s and %s are lost in one scan and %s is not named as first-out", j.Channels[a].Name, j.Channels[b].Name, c.Name)
			run := record.Finish(says, 2)
			run.Property, run.Output = model.PropertyFirstOut.String(), j.Output
			return true, &Result{Verdict: Violated, Says: says, Counterexample: run}
		}
	}
	return true, nil
}
