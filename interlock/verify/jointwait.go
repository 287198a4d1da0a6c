package verify

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
)

// waitTable is an output in brief with one vessel that it charges and the streams
// that charge it: every row, and every step by what the channels show together.
type waitTable struct {
	words []uint64 // by row; 0 is power-up
	at    []uint32 // row*waitLetters+letter: where its edges start
	edges []table.StemEdge
}

// waitLetters are what the permissive says (0 false, 1 unknown, 2 true), times what
// the vessel's bond says, times whether a parted connection of it reads good again.
const waitLetters = 3 * 3 * 2

// Vessels lists the vessels that the output charges.
func (j *Joint) Vessels() (names []string) {
	for _, i := range j.verification.Model.Config.VesselsOf(j.output) {
		names = append(names, j.verification.Model.Names.Vessels[i])
	}
	return names
}

// SameAs names a vessel before this one whose search is the same, byte for byte, in
// everything that it depends on; empty if there is none. Only searches with one
// channel are compared.
func (j *Joint) SameAs(name string) string {
	key, ok := j.keyWith(name)
	for _, before := range j.Vessels() {
		if before == name || !ok {
			break
		}
		if have, ok := j.keyWith(before); ok && have == key {
			return before
		}
	}
	return ""
}

// keyWith is the key of the explicit search that the one with a vessel is, where
// there is one channel in it.
func (j *Joint) keyWith(name string) (key string, ok bool) {
	v := j.verification
	vessel := slices.Index(v.Model.Names.Vessels, name)
	channels := union(v.Model.ChannelsOf(j.output, -1), v.Model.ChannelsOf(j.output, vessel))
	if len(channels) != 1 {
		return "", false
	}
	return v.job("wait", j.output, channels[0], vessel).key, true
}

// WithVessel puts the charge memory of one vessel beside the channels of the output
// and of its bond. The other vessels are free, and so are the output's buttons.
func (j *Joint) WithVessel(name string) (*Joint, error) {
	v := j.verification
	c := v.Model.Config
	vessel := slices.Index(v.Model.Names.Vessels, name)
	bond := c.Vessels[vessel].BondedBy
	w := &Joint{Output: j.Output, Permissive: j.Permissive, Vessel: name, Bond: bond, Properties: []int{8}, Helpful: j.Helpful,
		helps: j.helps, table: j.table, verification: v, output: j.output}
	connects := bond.Causes()
	for _, cause := range union(v.Model.ChannelsOf(j.output, -1), v.Model.ChannelsOf(j.output, vessel)) {
		ch, err := j.channel(cause)
		if err != nil {
			return nil, err
		}
		ch.InVessel = connects.Has(cause)
		w.Channels = append(w.Channels, *ch)
	}
	brief, err := v.OutputTable(&c.Outputs[j.output], true)
	if err != nil {
		return nil, err
	}
	if w.waits, err = tabulateWait(table.NewWaitModel(v.Logic, c, j.output, vessel, brief), v.Options.MemoryLimit()); err != nil {
		return nil, err
	}
	w.Words = w.waits.words
	return w, nil
}

func union(a, b []int) []int {
	for _, n := range b {
		a = appendNew(a, n)
	}
	return a
}

// tabulateWait expands every row under every letter.
func tabulateWait(m *table.WaitModel, memory uint64) (*waitTable, error) {
	t := &waitTable{}
	add, alone := table.Adder{}, &table.Focus{}
	m.Find(table.WaitKey{}) // power-up
	for row := 0; row < len(m.Keys); row++ {
		for letter := range waitLetters {
			perm, bond := model.SetOf(model.Truths[letter/6]), model.SetOf(model.Truths[letter/2%3])
			t.at = append(t.at, uint32(len(t.edges)))
			add.Begin()
			m.Each(m.Keys[row], &table.View{Keep: perm, Start: perm, Bond: bond, Again: letter&1 == 1}, alone, func(e table.StemEdge) { t.edges = add.To(t.edges, e) })
		}
		if uint64(len(t.edges))*16 > memory {
			return nil, &table.CutOff{Where: "tabulating a vessel's wait", States: uint64(row), Limit: memory}
		}
	}
	t.at = append(t.at, uint32(len(t.edges)))
	for _, k := range m.Keys {
		t.words = append(t.words, m.Pack(k))
	}
	return t, nil
}

// each calls f with every step.
func (t *waitTable) each(f func(JointStep)) {
	for row := range t.words {
		for letter := range waitLetters {
			i := row*waitLetters + letter
			for _, e := range t.edges[t.at[i]:t.at[i+1]] {
				f(JointStep{From: t.words[row], To: t.words[e.Next], Letter: letter, Hit: uint32(e.Hit), Bad: uint32(e.Bad)})
			}
		}
	}
}

// JointWait is what a joint search met with the charge memory of one vessel.
type JointWait struct {
	Vessel, States string
	Verdict        Verdict
	CutOff         error
}

// JudgeWaits says of property 8 what the searches of the vessels met, one after the
// other; nil if the output charges none.
func (j *Joint) JudgeWaits(waits []JointWait) *Result {
	if len(waits) == 0 {
		return nil
	}
	v := j.begin()
	var states []string
	broken := ""
	for i := range waits {
		w := &waits[i]
		s := &Searched{Kind: "wait", Output: j.Output, Channel: "all", Vessel: w.Vessel, output: j.output, key: jointKey, cutOff: w.CutOff}
		switch w.Verdict {
		case Violated:
			broken = w.Vessel
		case Shown:
			s.Hit = table.Bit(8)
		}
		v.searches = append(v.searches, s)
		states = append(states, w.States+" with "+w.Vessel)
	}
	var r *Result
	if broken != "" {
		r = j.met(8, fmt.Sprintf("it is enabled while the wait of %s is owed", broken))
	} else if r = v.waits(j.output); r.Verdict == Shown {
		r.Says = "joint states: " + strings.Join(states, ", ")
	}
	return j.finish(r, 8)
}

// begin forgets what another search met; lemmas are checked once.
func (j *Joint) begin() *verification {
	v := j.verification
	if v.searches = nil; v.report.Lemmas == nil {
		v.lemmas()
	}
	return v
}

// jointKey stands for the searches that a joint search takes the place of.
const jointKey = "joint"

// finish gives a result its words, and a run where one is found, as the explicit
// verification does.
func (j *Joint) finish(r *Result, number int) *Result {
	v := j.verification
	r.Property, r.Title, r.Output, r.Assumes = strconv.Itoa(number), titles[number], j.Output, assumptions[number]
	counted := v.rest(r, number)
	v.glanceAt(j.output, number, r)
	if r.Verdict == Violated && r.Counterexample == nil {
		r.Counterexample = v.huntFor(j.output, number)
	}
	if counted && r.Counterexample == nil && v.Options.Logic == nil {
		r.Verdict = NotShown
		r.Says += "; no run of the whole site was found that breaks the property by it"
	}
	r.States, r.Steps = 0, 0
	return r
}
