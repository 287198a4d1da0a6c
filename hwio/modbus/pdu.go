package modbus

import (
	"encoding/binary"
	"fmt"
)

// Sizes of the specification, in bytes.
const (
	PDULimit    = 253
	RTULimit    = 256
	TCPLimit    = 260
	coilOn      = 0xFF00
	coilOff     = 0x0000
	headerBytes = 5 // function, first, count or value
)

// Request is one question. First is the address as it goes over the wire, counted from zero.
type Request struct {
	Function Function
	First    uint16
	Count    uint16   // reads, and writes of many: how many items
	Bits     []bool   // 05: one, 0F: Count
	Words    []uint16 // 06: one, 10: Count
}

// Check says what is wrong with a request, if anything, before it goes anywhere.
func (r Request) Check() error {
	form, known := shapes[r.Function]
	if !known {
		return fmt.Errorf("function %02X: use 01 02 03 04 05 06 0F or 10", byte(r.Function))
	}
	count := r.items()
	if count < 1 || count > form.most {
		return fmt.Errorf("%v: %d items: use 1 to %d", r.Function, count, form.most)
	}
	if int(r.First)+int(count) > 0x10000 {
		return fmt.Errorf("%v: %d items from %d reach beyond 65535", r.Function, count, r.First)
	}
	bits, words := 0, 0
	if form.write && form.bits {
		bits = int(count)
	} else if form.write {
		words = int(count)
	}
	if len(r.Bits) != bits || len(r.Words) != words {
		return fmt.Errorf("%v: %d bits and %d words given, %d and %d needed", r.Function, len(r.Bits), len(r.Words), bits, words)
	}
	return nil
}

// items is how many items the request is about.
func (r Request) items() uint16 {
	if r.Function.single() {
		return 1
	}
	return r.Count
}

// Encode is the PDU. The request must pass Check.
func (r Request) Encode() ([]byte, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	second := r.Count
	switch r.Function {
	case WriteCoil:
		second = coilValue(r.Bits[0])
	case WriteRegister:
		second = r.Words[0]
	}
	pdu := binary.BigEndian.AppendUint16([]byte{byte(r.Function)}, r.First)
	pdu = binary.BigEndian.AppendUint16(pdu, second)
	switch r.Function {
	case WriteCoils:
		pdu = append(pdu, byte(r.Function.itemBytes(r.Count)))
		pdu = appendBits(pdu, r.Bits)
	case WriteRegisters:
		pdu = append(pdu, byte(r.Function.itemBytes(r.Count)))
		pdu = appendWords(pdu, r.Words)
	}
	return pdu, nil
}

// DecodeRequest reads a PDU as a server must, in the order of the specification's flow charts: function, then length,
// quantity and value. The address range is the memory's matter. A zero Exception means that the request is well formed.
func DecodeRequest(pdu []byte) (Request, Exception) {
	if len(pdu) == 0 {
		return Request{}, IllegalFunction
	}
	r := Request{Function: Function(pdu[0])}
	if !r.Function.Known() {
		return r, IllegalFunction
	}
	if len(pdu) < headerBytes || len(pdu) > PDULimit {
		return r, IllegalValue
	}
	r.First = binary.BigEndian.Uint16(pdu[1:])
	second := binary.BigEndian.Uint16(pdu[3:])
	rest := pdu[headerBytes:]
	switch r.Function {
	case WriteCoil:
		if len(rest) != 0 || (second != coilOn && second != coilOff) {
			return r, IllegalValue
		}
		r.Bits = []bool{second == coilOn}
		return r, noException
	case WriteRegister:
		r.Words = []uint16{second}
		return r, exceptionIf(len(rest) != 0)
	}
	r.Count = second
	if r.Count < 1 || r.Count > r.Function.Most() {
		return r, IllegalValue
	}
	if !r.Function.Writes() {
		return r, exceptionIf(len(rest) != 0)
	}
	size := r.Function.itemBytes(r.Count)
	if len(rest) != 1+size || int(rest[0]) != size {
		return r, IllegalValue
	}
	if r.Function == WriteCoils {
		r.Bits = takeBits(rest[1:], int(r.Count))
	} else {
		r.Words = takeWords(rest[1:])
	}
	return r, noException
}

func exceptionIf(wrong bool) Exception {
	if wrong {
		return IllegalValue
	}
	return noException
}

// RequestLength is how long the request PDU that starts with these bytes is. More bytes may be needed to know (0, true);
// an unknown function has no known length (0, false).
func RequestLength(start []byte) (int, bool) {
	if len(start) == 0 {
		return 0, true
	}
	switch f := Function(start[0]); {
	case !f.Known():
		return 0, false
	case f == WriteCoils || f == WriteRegisters:
		if len(start) < headerBytes+1 {
			return 0, true
		}
		return headerBytes + 1 + int(start[headerBytes]), true
	}
	return headerBytes, true
}

// Reply is one answer, read against its question.
type Reply struct {
	Function  Function
	Exception Exception // zero: none
	First     uint16    // writes: as echoed
	Count     uint16    // reads: items; writes of many: as echoed
	Bits      []bool    // 01 02 05
	Words     []uint16  // 03 04 06
}

// Encode is the PDU.
func (r Reply) Encode() []byte {
	if r.Exception != noException {
		return []byte{byte(r.Function) | failed, byte(r.Exception)}
	}
	head := []byte{byte(r.Function)}
	switch r.Function {
	case ReadCoils, ReadInputs:
		return appendBits(append(head, byte(r.Function.itemBytes(uint16(len(r.Bits))))), r.Bits)
	case ReadHoldingRegisters, ReadInputRegisters:
		return appendWords(append(head, byte(2*len(r.Words))), r.Words)
	}
	head = binary.BigEndian.AppendUint16(head, r.First)
	switch r.Function {
	case WriteCoil:
		return binary.BigEndian.AppendUint16(head, coilValue(len(r.Bits) > 0 && r.Bits[0]))
	case WriteRegister:
		return binary.BigEndian.AppendUint16(head, firstWord(r.Words))
	}
	return binary.BigEndian.AppendUint16(head, r.Count)
}

func firstWord(words []uint16) uint16 {
	if len(words) == 0 {
		return 0
	}
	return words[0]
}

// ReplyLength is how long the PDU of a normal answer to this request is.
func (r Request) ReplyLength() int {
	if r.Function.Writes() {
		return headerBytes
	}
	return 2 + r.Function.itemBytes(r.Count)
}

// DecodeReply reads a PDU as the answer to a request; an error means that it is the answer to something else, or broken.
// An exception reply is a Reply with Exception set, not an error.
func DecodeReply(request Request, pdu []byte) (Reply, error) {
	if len(pdu) < 2 {
		return Reply{}, fmt.Errorf("reply of %d bytes: too short", len(pdu))
	}
	reply := Reply{Function: request.Function}
	if pdu[0] == byte(request.Function)|failed {
		if len(pdu) != 2 || pdu[1] == 0 {
			return Reply{}, fmt.Errorf("exception reply % X: must be two bytes, the second not zero", pdu)
		}
		reply.Exception = Exception(pdu[1])
		return reply, nil
	}
	if pdu[0] != byte(request.Function) {
		return Reply{}, fmt.Errorf("reply to function %02X where %02X was asked", pdu[0], byte(request.Function))
	}
	if len(pdu) != request.ReplyLength() {
		return Reply{}, fmt.Errorf("reply of %d bytes where %d are due", len(pdu), request.ReplyLength())
	}
	if request.Function.Writes() {
		return decodeEcho(request, reply, pdu)
	}
	if int(pdu[1]) != len(pdu)-2 {
		return Reply{}, fmt.Errorf("byte count %d where %d bytes follow", pdu[1], len(pdu)-2)
	}
	reply.First, reply.Count = request.First, request.Count
	if !shapes[request.Function].bits {
		reply.Words = takeWords(pdu[2:])
		return reply, nil
	}
	if used := request.Count % 8; used != 0 && pdu[len(pdu)-1]>>used != 0 {
		return Reply{}, fmt.Errorf("padding bits set behind %d items: the answer to a larger question?", request.Count)
	}
	reply.Bits = takeBits(pdu[2:], int(request.Count))
	return reply, nil
}

// decodeEcho checks that a write's answer repeats what was written.
func decodeEcho(request Request, reply Reply, pdu []byte) (Reply, error) {
	reply.First = binary.BigEndian.Uint16(pdu[1:])
	second := binary.BigEndian.Uint16(pdu[3:])
	due := request.Count
	switch request.Function {
	case WriteCoil:
		due = coilValue(request.Bits[0])
		reply.Bits = []bool{second == coilOn}
	case WriteRegister:
		due = request.Words[0]
		reply.Words = []uint16{second}
	default:
		reply.Count = second
	}
	if reply.First != request.First || second != due {
		return Reply{}, fmt.Errorf("echo % X does not repeat the request (address %04X, then %04X)", pdu, request.First, due)
	}
	return reply, nil
}

func coilValue(on bool) uint16 {
	if on {
		return coilOn
	}
	return coilOff
}

// appendBits packs the first item into the lowest bit of the first byte; unused high bits are zero.
func appendBits(to []byte, bits []bool) []byte {
	packed := make([]byte, (len(bits)+7)/8)
	for index, on := range bits {
		if on {
			packed[index/8] |= 1 << (index % 8)
		}
	}
	return append(to, packed...)
}

func takeBits(from []byte, count int) []bool {
	bits := make([]bool, count)
	for index := range bits {
		bits[index] = from[index/8]>>(index%8)&1 != 0
	}
	return bits
}

func appendWords(to []byte, words []uint16) []byte {
	for _, word := range words {
		to = binary.BigEndian.AppendUint16(to, word)
	}
	return to
}

func takeWords(from []byte) []uint16 {
	words := make([]uint16, len(from)/2)
	for index := range words {
		words[index] = binary.BigEndian.Uint16(from[2*index:])
	}
	return words
}
