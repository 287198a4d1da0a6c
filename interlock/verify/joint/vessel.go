package joint

import (
	"slices"

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
func (j *Problem) Vessels() (names []string) {
	for _, i := range j.bench.Model.Config.VesselsOf(j.Number) {
		names = append(names, j.bench.Model.Names.Vessels[i])
	}
	return names
}

// WithVessel puts the charge memory of one vessel beside the channels of the output
// and of its bond. The other vessels are free, and so are the output's buttons.
func (j *Problem) WithVessel(name string) (*Problem, error) {
	v := j.bench
	c := v.Model.Config
	vessel := slices.Index(v.Model.Names.Vessels, name)
	bond := c.Vessels[vessel].BondedBy
	w := &Problem{Output: j.Output, Permissive: j.Permissive, Vessel: name, Bond: bond, Properties: []model.Property{model.PropertyWait}, Helpful: j.Helpful,
		helps: j.helps, Steps: j.Steps, bench: v, Number: j.Number}
	connects := bond.Causes()
	for _, cause := range model.Union(v.Model.ChannelsOf(j.Number, -1), v.Model.ChannelsOf(j.Number, vessel)) {
		ch, err := j.channel(cause)
		if err != nil {
			return nil, err
		}
		ch.InVessel = connects.Has(cause)
		w.Channels = append(w.Channels, *ch)
	}
	brief, err := v.OutputTable(&c.Outputs[j.Number], true)
	if err != nil {
		return nil, err
	}
	if w.waits, err = tabulateWait(table.NewWaitModel(v.Logic, c, j.Number, vessel, brief), v.Options.MemoryLimit()); err != nil {
		return nil, err
	}
	w.Words = w.waits.words
	return w, nil
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
func (t *waitTable) each(f func(Step)) {
	for row := range t.words {
		for letter := range waitLetters {
			i := row*waitLetters + letter
			for _, e := range t.edges[t.at[i]:t.at[i+1]] {
				f(Step{From: t.words[row], To: t.words[e.Next], Letter: letter, Hit: e.Hit, Bad: e.Bad})
			}
		}
	}
}
