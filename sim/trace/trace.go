// Package trace is one recorded run and its file formats: what arrived, what
// the logic decided, and, where it was simulated, what was true.
package trace

import (
	"time"

	"ohmgate/interlock"
)

// Header is what a whole recording has in common. Names are in the order of
// the site file; every file format carries the three hashes.
type Header struct {
	Site, SiteHash         string
	Scenario, ScenarioHash string // empty for a recording from a plant
	Tool                   string // version and build of this program
	Period                 time.Duration
	Channels, Inputs       []string
	Outputs, Vessels       []string
	Streams, Bypasses      []string
	Simulated              bool // Truth is filled in
}

// Row is one scan. Its pointers are valid only while it is being written.
type Row struct {
	Scan     uint64
	Time     time.Duration // since the start of the run
	PowerUp  bool          // the logic lost its memory before this scan
	In       *interlock.Inputs
	State    *interlock.State
	Decision *interlock.Decision
	Truth    *Truth // nil where nobody knows
}

// Truth is what the simulated plant really did in one scan.
type Truth struct {
	Ohms    []float64 // per channel: real resistance between part and earth; +Inf is isolated
	Bonded  []bool    // per channel: the part really has its earth
	Flowing []bool    // per stream: product really moves
	Faults  []string  // names of faults acting now
}

// Writer takes a recording row by row. Close finishes the file: it appears
// under its name only then.
type Writer interface {
	Begin(h *Header) error
	Write(r *Row) error
	Close() error
}
