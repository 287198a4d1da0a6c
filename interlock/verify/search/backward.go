package search

import "ohmgate/interlock/verify/model"

// BeginAt starts a backward search at every reached state from which one scan
// violates a property; what was never reached counts as seen already.
func (p *Product) BeginAt(there *Product, property model.Property) {
	begin := make([]uint64, p.Words)
	for row := range p.Stem.Rows {
		var open uint64
		for class := range there.Stem.Classes {
			for _, e := range there.Stem.From(row, class) {
				if e.Bad.Has(property) {
					open |= 1 << class
				}
			}
		}
		seen, reached, some := p.Seen[row*p.Words:(row+1)*p.Words], there.Seen[row*p.Words:(row+1)*p.Words], uint64(0)
		for i := range seen {
			seen[i], begin[i] = ^reached[i], 0
		}
		for column := 0; open != 0 && column < len(there.Channel.States); column++ {
			i, at := column>>6, uint64(1)<<(column&63)
			for _, e := range there.Channel.FromAll(uint32(column)) {
				if open>>there.Stem.Class[e.Letter]&1 == 1 {
					begin[i] |= at & reached[i]
				}
			}
			seen[i] |= begin[i]
			some |= begin[i]
		}
		if some != 0 {
			p.wave.add(uint32(row), begin)
		}
	}
}
