package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/search"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Piece is one product of the search plan with everything that it rests on, for
// those who state the same model again in another language.
type Piece struct {
	Kind                            string // reset or wait
	Output, Channel, Vessel         string // as people call them
	Config                          monitor.Config
	Evidence                        bool
	Perm, Bond                      [][3]uint8 // what can be left of them in the channel's truth: 0 false, 1 unknown, 2 true
	Cut, Bypassed, CoversLost       bool
	InVessel, OthersBond            bool
	Out                             interlock.Output
	Charged                         interlock.Vessel
	Streams                         []PieceStream
	OtherStreams, OtherVessels      bool
	FreeStreams                     bool
	OnDelay, Held, Travel, Doubtful []model.Scans // first value of every cell of the counter
	Waited                          []model.Scans

	verification *verification
	job          *Searched
}

// PieceStream is one stream of a vessel as an output takes part in it.
type PieceStream struct {
	RunDown                            model.Scans
	Through, Others, Confirmable, Flow bool
	Stopped                            []model.Scans
}

// Pieces lists the products that differ, in the order of the search plan.
func Pieces(m *model.Model, o model.Options) ([]*Piece, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	var list []*Piece
	known := map[string]bool{}
	for _, s := range v.plan() {
		if !known[s.key] {
			known[s.key] = true
			list = append(list, v.piece(s))
		}
	}
	return list, nil
}

// PieceOf is the product of one output with one channel and, unless it is below
// zero, with the charge memory of one vessel.
func PieceOf(m *model.Model, o model.Options, output, channel, vessel int) (*Piece, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	kind := searchWait
	if vessel < 0 {
		kind = searchReset
	}
	return v.piece(v.job(kind, output, channel, vessel)), nil
}

func (v *verification) piece(s *Searched) *Piece {
	f, c := v.focusOf(s), v.Model.Config
	out := c.Outputs[s.output]
	h := table.ShapeOf(&out, s.Kind == searchWait)
	stay := f.Channel.LongestStay
	p := &Piece{
		Kind: s.Kind, Output: s.Output, Channel: s.Channel, Vessel: s.Vessel, Config: f.Channel.Config, Evidence: f.Channel.Evidence != 0,
		Cut: f.Cut, Bypassed: f.Bypassed, CoversLost: f.LostToo, InVessel: f.InVessel, OthersBond: f.OthersBond, Out: out,
		OnDelay: h.On.First, Held: h.Held.First, Travel: h.Disagree.First, Doubtful: model.CellsOf(stay, 0, 1, stay-1, stay).First,
		verification: v, job: s,
	}
	p.Perm, p.Bond = numbered(f.Perm), numbered(f.Bond)
	if s.vessel >= 0 {
		p.charge(table.NewWaitModel(v.Logic, c, s.output, s.vessel, nil), s.vessel)
	}
	return p
}

// numbered writes residues with truths from 0.
func numbered(all []model.Residue) [][3]uint8 {
	var list [][3]uint8
	for _, r := range all {
		list = append(list, [3]uint8{uint8(r[0] + 1), uint8(r[1] + 1), uint8(r[2] + 1)})
	}
	return list
}

// charge copies what a wait model is made of.
func (p *Piece) charge(m *table.WaitModel, vessel int) {
	p.Charged, p.Waited = m.Config.Vessels[vessel], m.Vessel.Waited.First
	p.OtherStreams, p.OtherVessels, p.FreeStreams = m.OtherStreams, m.OthersWait, m.FreeStreams
	for _, st := range m.Streams {
		p.Streams = append(p.Streams, PieceStream{RunDown: st.Config.RunDown, Through: st.Through, Others: st.Others, Confirmable: st.Confirmable, Flow: st.Config.Flow != 0, Stopped: st.Stopped.First})
	}
}

// Confirmable says that the output's actuator reports an end.
func (p *Piece) Confirmable() bool { return p.Out.Confirmable() }

// News lists the classes of news that can reach the channel.
func (p *Piece) News() []monitor.Class {
	var list []monitor.Class
	for class, can := range table.Possible(&p.Config) {
		if can {
			list = append(list, monitor.Class(class))
		}
	}
	return list
}

// Search searches the product with the explicit engine.
func (p *Piece) Search() (*search.Product, error) {
	product, err := p.verification.product(p.job, p.verification.Options.MemoryLimit())
	if err != nil {
		return nil, err
	}
	product.Workers = p.verification.Options.Workers
	return product, product.Run()
}

// VerdictOf is what a search says of one default property.
func VerdictOf(p *search.Product, property model.Property) Verdict {
	switch {
	case p.Bad.Has(property):
		return Violated
	case p.Hit.Has(property):
		return Shown
	}
	return Nothing
}
