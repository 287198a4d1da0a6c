package table

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// VesselScan is one letter of a vessel.
type VesselScan struct {
	Bonded                       interlock.Truth
	Still, FlowSeen, Reconnected bool
}

const VesselScans = 3 * 2 * 2 * 2

func (l VesselScan) number() int {
	return ((int(l.Bonded)+1)*2+model.Int(l.Still))*4 + model.Int(l.FlowSeen)*2 + model.Int(l.Reconnected)
}

func VesselScanOf(n int) VesselScan {
	return VesselScan{model.Truths[n>>3], n>>2&1 == 1, n>>1&1 == 1, n&1 == 1}
}

// VesselWatch is what the properties remember of a vessel: that a wait is owed,
// whether every scan that the logic has counted was really still, and that an
// early reconnection stands.
type VesselWatch struct{ Paid, Steady, Early bool }

// VesselTable is one vessel's charge memory, tabulated. Its acknowledge button
// is forgotten between scans: a press may be given in any scan.
type VesselTable struct {
	Config *interlock.Vessel
	Logic  *model.Logic
	Waited model.Cells
	States []VesselKey // 0 is power-up
	next   [][]uint32  // state*vesselScans+letter
	Index  map[VesselKey]uint32
	calls  uint64
}

type VesselKey struct {
	Clear, Held, Early bool
	Waited             uint32 // cell
	Watch              VesselWatch
}

// blocked says that the logic keeps the vessel's outputs from starting.
func (k VesselKey) blocked() bool { return !k.Clear || k.Early }

// owed says that no output that charges the vessel may start.
func (k VesselKey) owed() bool { return !k.Watch.Paid || k.Watch.Early }

func TabulateVessel(logic *model.Logic, v *interlock.Vessel) *VesselTable {
	t := &VesselTable{Config: v, Logic: logic, Waited: model.CellsOf(v.Wait.Next(), 0, 1, v.Wait, v.Wait.Next()), Index: map[VesselKey]uint32{}}
	t.find(VesselKey{})
	for i := 0; i < len(t.States); i++ {
		for n := 0; n < VesselScans; n++ {
			var list []uint32
			t.each(t.States[i], VesselScanOf(n), func(_ interlock.VesselState, next VesselKey) {
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

func (t *VesselTable) find(k VesselKey) uint32 {
	if i, ok := t.Index[k]; ok {
		return i
	}
	i := uint32(len(t.States))
	t.Index[k] = i
	t.States = append(t.States, k)
	return i
}

// each calls f for every step from an abstract state under one letter.
func (t *VesselTable) each(k VesselKey, l VesselScan, f func(interlock.VesselState, VesselKey)) {
	about := interlock.Button{Phase: interlock.Pressed, Held: t.Config.Press.Min, Released: true}
	for _, button := range [...]interlock.Button{{Phase: interlock.Idle}, about} {
		if button == about && (t.Config.Acknowledge == 0 || !k.Early) {
			continue
		}
		t.Waited.Each(k.Waited, func(n model.Scans) {
			s := interlock.VesselState{Clear: k.Clear, Waited: n, Held: k.Held, Early: k.Early, Ack: button}
			next, told := t.Logic.Vessel(t.Config, s, interlock.VesselScan{
				Bonded: l.Bonded, Still: l.Still, FlowSeen: l.FlowSeen, Reconnected: l.Reconnected,
				Acknowledge: interlock.False, AcknowledgeFresh: true,
			})
			t.calls++
			f(s, VesselKey{
				Clear: next.Clear, Held: next.Held, Early: next.Early, Waited: t.Waited.Index(next.Waited),
				Watch: t.judge(s, k.Watch, l, told.Acknowledged),
			})
		})
	}
}

// judge follows the charge memory from the words of SEMANTICS.md: a loss while a
// stream is not confirmed stopped, or flow without a bond, means that the vessel
// may be charged; it is so until more than the wait has passed in still scans.
func (t *VesselTable) judge(s interlock.VesselState, w VesselWatch, l VesselScan, acknowledged bool) VesselWatch {
	held := l.Bonded == interlock.True
	charged := s.Held && !held && !l.Still || !held && l.FlowSeen
	next := w
	next.Steady = l.Still && !charged && (s.Waited == 0 || w.Steady)
	switch {
	case charged:
		next.Paid = false
	case !w.Paid && next.Steady && s.Waited >= t.Config.Wait:
		next.Paid = true
	}
	// Without a button to acknowledge it, an early reconnection is told only.
	next.Early = t.Config.Acknowledge != 0 && (w.Early || !next.paidBefore(w, charged) && l.Reconnected) && !(acknowledged && s.Early)
	if next.Paid {
		next.Steady = false
	}
	return next
}

// paidBefore says that the vessel was shown not to be charged before this scan,
// and nothing in it says otherwise.
func (VesselWatch) paidBefore(before VesselWatch, charged bool) bool { return before.Paid && !charged }

func (t *VesselTable) from(state uint32, l VesselScan) []uint32 {
	return t.next[int(state)*VesselScans+l.number()]
}

func (t *VesselTable) HasEdge(state uint32, letter int, after interlock.VesselState) bool {
	for _, next := range t.next[int(state)*VesselScans+letter] {
		k := t.States[next]
		if k.Clear == after.Clear && k.Held == after.Held && k.Early == after.Early && k.Waited == t.Waited.Index(after.Waited) {
			return true
		}
	}
	return false
}

// Tell notes what a vessel tells in one step.
func (t *VesselTable) Tell(k VesselKey, l VesselScan, told map[interlock.Kind]bool) {
	for _, button := range [...]interlock.Button{{Phase: interlock.Idle}, {Phase: interlock.Pressed, Held: t.Config.Press.Min, Released: true}} {
		if button.Phase == interlock.Pressed && (t.Config.Acknowledge == 0 || !k.Early) {
			continue
		}
		t.Waited.Each(k.Waited, func(n model.Scans) {
			s := interlock.VesselState{Clear: k.Clear, Waited: n, Held: k.Held, Early: k.Early, Ack: button}
			for _, rested := range [...]model.Scans{0, t.Config.Rest.Next()} {
				s.Rested = rested
				_, news := t.Logic.Vessel(t.Config, s, interlock.VesselScan{
					Bonded: l.Bonded, Still: l.Still, FlowSeen: l.FlowSeen, Reconnected: l.Reconnected, Acknowledge: interlock.False, AcknowledgeFresh: true,
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
