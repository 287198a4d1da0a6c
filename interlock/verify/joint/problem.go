package joint

import (
	"math/big"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Problem is one output with every channel of its cone, each part tabulated, for a
// search that takes them all in full detail at once. Inputs stay free.
type Problem struct {
	Output     string
	Permissive interlock.Permissive
	Channels   []Channel
	Words      []uint64 // the output's abstract states as packed words; 0 is power-up

	// Vessel is the one whose charge memory stands beside the output, and Bond what
	// shows its bond; empty without one.
	Vessel string
	Bond   interlock.Permissive

	// Timer is a bypass whose timer stands beside the channels; nil without one.
	Timer *Timer

	// Properties are those that the steps of the output know of.
	Properties []model.Property
	// Helpful is the value of each input of the permissive that lets it be true.
	Helpful map[int]interlock.Truth

	helps  []interlock.Truth // every cause, as a good plant provides it
	Steps  *table.OutputTable
	waits  *waitTable // with a vessel
	bench  *runs.Bench
	Number int
}

// Channel is one channel of a joint search.
type Channel struct {
	Name                 string
	Cause                int
	Evidence             bool
	Bypassed, CoversLost bool
	Cut                  bool          // this channel alone stops the output
	InVessel             bool          // a reconnection of it is one of the vessel
	Reads                monitor.Class // where all is well: good, unless the clamp must be off
	Table                *table.ChannelTable
}

// Of tabulates the parts of one output, and looks for the properties that its steps
// know of.
func Of(v *runs.Bench, output int, properties []model.Property) (*Problem, error) {
	m := v.Model
	c := m.Config
	out := &c.Outputs[output]
	j := &Problem{Output: m.Names.Outputs[output], Permissive: out.Permissive, Properties: properties,
		Helpful: map[int]interlock.Truth{}, bench: v, Number: output}
	j.helps = runs.Helpful(out.Permissive, len(c.Channels)+len(c.Inputs))
	causes := out.Permissive.Causes()
	causes.Each(func(cause int) {
		if cause >= len(c.Channels) {
			j.Helpful[cause] = j.helps[cause]
		}
	})
	for _, n := range v.Model.ChannelsOf(output, -1) {
		ch, err := j.channel(n)
		if err != nil {
			return nil, err
		}
		j.Channels = append(j.Channels, *ch)
	}
	steps, err := v.OutputTable(out, false)
	if err != nil {
		return nil, err
	}
	j.Steps = steps
	j.Words = j.Steps.States
	return j, nil
}

// channel is one channel as the output hangs on it.
func (j *Problem) channel(n int) (*Channel, error) {
	v := j.bench
	f := v.Focus(j.Number, n, -1)
	t, err := v.ChannelTable(&f.Channel.Config)
	reads := monitor.Good
	if j.helps[n] == interlock.False {
		reads = runs.Off(&f.Channel.Config)
	}
	return &Channel{Name: v.Model.Names.Channels[n], Cause: n, Evidence: f.Channel.Evidence != 0,
		Bypassed: f.Bypassed, CoversLost: f.LostToo, Cut: f.Cut, Reads: reads, Table: t}, err
}

// Step is one step of the output under one letter of what the channels show
// together.
type Step struct {
	From, To uint64 // words
	Letter   int
	Hit, Bad model.PropertySet
}

// Letters is how many letters there are: what the permissive says, 0 false, 1
// unknown, 2 true; with a vessel three times as many by what its bond says, and
// twice as many by whether a parted connection of it reads good again.
func (j *Problem) Letters() int {
	if j.waits != nil {
		return waitLetters
	}
	return j.Steps.Groups
}

// EachStep calls f with every tabulated step of the output.
func (j *Problem) EachStep(f func(Step)) {
	if j.waits != nil {
		j.waits.each(f)
		return
	}
	for row := range j.Steps.States {
		for letter := range j.Steps.Groups {
			for _, e := range j.Steps.From(uint32(row), letter) {
				f(Step{From: j.Words[row], To: j.Words[e.Next], Letter: letter, Hit: e.Hit, Bad: e.Bad})
			}
		}
	}
}

// Running says that a word is of an enabled output.
func (j *Problem) Running(word uint64) bool { return interlock.Mode(word&3) == interlock.Enabled }

// Node is what the logic says of one node of a permissive, whatever stands below.
func (j *Problem) Node(n *interlock.Node, values []interlock.Truth) interlock.Truth {
	small, args := make(interlock.Permissive, len(values)+1), make([]int, len(values))
	for i := range values {
		small[i], args[i] = interlock.Node{Op: interlock.OpCause, Cause: i}, i
	}
	small[len(values)] = interlock.Node{Op: n.Op, M: n.M, Args: args}
	return j.bench.Logic.Eval(small, values)
}

// Endless is a channel that doubtful readings alone never bring to its longest
// stay: of two that are compared, the one that hears less has been doubtful for at
// least as long.
func (j *Problem) Endless(c *Channel) (*table.ChannelTable, error) {
	endless := *c.Table.Config
	endless.LongestStay = monitor.ScansMax
	return table.TabulateWith(j.bench.Logic, &endless, model.Cells{First: []model.Scans{0}}, j.bench.Options.MemoryLimit())
}

// SideBySide is what a search of one channel beside itself met: the one hears what
// it hears, the other any part of it.
type SideBySide struct {
	Pairs  *big.Int
	Wrong  string // how the one that hears less fares better; empty if it never does
	Kept   bool   // the one that hears less was seen to stay fit at all
	CutOff error
}

// Run is a run from power-up: what every channel hears in each scan, and the
// output's abstract state after it.
type Run struct {
	News  [][]monitor.Class
	Words []uint64
}

// Response is the longest that an output runs on while a cut set is bad, and
// what every channel hears in a run that may last as long: from where all is
// well, then from the first bad scan on. Without Bad no run was rebuilt.
type Response struct {
	Scans     int
	Lead, Bad [][]monitor.Class // by scan, then by channel of the joint search
}

func (j *Problem) HasAll(names []string) bool {
	for _, name := range names {
		known := false
		for i := range j.Channels {
			known = known || j.Channels[i].Name == name
		}
		if !known {
			return false
		}
	}
	return true
}

// Settled is the state of every channel where a healthy plant has brought the
// output to run; false where it never does.
func (j *Problem) Settled() ([]uint32, bool) {
	s := j.bench.Start(j.Number)
	if !s.Runs {
		return nil, false
	}
	var list []uint32
	for i := range j.Channels {
		at, ok := j.Channels[i].Table.StateOf(&s.Driver.State.Channels[j.Channels[i].Cause])
		if !ok {
			return nil, false
		}
		list = append(list, at)
	}
	return list, true
}

// WellIs says what all channels are where all is well.
func (j *Problem) WellIs() string {
	for i := range j.Channels {
		if j.Channels[i].Reads != monitor.Good {
			return "bonded, or off where they must be,"
		}
	}
	return "bonded"
}

// Found is what a joint search of one output met.
type Found struct {
	Hit, Bad model.PropertySet
	Runs     map[model.Property]Run // a shortest one for each that is broken
	States   string                 // past 64 bits, so a text
}
