package joint

import (
	"math/bits"

	"github.com/dalzilio/rudd"

	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// code says which bits of a packed word vary, the first one uppermost in the
// diagram.
type code []int

// codeOf keeps the bits that are not the same in all words, from the lowest on.
func codeOf(words []uint64) code {
	var ones, zeros uint64
	for _, w := range words {
		ones |= w
		zeros |= ^w
	}
	var c code
	for b := 0; b < 64; b++ {
		if ones>>b&1 == 1 && zeros>>b&1 == 1 {
			c = append(c, b)
		}
	}
	return c
}

// wordsOf packs every state of a channel: what moves together stands together.
func wordsOf(t *table.ChannelTable) []uint64 {
	words, stays := make([]uint64, len(t.States)), monitor.Scans(0)
	for _, s := range t.States {
		stays = max(stays, s.Stay)
	}
	for i, s := range t.States {
		at := 0
		add := func(v uint64, width int) {
			// The uppermost bit of a number first.
			words[i] |= bits.Reverse64(v) >> (64 - width) << at
			at += width
		}
		add(uint64(s.Phase), 3)
		add(uint64(s.Class), 3)
		add(flag(s.Parted), 1)
		add(uint64(s.Age), bits.Len(uint(t.Config.StaleAfter)+1))
		add(uint64(s.Paused), bits.Len(uint(t.Config.SettlePause)+1))
		add(uint64(s.Count), bits.Len(uint(t.Config.SettleReadings)+1))
		add(uint64(s.Run), bits.Len(uint(t.Config.SettleScans)+1))
		add(uint64(s.Stay), bits.Len(uint(stays)))
		add(uint64(s.Doubt), bits.Len(uint(t.Config.Full)))
	}
	return words
}

func flag(b bool) uint64 {
	if b {
		return 1
	}
	return 0
}

// pattern is one row of a relation or a set: the values of its variables, the
// uppermost variable in the highest bit of the first word.
type pattern [3]uint64

func (p *pattern) set(variable int) { p[variable>>6] |= 1 << (63 - variable&63) }

func (p *pattern) get(variable int) bool { return p[variable>>6]>>(63-variable&63)&1 == 1 }

// shape is a diagram without a place in the order: built once for channels that
// are alike, and put wherever one of them stands.
type shape struct {
	nodes []shapeNode // 0 is false, 1 is true
	root  int
}

type shapeNode struct{ variable, low, high int }

// shapeOf builds the reduced diagram of some patterns over n variables.
func shapeOf(rows []pattern, n int) *shape {
	s := &shape{nodes: make([]shapeNode, 2)}
	known := map[shapeNode]int{}
	s.root = s.build(known, rows, 0, n)
	return s
}

func (s *shape) build(known map[shapeNode]int, rows []pattern, variable, n int) int {
	if len(rows) == 0 {
		return 0
	}
	if variable == n {
		return 1
	}
	split := 0
	for i := range rows { // zeros first
		if !rows[i].get(variable) {
			rows[i], rows[split] = rows[split], rows[i]
			split++
		}
	}
	low := s.build(known, rows[:split], variable+1, n)
	high := s.build(known, rows[split:], variable+1, n)
	if low == high {
		return low
	}
	node := shapeNode{variable, low, high}
	at, ok := known[node]
	if !ok {
		at = len(s.nodes)
		known[node] = at
		s.nodes = append(s.nodes, node)
	}
	return at
}

// put makes the shape a diagram, its variable v standing at place[v].
func (s *shape) put(b *diagrams, place []int) rudd.Node {
	made := make([]rudd.Node, len(s.nodes))
	made[0], made[1] = b.False(), b.True()
	for i := 2; i < len(s.nodes); i++ { // a node comes after its branches
		n := &s.nodes[i]
		made[i] = b.Ite(b.Ithvar(place[n.variable]), made[n.high], made[n.low])
	}
	return made[s.root]
}
