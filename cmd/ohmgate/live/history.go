package live

import (
	"fmt"
	"hash/fnv"

	"ohmgate/monitor"
)

// History is what a run did so far, ready to be drawn at any zoom: readings as
// pyramids, everything of few values as exact edges. Its memory is bounded.
type History struct {
	lanes    []Lane
	channels []*pyramid
	edges    []edgeList
	scans    uint64 // scans held, from 0
	digests  []uint64
	digest   uint64
}

// digestEvery is how many scans lie between two check sums of what the lanes
// did. A run that is turned again must give the same sums.
const digestEvery = 1024

// NewHistory is an empty history of a site's lanes.
func NewHistory(lanes []Lane) *History {
	h := &History{lanes: lanes, edges: make([]edgeList, len(lanes))}
	for _, l := range lanes {
		if l.Kind == LaneChannel {
			h.channels = append(h.channels, newPyramid())
		}
	}
	return h
}

// put adds one scan.
func (h *History) put(readings []monitor.Reading, values []uint8) {
	for i, r := range readings {
		h.channels[i].push(sampleOf(r))
	}
	for i, v := range values {
		if h.edges[i].put(h.scans, v) {
			h.digest = mix(h.digest, h.scans, uint64(i), uint64(v))
		}
	}
	h.scans++
	if h.scans%digestEvery == 0 {
		h.digests = append(h.digests, h.digest)
	}
}

// mix folds an edge into a check sum.
func mix(sum, scan, lane, value uint64) uint64 {
	for _, v := range [...]uint64{scan, lane, value} {
		sum = (sum ^ v) * 0x100000001b3
		sum ^= sum >> 29
	}
	return sum
}

// Window is a stretch of a run for drawing.
type Window struct {
	From     uint64               `json:"from"`
	To       uint64               `json:"to"`
	Scans    uint64               `json:"scans"` // held in all
	Readings map[string]Readings  `json:"readings"`
	Segments map[string][]Segment `json:"segments"`
}

// Read gives the scans from..to of the named lanes in about width buckets.
func (h *History) Read(from, to uint64, width int, wanted map[string]bool) (Window, error) {
	if to < from {
		return Window{}, fmt.Errorf("the window ends at scan %d before it begins at %d", to, from)
	}
	w := Window{From: from, To: to, Scans: h.scans, Readings: map[string]Readings{}, Segments: map[string][]Segment{}}
	for i, l := range h.lanes {
		if len(wanted) > 0 && !wanted[l.ID] {
			continue
		}
		w.Segments[l.ID] = h.edges[i].read(from, to, width)
		if l.Kind == LaneChannel {
			w.Readings[l.ID] = h.channels[l.Index].read(from, to, width)
		}
	}
	return w, nil
}

// Nearest is the edge of a lane that lies closest to a scan.
func (h *History) Nearest(lane string, scan uint64) (at uint64, ok bool) {
	for i, l := range h.lanes {
		if l.ID != lane {
			continue
		}
		list := &h.edges[i]
		n := list.before(scan)
		switch {
		case len(list.edges) == 0:
			return 0, false
		case n < 0:
			return list.edges[0].scan, true
		case n+1 < len(list.edges) && list.edges[n+1].scan-scan < scan-list.edges[n].scan:
			return list.edges[n+1].scan, true
		}
		return list.edges[n].scan, true
	}
	return 0, false
}

// Difference is the first moment at which two runs part.
type Difference struct {
	Differs bool     `json:"differs"`
	Scan    uint64   `json:"scan"`
	Lanes   []string `json:"lanes"`   // that part in this scan
	Through uint64   `json:"through"` // compared up to here
	Gaps    bool     `json:"gaps"`    // the oldest edges of a lane are gone: compared from there on
}

// Compare looks for the first difference in the lanes that both runs have.
func (h *History) Compare(other *History) Difference {
	out := Difference{Lanes: []string{}}
	if h.scans == 0 || other.scans == 0 {
		return out
	}
	out.Through = min(h.scans, other.scans) - 1
	index := map[string]int{}
	for i, l := range other.lanes {
		index[l.ID] = i
	}
	for i, l := range h.lanes {
		j, shared := index[l.ID]
		if !shared {
			continue
		}
		out.Gaps = out.Gaps || h.edges[i].dropped || other.edges[j].dropped
		scan, differs := firstDifference(&h.edges[i], &other.edges[j], out.Through)
		switch {
		case !differs || out.Differs && scan > out.Scan:
		case out.Differs && scan == out.Scan:
			out.Lanes = append(out.Lanes, l.ID)
		default:
			out.Differs, out.Scan, out.Lanes = true, scan, []string{l.ID}
		}
	}
	return out
}

// Sum is a check sum of everything that the lanes did.
func (h *History) Sum() string {
	sum := fnv.New64a()
	for i := range h.edges {
		for _, e := range h.edges[i].edges {
			fmt.Fprintf(sum, "%d %d %d\n", i, e.scan, e.value)
		}
	}
	return fmt.Sprintf("%016x", sum.Sum64())
}
