package twin

import (
	"time"

	"ohmgate/hwio/port"
)

// Devices is what an Environment can see and move. Use it only inside a call from the event loop.
type Devices struct{ hardware *Hardware }

// Now is the present moment on the clock of all ports.
func (d *Devices) Now() port.Stamp { return port.Now() }

// After plans something.
func (d *Devices) After(wait time.Duration, what func(*Devices)) {
	d.hardware.due(port.Now().Add(wait), func() { what(d) })
}

func (d *Devices) module(line string, unit byte) *Module {
	l := d.hardware.lines[line]
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
func (d *Devices) Coil(line string, unit byte, coil int) bool {
	module := d.module(line, unit)
	return module != nil && coil >= 0 && coil < len(module.Memory.CoilTable) && module.Memory.CoilTable[coil]
}

// SetInput moves a discrete input; false: there is none.
func (d *Devices) SetInput(line string, unit byte, input int, on bool) bool {
	module := d.module(line, unit)
	if module == nil || input < 0 || input >= len(module.Memory.InputTable) {
		return false
	}
	if module.Memory.InputTable[input] != on {
		module.Memory.InputTable[input] = on
		d.hardware.note(Change{At: port.Now(), Line: line, Unit: unit, Kind: "input", At0: input, On: on})
	}
	return true
}

// Input is the state of a discrete input; false where there is none.
func (d *Devices) Input(line string, unit byte, input int) bool {
	module := d.module(line, unit)
	return module != nil && input >= 0 && input < len(module.Memory.InputTable) && module.Memory.InputTable[input]
}

// SetReadings writes input registers; false: not all are there, and none is written.
func (d *Devices) SetReadings(line string, unit byte, first int, words ...uint16) bool {
	module := d.module(line, unit)
	if module == nil || first < 0 || first+len(words) > len(module.Memory.ReadingTable) {
		return false
	}
	copy(module.Memory.ReadingTable[first:], words)
	return true
}
