package verify

import (
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Names is what people call the parts of a site, in the order of its
// configuration.
type Names struct {
	Channels, Inputs, Outputs, Vessels, Streams, Bypasses []string
}

// Model is what is verified: the very configuration that runs, what people call
// its parts, how long a scan is, and what the site wants shown beyond the
// default properties.
type Model struct {
	Site   string
	Hash   string
	Config *interlock.Config
	Names  Names

	PeriodMin, PeriodMax time.Duration
	Poll                 time.Duration   // one bus cycle; no longer than a scan where each may bring a reading
	Aperture             []time.Duration // by channel: how long one measurement takes
	EarthPath            []bool          // by channel: it closes through the part's own way to earth
	OutputDelay          []time.Duration // by output: contact and output module, longest
	Own                  []Own
}

// Own is one property of the site's own.
type Own struct {
	Name, Title string
	Kind        string // within | never | until | tolerates
	Output      int
	When, Then  interlock.Permissive // over causes, and over outputs behind them
	Time        time.Duration
	Scans       Scans // of Time, rounded to the safe side of the kind
	Channel     int
	Class       monitor.Class
	Share       [2]uint64 // bad readings of all readings; 0 of 0 where no share is named
	Line        int       // in the site file
}

// Cause is the name of a cause: a channel, or an input behind them.
func (m *Model) cause(n int) string {
	if n < len(m.Config.Channels) {
		return m.Names.Channels[n]
	}
	return m.Names.Inputs[n-len(m.Config.Channels)]
}

// Options is how to verify.
type Options struct {
	Memory     uint64 // bytes; 0 is 2 GB
	Workers    int    // 0 is one for each core
	Outputs    []string
	Properties []string
	Audit      bool // compare every tabulated step with the whole Step
	Logic      *Logic
	// Progress is told of work done and to be done; it may be nil.
	Progress func(done, of int, what string, states uint64)
}

func (o *Options) logic() *Logic {
	if o.Logic == nil {
		return Real()
	}
	return o.Logic
}

func (o *Options) memory() uint64 {
	if o.Memory == 0 {
		return 2 << 30
	}
	return o.Memory
}

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

	Example        *Run `json:"example,omitempty"`        // the run that exercises it
	Counterexample *Run `json:"counterexample,omitempty"` // the run that violates it

	// Searched is the shortest run through the tables of a search that met a
	// violation of which no run of the whole site was found.
	Searched []string `json:"searched_run,omitempty"`
}
