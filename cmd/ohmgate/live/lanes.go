package live

import (
	"cmp"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

// LaneKind is what a lane of the timeline shows.
type LaneKind string

const (
	LaneChannel LaneKind = "channel" // value: phase
	LaneInput   LaneKind = "input"   // value: 0 unknown, 1 low, 2 high
	LaneOutput  LaneKind = "output"  // value: mode, plus 4 while its actuator is unconfirmed
	LaneVessel  LaneKind = "vessel"  // value: vesselClear…, plus 4 while reconnected early stands
	LaneStream  LaneKind = "stream"  // value: 0 may flow, 1 stopped and running down, 2 still
	LaneBypass  LaneKind = "bypass"  // value: 0 off, 1 active
)

const (
	vesselClear   = 0
	vesselCharged = 1 // may be charged, flow not confirmed ended
	vesselWaiting = 2 // may be charged, the wait is counting

	latched = 4 // added to the value of an output or a vessel

	streamFlow, streamRunDown, streamStill = 0, 1, 2
)

var streamWords = [...]string{streamFlow: "may flow", streamRunDown: "running down", streamStill: "ended"}

// Lane is one row of the timeline.
type Lane struct {
	ID    string   `json:"id"` // kind:name
	Kind  LaneKind `json:"kind"`
	Name  string   `json:"name"`
	Title string   `json:"title"`
	Index int      `json:"index"` // number within its kind
}

// lanesOf lists the lanes of a site in the order in which rows carry them.
func lanesOf(s *site.Site) []Lane {
	var lanes []Lane
	add := func(kind LaneKind, index int, name, title string) {
		lanes = append(lanes, Lane{string(kind) + ":" + name, kind, name, title, index})
	}
	for i, c := range s.Channels {
		add(LaneChannel, i, c.Name, c.Title)
	}
	for i, in := range s.Inputs {
		add(LaneInput, i, in.Name, in.Title)
	}
	for i, o := range s.Outputs {
		add(LaneOutput, i, o.Name, o.Title)
	}
	for i, v := range s.Vessels {
		add(LaneVessel, i, v.Name, v.Title)
	}
	for i, st := range s.Streams {
		add(LaneStream, i, st.Name, st.Title)
	}
	for i, b := range s.Bypasses {
		add(LaneBypass, i, b.Name, b.Title)
	}
	return lanes
}

// laneValues writes the value of every lane, in the order of lanesOf.
func laneValues(c *interlock.Config, s *interlock.State, out []uint8) {
	n := 0
	put := func(v uint8) { out[n] = v; n++ }
	for i := range s.Channels {
		put(uint8(s.Channels[i].Phase))
	}
	for i := range s.Inputs {
		put(levelValue(s.Inputs[i].Level))
	}
	for i := range s.Outputs {
		put(outputValue(&s.Outputs[i]))
	}
	for i := range s.Vessels {
		put(vesselValue(&s.Vessels[i]))
	}
	for i := range s.Streams {
		put(streamValue(s.Streams[i], &c.Streams[i]))
	}
	for i := range s.Bypasses {
		put(min(1, uint8(min(s.Bypasses[i].Active, 1))))
	}
}

// LaneWord is what a value of a lane is called; Short is for narrow places.
type LaneWord struct {
	Word  string `json:"word"`
	Short string `json:"short,omitempty"`
}

// laneWords are the words for the values of every kind of lane.
func laneWords() map[LaneKind][]LaneWord {
	list := map[LaneKind][]LaneWord{
		LaneInput:  {{Word: "unknown"}, {Word: "off"}, {Word: "on"}},
		LaneVessel: {{Word: tell.Clear.String()}, {tell.Charged.String(), "charged?"}, {Word: "wait"}, {Word: "?"}},
		LaneStream: {{Word: streamWords[streamFlow]}, {Word: streamWords[streamRunDown]}, {Word: streamWords[streamStill]}},
		LaneBypass: {{Word: "off"}, {Word: "active"}},
	}
	for p := range monitor.Phases {
		list[LaneChannel] = append(list[LaneChannel], LaneWord{Word: monitor.Phase(p).String()})
	}
	for m := range interlock.Modes {
		list[LaneOutput] = append(list[LaneOutput], LaneWord{Word: interlock.Mode(m).String()})
	}
	list[LaneOutput] = append(list[LaneOutput], LaneWord{Word: "?"})
	for _, mode := range list[LaneOutput][:interlock.Modes] {
		list[LaneOutput] = append(list[LaneOutput], LaneWord{Word: mode.Word + ", " + interlock.ActuatorUnconfirmed.String()})
	}
	for _, state := range list[LaneVessel][:vesselWaiting+1] {
		early := LaneWord{state.Word + ", " + tell.Early.String(), cmp.Or(state.Short, state.Word) + ", early"}
		if state.Word == tell.Clear.String() {
			early.Short = "early"
		}
		list[LaneVessel] = append(list[LaneVessel], early)
	}
	return list
}

func levelValue(t interlock.Truth) uint8 {
	switch t {
	case interlock.True:
		return 2
	case interlock.False:
		return 1
	}
	return 0
}

func outputValue(o *interlock.OutputState) uint8 {
	v := uint8(o.Mode)
	if o.Unconfirmed != 0 {
		v += latched
	}
	return v
}

func vesselValue(v *interlock.VesselState) uint8 {
	value := uint8(vesselCharged)
	switch {
	case v.Clear:
		value = vesselClear
	case v.Waited > 0:
		value = vesselWaiting
	}
	if v.Early {
		value += latched
	}
	return value
}

func streamValue(s interlock.StreamState, c *interlock.Stream) uint8 {
	switch {
	case s.Still(c):
		return streamStill
	case s.Stopped > 0:
		return streamRunDown
	}
	return streamFlow
}
