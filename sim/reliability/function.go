package reliability

import (
	"fmt"
	"math"
)

// Function is a safety function: groups in series, each of which must work
// (sensors, logic, final elements). PFD_SYS = PFD_S + PFD_L + PFD_FE (IEC
// 61508-6:2000 B.2.1, seen).
type Function struct {
	Name   string
	Groups []Group
}

// Result is what an assessor asks for, of a group or a whole function.
type Result struct {
	Name             string    `json:"name"`
	PFD              float64   `json:"pfd"`                // average probability of failure on demand
	PFDBand          Band      `json:"pfd_band"`           //
	RiskReduction    float64   `json:"risk_reduction"`     // 1/PFD; 0 when PFD is 0
	PFH              float64   `json:"pfh"`                // 1/h
	PFHBand          Band      `json:"pfh_band"`           //
	SpuriousTripRate float64   `json:"spurious_trip_rate"` // 1/h
	TripEvery        float64   `json:"trip_every"`         // h, mean time between spurious trips; 0 when there are none
	Warnings         []Warning `json:"warnings,omitempty"`
	Groups           []Result  `json:"groups,omitempty"` // of a function, in order
}

// Warning says why a number must be read with care. IDs are stable.
type Warning struct {
	ID     string `json:"id"`
	Group  string `json:"group,omitempty"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

// Evaluate calculates one group.
func (g Group) Evaluate() (Result, error) {
	pfd, err := g.PFD()
	if err != nil {
		return Result{}, err
	}
	pfh, err := g.PFH()
	if err != nil {
		return Result{}, err
	}
	trips, err := g.SpuriousTripRate()
	if err != nil {
		return Result{}, err
	}
	return finish(Result{Name: g.title(), PFD: pfd, PFH: pfh, SpuriousTripRate: trips, Warnings: g.Warnings()}), nil
}

// Evaluate calculates the function: the groups, and their sums.
func (f Function) Evaluate() (Result, error) {
	if len(f.Groups) == 0 {
		return Result{}, fmt.Errorf("safety function %s: no groups: write at least sensors, logic and final elements", f.Name)
	}
	total := Result{Name: f.Name}
	for _, g := range f.Groups {
		part, err := g.Evaluate()
		if err != nil {
			return Result{}, fmt.Errorf("safety function %s: %w", f.Name, err)
		}
		total.PFD += part.PFD
		total.PFH += part.PFH
		total.SpuriousTripRate += part.SpuriousTripRate
		total.Warnings = append(total.Warnings, part.Warnings...)
		total.Groups = append(total.Groups, part)
	}
	return finish(total), nil
}

// finish derives the rest. A sum of probabilities above 1 is cut at 1.
func finish(r Result) Result {
	r.PFD = math.Min(1, r.PFD)
	r.PFDBand, r.PFHBand = BandOfPFD(r.PFD), BandOfPFH(r.PFH)
	if r.PFD > 0 {
		r.RiskReduction = RiskReduction(r.PFD)
	}
	if r.SpuriousTripRate > 0 {
		r.TripEvery = 1 / r.SpuriousTripRate
	}
	return r
}

// firstOrder is the largest rate times interval for which the formulas hold.
const firstOrder = 0.1

// Warnings lists what makes the numbers of a group doubtful. Nil means that no
// rule here has anything against them, not that they are right.
func (g Group) Warnings() []Warning {
	var list []Warning
	add := func(id, source, format string, values ...any) {
		list = append(list, Warning{ID: id, Group: g.title(), Text: fmt.Sprintf(format, values...), Source: source})
	}
	longest := g.ProofTest
	if g.ProofCoverage < 1 {
		longest = g.FullTest
	}
	if x := g.Dangerous * longest; x >= firstOrder {
		add("first-order", "caveat of the formulas, second-hand",
			"rate times longest test interval is %.2g; the formulas hold only below 0.1", x)
	}
	if g.Architecture.Redundant() && g.Beta == 0 {
		add("no-common-cause", "IEC 61508-6 Annex D, from memory", "redundant channels with beta 0: common cause is left out")
	}
	if g.BetaDetected == nil && g.Architecture.Redundant() && g.Beta > 0 {
		add("beta-detected-assumed", "IEC 61508-6 Annex B tables use half of beta", "beta of detected failures not given: taken equal to beta, the worse case")
	}
	if g.Coverage > 0.99 {
		add("coverage-high", "IEC 61508-2 Annex A, from memory", "diagnostic coverage %.4g is above the 0.99 that the standard calls high: it needs evidence", g.Coverage)
	}
	if g.ProofCoverage == 1 {
		add("perfect-proof-test", "common practice", "the proof test is taken to find everything")
	}
	if g.Coverage > 0 {
		add("detected-trips", "IEC 61508-6 Annex B.3.3, from memory", "PFH assumes that a detected failure brings the safe state at once")
	}
	if g.Dangerous == 0 {
		add("no-rate", "common practice", "a dangerous failure rate of 0 is a wish, not a number")
	}
	return list
}
