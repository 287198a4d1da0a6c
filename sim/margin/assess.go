package margin

import (
	"fmt"
	"slices"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/reliability"
)

// Assessed is one safety function's numbers for the assessor.
type Assessed struct {
	Function string             `json:"function"`
	Title    string             `json:"title,omitempty"`
	Demand   string             `json:"demand"`
	Target   int                `json:"target,omitempty"`
	Standing verdict.Verdict    `json:"standing"`
	Why      string             `json:"why"`
	Result   reliability.Result `json:"result"`
}

// Assess calculates every safety function of the site from the user's own
// failure rates.
func Assess(s *site.Site) ([]Assessed, error) {
	list := []Assessed{}
	for i := range s.Functions {
		one, err := assess(&s.Functions[i])
		if err != nil {
			return nil, fmt.Errorf("reliability.%s: %w", s.Functions[i].Name, err)
		}
		list = append(list, one)
	}
	return list, nil
}

func assess(f *site.Function) (Assessed, error) {
	made := reliability.Function{Name: f.Name}
	for i := range f.Groups {
		g, err := groupOf(&f.Groups[i])
		if err != nil {
			return Assessed{}, err
		}
		made.Groups = append(made.Groups, g)
	}
	result, err := made.Evaluate()
	if err != nil {
		return Assessed{}, err
	}
	a := Assessed{Function: f.Name, Title: f.Title, Demand: f.Demand, Target: f.Target, Result: result}
	band, number := result.PFHBand, "PFH"
	if f.Demand == "low" {
		band, number = result.PFDBand, "PFDavg"
	}
	a.Standing, a.Why = verdict.NotShown, "no target is given"
	switch {
	case f.Target == 0:
	case int(band) < f.Target:
		a.Standing, a.Why = verdict.Violated, fmt.Sprintf("%s lies %s, asked for is level %d", number, where(band), f.Target)
	case doubtful(result.Warnings):
		a.Why = fmt.Sprintf("%s lies %s, but the number is doubtful: see the warnings", number, where(band))
	default:
		a.Standing, a.Why = verdict.Shown, fmt.Sprintf("%s lies %s, asked for is level %d; a number alone is no claim of a level", number, where(band), f.Target)
	}
	return a, nil
}

// undermine are the warnings after which a number shows nothing; the others say
// what it assumes.
var undermine = []string{"first-order", "no-common-cause", "coverage-high", "no-rate"}

func doubtful(warnings []reliability.Warning) bool {
	return slices.ContainsFunc(warnings, func(w reliability.Warning) bool { return slices.Contains(undermine, w.ID) })
}

func groupOf(g *site.Group) (reliability.Group, error) {
	architecture, err := reliability.ParseArchitecture(g.Architecture)
	made := reliability.Group{
		Name: g.Name, Architecture: architecture, Dangerous: g.Dangerous, Coverage: g.Coverage, Safe: g.Safe, Beta: g.Beta,
		ProofTest: g.ProofTest.Hours(), ProofCoverage: g.ProofCoverage, FullTest: g.FullTest.Hours(),
		Repair: g.Repair.Hours(), Restoration: g.Restoration.Hours(),
	}
	if g.BetaDetected.Set {
		made.BetaDetected = &g.BetaDetected.Hi
	}
	return made, err
}

// where is a band behind "lies".
func where(b reliability.Band) string {
	if b == reliability.BelowSIL4 {
		return b.String()
	}
	return "in " + b.String()
}
