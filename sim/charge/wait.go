package charge

import (
	"encoding/json"
	"math"

	"ohmgate/sim/charge/interval"
)

// WaitKind says what can be said about the wait. The zero value denies.
type WaitKind uint8

const (
	// CannotBeComputed: the leak resistance has no known upper end. No number is
	// given, ever: write a site rule, or bleed through 100 MΩ or more.
	CannotBeComputed WaitKind = iota
	// AlreadyBelow: the part never is above the target level.
	AlreadyBelow
	// Computed: the time is in Time; its upper end governs.
	Computed
)

func (k WaitKind) String() string {
	return [...]string{"cannot be computed", "already below", "computed"}[min(k, 2)]
}

// MarshalText writes the words.
func (k WaitKind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// Wait is how long a charged part must be left alone after the flow has stopped.
// It is advice to people, no barrier.
type Wait struct {
	Kind WaitKind
	// time is in s and set only when Kind is Computed.
	time interval.Interval
	// Why says what stands in the way, or which end governs.
	Why string
}

// MarshalJSON writes kind, why, and time only when it was computed: a record of a
// wait that cannot be computed holds no number.
func (w Wait) MarshalJSON() ([]byte, error) {
	record := struct {
		Kind WaitKind           `json:"kind"`
		Why  string             `json:"why"`
		Time *interval.Interval `json:"time,omitempty"`
	}{Kind: w.Kind, Why: w.Why}
	if time, ok := w.Time(); ok {
		record.Time = &time
	}
	return json.Marshal(record)
}

// Time is the interval of the wait in s; ok is false unless it was computed.
func (w Wait) Time() (t interval.Interval, ok bool) { return w.time, w.Kind == Computed }

// Governing is the time in s to wait: the upper end. ok is false unless it is known.
func (w Wait) Governing() (seconds float64, ok bool) {
	switch w.Kind {
	case Computed:
		return w.time.Hi, true
	case AlreadyBelow:
		return 0, true
	default:
		return 0, false
	}
}

// unknownLeak is the text for a leak without an upper end (BG RCI FAQ 7.10, after TRGS 727).
const unknownLeak = "cannot be computed: the leak resistance has no known upper end; " +
	"write a site rule, or bleed the part through 100 MΩ or more (" + sourceTRGS + ", 7.10)"

// WaitFor is the time in s in which a part drains from a voltage (V) to a target
// voltage (V) through its leak (Ω): R C ln(V0/V). It rises with V0, R and C and
// falls with the target. R is the leak, never the bond that is open; when its
// upper end is infinite the wait cannot be computed. Charges (C) do as well as
// voltages: where the capacitance changes, the two differ, and charge counts.
func WaitFor(voltage, target, leak, capacitance interval.Interval) Wait {
	if voltage.Hi <= target.Lo {
		return Wait{Kind: AlreadyBelow, Why: "the voltage never is above the target"}
	}
	switch {
	case math.IsInf(leak.Hi, 1):
		return Wait{Kind: CannotBeComputed, Why: unknownLeak}
	case math.IsInf(voltage.Hi, 1):
		return Wait{Kind: CannotBeComputed, Why: "cannot be computed: the voltage has no known upper end"}
	case target.Lo <= 0:
		return Wait{Kind: CannotBeComputed, Why: "cannot be computed: a target of 0 V is never reached"}
	}
	drain := func(volt, aim, ohm, farad float64) float64 {
		if volt <= aim {
			return 0
		}
		return ohm * farad * math.Log(volt/aim)
	}
	time := interval.Interval{
		Lo: drain(voltage.Lo, target.Hi, leak.Lo, capacitance.Lo),
		Hi: drain(voltage.Hi, target.Lo, leak.Hi, capacitance.Hi),
	}
	// ln near 1 is badly conditioned; an absolute slack of 1e-12 RC covers it.
	time.Hi += closedFormSlack * leak.Hi * capacitance.Hi
	return Wait{Kind: Computed, time: time.Widen(closedFormSlack), Why: "the highest leak resistance and capacitance govern"}
}
