package verify

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Joint is one output with every channel of its cone, each part tabulated, for a
// search that takes them all in full detail at once. Inputs stay free.
type Joint struct {
	Output     string
	Permissive interlock.Permissive
	Channels   []JointChannel
	Words      []uint64 // the output's abstract states as packed words; 0 is power-up

	// Vessel is the one whose charge memory stands beside the output, and Bond what
	// shows its bond; empty without one.
	Vessel string
	Bond   interlock.Permissive

	// Timer is a bypass whose timer stands beside the channels; nil without one.
	Timer *Timer

	// Properties are those that the steps of the output know of.
	Properties []int
	// Helpful is the value of each input of the permissive that lets it be true.
	Helpful map[int]interlock.Truth

	helps        []interlock.Truth // every cause, as a good plant provides it
	table        *table.OutputTable
	waits        *waitTable // with a vessel
	verification *verification
	output       int
}

// JointChannel is one channel of a joint search.
type JointChannel struct {
	Name                 string
	Cause                int
	Evidence             bool
	Bypassed, CoversLost bool
	Cut                  bool          // this channel alone stops the output
	InVessel             bool          // a reconnection of it is one of the vessel
	Reads                monitor.Class // where all is well: good, unless the clamp must be off
	Table                *table.ChannelTable
}

// JointOf tabulates the parts of one output.
func JointOf(m *model.Model, o model.Options, output int) (*Joint, error) {
	o.Outputs = []string{m.Names.Outputs[output]}
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	c := m.Config
	out := &c.Outputs[output]
	j := &Joint{Output: m.Names.Outputs[output], Permissive: out.Permissive, Properties: []int{2, 3, 7, 10},
		Helpful: map[int]interlock.Truth{}, verification: v, output: output}
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
	if j.table, err = v.OutputTable(out, false); err != nil {
		return nil, err
	}
	j.Words = j.table.States
	return j, nil
}

// channel is one channel as the output hangs on it.
func (j *Joint) channel(n int) (*JointChannel, error) {
	v := j.verification
	f := v.focusOf(v.job("reset", j.output, n, -1))
	t, err := v.ChannelTable(&f.Channel.Config)
	reads := monitor.Good
	if j.helps[n] == interlock.False {
		reads = runs.Off(&f.Channel.Config)
	}
	return &JointChannel{Name: v.Model.Names.Channels[n], Cause: n, Evidence: f.Channel.Evidence != 0,
		Bypassed: f.Bypassed, CoversLost: f.LostToo, Cut: f.Cut, Reads: reads, Table: t}, err
}

// JointStep is one step of the output under one letter of what the channels show
// together.
type JointStep struct {
	From, To uint64 // words
	Letter   int
	Hit, Bad uint32 // properties, as bits
}

// Letters is how many letters there are: what the permissive says, 0 false, 1
// unknown, 2 true; with a vessel three times as many by what its bond says, and
// twice as many by whether a parted connection of it reads good again.
func (j *Joint) Letters() int {
	if j.waits != nil {
		return waitLetters
	}
	return j.table.Groups
}

// EachStep calls f with every tabulated step of the output.
func (j *Joint) EachStep(f func(JointStep)) {
	if j.waits != nil {
		j.waits.each(f)
		return
	}
	for row := range j.table.States {
		for letter := range j.table.Groups {
			for _, e := range j.table.From(uint32(row), letter) {
				f(JointStep{From: j.Words[row], To: j.Words[e.Next], Letter: letter, Hit: uint32(e.Hit), Bad: uint32(e.Bad)})
			}
		}
	}
}

// Running says that a word is of an enabled output.
func (j *Joint) Running(word uint64) bool { return interlock.Mode(word&3) == interlock.Enabled }

// Judges says whether a property has a meaning for this output: without a reset
// there is no press to ask about, without an end switch nothing to confirm.
func (j *Joint) Judges(property int) bool {
	o := j.table.Shape.Config
	return property != 7 && property != 10 || property == 7 && !o.Automatic || property == 10 && o.Confirmable()
}

// Planted is the logic with the mistake of a mutant in a part that a joint search
// tabulates, a channel or an output; false where the mistake is elsewhere.
func (m *Mutant) Planted() (*model.Logic, bool) { return m.plantedIn(partChannel, partOutput) }

// PlantedInChannel is the same for a channel alone.
func (m *Mutant) PlantedInChannel() (*model.Logic, bool) { return m.plantedIn(partChannel) }

// PlantedAside is the same for the parts that stand beside those where they are
// asked for: a vessel, a stream, a bypass.
func (m *Mutant) PlantedAside() (*model.Logic, bool) { return m.plantedIn(partVessel) }

func (m *Mutant) plantedIn(parts ...part) (*model.Logic, bool) {
	l := model.Real()
	if !slices.Contains(parts, m.part) {
		return nil, false
	}
	m.plant(l)
	return l, true
}
