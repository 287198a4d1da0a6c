package metrics

import "sort"

// typ is the type of a family, as OpenMetrics names it.
type typ string

const (
	gauge     typ = "gauge"
	counter   typ = "counter"
	stateSet  typ = "stateset"
	info      typ = "info"
	histogram typ = "histogram"
)

// family is all metrics of one name.
type family struct {
	name    string // without _total and _info
	unit    string // suffix of the name, or empty
	help    string
	typ     typ
	labels  []string
	states  []string // of a state set
	metrics []*metric
}

// metric is one label set of a family.
type metric struct {
	family *family
	values []string // of the labels
	value  float64
	state  int // of a state set: which one holds

	edges   []float64 // of a histogram
	counts  []uint64  // one for each edge, not yet summed up, and one beyond
	sum     float64
	total   uint64
	changed bool // since it was last written to a file
	quiet   bool // changes all the time; a file takes it at intervals
	spool   spooled
}

// board is all families, and what changed.
type board struct {
	families []*family
	dirty    []*metric
}

func (b *board) add(f family) *family {
	b.families = append(b.families, &f)
	return &f
}

func (b *board) with(f *family, values ...string) *metric {
	m := &metric{family: f, values: values}
	f.metrics = append(f.metrics, m)
	b.touch(m)
	return m
}

func (b *board) touch(m *metric) {
	if !m.changed {
		m.changed = true
		b.dirty = append(b.dirty, m)
	}
}

func (b *board) set(m *metric, value float64) {
	if m.value != value && (m.value == m.value || value == value) { // NaN stays NaN
		m.value = value
		if !m.quiet {
			b.touch(m)
		}
	}
}

func (b *board) count(m *metric) {
	m.value++
	if !m.quiet {
		b.touch(m)
	}
}

func (b *board) become(m *metric, state int) {
	if m.state != state {
		m.state = state
		b.touch(m)
	}
}

func (b *board) observe(m *metric, value float64) {
	m.counts[sort.SearchFloat64s(m.edges, value)]++ // the first edge that is not below the value
	m.sum += value
	m.total++
	b.touch(m)
}

// edgesFor are the edges of a histogram of scans: a coarse ladder, and one edge
// exactly on the bound, so that "above the bound" is a difference of two counts.
func edgesFor(bound uint32) []float64 {
	edges := []float64{float64(bound)}
	for _, step := range [...]uint32{1, 2, 3, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000} {
		if step != bound {
			edges = append(edges, float64(step))
		}
	}
	sort.Float64s(edges)
	return edges
}
