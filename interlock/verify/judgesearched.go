package verify

import (
	"fmt"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

// withhold: what the searches say, with a run in which it is withheld.
func (v *verification) withhold(output int) *Result {
	r := v.found(output, model.PropertyWithhold, "")
	sets := model.CutSets(v.Model.Config.Outputs[output].Permissive)
	if len(sets) == 0 {
		return v.withRun(r, output, model.PropertyWithhold)
	}
	return v.withRunOn(r, output, model.PropertyWithhold, func(d *runs.Driver, record *runs.Recorder) string {
		v.hold(d, record, sets[0], v.DetectAll())
		return fmt.Sprintf("%s runs, then %s goes bad and it is withheld", v.Model.Names.Outputs[output], v.Model.Cause(sets[0][0]))
	})
}

func (v *verification) start(output int) *Result {
	return v.withRun(v.found(output, model.PropertyStart, ""), output, model.PropertyStart)
}

// withRun adds the example run of a property that was exercised: to where the output
// runs.
func (v *verification) withRun(r *Result, output int, property model.Property) *Result {
	return v.withRunOn(r, output, property, func(_ *runs.Driver, record *runs.Recorder) string {
		return fmt.Sprintf("%s runs after %d scans", v.Model.Names.Outputs[output], record.Scans)
	})
}

// withRunOn is withRun to where more has happened, which it says in a sentence.
func (v *verification) withRunOn(r *Result, output int, property model.Property, more func(*runs.Driver, *runs.Recorder) string) *Result {
	if r.Verdict != Shown {
		return r
	}
	s := v.Start(output)
	if !s.Runs {
		r.Verdict, r.Says = Nothing, "a healthy plant never brought it to run, so nothing was exercised"
		return r
	}
	d, record := s.From()
	sentence := more(d, record)
	r.Example = record.Finish(sentence, 0)
	r.Example.Property, r.Example.Output = property.String(), v.Model.Names.Outputs[output]
	return r
}

// hold lets some causes be bad until the target is withheld, or for so many
// scans, while everything else is well.
func (v *verification) hold(d *runs.Driver, record *runs.Recorder, causes []int, limit model.Scans) (after model.Scans) {
	for after = 0; after < limit && d.Enabled(); after++ {
		d.Healthy()
		for _, cause := range causes {
			d.Spoil(cause, monitor.High)
		}
		record.Turn(d)
	}
	return after
}

func (v *verification) boot(output int) *Result {
	channels := v.Model.Needed(output)
	r := v.found(output, model.PropertyStart, searchReset)
	if len(channels) == 0 {
		r.Verdict, r.Says = Nothing, "no channel is needed to run it"
		return r
	}
	for _, ch := range channels {
		f, err := v.FactsOf(ch)
		c := &v.Model.Config.Channels[ch].Config
		switch {
		case err != nil:
			r.Verdict, r.Says = Worse(r.Verdict, NotShown), err.Error()
		case f.BondScans == model.Endless:
			r.Verdict, r.Says = Worse(r.Verdict, Nothing), v.Model.Names.Channels[ch]+" can never bond"
		case min(f.BondScans, f.RebondScans) < c.SettleScans || min(f.BondReadings, f.RebondReadings) < c.SettleReadings:
			r.Verdict = Violated
			r.Says = fmt.Sprintf("%s bonds after %d scans and %d readings, must take %d and %d", v.Model.Names.Channels[ch],
				min(f.BondScans, f.RebondScans), min(f.BondReadings, f.RebondReadings), c.SettleScans, c.SettleReadings)
			return r
		case r.Verdict == Shown:
			r.Says = fmt.Sprintf("%s: at least %d scans and %d fresh good readings", v.Model.Names.Channels[ch], f.BondScans, f.BondReadings)
		}
	}
	return v.withRun(v.misjudged(output, model.PropertyBoot, r), output, model.PropertyBoot)
}

func (v *verification) reset(output int) *Result {
	return v.withRun(v.found(output, model.PropertyReset, searchReset), output, model.PropertyReset)
}

func (v *verification) waits(output int) *Result {
	return v.withRun(v.misjudged(output, model.PropertyWait, v.found(output, model.PropertyWait, searchWait)), output, model.PropertyWait)
}
