package verify

import "ohmgate/interlock/verify/runs"

// Verdict is what a verification says of a property.
type Verdict string

// The four verdicts. None of them means "safe".
const (
	Shown    Verdict = "shown"
	Violated Verdict = "violated"
	NotShown Verdict = "not shown"
	Nothing  Verdict = "nothing checked"
)

// rank orders verdicts by what a reader must look at first.
var rank = map[Verdict]int{Shown: 0, NotShown: 1, Nothing: 2, Violated: 3}

// Worse is the verdict of two together.
func Worse(a, b Verdict) Verdict {
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// Result is what is said of one property of one output.
type Result struct {
	Property string   `json:"property"` // "1".."15", or the site's own name
	Title    string   `json:"title"`
	Output   string   `json:"output,omitempty"`
	Subject  string   `json:"subject,omitempty"` // channel, vessel or bypass where one is meant
	Verdict  Verdict  `json:"verdict"`
	Says     string   `json:"says"`          // one sentence with the numbers
	But      string   `json:"but,omitempty"` // what the numbers leave out, to be read with them
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
