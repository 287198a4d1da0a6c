package search

import "slices"

// Moves lists the steps of the channel from a column, each once.
func (p *Product) Moves(column uint32) []Move {
	var list []Move
	for _, e := range p.Channel.FromAll(column) {
		m := Move{e.Next, p.Stem.Class[e.Letter]}
		if !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}

// Move is one step of the channel as the rest sees it.
type Move struct {
	Column uint32 // that follows
	Class  int    // of letters that are alike to the rest
}
