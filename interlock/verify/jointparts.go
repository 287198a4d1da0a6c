package verify

import (
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Joint is one output with every channel of its cone, each part tabulated, for a
// search that takes them all in full detail at once. Inputs stay free.
type Joint struct {
	Output     string
	Permissive interlock.Permissive
	Channels   []JointChannel
	Words      []uint64 // the output's abstract states as packed words; 0 is power-up

	// Helpful is the value of each input of the permissive that lets it be true.
	Helpful map[int]interlock.Truth

	table        *outputTable
	verification *verification
	output       int
}

// JointChannel is one channel of a joint search.
type JointChannel struct {
	Name                 string
	Cause                int
	Evidence             bool
	Bypassed, CoversLost bool
	Cut                  bool // this channel alone stops the output
	Table                *ChannelTable
}

// JointOf tabulates the parts of one output.
func JointOf(m *Model, o Options, output int) (*Joint, error) {
	o.Outputs = []string{m.Names.Outputs[output]}
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	c := m.Config
	out := &c.Outputs[output]
	j := &Joint{Output: m.Names.Outputs[output], Permissive: out.Permissive, Helpful: map[int]interlock.Truth{}, verification: v, output: output}
	causes := out.Permissive.Causes()
	causes.Each(func(cause int) {
		if cause >= len(c.Channels) {
			j.Helpful[cause] = helpfulFor(out.Permissive, cause)
		}
	})
	for _, n := range v.channelsOf(output, -1) {
		f := v.focusOf(v.job("reset", output, n, -1))
		t, err := v.channelTable(&c.Channels[n].Config)
		if err != nil {
			return nil, err
		}
		j.Channels = append(j.Channels, JointChannel{Name: m.Names.Channels[n], Cause: n, Evidence: c.Channels[n].Evidence != 0,
			Bypassed: f.bypassed, CoversLost: f.lostToo, Cut: f.cut, Table: t})
	}
	if j.table, err = v.outputTable(out, false); err != nil {
		return nil, err
	}
	j.Words = j.table.states
	return j, nil
}

// JointStep is one step of the output under what its permissive says.
type JointStep struct {
	From, To       uint64 // words
	Perm           int    // 0 false, 1 unknown, 2 true
	Hit, Bad       uint32 // properties, as bits
	Enables, Keeps bool
}

// EachStep calls f with every tabulated step of the output.
func (j *Joint) EachStep(f func(JointStep)) {
	for row := range j.table.states {
		for perm := 0; perm < j.table.groups; perm++ {
			for _, e := range j.table.from(uint32(row), perm) {
				f(JointStep{From: j.Words[row], To: j.Words[e.next], Perm: perm, Hit: uint32(e.hit), Bad: uint32(e.bad), Enables: e.enables, Keeps: e.keeps})
			}
		}
	}
}

// Running says that a word is of an enabled output.
func (j *Joint) Running(word uint64) bool { return interlock.Mode(word&3) == interlock.Enabled }

// EachStep calls f with every tabulated step of the channel.
func (t *ChannelTable) EachStep(f func(from, to uint32, news monitor.Class)) {
	for state := range t.States {
		t.EachFrom(uint32(state), func(to uint32, news monitor.Class) { f(uint32(state), to, news) })
	}
}

// EachFrom calls f with every tabulated step from one state.
func (t *ChannelTable) EachFrom(state uint32, f func(to uint32, news monitor.Class)) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range t.from(state, news) {
			f(e.next, news)
		}
	}
}

// Leads lists the news under which a channel can step from one state to another.
func (t *ChannelTable) Leads(from, to uint32) (list []monitor.Class) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range t.from(from, news) {
			if e.next == to {
				list = append(list, news)
				break
			}
		}
	}
	return list
}

// Hears says that some news can come to a channel in this state.
func (t *ChannelTable) Hears(state uint32, news monitor.Class) bool {
	return len(t.from(state, news)) > 0
}

// stateOf is the number of a state that the table knows.
func (t *ChannelTable) stateOf(s *interlock.ChannelState) (uint32, bool) {
	key := ChannelState{s.Control, s.Parted}
	key.Stay = t.stay.first[t.stay.index(key.Stay)]
	i, ok := t.index[key]
	return i, ok
}

// Judges says whether a property has a meaning for this output: without a reset
// there is no press to ask about, without an end switch nothing to confirm.
func (j *Joint) Judges(property int) bool {
	o := j.table.shape.config
	return property != 7 && property != 10 || property == 7 && !o.Automatic || property == 10 && o.Confirmable()
}

// Planted is the logic with the mistake of a mutant in a part that a joint search
// tabulates, a channel or an output; false where the mistake is elsewhere.
func (m *Mutant) Planted() (*Logic, bool) {
	l := Real()
	if m.part != partChannel && m.part != partOutput {
		return nil, false
	}
	m.plant(l)
	return l, true
}
