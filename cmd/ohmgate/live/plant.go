package live

import (
	"ohmgate/interlock/loop"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Plant is whatever a session turns over: a simulated plant, a recording, a rig.
type Plant interface {
	loop.Source
}

// Observed is a plant that knows what is really true.
type Observed interface {
	// Acting names the faults that act in the scan that was brought last.
	Acting() []string
	// Deeds lists what happened to the plant since it was last asked.
	Deeds() []Deed
	Truth() *trace.Truth
}

// Deed is something that happened to the plant, and the part of the site to which
// it happened; empty: the whole.
type Deed struct{ Text, On string }

// Prepared is a plant that needs so many scans until what people want to see
// begins; they are turned at once.
type Prepared interface {
	Ahead() uint64
}

// Breakable is a plant that takes faults and hands. Only a simulation is.
type Breakable interface {
	// Apply makes something happen from the given scan on.
	Apply(scan uint64, a Action) error
}

// Closer is a plant that must be let go, such as a rig whose outputs go off.
type Closer interface {
	Close() error
}

// Action is what a person does to a running simulation.
type Action struct {
	Do    string            `json:"do"`              // inject | clear | connect | disconnect | press | hold | release | set | …
	On    string            `json:"on,omitempty"`    // name in the site
	Fault string            `json:"fault,omitempty"` // of the catalogue, for inject and clear
	To    string            `json:"to,omitempty"`
	For   string            `json:"for,omitempty"` // time with its unit
	With  map[string]string `json:"with,omitempty"`
}

// FaultKind is one fault that people may choose by name.
type FaultKind struct {
	Name   string   `json:"name"`
	Title  string   `json:"title"`
	Models string   `json:"models"`
	On     []string `json:"on"` // names in the site on which it can act
	Params []Param  `json:"params"`
}

// Param is one figure of a fault.
type Param struct {
	Name    string   `json:"name"`
	Default string   `json:"default"` // empty: must be given
	Words   []string `json:"words"`   // where it is one of a few words
	What    string   `json:"what"`
}

// ScenarioKind is one scenario that people may choose.
type ScenarioKind struct {
	Name  string `json:"name"`
	Title string `json:"title"`
}

// Request is what a new run is made of.
type Request struct {
	Scenario string `json:"scenario"` // empty: nothing happens by itself
	Seed     uint64 `json:"seed"`     // 0: the scenario's own
	Paused   bool   `json:"paused"`   // begin standing still
}

// batch is what happened in some scans, on its way from the loop to the journal
// and to whoever watches. Its slices are reused.
type batch struct {
	run      int
	first    uint64 // scan
	scans    int
	readings []monitor.Reading // scans × channels
	values   []uint8           // scans × lanes
	events   []Event
	records  []Decided
	inputs   []byte // encoded, for the journal
	shot     *Snapshot
	reset    bool   // a new run: the history starts empty
	keepAs   string // …and the old one becomes the reference under this name
	quiet    bool   // told before: neither journal nor events
	rebuild  bool   // the first batch of a run that is turned again
	cut      bool   // everything from first on is void
}

func (b *batch) empty() {
	*b = batch{
		readings: b.readings[:0], values: b.values[:0], events: b.events[:0], records: b.records[:0], inputs: b.inputs[:0],
	}
}

// Decided is one change of what the logic decided.
type Decided struct {
	Scan     uint64              `json:"scan"`
	Coils    []string            `json:"coils"` // energised
	Kick     bool                `json:"kick"`
	Withheld map[string][]string `json:"withheld_by"`
}
