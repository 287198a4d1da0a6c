package reliability

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// exactPFD is the average over one proof-test interval (h) of the probability
// that the function has failed, for channels that fail undetected at a rate (1/h)
// and are as new after each test: no repair, no common cause, no approximation.
// With U(t) = 1-exp(-λt): U for 1oo1, U² for 1oo2, 2U-U² for 2oo2, 3U²-2U³ for
// 2oo3, U³ for 1oo3. The first-order formulas are never below it.
func exactPFD(a Architecture, rate, interval float64) (float64, error) {
	if !a.known() {
		return 0, fmt.Errorf("exact PFD: no architecture")
	}
	if !(rate >= 0) || math.IsInf(rate, 1) || !(interval > 0) || math.IsInf(interval, 1) {
		return 0, fmt.Errorf("exact PFD: rate %v /h and interval %v h: write finite numbers, the interval above 0", rate, interval)
	}
	x := rate * interval
	if x > 500 { // everything has failed almost at once; the closed form is accurate there
		return exactByTerms(a, x), nil
	}
	unavailable := func(s float64) float64 { return a.failed(-math.Expm1(-s)) }
	panels := int(math.Ceil(x)) + 1
	total := 0.0
	for i := range panels {
		from, to := x*float64(i)/float64(panels), x*float64(i+1)/float64(panels)
		total += quad.Fixed(unavailable, from, to, 16, quad.Legendre{}, 0)
	}
	if x == 0 {
		return 0, nil
	}
	return total / x, nil
}

// failed is the probability that the vote has failed when each channel has with u.
func (a Architecture) failed(u float64) float64 {
	switch a {
	case OneOutOfOne:
		return u
	case OneOutOfTwo:
		return u * u
	case TwoOutOfTwo:
		return u * (2 - u)
	case TwoOutOfThree:
		return u * u * (3 - 2*u)
	default:
		return u * u * u
	}
}

// exactByTerms sums the means of exp(-kx), which cancel for small x.
func exactByTerms(a Architecture, x float64) float64 {
	mean := func(k float64) float64 { return -math.Expm1(-k*x) / (k * x) }
	one := 1 - mean(1)
	two := 1 - 2*mean(1) + mean(2)
	three := 1 - 3*mean(1) + 3*mean(2) - mean(3)
	switch a {
	case OneOutOfOne:
		return one
	case OneOutOfTwo:
		return two
	case TwoOutOfTwo:
		return 2*one - two
	case TwoOutOfThree:
		return 3*two - 2*three
	default:
		return three
	}
}

// simplifiedPFD is the widely used shorthand with undetected failures only
// (ISA-TR84.00.02 style, from memory): 1oo1 λT/2, 1oo2 (λT)²/3, 2oo2 λT, 2oo3
// (λT)², 1oo3 (λT)³/4, and β λT/2 for the redundant ones. It knows no repair and
// no imperfect test.
func (g Group) simplifiedPFD() (float64, error) {
	if err := g.Check(); err != nil {
		return 0, err
	}
	x := g.undetected() * g.ProofTest
	common := g.Beta * x / 2
	switch g.Architecture {
	case OneOutOfOne:
		return x / 2, nil
	case TwoOutOfTwo:
		return x, nil
	case OneOutOfTwo:
		return x*x/3 + common, nil
	case TwoOutOfThree:
		return x*x + common, nil
	default:
		return x*x*x/4 + common, nil
	}
}

// tableRepair is the repair and restoration time in h that the tables of IEC
// 61508-6 Annex B are printed for.
const tableRepair = 8

// tabulated is a group as the tables of IEC 61508-6:2010 Annex B have it: 8 h
// repair, half of beta for detected failures, a perfect proof test.
func tabulated(a Architecture, dangerous, coverage, beta, proofTest float64) Group {
	half := beta / 2
	return Group{Architecture: a, Dangerous: dangerous, Coverage: coverage, Beta: beta, BetaDetected: &half,
		ProofTest: proofTest, ProofCoverage: 1, Repair: tableRepair, Restoration: tableRepair}
}
