package main

import (
	"fmt"

	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/verdict"
	"ohmgate/sim"
)

// besideTheUnit is what a scenario's expectations are held against on a bench: the states of the unit are not to be seen, only
// its contacts are, and those are held against this logic step by step.
const besideTheUnit = "the logic beside the unit"

// expects has the expectations of the scenario followed, or listed as not judged where the mode plays no scenario. What the
// logic shows by itself and not on the bench is not shown: the unit or the bench has bent the story.
func (o *rigOptions) expects(f *rigFiles, order *rig.Order) error {
	if order.Mode != wiring.Stimulate {
		for i := range f.scenario.Expect {
			one := f.expectation(&sim.Outcome{Expectation: &f.scenario.Expect[i]})
			one.On, one.Verdict, one.Detail = "", sheet.NotJudged, fmt.Sprintf("a %s run plays no scenario to a unit", order.Mode)
			order.Unjudged = append(order.Unjudged, one)
		}
		return nil
	}
	alone, err := sim.Run(f.site, f.scenario, sim.Options{})
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	order.New = func() (loop.Source, error) {
		p, zero, length := sim.Prepare(f.site, f.logic, f.scenario, f.scenario.Seed)
		return &followedPlant{p, sim.Follow(f.site, f.scenario, p, zero, length)}, nil
	}
	order.Expect = func(source loop.Source) (loop.Watcher, func(bool) []sheet.Expectation) {
		follower := source.(*followedPlant).follower
		return follower, func(ended bool) []sheet.Expectation {
			made := []sheet.Expectation{}
			for i, outcome := range follower.Outcomes(ended) {
				made = append(made, f.onBench(&outcome, &alone.Outcomes[i]))
			}
			return made
		}
	}
	return nil
}

// followedPlant is a plant whose scenario's expectations are followed.
type followedPlant struct {
	*sim.Plant
	follower *sim.Follower
}

func (f *rigFiles) expectation(outcome *sim.Outcome) sheet.Expectation {
	return sheet.Expectation{
		Text: outcome.Expectation.Text, Where: fmt.Sprintf("%s:%d", f.scenario.File, outcome.Expectation.Place.Line), On: besideTheUnit,
		At: float64(outcome.Scan) * f.site.Period.Max.Seconds(), Verdict: sheet.Finding(outcome.Verdict), Detail: outcome.Detail,
	}
}

// onBench is an outcome on the bench beside what the logic does by itself.
func (f *rigFiles) onBench(outcome, alone *sim.Outcome) sheet.Expectation {
	made := f.expectation(outcome)
	switch {
	case !outcome.Decided:
		made.Verdict, made.Detail = sheet.Finding(verdict.NotShown), "the run broke off before"
	case outcome.Verdict != verdict.Shown && alone.Verdict == verdict.Shown:
		made.Verdict = sheet.Finding(verdict.NotShown)
		made.Detail += "; simulated, the logic shows it: the unit or the bench has bent the story"
	}
	return made
}
