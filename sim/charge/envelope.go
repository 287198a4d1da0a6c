package charge

import (
	"fmt"
	"math"

	"ohmgate/sim/charge/interval"
)

// Envelope is the range of one result of a network over uncertain values.
type Envelope struct {
	Range interval.Interval
	// Lowest and Highest are the values at which the ends were found.
	Lowest, Highest []float64
}

// mostUncertain bounds the number of corners, 2 to the power of this.
const mostUncertain = 12

// EnvelopeOf searches the range of result over every choice of the uncertain
// values. result builds and solves the network for given values.
//
// It looks at all corners, then goes along each value in turn for an extremum
// inside, until nothing improves. It is a search, not a proof: the range found is
// attained, the true one may be wider when the result has several humps. Where
// a closed form covers the case (Conductor, Loss), prefer it.
func EnvelopeOf(uncertain []interval.Interval, result func(values []float64) (float64, error)) (Envelope, error) {
	if len(uncertain) > mostUncertain {
		return Envelope{}, fmt.Errorf("envelope of %d uncertain values: at most %d", len(uncertain), mostUncertain)
	}
	for i, x := range uncertain {
		if !x.Valid() || !x.Finite() {
			return Envelope{}, fmt.Errorf("envelope: value %d is %v: both ends must be finite", i+1, x)
		}
	}
	search := envelopeSearch{uncertain: uncertain, result: result}
	highest, at := search.best(1)
	lowest, from := search.best(-1)
	if search.err != nil {
		return Envelope{}, search.err
	}
	return Envelope{Range: interval.Interval{Lo: -lowest, Hi: highest}, Lowest: from, Highest: at}, nil
}

type envelopeSearch struct {
	uncertain []interval.Interval
	result    func([]float64) (float64, error)
	err       error
}

// value is sign times the result; the first error is kept and ends the search.
func (s *envelopeSearch) value(sign float64, at []float64) float64 {
	if s.err != nil {
		return 0
	}
	v, err := s.result(at)
	if err == nil && math.IsNaN(v) {
		err = fmt.Errorf("envelope: the result at %v is not a number", at)
	}
	if err != nil {
		s.err = err
	}
	return sign * v
}

// best is the largest value found of sign times the result.
func (s *envelopeSearch) best(sign float64) (float64, []float64) {
	count := len(s.uncertain)
	most, at := math.Inf(-1), make([]float64, count)
	for corner := range 1 << count {
		point := make([]float64, count)
		for i, x := range s.uncertain {
			point[i] = x.Lo
			if corner>>i&1 == 1 {
				point[i] = x.Hi
			}
		}
		if v := s.value(sign, point); v > most {
			most, at = v, point
		}
	}
	for range 20 {
		before := most
		for i := range at {
			most = s.along(sign, at, i, most)
		}
		if s.err != nil || most <= before+1e-9*math.Abs(before) {
			break
		}
	}
	return most, at
}

// along improves one value of at, in place, and returns the best value found.
func (s *envelopeSearch) along(sign float64, at []float64, i int, most float64) float64 {
	if s.uncertain[i].IsPoint() || s.err != nil {
		return most
	}
	point := append([]float64(nil), at...)
	place, v := interval.Maximum(func(x float64) float64 {
		point[i] = x
		return s.value(sign, point)
	}, s.uncertain[i])
	if v > most && s.err == nil {
		at[i] = place
		return v
	}
	return most
}
