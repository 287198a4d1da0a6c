package charge

import (
	"fmt"

	"ohmgate/sim/charge/interval"
)

// Input names one input of a Loss, for break-even and sensitivity.
type Input uint8

// The inputs.
const (
	InputCurrent Input = iota
	InputLeak
	InputCapacitance
	InputLowest
	InputEnergy
	InputDelay
	InputTravel
	InputTimeConstant
)

var inputNames = [...]string{"current", "leak", "capacitance", "lowest capacitance", "ignition energy",
	"delay", "travel", "time constant"}

func (i Input) String() string { return inputNames[min(int(i), len(inputNames)-1)] }

// MarshalText writes the name.
func (i Input) MarshalText() ([]byte, error) { return []byte(i.String()), nil }

// Inputs lists the inputs that this loss uses, in a fixed order.
func (l Loss) Inputs() []Input {
	list := []Input{InputCurrent, InputLeak, InputCapacitance, InputEnergy, InputDelay, InputTravel}
	if l.separate() {
		list = append(list, InputLowest)
	}
	if l.RunDown.Shape == FirstOrder || l.RunDown.Shape == Reciprocal {
		list = append(list, InputTimeConstant)
	}
	return list
}

// field is the place of an input in l.
func (l *Loss) field(input Input) *interval.Interval {
	switch input {
	case InputCurrent:
		return &l.Current
	case InputLeak:
		return &l.Leak
	case InputCapacitance:
		return &l.Capacitance
	case InputLowest:
		return &l.Lowest
	case InputEnergy:
		return &l.Ignition.Energy
	case InputDelay:
		return &l.RunDown.Delay
	case InputTravel:
		return &l.RunDown.Travel
	default:
		return &l.RunDown.TimeConstant
	}
}

// Value is the interval of one input.
func (l Loss) Value(input Input) interval.Interval { return *l.field(input) }

// With is the same loss with one input replaced.
func (l Loss) With(input Input, value interval.Interval) Loss {
	*l.field(input) = value
	return l
}

// BreakEven says which values of one input decide, all others as they are.
type BreakEven struct {
	Input Input `json:"input"`
	// Rising: more of the input is worse. Then it wins everywhere below Wins and
	// loses everywhere from Loses on; the other way round when not rising.
	Rising bool `json:"rising"`
	// Wins and Loses are set when the edge lies in the range that was searched.
	Wins     float64 `json:"wins"`
	Loses    float64 `json:"loses"`
	HasWins  bool    `json:"has_wins"`
	HasLoses bool    `json:"has_loses"`
	WinsAll  bool    `json:"wins_all"`  // wins on the whole range
	WinsNone bool    `json:"wins_none"` // wins everywhere nowhere on it
}

// BreakEvenOf searches a range of one input (in its unit) for the edges between
// wins everywhere, depends, and loses everywhere. Capacitance has no single edge
// while spark and charging share it: then it is an error that says so.
func (l Loss) BreakEvenOf(input Input, search interval.Interval) (BreakEven, error) {
	if input == InputCapacitance && !l.separate() {
		return BreakEven{}, fmt.Errorf("capacitance has no single break-even: both a very small and a very large one win; compare two values instead")
	}
	for _, end := range [2]float64{search.Lo, search.Hi} {
		if err := l.With(input, interval.Point(end)).Check(); err != nil {
			return BreakEven{}, fmt.Errorf("search range of %s: %w", input, err)
		}
	}
	worst := func(x float64) float64 { return l.With(input, interval.Point(x)).ratioEnd(interval.EncloseHi) }
	best := func(x float64) float64 { return l.With(input, interval.Point(x)).ratioEnd(interval.EncloseLo) }
	result := BreakEven{Input: input, Rising: input != InputEnergy && input != InputLowest}
	result.Wins, result.HasWins = interval.Crossing(worst, 1, search)
	result.Loses, result.HasLoses = interval.Crossing(best, 1, search)
	if !result.HasWins {
		result.WinsAll = worst(search.Lo) < 1
		result.WinsNone = !result.WinsAll
	}
	return result, nil
}

// Swing is one bar of a tornado plot: what not knowing one input does to the ratio.
type Swing struct {
	Input   Input             `json:"input"`
	Ratio   interval.Interval `json:"ratio"`   // ratio while this input goes through its interval, the others at their middle
	Decades float64           `json:"decades"` // width of Ratio in powers of ten
}

// Swings calculates every bar, in the order of Inputs; sort by Decades to show.
func (l Loss) Swings() ([]Swing, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	middle := l
	for _, input := range l.Inputs() {
		middle = middle.With(input, interval.Point(l.Value(input).Middle()))
	}
	swings := make([]Swing, 0, len(l.Inputs()))
	for _, input := range l.Inputs() {
		ratio := middle.With(input, l.Value(input)).ratio()
		if l.Value(input).IsPoint() { // only the slack of the numerics is left
			ratio = interval.Point(ratio.Middle())
		}
		swings = append(swings, Swing{Input: input, Ratio: ratio, Decades: ratio.Decades()})
	}
	return swings, nil
}
