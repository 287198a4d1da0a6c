package joint

import (
	"slices"

	"github.com/dalzilio/rudd"
)

// Alone is the most scans that an enabled output runs on, the scan in which it is
// withheld counted, while one cut set alone is bad, its channels in any mixture:
// from every joint state that can be reached in which all other channels have read
// good for long, or off where they must be, and go on to. 0 is that there is no such state; Endless is that
// some of them runs on for ever.
func (e *Engine) Alone(channels []string, inputs []int, limit int) (scans int, err error) {
	defer e.full("letting a cut set alone be bad", &err)
	// The sets are small: kept, they cost less than a release in every scan.
	sets, endless, err := e.runsOn(e.othersCalm(channels), scan{e.mixed(channels, badNews, e.well.news), e.wellBut(inputs)}, limit, true)
	if endless {
		return Endless, err
	}
	return len(sets), err
}

// othersCalm is where the output runs and all channels but the named ones have read
// for long what they read where all is well.
func (e *Engine) othersCalm(names []string) rudd.Node {
	set := e.b.And(e.reached, e.running)
	for i := range e.channels {
		if c := &e.channels[i]; !slices.Contains(names, c.Name) {
			set = e.b.And(set, c.calm)
		}
	}
	return set
}
