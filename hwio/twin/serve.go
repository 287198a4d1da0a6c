package twin

import (
	"bytes"
	"slices"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
)

// heardLimit bounds what a line keeps of babble.
const heardLimit = 4096

// arrived is called for every lump of bytes from a client.
func (h *Hardware) arrived(l *line, from terminal, at port.Stamp, data []byte) {
	if l.terminal != from {
		return // of a plug that was pulled since
	}
	onWire := l.Behaviour.Line.WireTime(len(data))
	if l.Behaviour.Echo {
		h.due(at.Add(onWire), func() { h.put(l, from, data) })
	}
	// A silence of t3.5 ends whatever was there: half a frame never joins the next one.
	if l.Instrument == nil && len(l.heard) > 0 && at.Sub(l.heardAt) > modbus.OuterSilence(l.Behaviour.Line.Baud)+lumpTime {
		l.heard = nil
	}
	l.heard = append(l.heard, data...)
	l.heardAt = max(at, l.heardAt).Add(onWire)
	if l.Instrument != nil {
		h.hearLines(l, from)
		return
	}
	for {
		unit, pdu, _, end, found := modbus.FindRequest(l.heard)
		if !found {
			break
		}
		l.heard = append([]byte(nil), l.heard[end:]...)
		h.question(l, from, unit, append([]byte(nil), pdu...))
	}
	h.unknownFunction(l, from)
	if len(l.heard) > heardLimit {
		l.heard = nil
	}
}

// lumpTime forgives a client's operating system for handing a frame over in pieces.
const lumpTime = 20 * time.Millisecond

// unknownFunction answers a frame whose function this program does not know, and whose length therefore only silence
// tells: after t3.5, if the check sum is right.
func (h *Hardware) unknownFunction(l *line, from terminal) {
	heard := append([]byte(nil), l.heard...)
	if len(heard) == 0 {
		return
	}
	silence := modbus.OuterSilence(l.Behaviour.Line.Baud)
	h.due(l.heardAt.Add(silence), func() {
		if l.terminal != from || !bytes.Equal(l.heard, heard) {
			return
		}
		if unit, pdu, err := modbus.DecodeRTU(heard); err == nil {
			l.heard = nil
			h.question(l, from, unit, append([]byte(nil), pdu...))
		}
	})
}

// question plans what happens to one valid question.
func (h *Hardware) question(l *line, from terminal, unit byte, pdu []byte) {
	behaviour := l.Behaviour
	if falls(l.dice.question, behaviour.LoseQuestion) {
		return
	}
	// A device serves one question after the other.
	begin := max(l.heardAt, l.busyTill).Add(l.dice.delay(behaviour))
	l.busyTill = begin
	for _, module := range l.Modules {
		if unit != modbus.Broadcast && unit != module.Unit {
			continue
		}
		h.due(begin, func() {
			answer := h.perform(l, module, pdu)
			if unit != modbus.Broadcast {
				h.answer(l, from, begin, modbus.EncodeRTU(module.Unit, answer))
			}
		})
	}
}

// perform lets a module serve a question, and tells the environment what moved.
func (h *Hardware) perform(l *line, module *Module, pdu []byte) []byte {
	module.lastHeard = port.Now()
	coils := slices.Clone(module.Memory.CoilTable)
	answer := modbus.Serve(module.Memory, pdu)
	h.coilsMoved(l.Name, module, coils)
	request, exception := modbus.DecodeRequest(pdu)
	wrote := request.Function == modbus.WriteRegister || request.Function == modbus.WriteRegisters
	if h.environment != nil && exception == 0 && wrote && answer[0] == pdu[0] {
		for index, value := range request.Words {
			h.environment.RegisterWritten(h.devices, l.Name, module.Unit, int(request.First)+index, value)
		}
	}
	return answer
}

// coilsMoved compares with what was before.
func (h *Hardware) coilsMoved(name string, module *Module, before []bool) {
	for index, on := range module.Memory.CoilTable {
		if on == before[index] {
			continue
		}
		h.note(Change{At: port.Now(), Line: name, Unit: module.Unit, Kind: "coil", At0: index, On: on})
		if h.environment != nil {
			h.environment.CoilMoved(h.devices, name, module.Unit, index, on)
		}
	}
}

func (h *Hardware) note(change Change) {
	if len(h.history) >= historyLimit {
		h.history = append([]Change(nil), h.history[historyLimit/2:]...)
	}
	h.history = append(h.history, change)
}

// answer puts an answer on the line when its last byte would have passed the wire, as faulty as the dice want it.
func (h *Hardware) answer(l *line, from terminal, begin port.Stamp, frame []byte) {
	behaviour := l.Behaviour
	if falls(l.dice.answer, behaviour.LoseAnswer) {
		return
	}
	if falls(l.dice.late, behaviour.LateAnswer) {
		begin = begin.Add(behaviour.LateBy)
	}
	frame = l.dice.spoil(behaviour, frame)
	end := begin.Add(behaviour.Line.WireTime(len(frame)))
	l.busyTill = max(l.busyTill, end)
	pieces := [][]byte{frame}
	if behaviour.Pieces > 0 {
		pieces = slices.Collect(slices.Chunk(frame, behaviour.Pieces))
	}
	for index, piece := range pieces {
		h.due(end.Add(time.Duration(index)*behaviour.PieceGap), func() { h.put(l, from, piece) })
	}
}

func (h *Hardware) put(l *line, to terminal, data []byte) {
	if l.terminal == to {
		to.Write(data)
	}
}

// hearLines serves an instrument: whole lines, answered as lines.
func (h *Hardware) hearLines(l *line, from terminal) {
	for {
		end := bytes.IndexByte(l.heard, '\n')
		if end < 0 {
			break
		}
		text := string(l.heard[:end])
		l.heard = append([]byte(nil), l.heard[end+1:]...)
		if falls(l.dice.question, l.Behaviour.LoseQuestion) {
			continue
		}
		begin := max(l.heardAt, l.busyTill).Add(l.dice.delay(l.Behaviour))
		l.busyTill = begin
		h.due(begin, func() {
			if reply := l.Instrument.Message(text); reply != "" {
				h.answer(l, from, begin, []byte(reply+"\n"))
			}
		})
	}
	if len(l.heard) > heardLimit {
		l.heard = nil
	}
}

// watchSilence lets a module's coils fall when nobody has spoken to it for its Silence.
func (h *Hardware) watchSilence(name string, module *Module) {
	if module.Silence <= 0 {
		return
	}
	h.due(module.lastHeard.Add(module.Silence), func() {
		if port.Now().Sub(module.lastHeard) >= module.Silence {
			before := slices.Clone(module.Memory.CoilTable)
			clear(module.Memory.CoilTable)
			h.coilsMoved(name, module, before)
			module.lastHeard = port.Now() // look again one Silence later
		}
		h.watchSilence(name, module)
	})
}
