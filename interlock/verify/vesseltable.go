package verify

import "ohmgate/interlock"

// vesselScan is one letter of a vessel.
type vesselScan struct {
	bonded                       interlock.Truth
	still, flowSeen, reconnected bool
}

const vesselScans = 3 * 2 * 2 * 2

func (l vesselScan) number() int {
	return ((int(l.bonded)+1)*2+b2i(l.still))*4 + b2i(l.flowSeen)*2 + b2i(l.reconnected)
}

func vesselScanOf(n int) vesselScan {
	return vesselScan{truths[n>>3], n>>2&1 == 1, n>>1&1 == 1, n&1 == 1}
}

// vesselWatch is what the properties remember of a vessel: that a wait is owed,
// whether every scan that the logic has counted was really still, and that an
// early reconnection stands.
type vesselWatch struct{ paid, steady, early bool }

// vesselTable is one vessel's charge memory, tabulated. Its acknowledge button
// is forgotten between scans: a press may be given in any scan.
type vesselTable struct {
	config *interlock.Vessel
	logic  *Logic
	waited cells
	states []vesselKey // 0 is power-up
	next   [][]uint32  // state*vesselScans+letter
	index  map[vesselKey]uint32
	calls  uint64
}

type vesselKey struct {
	clear, held, early bool
	waited             uint32 // cell
	watch              vesselWatch
}

// blocked says that the logic keeps the vessel's outputs from starting.
func (k vesselKey) blocked() bool { return !k.clear || k.early }

// owed says that no output that charges the vessel may start.
func (k vesselKey) owed() bool { return !k.watch.paid || k.watch.early }

func tabulateVessel(logic *Logic, v *interlock.Vessel) *vesselTable {
	t := &vesselTable{config: v, logic: logic, waited: cellsOf(v.Wait.Next(), 0, 1, v.Wait, v.Wait.Next()), index: map[vesselKey]uint32{}}
	t.find(vesselKey{})
	for i := 0; i < len(t.states); i++ {
		for n := 0; n < vesselScans; n++ {
			var list []uint32
			t.each(t.states[i], vesselScanOf(n), func(_ interlock.VesselState, next vesselKey) {
				list = appendOnce(list, t.find(next))
			})
			t.next = append(t.next, list)
		}
	}
	return t
}

func appendOnce(list []uint32, n uint32) []uint32 {
	for _, have := range list {
		if have == n {
			return list
		}
	}
	return append(list, n)
}

func (t *vesselTable) find(k vesselKey) uint32 {
	if i, ok := t.index[k]; ok {
		return i
	}
	i := uint32(len(t.states))
	t.index[k] = i
	t.states = append(t.states, k)
	return i
}

// each calls f for every step from an abstract state under one letter.
func (t *vesselTable) each(k vesselKey, l vesselScan, f func(interlock.VesselState, vesselKey)) {
	about := interlock.Button{Phase: interlock.Pressed, Held: t.config.Press.Min, Released: true}
	for _, button := range [...]interlock.Button{{Phase: interlock.Idle}, about} {
		if button == about && (t.config.Acknowledge == 0 || !k.early) {
			continue
		}
		t.waited.each(k.waited, func(n Scans) {
			s := interlock.VesselState{Clear: k.clear, Waited: n, Held: k.held, Early: k.early, Ack: button}
			next, told := t.logic.Vessel(t.config, s, interlock.VesselScan{
				Bonded: l.bonded, Still: l.still, FlowSeen: l.flowSeen, Reconnected: l.reconnected,
				Acknowledge: interlock.False, AcknowledgeFresh: true,
			})
			t.calls++
			f(s, vesselKey{
				clear: next.Clear, held: next.Held, early: next.Early, waited: t.waited.index(next.Waited),
				watch: t.judge(s, k.watch, l, told.Acknowledged),
			})
		})
	}
}

// judge follows the charge memory from the words of the design: a loss while a
// stream is not confirmed stopped, or flow without a bond, means that the vessel
// may be charged; it is so until more than the wait has passed in still scans.
func (t *vesselTable) judge(s interlock.VesselState, w vesselWatch, l vesselScan, acknowledged bool) vesselWatch {
	held := l.bonded == interlock.True
	charged := s.Held && !held && !l.still || !held && l.flowSeen
	next := w
	next.steady = l.still && !charged && (s.Waited == 0 || w.steady)
	switch {
	case charged:
		next.paid = false
	case !w.paid && next.steady && s.Waited >= t.config.Wait:
		next.paid = true
	}
	// Without a button to acknowledge it, an early reconnection is told only.
	next.early = t.config.Acknowledge != 0 && (w.early || !next.paidBefore(w, charged) && l.reconnected) && !(acknowledged && s.Early)
	if next.paid {
		next.steady = false
	}
	return next
}

// paidBefore says that the vessel was shown not to be charged before this scan,
// and nothing in it says otherwise.
func (vesselWatch) paidBefore(before vesselWatch, charged bool) bool { return before.paid && !charged }

func (t *vesselTable) from(state uint32, l vesselScan) []uint32 {
	return t.next[int(state)*vesselScans+l.number()]
}

func (t *vesselTable) hasEdge(state uint32, letter int, after interlock.VesselState) bool {
	for _, next := range t.next[int(state)*vesselScans+letter] {
		k := t.states[next]
		if k.clear == after.Clear && k.held == after.Held && k.early == after.Early && k.waited == t.waited.index(after.Waited) {
			return true
		}
	}
	return false
}

// tell notes what a vessel tells in one step.
func (t *vesselTable) tell(k vesselKey, l vesselScan, told map[interlock.Kind]bool) {
	for _, button := range [...]interlock.Button{{Phase: interlock.Idle}, {Phase: interlock.Pressed, Held: t.config.Press.Min, Released: true}} {
		if button.Phase == interlock.Pressed && (t.config.Acknowledge == 0 || !k.early) {
			continue
		}
		t.waited.each(k.waited, func(n Scans) {
			s := interlock.VesselState{Clear: k.clear, Waited: n, Held: k.held, Early: k.early, Ack: button}
			for _, rested := range [...]Scans{0, t.config.Rest.Next()} {
				s.Rested = rested
				_, news := t.logic.Vessel(t.config, s, interlock.VesselScan{
					Bonded: l.bonded, Still: l.still, FlowSeen: l.flowSeen, Reconnected: l.reconnected, Acknowledge: interlock.False, AcknowledgeFresh: true,
				})
				for kind, yes := range map[interlock.Kind]bool{
					interlock.MayBeCharged: news.Charged, interlock.WaitBegan: news.Waiting, interlock.WaitOver: news.Over, interlock.ReconnectedEarly: news.Early,
					interlock.Released: news.Released && !news.TooSoon, interlock.ReleasedTooSoon: news.Released && news.TooSoon, interlock.Acknowledged: news.Acknowledged,
				} {
					told[kind] = told[kind] || yes
				}
			}
		})
	}
}
