package joint

import (
	"errors"
	"fmt"
	"runtime"
	"strings"

	"github.com/dalzilio/rudd"
)

// diagrams is rudd with its two traps fenced off (both read in its source).
//
// Full: once the node table has reached its limit an operation may go on with a
// node that does not exist and report no error. What was computed before the
// table reached the limit is sound; so from then on nothing is believed.
//
// Finalizers: the library counts who holds a node, up in the caller's goroutine
// and down in Go's finalizer, without a common lock. A count that is lost could
// free a node that is in use. So every node is held in a pool while work goes
// on; the pool is emptied between scans, while nothing else touches the table.
type diagrams struct {
	*rudd.BDD
	most int
	pool []rudd.Node
}

// errFull says that the table reached its limit.
var errFull = errors.New("the table of nodes is full")

// bytesPerNode is what a node costs with its places in the tables (measured).
const bytesPerNode = 240

func newDiagrams(variables, expected int, memory uint64) (*diagrams, error) {
	most := max(int(memory/bytesPerNode), 4*variables+64)
	size := max(min(expected, most/2), 2*variables+32)
	b, err := rudd.New(variables, rudd.Nodesize(size), rudd.Cachesize(max(size/4, 1000)), rudd.Cacheratio(25), rudd.Maxnodesize(most), rudd.Maxnodeincrease(1<<22))
	if err != nil {
		return nil, err
	}
	return &diagrams{BDD: b, most: most}, nil
}

// hold keeps a node until the pool is emptied. A missing node is an operation
// that failed.
func (d *diagrams) hold(n rudd.Node) rudd.Node {
	if n == nil {
		panic(errFull)
	}
	d.pool = append(d.pool, n)
	return n
}

func (d *diagrams) And(a, b rudd.Node) rudd.Node { return d.hold(d.BDD.And(a, b)) }
func (d *diagrams) Or(a, b rudd.Node) rudd.Node  { return d.hold(d.BDD.Or(a, b)) }
func (d *diagrams) Not(a rudd.Node) rudd.Node    { return d.hold(d.BDD.Not(a)) }

func (d *diagrams) Ite(a, b, c rudd.Node) rudd.Node        { return d.hold(d.BDD.Ite(a, b, c)) }
func (d *diagrams) Ithvar(i int) rudd.Node                 { return d.hold(d.BDD.Ithvar(i)) }
func (d *diagrams) NIthvar(i int) rudd.Node                { return d.hold(d.BDD.NIthvar(i)) }
func (d *diagrams) Makeset(variables []int) rudd.Node      { return d.hold(d.BDD.Makeset(variables)) }
func (d *diagrams) Exist(a, variables rudd.Node) rudd.Node { return d.hold(d.BDD.Exist(a, variables)) }

func (d *diagrams) AndExist(variables, a, b rudd.Node) rudd.Node {
	return d.hold(d.BDD.AndExist(variables, a, b))
}

func (d *diagrams) Replace(a rudd.Node, r rudd.Replacer) rudd.Node {
	return d.hold(d.BDD.Replace(a, r))
}

// all is the conjunction of several.
func (d *diagrams) all(nodes ...rudd.Node) rudd.Node {
	result := d.True()
	for _, n := range nodes {
		result = d.And(result, n)
	}
	return result
}

// release empties the pool and waits until Go has told the library of all that
// nobody holds any more.
func (d *diagrams) release() {
	d.pool = nil
	for range 2 { // the second round ends after everything that the first queued
		told := make(chan struct{})
		mark := new([64]byte)
		runtime.SetFinalizer(mark, func(*[64]byte) { close(told) })
		mark = nil
		runtime.GC()
		<-told
	}
}

// full reports whether the table has reached its limit.
func (d *diagrams) full() bool { return d.Errored() || d.allocated() >= d.most }

// allocated is the size of the table. The library tells it only in a text; what
// cannot be read there counts as full.
func (d *diagrams) allocated() int {
	n := 0
	_, rest, _ := strings.Cut(d.Stats(), "Allocated:")
	if _, err := fmt.Sscanf(strings.TrimSpace(rest), "%d", &n); err != nil {
		return d.most
	}
	return n
}

func (d *diagrams) Low(n rudd.Node) rudd.Node  { return d.hold(d.BDD.Low(n)) }
func (d *diagrams) High(n rudd.Node) rudd.Node { return d.hold(d.BDD.High(n)) }

func (d *diagrams) empty(n rudd.Node) bool { return d.Equal(n, d.False()) }

// one is one assignment of a set that is not empty: the variables that are true,
// all others false. It is always the same one: no is tried before yes.
func (d *diagrams) one(set rudd.Node) map[int]bool {
	yes := map[int]bool{}
	for !d.Equal(set, d.True()) {
		variable := d.Label(set)
		if low := d.Low(set); !d.empty(low) {
			set = low
			continue
		}
		yes[variable] = true
		set = d.High(set)
	}
	return yes
}
