package trace

import (
	"time"

	"ohmgate/interlock"
)

// What a recording says of an output in one scan, beside the interlock.Mode
// values themselves.
const (
	NotRecorded int8 = -1
	Withheld    int8 = int8(interlock.Modes) // off, for whatever reason
)

// Recorded is one scan as it was read back from a recording. Its owner fills it
// anew for every scan.
type Recorded struct {
	Line    int    // in the file, from 1; of the last row that went into this scan
	Scan    uint64 // from 0
	Time    time.Duration
	PowerUp bool
	In      *interlock.Inputs
	Outputs []int8 // per output: interlock.Mode, Withheld or NotRecorded
	Phases  []int8 // per channel: monitor.Phase or NotRecorded
	Vessels []int8 // per vessel: tell.Charge or NotRecorded
	Events  []byte // text of the events, where HasEvents
	// HasEvents says that the recording holds the events of this scan.
	HasEvents bool
	// Resumed says that the recording begins again after a gap: what happened in
	// the plant meanwhile nobody knows.
	Resumed bool
	// Changed is false when nothing but readings, stamps and times differs from
	// the scan before: what follows the readings need not be looked at again.
	Changed bool
}

// NewRecorded has room for one scan of a site.
func NewRecorded(c *interlock.Config) *Recorded {
	r := &Recorded{In: interlock.NewInputs(c), Outputs: make([]int8, len(c.Outputs)), Phases: make([]int8, len(c.Channels)), Vessels: make([]int8, len(c.Vessels))}
	r.Forget()
	return r
}

// Forget makes it a scan in which nothing arrived and nothing was recorded.
func (r *Recorded) Forget() {
	clear(r.In.Readings)
	clear(r.In.Signals)
	r.In.Overrun, r.PowerUp, r.HasEvents, r.Resumed, r.Changed, r.Events = false, false, false, false, true, nil
	for _, list := range [][]int8{r.Outputs, r.Phases, r.Vessels} {
		for i := range list {
			list[i] = NotRecorded
		}
	}
}

// CopyFrom makes r say what another scan of the same site says, in memory of
// its own.
func (r *Recorded) CopyFrom(other *Recorded) {
	in, outputs, phases, vessels, events := r.In, r.Outputs, r.Phases, r.Vessels, r.Events
	*r = *other
	copy(in.Readings, other.In.Readings)
	copy(in.Signals, other.In.Signals)
	in.Overrun = other.In.Overrun
	copy(outputs, other.Outputs)
	copy(phases, other.Phases)
	copy(vessels, other.Vessels)
	r.In, r.Outputs, r.Phases, r.Vessels = in, outputs, phases, vessels
	r.Events = append(events[:0], other.Events...)
}
