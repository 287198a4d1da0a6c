package verify

import (
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/runs"
)

// The verdicts stand in their own room; these are its names here.
type Verdict = verdict.Verdict

const (
	Shown    = verdict.Shown
	Violated = verdict.Violated
	NotShown = verdict.NotShown
	Nothing  = verdict.NothingChecked
)

// Worse is the verdict of two together.
func Worse(a, b Verdict) Verdict { return verdict.Worse(a, b) }

// Result is what is said of one property of one output.
type Result struct {
	Property string   `json:"property"` // "1".."15", or the site's own name
	Title    string   `json:"title"`
	Output   string   `json:"output,omitempty"`
	Subject  string   `json:"subject,omitempty"` // channel, vessel or bypass where one is meant
	Verdict  Verdict  `json:"verdict"`
	Says     string   `json:"says"`          // one sentence with the numbers
	But      string   `json:"but,omitempty"` // what the numbers leave out, to be read with them
	Sampled  string   `json:"-"`             // what was only tried from some states; empty where every state was searched
	Assumes  []string `json:"assumes,omitempty"`
	States   uint64   `json:"states,omitempty"`
	Steps    uint64   `json:"transitions,omitempty"`
	Line     int      `json:"line,omitempty"`

	Example        *runs.Run `json:"example,omitempty"`        // the run that exercises it
	Counterexample *runs.Run `json:"counterexample,omitempty"` // the run that violates it

	// Searched is the shortest run through the tables of a search that met a
	// violation of which no run of the whole site was found.
	Searched []string `json:"searched_run,omitempty"`
}
