package verify

import (
	"slices"

	"ohmgate/interlock"
)

// waitModel is an output in brief, one vessel that it charges and the streams
// that charge that vessel. Buttons and the on-delay are free; so are the other
// outputs of the streams, and the other vessels.
type waitModel struct {
	logic        *Logic
	config       *interlock.Config
	output       int
	table        *outputTable // in brief
	vessel       *vesselTable
	streams      []streamPart
	otherStreams bool     // the output has streams that are not followed here
	othersWait   bool     // the output charges other vessels as well
	freeStreams  bool     // further streams charge the vessel, and are free
	index        []uint32 // row plus one, by key
	keys         []waitKey
}

// maxStreams is how many streams of a vessel are followed.
const maxStreams = 2

// maxStreamCells is the most cells that a run-down is cut into.
const maxStreamCells = 6

type waitKey struct {
	out, vessel uint32
	stopped     [maxStreams]uint8 // cells
}

// streamPart is one stream as the output in view takes part in it.
type streamPart struct {
	config      *interlock.Stream
	number      int // of the stream
	stopped     cells
	through     bool // it flows through the output in view
	others      bool // it flows through others
	confirmable bool
}

func newWaitModel(logic *Logic, c *interlock.Config, output, vessel int, table *outputTable) *waitModel {
	m := &waitModel{logic: logic, config: c, output: output, table: table}
	m.vessel = tabulateVessel(logic, &c.Vessels[vessel])
	charging := map[int]bool{}
	for _, i := range c.ChargedBy(vessel) {
		charging[i] = true
		st := &c.Streams[i]
		part := streamPart{config: st, number: i, stopped: cellsOf(st.RunDown.Next(), 0, 1, st.RunDown, st.RunDown.Next()), confirmable: c.StreamConfirmable(i)}
		for _, o := range st.Through {
			part.through = part.through || o == output
			part.others = part.others || o != output
		}
		m.streams = append(m.streams, part)
	}
	// The streams through the output come first; what is beyond the limit is
	// free, which can only add behaviour.
	slices.SortStableFunc(m.streams, func(a, b streamPart) int { return b2i(b.through) - b2i(a.through) })
	if len(m.streams) > maxStreams {
		m.otherStreams = m.streams[1].through
		m.streams, m.freeStreams = m.streams[:1], true
	}
	for _, i := range c.StreamsOf(output) {
		m.otherStreams = m.otherStreams || !charging[i]
	}
	m.othersWait = len(c.VesselsOf(output)) > 1
	return m
}

// find numbers the rows. The keys are dense enough for a plain array.
func (m *waitModel) find(k waitKey) uint32 {
	if m.index == nil {
		size := len(m.vessel.states) * len(m.table.states)
		for range k.stopped {
			size *= maxStreamCells
		}
		m.index = make([]uint32, size)
	}
	at := m.place(k)
	if m.index[at] == 0 {
		m.keys = append(m.keys, k)
		m.index[at] = uint32(len(m.keys))
	}
	return m.index[at] - 1
}

// row is the number of a key that was found before.
func (m *waitModel) row(k waitKey) (uint32, bool) {
	at := m.index[m.place(k)]
	return at - 1, at > 0
}

func (m *waitModel) place(k waitKey) int {
	at := int(k.vessel)
	for _, cell := range k.stopped {
		at = at*maxStreamCells + int(cell)
	}
	return at*len(m.table.states) + int(k.out)
}

// stem builds the rest's steps.
func (m *waitModel) stem(f *focus, shown uint32, memory uint64) (*Stem, error) {
	s := &Stem{}
	var views []view
	s.Class, views = classify(f.views(m.logic), shown)
	s.Classes = len(views)
	m.find(waitKey{}) // power-up
	add := adder{}
	for row := 0; row < len(m.keys); row++ {
		for i := range views {
			s.at = append(s.at, uint32(len(s.Edges)))
			add.begin()
			m.each(m.keys[row], &views[i], f, func(e StemEdge) { s.Edges = add.to(s.Edges, e) })
		}
		if memory > 0 && uint64(len(s.Edges))*16 > memory {
			return nil, &CutOff{"building a product's rows", uint64(row), memory}
		}
	}
	s.at = append(s.at, uint32(len(s.Edges)))
	s.Rows = len(m.keys)
	s.gather()
	s.Calls = m.table.calls + m.vessel.calls
	s.Name = func(row int) string { return m.table.describe(int(m.keys[row].out)) }
	return s, nil
}

// flows is what one scan can show of a stream.
type flows struct{ stopped, seen bool }

// flowsOf lists what a stream can show when the output in view is as given.
func (p *streamPart) flowsOf(running, believed bool, confirmable bool, e *ends) []flows {
	var list []flows
	add := func(f flows) {
		for _, have := range list {
			if have == f {
				return
			}
		}
		list = append(list, f)
	}
	free := 1
	if p.others {
		free = 4
	}
	for bits := 0; bits < free; bits++ {
		f := flows{stopped: bits&1 == 1, seen: bits&2 == 0}
		if p.through {
			switch {
			case confirmable:
				f.stopped = f.stopped || !running && e.home && believed
			case !p.confirmable:
				f.stopped = f.stopped || !running
			}
			f.seen = f.seen && (running || e.open)
		}
		add(flows{f.stopped, f.seen && !f.stopped})
		if p.config.Flow != 0 {
			add(flows{false, true})
			add(flows{false, f.seen})
		}
	}
	return list
}

// each calls f for every step from one row under one view.
func (m *waitModel) each(k waitKey, v *view, fc *focus, f func(StemEdge)) {
	h := m.table.shape
	var memory interlock.OutputControl
	h.each(uint32(m.table.states[k.out]&(1<<watchShift-1)), func(s interlock.OutputControl) { memory = s })
	running := memory.Mode == interlock.Enabled
	for number := range h.ends {
		e := &h.ends[number]
		var known [4][]StemEdge // what the output does, by the end of its flow and by waits
		var next [maxStreams]uint8
		m.eachFlow(k, 0, next, flowing{still: true, ended: true}, running, memory.Believed(), e, func(next [maxStreams]uint8, flow flowing) {
			m.eachVessel(k, v, fc, flow.still, flow.seen, func(vessel uint32) {
				kept := m.vessel.states[vessel]
				list := &known[b2i(flow.ended)*2+b2i(kept.blocked())]
				if *list == nil {
					*list = m.outputEdges(k, v, fc, uint8(number), flow.ended, kept.blocked())
				}
				for _, out := range *list {
					if out.Hit>>8&1 == 1 && kept.owed() {
						out.Bad |= bit(8)
					}
					out.Next = m.find(waitKey{out.Next, vessel, next})
					f(out)
				}
			})
		})
	}
}

// outputEdges unites what the output can do in a scan with these end switches.
// Next is the output's own state. That it goes enabled is property 8's business.
func (m *waitModel) outputEdges(k waitKey, v *view, fc *focus, ends uint8, over, waits bool) []StemEdge {
	list := []StemEdge{}
	m.eachOutput(k, v, ends, over, waits, func(e outputEdge) {
		out := e.judged(v, fc.cut)
		out.Bad &^= bit(7) | bit(10) // judged in full form
		out.Hit &^= bit(7) | bit(10)
		if e.enables {
			out.Hit |= bit(8)
		}
		for i := range list {
			if list[i].Next == out.Next && (list[i].Hit^out.Hit)&bit(8) == 0 {
				list[i].Hit |= out.Hit
				list[i].Bad |= out.Bad
				return
			}
		}
		list = append(list, out)
	})
	return list
}

// flowing sums up the streams of one scan: all that charge the vessel are still,
// all that are followed through the output have ended, one is seen to flow.
type flowing struct{ still, ended, seen bool }

func (m *waitModel) eachFlow(k waitKey, i int, next [maxStreams]uint8, sum flowing, running, believed bool, e *ends, f func([maxStreams]uint8, flowing)) {
	if i == len(m.streams) {
		f(next, sum)
		if m.freeStreams {
			f(next, flowing{false, sum.ended, sum.seen})
			f(next, flowing{false, sum.ended, true})
		}
		return
	}
	p := &m.streams[i]
	for _, flow := range p.flowsOf(running, believed, m.table.shape.config.Confirmable(), e) {
		p.stopped.each(uint32(k.stopped[i]), func(n Scans) {
			after := m.logic.Stream(p.config, interlock.StreamState{Stopped: n}, flow.stopped)
			next[i] = uint8(p.stopped.index(after.Stopped))
			still := after.Still(p.config)
			m.eachFlow(k, i+1, next, flowing{sum.still && still, sum.ended && (still || !p.through), sum.seen || flow.seen}, running, believed, e, f)
		})
	}
}

func (m *waitModel) eachVessel(k waitKey, v *view, fc *focus, still, seen bool, f func(uint32)) {
	for _, bond := range truths {
		if !v.bond.has(bond) {
			continue
		}
		for again := 0; again < 2; again++ {
			if again == 0 && v.again || again == 1 && !v.again && !fc.othersBond {
				continue
			}
			for _, vessel := range m.vessel.from(k.vessel, vesselScan{bond, still, seen, again == 1}) {
				f(vessel)
			}
		}
	}
}

func (m *waitModel) eachOutput(k waitKey, v *view, ends uint8, over, waits bool, f func(outputEdge)) {
	perm := v.start
	if m.table.enabled(k.out) {
		perm = v.keep
	}
	for _, p := range truths {
		if !perm.has(p) {
			continue
		}
		for shared := uint8(0); shared < sharedClasses; shared++ {
			if shared == sharedStop && m.table.shape.config.Stop == 0 || shared == sharedNone && waits || shared == sharedWait && !waits && !m.othersWait {
				continue
			}
			for ended := 0; ended < 2; ended++ {
				if ended == 1 && !over || ended == 0 && over && !m.otherStreams {
					continue
				}
				l := outputScan{perm: p, shared: shared, ended: ended == 1, ends: ends}
				for _, e := range m.table.from(k.out, m.table.group(&l)) {
					f(e)
				}
			}
		}
	}
}

// pack writes a row as one word, the output's own in its lowest bits.
func (m *waitModel) pack(k waitKey) uint64 {
	s, p := &m.vessel.states[k.vessel], packer{}
	for _, b := range [...]bool{s.clear, s.held, s.early, s.watch.paid, s.watch.steady, s.watch.early} {
		p.flag(b)
	}
	p.add(s.waited, 3)
	for _, cell := range k.stopped {
		p.add(uint32(cell), 3)
	}
	return m.table.states[k.out] | uint64(p.word)<<waitShift
}

// waitShift is above the memory of an output and what the properties remember.
const waitShift = watchShift + 9
