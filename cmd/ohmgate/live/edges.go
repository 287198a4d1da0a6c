package live

import "sort"

// edge is the scan from which a lane has a value.
type edge struct {
	scan  uint64
	value uint8
}

// laneEdgesMax is how many edges of one lane are kept; chatter beyond it costs
// the oldest, which the journal still has.
const laneEdgesMax = 1 << 16

// edgeList is all that a lane of few values did: exact to the scan.
type edgeList struct {
	edges   []edge
	dropped bool // the oldest edges are gone
}

// put notes a value; only a change takes room.
func (l *edgeList) put(scan uint64, value uint8) bool {
	if n := len(l.edges); n > 0 && l.edges[n-1].value == value {
		return false
	}
	if len(l.edges) >= laneEdgesMax {
		keep := laneEdgesMax * 3 / 4
		copy(l.edges, l.edges[len(l.edges)-keep:])
		l.edges, l.dropped = l.edges[:keep], true
	}
	l.edges = append(l.edges, edge{scan, value})
	return true
}

// before is the number of the last edge at or before a scan; -1 if none is.
func (l *edgeList) before(scan uint64) int {
	return sort.Search(len(l.edges), func(i int) bool { return l.edges[i].scan > scan }) - 1
}

// Segment is a value from a scan on, and the set of values in it as bits where
// edges lay too close to be drawn apart.
type Segment [3]uint64

// read gives the segments that touch from..to, about 2·width of them at most.
func (l *edgeList) read(from, to uint64, width int) []Segment {
	first := max(l.before(from), 0)
	last := l.before(to)
	out := []Segment{}
	if last < 0 {
		return out
	}
	if last-first < 2*width {
		for _, e := range l.edges[first : last+1] {
			out = append(out, Segment{e.scan, uint64(e.value), 1 << e.value})
		}
		return out
	}
	bucket := (to-from)/uint64(width) + 1
	for _, e := range l.edges[first : last+1] {
		n := len(out)
		if n > 0 && e.scan >= from && e.scan < out[n-1][0]-(out[n-1][0]-from)%bucket+bucket && out[n-1][0] >= from {
			out[n-1][1] = uint64(e.value)
			out[n-1][2] |= 1 << e.value
			continue
		}
		out = append(out, Segment{e.scan, uint64(e.value), 1 << e.value})
	}
	return out
}

// firstDifference is the first scan at which two lanes are not alike, looking
// no further than the scan through.
func firstDifference(a, b *edgeList, through uint64) (scan uint64, differs bool) {
	i, j := 0, 0
	if a.dropped || b.dropped { // begin where both are known
		start := max(firstScan(a), firstScan(b))
		i, j = max(a.before(start), 0), max(b.before(start), 0)
		if len(a.edges) > 0 && len(b.edges) > 0 {
			if a.edges[i].value != b.edges[j].value {
				return start, start <= through
			}
			i, j = i+1, j+1
		}
	}
	for i < len(a.edges) && j < len(b.edges) {
		if a.edges[i] != b.edges[j] {
			scan = min(a.edges[i].scan, b.edges[j].scan)
			return scan, scan <= through
		}
		i, j = i+1, j+1
	}
	switch {
	case i < len(a.edges):
		scan = a.edges[i].scan
	case j < len(b.edges):
		scan = b.edges[j].scan
	default:
		return 0, false
	}
	return scan, scan <= through
}

func firstScan(l *edgeList) uint64 {
	if len(l.edges) == 0 {
		return 0
	}
	return l.edges[0].scan
}
