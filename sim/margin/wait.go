package margin

import (
	"fmt"
	"strconv"

	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// Wait is how long nobody may touch the node after confirmed end of flow. It is
// advice to people, no barrier.
type Wait struct {
	Standing   verdict.Verdict `json:"standing"`
	Why        string          `json:"why"`
	Computed   charge.Wait     `json:"computed"`    // until a spark no longer ignites
	ToNoSpark  charge.Wait     `json:"to_no_spark"` // until nothing sparks at all
	Configured float64         `json:"configured"`  // s
}

func (b *bench) wait(nd *node, a *Loss, body body) Wait {
	w := Wait{Configured: seconds(nd.vessel.Wait), Standing: verdict.NotShown}
	if a.Outcome == nil {
		w.Computed = charge.Wait{Why: "cannot be computed: no end of flow is known"}
		w.ToNoSpark = w.Computed
		w.Why = w.Computed.Why
		return w
	}
	ever := body.everCapacitance()
	// Charge drains, voltage follows the capacitance: a drum on film is at volts and
	// drains for hours, lifted off it is at kilovolts. So charge is held against the
	// charge that ignites at the capacitance of the spark; voltages would mix the
	// low capacitance of the one with the high one of the other.
	w.Computed = charge.WaitFor(a.Outcome.Peak, a.Outcome.Critical, body.leak, ever)
	w.ToNoSpark = charge.WaitFor(a.Outcome.Peak, charge.SparkVoltage.Value.Mul(body.spark()), body.leak, ever)
	if a.Outcome.Verdict == charge.WinsEverywhere {
		w.Standing, w.Why = verdict.Shown, "below what ignites already when the flow has stopped"
		return w
	}
	configured := "no wait is configured"
	if w.Configured > 0 {
		configured = "configured " + quantity.Duration(nd.vessel.Wait)
	}
	t, ok := w.Computed.Time()
	switch {
	case !ok:
		w.Why = w.Computed.Why + "; " + configured
		if w.Configured > 0 {
			w.Why += " is a site rule"
		}
	case t.Hi <= w.Configured:
		w.Standing, w.Why = verdict.Shown, fmt.Sprintf("computed %s, %s", timeText(t), configured)
	case t.Lo > w.Configured:
		w.Standing, w.Why = verdict.Violated, fmt.Sprintf("computed %s, %s: too short", timeText(t), configured)
	default:
		w.Why = fmt.Sprintf("computed %s, %s: too short for the higher leak resistances", timeText(t), configured)
	}
	return w
}

// timeText writes both ends of a time each in the unit in which it reads well.
func timeText(t interval.Interval) string {
	lo, hi := longTime(t.Lo), longTime(t.Hi)
	if lo == hi {
		return hi
	}
	return lo + " to " + hi
}

func longTime(s float64) string {
	switch {
	case s >= 2*3600:
		return plainNumber(twoDigits(s/3600, true)) + " h"
	case s >= 120:
		return plainNumber(twoDigits(s/60, true)) + " min"
	}
	return atMost(s, "s")
}

// plainNumber writes 100 as 100, and not as 1e+02.
func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
