package charge

import (
	"fmt"
	"math"

	"ohmgate/sim/charge/interval"
)

// checkMagnitude refuses what cannot be a physical magnitude. what and unit name
// the input for the reader; mayBeZero and mayBeInfinite say what its ends may be.
func checkMagnitude(what, unit string, x interval.Interval, mayBeZero, mayBeInfinite bool) error {
	switch {
	case !x.Valid():
		return fmt.Errorf("%s %v..%v %s: not a number, or the first end is above the second", what, x.Lo, x.Hi, unit)
	case x.Lo < 0:
		return fmt.Errorf("%s %v..%v %s: write a magnitude, 0 or more", what, x.Lo, x.Hi, unit)
	case x.Lo == 0 && !mayBeZero:
		return fmt.Errorf("%s %v..%v %s: the lower end must be above 0", what, x.Lo, x.Hi, unit)
	case math.IsInf(x.Lo, 1) && !mayBeInfinite, math.IsInf(x.Hi, 1) && !mayBeInfinite:
		return fmt.Errorf("%s %v..%v %s: the upper end must be finite", what, x.Lo, x.Hi, unit)
	}
	return nil
}

// firstError is the first error that is not nil.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
