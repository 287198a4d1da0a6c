package coverage

import (
	"errors"
	"time"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/site"
	"ohmgate/sim"
)

// refuses says why the bench cannot play a fault: a short story with it is rehearsed.
func (b *Bench) refuses(one stimulus.Goal) string {
	if !b.plays() {
		return ""
	}
	samples := fault.AsBefore | fault.NothingComes | fault.ComesAgain
	if f := fault.Named(one.Fault); f.On == fault.OnChannel && f.Sees.Readings != 0 && f.Sees.Readings&^samples == 0 {
		return "it happens to samples inside the instrument: a resistance is always there"
	}
	const name, early = "try", 100 * time.Millisecond
	d := draft{name: name, lasts: 3 * time.Second}
	d.evidence(b.Site, early)
	d.connect(b.Site, early)
	d.fault(one.Fault, one.Name, time.Second)
	scenario, problems := sim.ParseScenario(name, d.text(), b.Site)
	if problems != nil {
		return problems[0].Text
	}
	_, because := b.Rehearse(scenario)
	return because
}

// Rehearse says how often the judged outputs change in a scenario, or why the bench
// cannot play it.
func (b *Bench) Rehearse(scenario *sim.Scenario) (changes int, because string) {
	plant, _, _ := sim.Prepare(b.Site, b.Logic, scenario, scenario.Seed)
	demand, err := stimulus.DryRun(b.Wires, b.Logic, plant, time.Now())
	return demand.Changes, obstacle(err)
}

// obstacle is the first thing that stands in the way of a rehearsal.
func obstacle(err error) string {
	var unplayable *stimulus.Unplayable
	if errors.As(err, &unplayable) {
		return unplayable.Obstacles[0].Why
	}
	var problems site.Problems
	if errors.As(err, &problems) && len(problems) > 0 {
		return problems[0].Text
	}
	if err != nil {
		return err.Error()
	}
	return ""
}
