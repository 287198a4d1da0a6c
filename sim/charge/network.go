package charge

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Node is a conductor of a network, or Earth.
type Node int

// Earth is the node that all voltages are measured against.
const Earth Node = -1

// Network is several conductors that charge together: vessel, sender, filter
// housing, pump, nozzle, person, the liquid inside a wall that does not conduct.
//
// Picture: buckets joined by pipes of different width, with taps that pour from
// one bucket into another. A tap takes out of one what it gives to the other, so
// the currents sum to zero with earth by construction: what a stream brings to
// the receiver it has taken from the filter housing or the sender.
//
// The numbers are definite; see Envelope for intervals. The zero value is empty
// and ready for use.
type Network struct {
	names      []string
	capacity   []float64 // F to earth
	conduct    []float64 // 1/Ω to earth
	source     []float64 // A into the node
	resistors  []branch
	capacitors []branch
}

// branch joins two nodes; value is 1/Ω or F.
type branch struct {
	a, b  Node
	value float64
}

// AddNode adds a conductor with its capacitance to earth (F, above 0) and no
// leak. The name is for messages only.
func (n *Network) AddNode(name string, capacitance float64) (Node, error) {
	if !(capacitance > 0) || math.IsInf(capacitance, 1) {
		return 0, fmt.Errorf("node %s: capacitance to earth %v F: write a number above 0", name, capacitance)
	}
	n.names = append(n.names, name)
	n.capacity = append(n.capacity, capacitance)
	n.conduct = append(n.conduct, 0)
	n.source = append(n.source, 0)
	return Node(len(n.names) - 1), nil
}

// Name is the name of a node.
func (n *Network) Name(node Node) string {
	if node == Earth {
		return "earth"
	}
	if !n.has(node) {
		return fmt.Sprintf("node %d", int(node))
	}
	return n.names[node]
}

// Len is the number of nodes, earth not counted.
func (n *Network) Len() int { return len(n.names) }

func (n *Network) has(node Node) bool { return node >= 0 && int(node) < len(n.names) }

func (n *Network) checkPair(what string, a, b Node) error {
	for _, node := range [2]Node{a, b} {
		if node != Earth && !n.has(node) {
			return fmt.Errorf("%s: node %d does not exist", what, int(node))
		}
	}
	if a == b {
		return fmt.Errorf("%s: both ends are %s", what, n.Name(a))
	}
	return nil
}

// AddResistance joins two nodes, or a node and Earth, by a resistance (Ω, above
// 0; +Inf is no connection).
func (n *Network) AddResistance(a, b Node, ohm float64) error {
	if err := n.checkPair("resistance", a, b); err != nil {
		return err
	}
	if !(ohm > 0) {
		return fmt.Errorf("resistance %s to %s: %v Ω: write a number above 0", n.Name(a), n.Name(b), ohm)
	}
	if math.IsInf(ohm, 1) {
		return nil
	}
	switch {
	case a == Earth:
		n.conduct[b] += 1 / ohm
	case b == Earth:
		n.conduct[a] += 1 / ohm
	default:
		n.resistors = append(n.resistors, branch{a, b, 1 / ohm})
	}
	return nil
}

// AddCapacitance joins two nodes by a capacitance (F, above 0), such as the
// plastic wall between a liquid and the cage around it.
func (n *Network) AddCapacitance(a, b Node, farad float64) error {
	if err := n.checkPair("capacitance", a, b); err != nil {
		return err
	}
	if !(farad > 0) || math.IsInf(farad, 1) {
		return fmt.Errorf("capacitance %s to %s: %v F: write a number above 0", n.Name(a), n.Name(b), farad)
	}
	switch {
	case a == Earth:
		n.capacity[b] += farad
	case b == Earth:
		n.capacity[a] += farad
	default:
		n.capacitors = append(n.capacitors, branch{a, b, farad})
	}
	return nil
}

// AddStream carries charge from one node to another at a rate (A; a negative
// one carries it back). The receiver gains what the sender loses.
func (n *Network) AddStream(from, to Node, ampere float64) error {
	if err := n.checkPair("stream", from, to); err != nil {
		return err
	}
	if math.IsNaN(ampere) || math.IsInf(ampere, 0) {
		return fmt.Errorf("stream %s to %s: %v A: write a number", n.Name(from), n.Name(to), ampere)
	}
	if from != Earth {
		n.source[from] -= ampere
	}
	if to != Earth {
		n.source[to] += ampere
	}
	return nil
}

// EarthCurrent is what all streams together bring to earth, in A: minus the sum
// over the nodes.
func (n *Network) EarthCurrent() float64 {
	total := 0.0
	for _, i := range n.source {
		total -= i
	}
	return total
}

// capacitanceMatrix and conductanceMatrix are symmetric; row sums are the values to earth.
func (n *Network) capacitanceMatrix() *mat.SymDense { return laplacian(n.capacity, n.capacitors) }
func (n *Network) conductanceMatrix() *mat.SymDense { return laplacian(n.conduct, n.resistors) }

func laplacian(toEarth []float64, branches []branch) *mat.SymDense {
	m := mat.NewSymDense(len(toEarth), nil)
	for i, v := range toEarth {
		m.SetSym(i, i, v)
	}
	for _, b := range branches {
		i, j := int(b.a), int(b.b)
		m.SetSym(i, i, m.At(i, i)+b.value)
		m.SetSym(j, j, m.At(j, j)+b.value)
		m.SetSym(i, j, m.At(i, j)-b.value)
	}
	return m
}

// floating counts the groups of nodes, joined by resistances, without any
// resistance to earth: each has one mode that never decays.
func (n *Network) floating() int {
	group := make([]int, n.Len())
	for i := range group {
		group[i] = i
	}
	find := func(i int) int {
		for group[i] != i {
			i = group[i]
		}
		return i
	}
	for _, b := range n.resistors {
		group[find(int(b.a))] = find(int(b.b))
	}
	earthed := map[int]bool{}
	for i, g := range n.conduct {
		if g > 0 {
			earthed[find(i)] = true
		}
	}
	count := 0
	for i := range group {
		if find(i) == i && !earthed[i] {
			count++
		}
	}
	return count
}
