package twin

import (
	"bytes"
	"slices"
	"time"

	"ohmgate/hwio/internal/pseudo"
	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
)

// heardLimit bounds what a line keeps of babble.
const heardLimit = 4096

// arrived is called for every lump of bytes from a client.
func (r *Room) arrived(l *line, from *pseudo.Terminal, at port.Stamp, data []byte) {
	if l.terminal != from {
		return // of a plug that was pulled since
	}
	onWire := l.Behaviour.Line.WireTime(len(data))
	if l.Behaviour.Echo {
		r.due(at.Add(onWire), func() { r.put(l, from, data) })
	}
	// A silence of t3.5 ends whatever was there: half a frame never joins the next one.
	if l.Instrument == nil && len(l.heard) > 0 && at.Sub(l.heardAt) > modbus.OuterSilence(l.Behaviour.Line.Baud)+lumpTime {
		l.heard = nil
	}
	l.heard = append(l.heard, data...)
	l.heardAt = max(at, l.heardAt).Add(onWire)
	if l.Instrument != nil {
		r.hearLines(l, from)
		return
	}
	for {
		unit, pdu, _, end, found := modbus.FindRequest(l.heard)
		if !found {
			break
		}
		l.heard = append([]byte(nil), l.heard[end:]...)
		r.question(l, from, unit, append([]byte(nil), pdu...))
	}
	r.unknownFunction(l, from)
	if len(l.heard) > heardLimit {
		l.heard = nil
	}
}

// lumpTime forgives a client's operating system for handing a frame over in pieces.
const lumpTime = 20 * time.Millisecond

// unknownFunction answers a frame whose function this program does not know, and whose length therefore only silence
// tells: after t3.5, if the check sum is right.
func (r *Room) unknownFunction(l *line, from *pseudo.Terminal) {
	heard := append([]byte(nil), l.heard...)
	if len(heard) == 0 {
		return
	}
	silence := modbus.OuterSilence(l.Behaviour.Line.Baud)
	r.due(l.heardAt.Add(silence), func() {
		if l.terminal != from || !bytes.Equal(l.heard, heard) {
			return
		}
		if unit, pdu, err := modbus.DecodeRTU(heard); err == nil {
			l.heard = nil
			r.question(l, from, unit, append([]byte(nil), pdu...))
		}
	})
}

// question plans what happens to one valid question.
func (r *Room) question(l *line, from *pseudo.Terminal, unit byte, pdu []byte) {
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
		r.due(begin, func() {
			answer := r.perform(l, module, pdu)
			if unit != modbus.Broadcast {
				r.answer(l, from, begin, modbus.EncodeRTU(module.Unit, answer))
			}
		})
	}
}

// perform lets a module serve a question, and tells the world what moved.
func (r *Room) perform(l *line, module *Module, pdu []byte) []byte {
	module.lastHeard = port.Now()
	coils := slices.Clone(module.Memory.CoilTable)
	answer := modbus.Serve(module.Memory, pdu)
	r.coilsMoved(l.Name, module, coils)
	request, exception := modbus.DecodeRequest(pdu)
	wrote := request.Function == modbus.WriteRegister || request.Function == modbus.WriteRegisters
	if r.world != nil && exception == 0 && wrote && answer[0] == pdu[0] {
		for index, value := range request.Words {
			r.world.RegisterWritten(r.stage, l.Name, module.Unit, int(request.First)+index, value)
		}
	}
	return answer
}

// coilsMoved compares with what was before.
func (r *Room) coilsMoved(name string, module *Module, before []bool) {
	for index, on := range module.Memory.CoilTable {
		if on == before[index] {
			continue
		}
		r.note(Change{At: port.Now(), Line: name, Unit: module.Unit, Kind: "coil", At0: index, On: on})
		if r.world != nil {
			r.world.CoilMoved(r.stage, name, module.Unit, index, on)
		}
	}
}

func (r *Room) note(change Change) {
	if len(r.history) >= historyLimit {
		r.history = append([]Change(nil), r.history[historyLimit/2:]...)
	}
	r.history = append(r.history, change)
}

// answer puts an answer on the line when its last byte would have passed the wire, as faulty as the dice want it.
func (r *Room) answer(l *line, from *pseudo.Terminal, begin port.Stamp, frame []byte) {
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
		r.due(end.Add(time.Duration(index)*behaviour.PieceGap), func() { r.put(l, from, piece) })
	}
}

func (r *Room) put(l *line, to *pseudo.Terminal, data []byte) {
	if l.terminal == to {
		to.Write(data)
	}
}

// hearLines serves an instrument: whole lines, answered as lines.
func (r *Room) hearLines(l *line, from *pseudo.Terminal) {
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
		r.due(begin, func() {
			if reply := l.Instrument.Message(text); reply != "" {
				r.answer(l, from, begin, []byte(reply+"\n"))
			}
		})
	}
	if len(l.heard) > heardLimit {
		l.heard = nil
	}
}

// watchSilence lets a module's coils fall when nobody has spoken to it for its Silence.
func (r *Room) watchSilence(name string, module *Module) {
	if module.Silence <= 0 {
		return
	}
	r.due(module.lastHeard.Add(module.Silence), func() {
		if port.Now().Sub(module.lastHeard) >= module.Silence {
			before := slices.Clone(module.Memory.CoilTable)
			clear(module.Memory.CoilTable)
			r.coilsMoved(name, module, before)
			module.lastHeard = port.Now() // look again one Silence later
		}
		r.watchSilence(name, module)
	})
}
