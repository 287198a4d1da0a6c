package model

import (
	"sort"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Scans counts turns of the logic.
type Scans = interlock.Scans

// Endless stands for a worst case that has no bound.
const Endless = monitor.ScansMax

// Cells cuts the values 0..top of a counter where the logic compares it with
// something. Inside a cell every value behaves alike but for the last, from
// which the counter goes on into the next cell; so the first and the last value
// stand for all. That this is so for the real length is checked, value by value,
// by the counter lemmas; no constant is ever shrunk.
type Cells struct {
	First []Scans // rising; first[0] is 0
	top   Scans
}

// exactUpTo is the longest counter of which every value is its own cell.
const exactUpTo = 4

// CellsOf cuts 0..top in front of each of the starts.
func CellsOf(top Scans, starts ...Scans) Cells {
	if top <= exactUpTo {
		starts = nil
		for v := Scans(0); v <= top; v++ {
			starts = append(starts, v)
		}
	}
	seen := map[Scans]bool{0: true}
	c := Cells{First: []Scans{0}, top: top}
	for _, s := range starts {
		if s <= top && !seen[s] {
			seen[s] = true
			c.First = append(c.First, s)
		}
	}
	sort.Slice(c.First, func(i, j int) bool { return c.First[i] < c.First[j] })
	return c
}

// Index is the cell of a value; values above top are in the last cell.
func (c Cells) Index(v Scans) uint32 {
	i := len(c.First) - 1
	for c.First[i] > v {
		i--
	}
	return uint32(i)
}

// Last is the last value of a cell.
func (c Cells) Last(i uint32) Scans {
	if int(i)+1 < len(c.First) {
		return c.First[i+1] - 1
	}
	return c.top
}

// Each calls f with the values that stand for a cell.
func (c Cells) Each(i uint32, f func(Scans)) {
	f(c.First[i])
	if last := c.Last(i); last != c.First[i] {
		f(last)
	}
}

// Int is 1 where something holds.
func Int(b bool) int {
	if b {
		return 1
	}
	return 0
}
