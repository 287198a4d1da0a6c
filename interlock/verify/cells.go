package verify

import (
	"sort"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Scans counts turns of the logic.
type Scans = interlock.Scans

// Endless stands for a worst case that has no bound.
const Endless = monitor.ScansMax

// cells cuts the values 0..top of a counter where the logic compares it with
// something. Inside a cell every value behaves alike but for the last, from
// which the counter goes on into the next cell; so the first and the last value
// stand for all. That this is so for the real length is checked, value by value,
// by the counter lemmas; no constant is ever shrunk.
type cells struct {
	first []Scans // rising; first[0] is 0
	top   Scans
}

// exactUpTo is the longest counter of which every value is its own cell.
const exactUpTo = 4

// cellsOf cuts 0..top in front of each of the starts.
func cellsOf(top Scans, starts ...Scans) cells {
	if top <= exactUpTo {
		starts = nil
		for v := Scans(0); v <= top; v++ {
			starts = append(starts, v)
		}
	}
	seen := map[Scans]bool{0: true}
	c := cells{first: []Scans{0}, top: top}
	for _, s := range starts {
		if s <= top && !seen[s] {
			seen[s] = true
			c.first = append(c.first, s)
		}
	}
	sort.Slice(c.first, func(i, j int) bool { return c.first[i] < c.first[j] })
	return c
}

// index is the cell of a value; values above top are in the last cell.
func (c cells) index(v Scans) uint32 {
	i := len(c.first) - 1
	for c.first[i] > v {
		i--
	}
	return uint32(i)
}

// last is the last value of a cell.
func (c cells) last(i uint32) Scans {
	if int(i)+1 < len(c.first) {
		return c.first[i+1] - 1
	}
	return c.top
}

// each calls f with the values that stand for a cell.
func (c cells) each(i uint32, f func(Scans)) {
	f(c.first[i])
	if last := c.last(i); last != c.first[i] {
		f(last)
	}
}

// b2i is 1 where something holds.
func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
