package model

import (
	"fmt"
	"runtime"
	"slices"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// Names is what people call the parts of a site.
type Names = tell.Names

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
	Slow                 []bool          // by channel: its instrument takes a while to follow
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
func (m *Model) Cause(n int) string {
	if n < len(m.Config.Channels) {
		return m.Names.Channels[n]
	}
	return m.Names.Inputs[n-len(m.Config.Channels)]
}

// OutputsNamed are the numbers of these outputs, in the order of the site; all of
// them where no name is given. The error names one that the site does not have.
func (m *Model) OutputsNamed(names []string) (list []int, err error) {
	for i, name := range m.Names.Outputs {
		if len(names) == 0 || slices.Contains(names, name) {
			list = append(list, i)
		}
	}
	for _, name := range names {
		if !slices.Contains(m.Names.Outputs, name) {
			return nil, fmt.Errorf("no output is called %q; the site has %v", name, m.Names.Outputs)
		}
	}
	return list, nil
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

func (o *Options) LogicInUse() *Logic {
	if o.Logic == nil {
		return Real()
	}
	return o.Logic
}

func (o *Options) MemoryLimit() uint64 {
	if o.Memory == 0 {
		return 2 << 30
	}
	return o.Memory
}

// WorkerCount is how many work at the same time.
func (o *Options) WorkerCount() int {
	if o.Workers <= 0 {
		return runtime.GOMAXPROCS(0)
	}
	return o.Workers
}
