package judge

import (
	"fmt"
	"math"
	"time"

	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/sheet"
)

// Bound is what a time is held against, and where it comes from.
type Bound struct {
	interval.Span
	Source string
	// Patience says that Least is a guaranteed patience: to be faster is a nuisance, not a danger.
	Patience bool
}

// Judge holds a measured interval against the bound: inside is consistent, wholly outside is violated, anything else cannot be
// told. A straddled lower end does not spoil the verdict on the upper one, which is the one that protects; it is said.
func (bound Bound) Judge(measured interval.Span) (found sheet.Finding, text string) {
	switch {
	case measured.Least > bound.Most:
		return sheet.Violated, fmt.Sprintf("slower than %v", interval.Exactly(bound.Most))
	case measured.Most < bound.Least && bound.Patience:
		return sheet.Violated, fmt.Sprintf("sooner than the guaranteed patience of %v", interval.Exactly(bound.Least))
	case measured.Most < bound.Least:
		return sheet.Violated, fmt.Sprintf("sooner than %v", interval.Exactly(bound.Least))
	case measured.Most > bound.Most:
		return sheet.CannotTell, fmt.Sprintf("the interval straddles %v: measure with a logic analyser, or on a faster bus", interval.Exactly(bound.Most))
	case measured.Least < bound.Least:
		return sheet.Consistent, fmt.Sprintf("not slower than %v; whether sooner than %v cannot be told", interval.Exactly(bound.Most), interval.Exactly(bound.Least))
	}
	return sheet.Consistent, fmt.Sprintf("within %s", bound.Millis().Exact())
}

// Statement is what n independent runs, none of them slower than a limit, allow to be said: with confidence 1-alpha the
// fraction of such trips that is slower is below 1-alpha^(1/n) (IEC 61508-7:2010 D.2.1: no failure in n). It is never a worst
// case: the maximum seen is a lower bound of that.
func Statement(what string, n int, slowest time.Duration, alpha float64) string {
	if n <= 0 {
		return ""
	}
	return fmt.Sprintf("%s: in %d %s none was seen slower than %.0f ms. If the moments were like those of the plant, then with %g %% confidence fewer than %.3g %% of such trips are slower. The worst case was not measured.",
		what, n, plural(n, "trip", "trips"), sheet.Ceil(interval.InMillis(slowest)), 100*(1-alpha), 100*SlowerFraction(n, alpha))
}

// SlowerFraction is 1-alpha^(1/n).
func SlowerFraction(n int, alpha float64) float64 { return -math.Expm1(math.Log(alpha) / float64(n)) }
