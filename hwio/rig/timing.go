package rig

import (
	"fmt"
	"math"
	"time"

	"ohmgate/hwio/sheet"
)

// Span is how long something took: at least, at most.
type Span struct{ Least, Most time.Duration }

// Took is the time from a stimulus to a response, both known as intervals, widened at both ends by what a plain wire was
// seen to scatter. A response does not come before its stimulus.
func Took(stimulus, response Interval, spread time.Duration) Span {
	return Span{max(response.From.Sub(stimulus.To)-spread, 0), response.To.Sub(stimulus.From) + spread}
}

// Millis is the span for a sheet.
func (s Span) Millis() *sheet.Millis { return &sheet.Millis{Least: ms(s.Least), Most: ms(s.Most)} }

// Bound is what a time is held against, and where it comes from.
type Bound struct {
	Span
	Source string
	// Patience says that Least is a guaranteed patience: to be faster is a nuisance, not a danger.
	Patience bool
}

// Judge holds a measured interval against a bound: inside is consistent, wholly outside is violated, anything else cannot be
// told. A straddled lower end does not spoil the verdict on the upper one, which is the one that protects; it is said.
func Judge(measured Span, bound Bound) (verdict, text string) {
	switch {
	case measured.Least > bound.Most:
		return sheet.Violated, fmt.Sprintf("slower than %v", exactly(bound.Most))
	case measured.Most < bound.Least && bound.Patience:
		return sheet.Violated, fmt.Sprintf("sooner than the guaranteed patience of %v", exactly(bound.Least))
	case measured.Most < bound.Least:
		return sheet.Violated, fmt.Sprintf("sooner than %v", exactly(bound.Least))
	case measured.Most > bound.Most:
		return sheet.CannotTell, fmt.Sprintf("the interval straddles %v: measure with a logic analyser, or on a faster bus", exactly(bound.Most))
	case measured.Least < bound.Least:
		return sheet.Consistent, fmt.Sprintf("not slower than %v; whether sooner than %v cannot be told", exactly(bound.Most), exactly(bound.Least))
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
		what, n, plural(n, "trip", "trips"), sheet.Ceil(ms(slowest)), 100*(1-alpha), 100*SlowerFraction(n, alpha))
}

// SlowerFraction is 1-alpha^(1/n).
func SlowerFraction(n int, alpha float64) float64 { return -math.Expm1(math.Log(alpha) / float64(n)) }

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// Phase is where in a scan the run with this number begins. The fractional parts of multiples of the golden ratio fill any
// interval evenly, however many runs there are in the end. They are deliberate on the rig's side; where the unit is in its
// own scan at that moment nobody knows.
func Phase(run int, scan time.Duration) time.Duration {
	_, part := math.Modf(float64(run) * (math.Sqrt(5) - 1) / 2)
	return time.Duration(float64(part * float64(scan)))
}

// fromMillis is the other way of ms.
func fromMillis(m float64) time.Duration {
	return time.Duration(math.Round(m * float64(time.Millisecond)))
}

// exactly is a time for people, nothing rounded off.
func exactly(d time.Duration) string { return sheet.Exactly(ms(d)) + " ms" }
