package reliability

import (
	"fmt"
	"math"
)

// Group is a set of equal channels that vote: the sensors, the logic or the final
// elements of a safety function.
type Group struct {
	Name         string
	Architecture Architecture
	Dangerous    float64 // 1/h, dangerous failures of one channel
	Coverage     float64 // share of them that diagnostics find, 0..1
	Safe         float64 // 1/h, failures of one channel that trip; for SpuriousTripRate
	Beta         float64 // share of undetected failures with a common cause, 0..1
	// BetaDetected is the same for detected ones. Nil takes Beta, the worse case;
	// the tables of the standard use half of it.
	BetaDetected *float64
	ProofTest    float64 // h, interval
	// ProofCoverage is the share of undetected failures that the proof test finds,
	// above 0 to 1. It must be said: 1 is a perfect test.
	ProofCoverage float64
	// FullTest is the interval in h after which also the rest is found (overhaul,
	// replacement, end of life). Needed when ProofCoverage is below 1.
	FullTest    float64
	Repair      float64 // h, mean repair time after a proof test has found the failure (MRT)
	Restoration float64 // h, mean time to restoration after diagnostics have (MTTR)
}

// Check refuses what cannot be calculated, naming the field and what to write.
func (g Group) Check() error {
	fail := func(field string, v float64, write string) error {
		return fmt.Errorf("group %s: %s %v: write %s", g.title(), field, v, write)
	}
	if !g.Architecture.known() {
		return fmt.Errorf("group %s: no architecture: write 1oo1, 1oo2, 2oo2, 2oo3 or 1oo3", g.title())
	}
	magnitude := func(v float64) bool { return v >= 0 && !math.IsInf(v, 1) }
	share := func(v float64) bool { return v >= 0 && v <= 1 }
	switch {
	case !magnitude(g.Dangerous):
		return fail("dangerous failure rate", g.Dangerous, "0 or more per hour")
	case !magnitude(g.Safe):
		return fail("safe failure rate", g.Safe, "0 or more per hour")
	case !share(g.Coverage):
		return fail("diagnostic coverage", g.Coverage, "0 to 1")
	case !share(g.Beta):
		return fail("beta", g.Beta, "0 to 1")
	case g.BetaDetected != nil && !share(*g.BetaDetected):
		return fail("beta of detected failures", *g.BetaDetected, "0 to 1")
	case !(g.ProofTest > 0) || math.IsInf(g.ProofTest, 1):
		return fail("proof-test interval", g.ProofTest, "hours above 0")
	case !(g.ProofCoverage > 0 && g.ProofCoverage <= 1):
		return fail("proof-test coverage", g.ProofCoverage, "above 0 to 1 (1 for a perfect test)")
	case g.ProofCoverage < 1 && (!(g.FullTest >= g.ProofTest) || math.IsInf(g.FullTest, 1)):
		return fail("full-test interval", g.FullTest, "hours, at least the proof-test interval")
	case !magnitude(g.Repair):
		return fail("repair time", g.Repair, "hours, 0 or more")
	case !magnitude(g.Restoration):
		return fail("restoration time", g.Restoration, "hours, 0 or more")
	}
	return nil
}

func (g Group) title() string {
	if g.Name == "" {
		return g.Architecture.String()
	}
	return g.Name
}

// undetected and detected are the two parts of the dangerous rate, 1/h.
func (g Group) undetected() float64 { return g.Dangerous * (1 - g.Coverage) }
func (g Group) detected() float64   { return g.Dangerous * g.Coverage }

func (g Group) betaDetected() float64 {
	if g.BetaDetected == nil {
		return g.Beta
	}
	return *g.BetaDetected
}

// hidden is the mean time in h for which an undetected failure of the n-th
// channel stays: T/2 for one, T/3 when two must have failed, T/4 for three; each
// part by the test that finds it.
func (g Group) hidden(divisor float64) float64 {
	found := g.ProofCoverage * (g.ProofTest/divisor + g.Repair)
	if g.ProofCoverage == 1 {
		return found
	}
	return found + (1-g.ProofCoverage)*(g.FullTest/divisor+g.Repair)
}

// down is the mean down time in h (tCE, tGE, tG2E of the standard).
func (g Group) down(divisor float64) float64 {
	if g.Dangerous == 0 {
		return 0
	}
	return g.undetected()/g.Dangerous*g.hidden(divisor) + g.detected()/g.Dangerous*g.Restoration
}

// independent is the rate in 1/h of failures without a common cause.
func (g Group) independent() float64 {
	return (1-g.betaDetected())*g.detected() + (1-g.Beta)*g.undetected()
}

// commonCause is the part of PFDavg from failures of all channels at once.
func (g Group) commonCause() float64 {
	return g.betaDetected()*g.detected()*g.Restoration + g.Beta*g.undetected()*g.hidden(2)
}

// PFD is the average probability of failure on demand. Source: IEC 61508-6:2010
// Annex B.3.2 (from memory, confirmed against published rows); the imperfect
// proof test after B.3.2.5.
func (g Group) PFD() (float64, error) {
	if err := g.Check(); err != nil {
		return 0, err
	}
	i, one, two, three := g.independent(), g.down(2), g.down(3), g.down(4)
	switch g.Architecture {
	case OneOutOfOne:
		return g.Dangerous * one, nil
	case TwoOutOfTwo:
		return 2 * g.Dangerous * one, nil
	case OneOutOfTwo:
		return 2*i*i*one*two + g.commonCause(), nil
	case TwoOutOfThree:
		return 6*i*i*one*two + g.commonCause(), nil
	default: // OneOutOfThree: Check has excluded all else
		return 6*i*i*i*one*two*three + g.commonCause(), nil
	}
}

// PFH is the average frequency of dangerous failure in 1/h, for high demand: an
// interlock that is asked at every transfer. It assumes that a detected failure
// brings the safe state at once. Source: IEC 61508-6:2010 Annex B.3.3 (from
// memory, confirmed against published rows; the 2000 edition differs).
func (g Group) PFH() (float64, error) {
	if err := g.Check(); err != nil {
		return 0, err
	}
	i, u := g.independent(), g.undetected()
	alone, common := (1-g.Beta)*u, g.Beta*u
	switch g.Architecture {
	case OneOutOfOne:
		return u, nil
	case TwoOutOfTwo:
		return 2 * u, nil
	case OneOutOfTwo:
		return 2*i*alone*g.down(2) + common, nil
	case TwoOutOfThree:
		return 6*i*alone*g.down(2) + common, nil
	default:
		return 6*i*i*alone*g.down(2)*g.down(3) + common, nil
	}
}

// SpuriousTripRate is the rate in 1/h of trips without a cause: from Safe, and
// from detected dangerous failures, which are taken to trip. A single channel
// trips 1ooN; two must coincide within a restoration for 2oo2 and 2oo3. Common
// practice (ISA-TR84.00.02 style), from memory.
func (g Group) SpuriousTripRate() (float64, error) {
	if err := g.Check(); err != nil {
		return 0, err
	}
	rate := g.Safe + g.detected()
	alone, common := (1-g.Beta)*rate, g.Beta*rate
	switch g.Architecture {
	case OneOutOfOne:
		return rate, nil
	case OneOutOfTwo:
		return 2*alone + common, nil
	case OneOutOfThree:
		return 3*alone + common, nil
	case TwoOutOfTwo:
		return 2*alone*alone*g.Restoration + common, nil
	default: // TwoOutOfThree
		return 6*alone*alone*g.Restoration + common, nil
	}
}
