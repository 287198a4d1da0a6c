package sim

import (
	"ohmgate/interlock"
	"ohmgate/interlock/site"
)

// input is one binary input, from the thing it watches to the wire.
type input struct {
	name     string
	inverted bool

	on      bool // as set by people
	pressed int  // presses and tapes that hold it down
	follows follower
	number  int // actuator or stream that it follows

	made, open int // end-switch faults
	stuckLow   int
	stuckHigh  int
	lost       int
	faulty     int
	cut        int
	forced     interlock.Signal
	isForced   bool

	level   bool   // the contact's value in the scan before
	bounce  uint64 // scans after a change in which the value is at random
	settles uint64 // scan from which its value is no longer at random
	draw    Stream
}

// follower is what an input watches.
type follower uint8

const (
	people follower = iota
	closedEnd
	openedEnd
	streamFlow
)

func newInputs(s *site.Site, outputs, streams map[string]int, seed uint64) []input {
	made := make([]input, len(s.Inputs))
	number := map[string]int{}
	for i := range s.Inputs {
		f := &s.Inputs[i]
		made[i] = input{name: f.Name, inverted: f.Inverted, draw: NewStream(seed, f.Name, "bounce")}
		number[f.Name] = i
	}
	follow := func(name string, what follower, n int) {
		if i, ok := number[name]; ok {
			made[i].follows, made[i].number = what, n
		}
	}
	for _, o := range s.Outputs {
		follow(o.Closed, closedEnd, outputs[o.Name])
		follow(o.Opened, openedEnd, outputs[o.Name])
	}
	for _, st := range s.Streams {
		follow(st.Flow, streamFlow, streams[st.Name])
	}
	return made
}

// truth is what the watched thing really does.
func (in *input) truth(p *Plant) bool {
	switch in.follows {
	case closedEnd:
		return p.actuators[in.number].closed()
	case openedEnd:
		return p.actuators[in.number].opened()
	case streamFlow:
		return p.streams[in.number].flowing
	}
	return in.on
}

// signal is what arrives, and whether it may change by itself in the next scan.
func (in *input) signal(p *Plant, scan uint64) (interlock.Signal, bool) {
	level := in.truth(p) || in.pressed > 0 || in.made > 0
	if in.open > 0 {
		level = false
	}
	if level != in.level {
		in.level, in.settles = level, scan+in.bounce
	}
	restless := false
	if scan < in.settles {
		restless = true
		level = in.draw.Bits(scan)&1 == 1
	}
	return in.onTheWire(level), restless
}

func (in *input) onTheWire(level bool) interlock.Signal {
	wire := level != in.inverted
	switch {
	case in.isForced:
		return in.forced
	case in.cut > 0 || in.lost > 0:
		return interlock.NoSignal
	case in.faulty > 0:
		return interlock.Faulty
	case in.stuckLow > 0:
		wire = false
	case in.stuckHigh > 0:
		wire = true
	}
	if wire {
		return interlock.High
	}
	return interlock.Low
}
