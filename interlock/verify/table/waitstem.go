package table

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// WaitModel is an output in brief, one vessel that it charges and the streams
// that charge that vessel. Buttons and the on-delay are free; so are the other
// outputs of the streams, and the other vessels.
type WaitModel struct {
	logic        *model.Logic
	Config       *interlock.Config
	output       int
	table        *OutputTable // in brief
	Vessel       *VesselTable
	Streams      []streamPart
	OtherStreams bool     // the output has streams that are not followed here
	OthersWait   bool     // the output charges other vessels as well
	FreeStreams  bool     // further streams charge the vessel, and are free
	index        []uint32 // row plus one, by key
	Keys         []WaitKey
}

// MaxStreams is how many streams of a vessel are followed.
const MaxStreams = 2

// maxStreamCells is the most cells that a run-down is cut into.
const maxStreamCells = 6

type WaitKey struct {
	Out, Vessel uint32
	Stopped     [MaxStreams]uint8 // cells
}

// streamPart is one stream as the output in view takes part in it.
type streamPart struct {
	Config      *interlock.Stream
	Number      int // of the stream
	Stopped     model.Cells
	Through     bool // it flows through the output in view
	Others      bool // it flows through others
	Confirmable bool
}

func NewWaitModel(logic *model.Logic, c *interlock.Config, output, vessel int, table *OutputTable) *WaitModel {
	m := &WaitModel{logic: logic, Config: c, output: output, table: table}
	m.Vessel = TabulateVessel(logic, &c.Vessels[vessel])
	charging := map[int]bool{}
	for _, i := range c.ChargedBy(vessel) {
		charging[i] = true
		st := &c.Streams[i]
		part := streamPart{Config: st, Number: i, Stopped: model.CellsOf(st.RunDown.Next(), 0, 1, st.RunDown, st.RunDown.Next()), Confirmable: c.StreamConfirmable(i)}
		for _, o := range st.Through {
			part.Through = part.Through || o == output
			part.Others = part.Others || o != output
		}
		m.Streams = append(m.Streams, part)
	}
	// The streams through the output come first; what is beyond the limit is
	// free, which can only add behaviour.
	slices.SortStableFunc(m.Streams, func(a, b streamPart) int { return model.Int(b.Through) - model.Int(a.Through) })
	if len(m.Streams) > MaxStreams {
		m.OtherStreams = m.Streams[1].Through
		m.Streams, m.FreeStreams = m.Streams[:1], true
	}
	for _, i := range c.StreamsOf(output) {
		m.OtherStreams = m.OtherStreams || !charging[i]
	}
	m.OthersWait = len(c.VesselsOf(output)) > 1
	return m
}

// Find numbers the rows. The keys are dense enough for a plain array.
func (m *WaitModel) Find(k WaitKey) uint32 {
	if m.index == nil {
		size := len(m.Vessel.States) * len(m.table.States)
		for range k.Stopped {
			size *= maxStreamCells
		}
		m.index = make([]uint32, size)
	}
	at := m.place(k)
	if m.index[at] == 0 {
		m.Keys = append(m.Keys, k)
		m.index[at] = uint32(len(m.Keys))
	}
	return m.index[at] - 1
}

// Row is the number of a key that was found before.
func (m *WaitModel) Row(k WaitKey) (uint32, bool) {
	at := m.index[m.place(k)]
	return at - 1, at > 0
}

func (m *WaitModel) place(k WaitKey) int {
	at := int(k.Vessel)
	for _, cell := range k.Stopped {
		at = at*maxStreamCells + int(cell)
	}
	return at*len(m.table.States) + int(k.Out)
}

// Stem builds the rest's steps.
func (m *WaitModel) Stem(f *Focus, shown uint32, memory uint64) (*Stem, error) {
	s := &Stem{}
	var views []View
	s.Class, views = classify(f.views(m.logic), shown)
	s.Classes = len(views)
	m.Find(WaitKey{}) // power-up
	add := Adder{}
	for row := 0; row < len(m.Keys); row++ {
		for i := range views {
			s.At = append(s.At, uint32(len(s.Edges)))
			add.Begin()
			m.Each(m.Keys[row], &views[i], f, func(e StemEdge) { s.Edges = add.To(s.Edges, e) })
		}
		if memory > 0 && uint64(len(s.Edges))*16 > memory {
			return nil, &CutOff{"building a product's rows", uint64(row), memory}
		}
	}
	s.At = append(s.At, uint32(len(s.Edges)))
	s.Rows = len(m.Keys)
	s.gather()
	s.Calls = m.table.calls + m.Vessel.calls
	s.Name = func(row int) string { return m.table.describe(int(m.Keys[row].Out)) }
	return s, nil
}

// flows is what one scan can show of a stream.
type flows struct{ stopped, seen bool }

// flowsOf lists what a stream can show when the output in view is as given.
func (p *streamPart) flowsOf(running, believed bool, confirmable bool, e *Ends) []flows {
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
	if p.Others {
		free = 4
	}
	for bits := 0; bits < free; bits++ {
		f := flows{stopped: bits&1 == 1, seen: bits&2 == 0}
		if p.Through {
			switch {
			case confirmable:
				f.stopped = f.stopped || !running && e.Home && believed
			case !p.Confirmable:
				f.stopped = f.stopped || !running
			}
			f.seen = f.seen && (running || e.Open)
		}
		add(flows{f.stopped, f.seen && !f.stopped})
		if p.Config.Flow != 0 {
			add(flows{false, true})
			add(flows{false, f.seen})
		}
	}
	return list
}

// Each calls f for every step from one row under one view.
func (m *WaitModel) Each(k WaitKey, v *View, fc *Focus, f func(StemEdge)) {
	h := m.table.Shape
	var memory interlock.OutputControl
	h.Each(uint32(m.table.States[k.Out]&(1<<WatchShift-1)), func(s interlock.OutputControl) { memory = s })
	running := memory.Mode == interlock.Enabled
	for number := range h.Ends {
		e := &h.Ends[number]
		var known [4][]StemEdge // what the output does, by the end of its flow and by waits
		var next [MaxStreams]uint8
		m.eachFlow(k, 0, next, flowing{still: true, ended: true}, running, memory.Believed(), e, func(next [MaxStreams]uint8, flow flowing) {
			m.eachVessel(k, v, fc, flow.still, flow.seen, func(vessel uint32) {
				kept := m.Vessel.States[vessel]
				list := &known[model.Int(flow.ended)*2+model.Int(kept.blocked())]
				if *list == nil {
					*list = m.outputEdges(k, v, fc, uint8(number), flow.ended, kept.blocked())
				}
				for _, out := range *list {
					if out.Hit.Has(model.PropertyWait) && kept.owed() {
						out.Bad |= model.PropertyWait.Bit()
					}
					out.Next = m.Find(WaitKey{out.Next, vessel, next})
					f(out)
				}
			})
		})
	}
}

// outputEdges unites what the output can do in a scan with these end switches.
// Next is the output's own state. That it goes enabled is property 8's business.
func (m *WaitModel) outputEdges(k WaitKey, v *View, fc *Focus, ends uint8, over, waits bool) []StemEdge {
	list := []StemEdge{}
	m.eachOutput(k, v, ends, over, waits, func(e outputEdge) {
		out := e.judged(v, fc.Cut)
		out.Bad &^= model.PropertyReset.Bit() | model.PropertyUnconfirmed.Bit() // judged in full form
		out.Hit &^= model.PropertyReset.Bit() | model.PropertyUnconfirmed.Bit()
		if e.enables {
			out.Hit |= model.PropertyWait.Bit()
		}
		for i := range list {
			if list[i].Next == out.Next && (list[i].Hit^out.Hit)&model.PropertyWait.Bit() == 0 {
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

func (m *WaitModel) eachFlow(k WaitKey, i int, next [MaxStreams]uint8, sum flowing, running, believed bool, e *Ends, f func([MaxStreams]uint8, flowing)) {
	if i == len(m.Streams) {
		f(next, sum)
		if m.FreeStreams {
			f(next, flowing{false, sum.ended, sum.seen})
			f(next, flowing{false, sum.ended, true})
		}
		return
	}
	p := &m.Streams[i]
	for _, flow := range p.flowsOf(running, believed, m.table.Shape.Config.Confirmable(), e) {
		p.Stopped.Each(uint32(k.Stopped[i]), func(n model.Scans) {
			after := m.logic.Stream(p.Config, interlock.StreamState{Stopped: n}, flow.stopped)
			next[i] = uint8(p.Stopped.Index(after.Stopped))
			still := after.Still(p.Config)
			m.eachFlow(k, i+1, next, flowing{sum.still && still, sum.ended && (still || !p.Through), sum.seen || flow.seen}, running, believed, e, f)
		})
	}
}

func (m *WaitModel) eachVessel(k WaitKey, v *View, fc *Focus, still, seen bool, f func(uint32)) {
	for _, bond := range model.Truths {
		if !v.Bond.Has(bond) {
			continue
		}
		for again := 0; again < 2; again++ {
			if again == 0 && v.Again || again == 1 && !v.Again && !fc.OthersBond {
				continue
			}
			for _, vessel := range m.Vessel.from(k.Vessel, VesselScan{bond, still, seen, again == 1}) {
				f(vessel)
			}
		}
	}
}

func (m *WaitModel) eachOutput(k WaitKey, v *View, ends uint8, over, waits bool, f func(outputEdge)) {
	perm := v.Start
	if m.table.Enabled(k.Out) {
		perm = v.Keep
	}
	for _, p := range model.Truths {
		if !perm.Has(p) {
			continue
		}
		for shared := uint8(0); shared < SharedClasses; shared++ {
			if shared == SharedStop && m.table.Shape.Config.Stop == 0 || shared == SharedNone && waits || shared == SharedWait && !waits && !m.OthersWait {
				continue
			}
			for ended := 0; ended < 2; ended++ {
				if ended == 1 && !over || ended == 0 && over && !m.OtherStreams {
					continue
				}
				l := OutputScan{Perm: p, Shared: shared, Ended: ended == 1, Ends: ends}
				for _, e := range m.table.From(k.Out, m.table.group(&l)) {
					f(e)
				}
			}
		}
	}
}

// Pack writes a row as one word, the output's own in its lowest bits.
func (m *WaitModel) Pack(k WaitKey) uint64 {
	s, p := &m.Vessel.States[k.Vessel], Packer{}
	for _, b := range [...]bool{s.Clear, s.Held, s.Early, s.Watch.Paid, s.Watch.Steady, s.Watch.Early} {
		p.Flag(b)
	}
	p.Add(s.Waited, 3)
	for _, cell := range k.Stopped {
		p.Add(uint32(cell), 3)
	}
	return m.table.States[k.Out] | uint64(p.Word)<<waitShift
}

// waitShift is above the memory of an output and what the properties remember.
const waitShift = WatchShift + 9
