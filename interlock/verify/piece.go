package verify

import (
	"ohmgate/interlock"
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
	OnDelay, Held, Travel, Doubtful []Scans // first value of every cell of the counter
	Waited                          []Scans

	verification *verification
	job          *Searched
}

// PieceStream is one stream of a vessel as an output takes part in it.
type PieceStream struct {
	RunDown                            Scans
	Through, Others, Confirmable, Flow bool
	Stopped                            []Scans
}

// Pieces lists the products that differ, in the order of the search plan.
func Pieces(m *Model, o Options) ([]*Piece, error) {
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
func PieceOf(m *Model, o Options, output, channel, vessel int) (*Piece, error) {
	v, err := newVerification(m, o)
	if err != nil {
		return nil, err
	}
	kind := "wait"
	if vessel < 0 {
		kind = "reset"
	}
	return v.piece(v.job(kind, output, channel, vessel)), nil
}

// TitleOf is a default property in the reader's words.
func TitleOf(property int) string { return titles[property] }

func (v *verification) piece(s *Searched) *Piece {
	f, c := v.focusOf(s), v.model.Config
	out := c.Outputs[s.output]
	h := shapeOf(&out, s.Kind == "wait")
	stay := f.channel.LongestStay
	p := &Piece{
		Kind: s.Kind, Output: s.Output, Channel: s.Channel, Vessel: s.Vessel, Config: f.channel.Config, Evidence: f.channel.Evidence != 0,
		Cut: f.cut, Bypassed: f.bypassed, CoversLost: f.lostToo, InVessel: f.inVessel, OthersBond: f.othersBond, Out: out,
		OnDelay: h.on.first, Held: h.held.first, Travel: h.disagree.first, Doubtful: cellsOf(stay, 0, 1, stay-1, stay).first,
		verification: v, job: s,
	}
	p.Perm, p.Bond = numbered(f.perm), numbered(f.bond)
	if s.vessel >= 0 {
		p.charge(newWaitModel(v.logic, c, s.output, s.vessel, nil), s.vessel)
	}
	return p
}

// numbered writes residues with truths from 0.
func numbered(all []residue) [][3]uint8 {
	var list [][3]uint8
	for _, r := range all {
		list = append(list, [3]uint8{uint8(r[0] + 1), uint8(r[1] + 1), uint8(r[2] + 1)})
	}
	return list
}

// charge copies what a wait model is made of.
func (p *Piece) charge(m *waitModel, vessel int) {
	p.Charged, p.Waited = m.config.Vessels[vessel], m.vessel.waited.first
	p.OtherStreams, p.OtherVessels, p.FreeStreams = m.otherStreams, m.othersWait, m.freeStreams
	for _, st := range m.streams {
		p.Streams = append(p.Streams, PieceStream{RunDown: st.config.RunDown, Through: st.through, Others: st.others, Confirmable: st.confirmable, Flow: st.config.Flow != 0, Stopped: st.stopped.first})
	}
}

// Confirmable says that the output's actuator reports an end.
func (p *Piece) Confirmable() bool { return p.Out.Confirmable() }

// News lists the classes of news that can reach the channel.
func (p *Piece) News() []monitor.Class {
	var list []monitor.Class
	for class, can := range possible(&p.Config) {
		if can {
			list = append(list, monitor.Class(class))
		}
	}
	return list
}

// Search searches the product with the explicit engine.
func (p *Piece) Search() (*Product, error) {
	product, err := p.verification.product(p.job, p.verification.options.memory())
	if err != nil {
		return nil, err
	}
	product.Workers = p.verification.options.Workers
	return product, product.Run()
}

// VerdictOf is what a search says of one default property.
func VerdictOf(p *Product, property int) Verdict {
	switch {
	case p.Bad>>property&1 == 1:
		return Violated
	case p.Hit>>property&1 == 1:
		return Shown
	}
	return Nothing
}
