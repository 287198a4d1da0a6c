package twin

import (
	"time"

	"ohmgate/hwio/port"
)

// Stage is what a World can see and move. Use it only inside a call from the room.
type Stage struct{ room *Room }

// Now is the present moment on the clock of all ports.
func (s *Stage) Now() port.Stamp { return port.Now() }

// After plans something on the stage.
func (s *Stage) After(wait time.Duration, what func(*Stage)) {
	s.room.due(port.Now().Add(wait), func() { what(s) })
}

func (s *Stage) module(line string, unit byte) *Module {
	l := s.room.lines[line]
	if l == nil {
		return nil
	}
	for _, module := range l.Modules {
		if module.Unit == unit {
			return module
		}
	}
	return nil
}

// Coil is the state of a relay's coil; false where there is none.
func (s *Stage) Coil(line string, unit byte, coil int) bool {
	module := s.module(line, unit)
	return module != nil && coil >= 0 && coil < len(module.Memory.CoilTable) && module.Memory.CoilTable[coil]
}

// SetInput moves a discrete input; false: there is none.
func (s *Stage) SetInput(line string, unit byte, input int, on bool) bool {
	module := s.module(line, unit)
	if module == nil || input < 0 || input >= len(module.Memory.InputTable) {
		return false
	}
	if module.Memory.InputTable[input] != on {
		module.Memory.InputTable[input] = on
		s.room.note(Change{At: port.Now(), Line: line, Unit: unit, Kind: "input", At0: input, On: on})
	}
	return true
}

// Input is the state of a discrete input; false where there is none.
func (s *Stage) Input(line string, unit byte, input int) bool {
	module := s.module(line, unit)
	return module != nil && input >= 0 && input < len(module.Memory.InputTable) && module.Memory.InputTable[input]
}

// SetReadings writes input registers; false: not all are there, and none is written.
func (s *Stage) SetReadings(line string, unit byte, first int, words ...uint16) bool {
	module := s.module(line, unit)
	if module == nil || first < 0 || first+len(words) > len(module.Memory.ReadingTable) {
		return false
	}
	copy(module.Memory.ReadingTable[first:], words)
	return true
}
