package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// sampledStates is about how many states of each table every report compares;
// --audit compares all.
const (
	sampledOfChannel = 2000
	sampledOfOutput  = 20
)

// stride is every how many states a table is looked at, and counts them; all is
// the stride where not only a sample is asked for.
func (v *verification) stride(a *Audit, states, sampled, all int) int {
	every := max(1, all)
	if v.auditEvery == 0 && !v.Options.Audit {
		every = max(1, states/sampled)
	}
	a.States += uint64((states + every - 1) / every)
	a.Of += uint64(states)
	return every
}

// audit compares tabulated steps of every channel, output and vessel with the
// whole Step of a small site that has just that part and what it takes to show
// it every letter: all steps where an audit is asked for, and otherwise those of
// some states of every table, evenly spread.
func (v *verification) audit() *Audit {
	a := &Audit{}
	for _, t := range v.ByChannel {
		c, d := t.Audit(v.stride(a, len(t.States), sampledOfChannel, 1))
		a.Compared += c
		a.Different += d
	}
	for _, t := range v.ByOutput {
		every := v.stride(a, len(t.States), sampledOfOutput, v.auditEvery)
		newStand(v.Logic, t.Shape.Config, nil).outputs(t, a, every, v.auditEvery > 0 || v.Options.Audit)
	}
	seen := map[interlock.Press]map[[2]model.Scans]bool{}
	for _, o := range v.outputs {
		for _, i := range v.Model.Config.VesselsOf(o) {
			vessel := &v.Model.Config.Vessels[i]
			if seen[vessel.Press] == nil {
				seen[vessel.Press] = map[[2]model.Scans]bool{}
			}
			if key := [2]model.Scans{vessel.Wait, vessel.Rest}; !seen[vessel.Press][key] {
				seen[vessel.Press][key] = true
				t := table.TabulateVessel(v.Logic, vessel)
				every := v.stride(a, len(t.States), sampledOfChannel, 1)
				newStand(v.Logic, &interlock.Output{Reset: 1, Press: interlock.Press{Min: 1, Max: 1}}, vessel).vessels(t, a, every)
			}
		}
	}
	return a
}

// Inputs of the stand, in the order in which its site declares them.
const (
	standPerm = iota + 1
	standReset
	standStart
	standStop
	standClosed
	standOpened
	standOther // end switch of a second output in series: ends the flow at will
	standFlow
	standAcknowledge
	standInputs = iota
)

// Channels of the stand: the first is the vessel's bond.
const (
	standAsIs     = iota + 1 // in the permissive as it is
	standNot                 // in the permissive under a NOT
	standChannels = iota + 1
)

// standRunDown is long enough that one scan neither ends nor begins a run-down.
const standRunDown = 5

// stand is a test stand: the part under audit on a site that can show it every
// letter, turned by the whole Step.
type stand struct {
	logic  *model.Logic
	config *interlock.Config
	state  *interlock.State
	in     *interlock.Inputs
	d      *interlock.Decision
}

func newStand(logic *model.Logic, o *interlock.Output, vessel *interlock.Vessel) *stand {
	cause := func(n int) interlock.Node { return interlock.Node{Op: interlock.OpCause, Cause: n} }
	mine := *o
	// An input, and two channels by which the permissive can differ over
	// fit-to-keep and fit-to-start, either way round.
	mine.Permissive = interlock.Permissive{cause(standChannels + standPerm - 1), cause(standAsIs), cause(standNot),
		{Op: interlock.OpNot, Args: []int{2}}, {Op: interlock.OpAnd, Args: []int{0, 1, 3}}}
	keep := func(ref *interlock.Ref, at interlock.Ref) {
		if *ref != 0 {
			*ref = at
		}
	}
	keep(&mine.Reset, standReset)
	keep(&mine.Start, standStart)
	keep(&mine.Stop, standStop)
	keep(&mine.Closed, standClosed)
	keep(&mine.Opened, standOpened)
	mine.Backup, mine.AtOnce = nil, false
	charged := interlock.Vessel{Wait: 10, Rest: 10, Acknowledge: standAcknowledge, Press: interlock.Press{Min: 1, Max: 2}}
	if vessel != nil {
		charged = *vessel
		keep(&charged.Acknowledge, standAcknowledge)
	}
	charged.BondedBy = interlock.Permissive{cause(0)}
	if mine.Automatic && vessel == nil {
		charged.Wait, charged.Rest = 0, 0
	}
	channel := monitor.Config{Accept: 1, Reject: 2, OpenAbove: 3, StaleAfter: 1, SettleScans: 3, SettleReadings: 3, Full: 4, Repay: 1, LongestStay: 9,
		Cost: [monitor.Classes]monitor.Parts{1, 1, 1, 1, 0, 0}}
	other := interlock.Output{Permissive: interlock.Permissive{cause(0)}, Reset: standReset, Press: interlock.Press{Min: 1, Max: 2}, Closed: standOther, Travel: 1 << 20, Backup: []int{0}}
	c := &interlock.Config{
		Channels: []interlock.Channel{{Config: channel}, {Config: channel}, {Config: channel}},
		Inputs:   make([]interlock.Input, standInputs),
		Outputs:  []interlock.Output{mine, other},
		Vessels:  []interlock.Vessel{charged},
		Streams:  []interlock.Stream{{Through: []int{0, 1}, Charges: []int{0}, RunDown: standRunDown, Flow: standFlow}},
	}
	for i := range c.Inputs {
		c.Inputs[i].StaleAfter = 5
	}
	if err := c.Compile(); err != nil {
		panic("verify: the audit's own site: " + err.Error())
	}
	return &stand{logic, c, interlock.NewState(c), interlock.NewInputs(c), interlock.NewDecision(c)}
}

// show makes an input be seen as a level in the next scan.
func (s *stand) show(ref interlock.Ref, l table.Level) {
	if ref == 0 {
		return
	}
	s.state.Inputs[ref-1] = interlock.InputState{Level: l.Value}
	s.in.Signals[ref-1] = interlock.Faulty
	switch {
	case l.Fresh && l.Value == interlock.True:
		s.in.Signals[ref-1] = interlock.High
	case l.Fresh:
		s.in.Signals[ref-1] = interlock.Low
	case l.Value != interlock.Unknown:
		s.in.Signals[ref-1] = interlock.NoSignal
	}
}

// value shows a fresh value, or unknown.
func (s *stand) value(ref interlock.Ref, v interlock.Truth) {
	s.show(ref, table.Level{Value: v, Fresh: v != interlock.Unknown})
}

// doubt makes a channel be fit to keep and not fit to start in the next scan.
func (s *stand) doubt(channel int) {
	s.state.Channels[channel] = interlock.ChannelState{State: monitor.State{Control: monitor.Control{Phase: monitor.Doubtful, Class: monitor.Between, Doubt: 1, Stay: 1}}}
	s.in.Readings[channel] = monitor.Reading{Quality: monitor.Valid, Value: 2}
}

// bond makes a channel be held in the next scan, not held, or unknown.
func (s *stand) bond(channel int, v interlock.Truth, parted bool) {
	phase := map[interlock.Truth]monitor.Phase{interlock.True: monitor.Bonded, interlock.False: monitor.Lost, interlock.Unknown: monitor.Unreadable}[v]
	s.state.Channels[channel] = interlock.ChannelState{State: monitor.State{Control: monitor.Control{Phase: phase, Class: monitor.Good}}, Parted: parted}
	s.in.Readings[channel] = monitor.Reading{Quality: monitor.Valid, Value: 1}
	if v == interlock.Unknown {
		s.in.Readings[channel].Quality = monitor.Bad
	}
}

// outputs compares the table of an output. Without streams and vessels of its own
// the stand's ones stand in: the flow has ended or not, the wait runs or not.
func (s *stand) outputs(t *table.OutputTable, a *Audit, every int, enabledToo bool) {
	o := &s.config.Outputs[0]
	for at, word := range t.States {
		if at%every != 0 && !(enabledToo && t.Enabled(uint32(at))) {
			continue
		}
		t.Shape.EachLetter(false, func(l *table.OutputScan) {
			if !t.Shape.Brief && !table.Levels[l.Reset].Follows(table.UnpackWatch(word).Button) || o.Automatic && l.Shared == table.SharedWait {
				return
			}
			t.Shape.Each(uint32(word&(1<<table.WatchShift-1)), func(memory interlock.OutputControl) {
				for way := range max(waysOf[l.Shared], permWays(l.Perm)) {
					s.prepare(o, t.Shape, memory, l)
					s.withhold(l.Shared, way%waysOf[l.Shared])
					in := s.permit(l, way, memory.Mode == interlock.Enabled, t.Shape)
					step, _ := t.Logic.Output(t.Shape.Config, memory, in)
					s.logic.Step(s.config, s.state, s.in, s.d)
					a.Compared++
					after := s.state.Outputs[0].OutputControl
					if step != after || !t.HasEdge(uint32(at), l, t.Shape.Pack(after)) {
						a.Different++
					}
				}
			})
		})
	}
}

func (s *stand) prepare(o *interlock.Output, h *table.OutputShape, memory interlock.OutputControl, l *table.OutputScan) {
	s.state.Running = true
	s.state.Outputs[0] = interlock.OutputState{OutputControl: memory}
	s.state.Outputs[1] = interlock.OutputState{}
	s.state.Vessels[0] = interlock.VesselState{Clear: true, Held: true}
	s.state.Streams[0] = interlock.StreamState{}
	s.bond(0, interlock.True, false)
	s.show(o.Reset, table.Levels[l.Reset])
	s.show(o.Start, table.Levels[l.Begin])
	s.value(o.Stop, model.Truth(l.Shared == table.SharedStop))
	s.value(o.Closed, h.Ends[l.Ends].Closed)
	s.value(o.Opened, h.Ends[l.Ends].Opened)
	s.value(standOther, model.Truth(l.Ended))
	s.value(standFlow, interlock.False)
	s.value(standAcknowledge, interlock.False)
	if l.Ended {
		s.state.Streams[0].Stopped = standRunDown + 1
	}
	s.in.Overrun = false
}

// permWays is in how many ways a permissive can come to a value.
func permWays(t interlock.Truth) int {
	if t == interlock.False {
		return 3
	}
	return 1
}

// permit makes the permissive come to a value: by its input; or, where it is
// false, over fit-to-start alone, which an output that runs is not asked, or over
// fit-to-keep alone. It returns what the output's own step is then told.
func (s *stand) permit(l *table.OutputScan, way int, running bool, h *table.OutputShape) (in interlock.OutputScan) {
	t := l.Perm
	in = l.Arm(h)
	s.bond(standAsIs, interlock.True, false)
	s.bond(standNot, interlock.False, false)
	s.value(standPerm, t)
	if t != interlock.False || way == 0 || way == 1 && running {
		return in
	}
	s.value(standPerm, interlock.True)
	if way == 1 {
		s.doubt(standAsIs)
		in.Keep = interlock.True
	} else {
		s.doubt(standNot)
		in.Start = interlock.True
	}
	return in
}

// waysOf is in how many ways each shared reason can come about.
var waysOf = [table.SharedClasses]int{table.SharedNone: 1, table.SharedWait: 2, table.SharedStop: 1, table.SharedHard: 3}

// withhold makes a shared reason come about in one of its ways: a wait that runs
// or an early reconnection that is not acknowledged; an overrun, the first scan
// since power-up, or a call by an actuator that may still be open.
func (s *stand) withhold(shared uint8, way int) {
	switch {
	case shared == table.SharedWait && way == 0:
		s.state.Vessels[0].Clear = false
	case shared == table.SharedWait:
		s.state.Vessels[0].Early = true
	case shared == table.SharedHard && way == 0:
		s.in.Overrun = true
	case shared == table.SharedHard && way == 1:
		s.state.Running = false
	case shared == table.SharedHard:
		s.state.Outputs[1].Unconfirmed = interlock.StayedOpen
	}
}

// vessels compares the table of a vessel. A still scan in which flow is seen, and
// an unreadable channel that reads good, cannot be shown by one stream and one
// channel; they are left out.
func (s *stand) vessels(t *table.VesselTable, a *Audit, every int) {
	idle := table.Level{Value: interlock.False, Fresh: true}
	if t.Config.Acknowledge == 0 {
		idle = table.Level{Value: interlock.Unknown, Fresh: false} // what Step says of an input that is not there
	}
	about := interlock.Button{Phase: interlock.Pressed, Held: t.Config.Press.Min, Released: true}
	for at, k := range t.States {
		if at%every != 0 {
			continue
		}
		for number := 0; number < table.VesselScans; number++ {
			l := table.VesselScanOf(number)
			if l.Still && l.FlowSeen || l.Bonded == interlock.Unknown && l.Reconnected {
				continue
			}
			t.Waited.Each(k.Waited, func(n model.Scans) {
				for _, button := range [...]interlock.Button{{}, {Phase: interlock.Idle}, about} {
					if button == about && (t.Config.Acknowledge == 0 || !k.Early) {
						continue
					}
					memory := interlock.VesselState{Clear: k.Clear, Held: k.Held, Early: k.Early, Waited: n, Ack: button}
					s.prepareVessel(memory, l)
					s.logic.Step(s.config, s.state, s.in, s.d)
					a.Compared++
					step, _ := t.Logic.Vessel(t.Config, memory, interlock.VesselScan{
						Bonded: l.Bonded, Still: l.Still, FlowSeen: l.FlowSeen, Reconnected: l.Reconnected,
						Acknowledge: idle.Value, AcknowledgeFresh: idle.Fresh,
					})
					if after := s.state.Vessels[0]; step != after || !t.HasEdge(uint32(at), number, after) {
						a.Different++
					}
				}
			})
		}
	}
}

func (s *stand) prepareVessel(memory interlock.VesselState, l table.VesselScan) {
	s.state.Running = true
	s.state.Outputs[0], s.state.Outputs[1] = interlock.OutputState{}, interlock.OutputState{}
	s.state.Vessels[0] = memory
	s.state.Streams[0] = interlock.StreamState{}
	if l.Still {
		s.state.Streams[0].Stopped = standRunDown + 1
	}
	s.bond(0, l.Bonded, l.Reconnected)
	for ref := interlock.Ref(1); ref <= standInputs; ref++ {
		s.value(ref, interlock.False)
	}
	s.value(standOther, model.Truth(l.Still))
	s.value(standFlow, model.Truth(l.FlowSeen))
	s.in.Overrun = false
}
