package modbus

// Memory is what a device remembers. Each method answers with an Exception, zero for none; a range that is not all there
// is IllegalAddress and nothing of it is done.
type Memory interface {
	// Coils and Inputs read bits; HoldingRegisters and InputRegisters read words.
	Coils(first, count uint16) ([]bool, Exception)
	Inputs(first, count uint16) ([]bool, Exception)
	HoldingRegisters(first, count uint16) ([]uint16, Exception)
	InputRegisters(first, count uint16) ([]uint16, Exception)
	// SetCoils and SetRegisters write, all or nothing.
	SetCoils(first uint16, bits []bool) Exception
	SetRegisters(first uint16, words []uint16) Exception
}

// Serve answers one PDU from a memory, checking in the specification's order: function, quantity and value, address
// range, execution. The answer depends on nothing else.
func Serve(memory Memory, pdu []byte) []byte {
	request, exception := DecodeRequest(pdu)
	reply := Reply{Function: request.Function, First: request.First, Count: request.Count}
	if exception == noException {
		exception = execute(memory, request, &reply)
	}
	reply.Exception = exception
	if exception != noException && len(pdu) > 0 {
		reply.Function = Function(pdu[0])
	}
	return reply.Encode()
}

func execute(memory Memory, request Request, reply *Reply) (exception Exception) {
	if int(request.First)+int(request.items()) > 0x10000 {
		return IllegalAddress
	}
	switch request.Function {
	case ReadCoils:
		reply.Bits, exception = memory.Coils(request.First, request.Count)
	case ReadInputs:
		reply.Bits, exception = memory.Inputs(request.First, request.Count)
	case ReadHoldingRegisters:
		reply.Words, exception = memory.HoldingRegisters(request.First, request.Count)
	case ReadInputRegisters:
		reply.Words, exception = memory.InputRegisters(request.First, request.Count)
	case WriteCoil, WriteCoils:
		reply.Bits = request.Bits
		exception = memory.SetCoils(request.First, request.Bits)
	case WriteRegister, WriteRegisters:
		reply.Words = request.Words
		exception = memory.SetRegisters(request.First, request.Words)
	default:
		return IllegalFunction
	}
	return exception
}

// Image is a plain Memory: four tables, each from address zero.
type Image struct {
	CoilTable    []bool
	InputTable   []bool
	HoldingTable []uint16
	ReadingTable []uint16 // input registers
}

// NewImage is an Image with tables of these sizes, all zero: every relay open.
func NewImage(coils, inputs, holding, readings int) *Image {
	return &Image{
		CoilTable: make([]bool, coils), InputTable: make([]bool, inputs),
		HoldingTable: make([]uint16, holding), ReadingTable: make([]uint16, readings),
	}
}

func window[T any](table []T, first uint16, count int) ([]T, Exception) {
	if int(first)+count > len(table) {
		return nil, IllegalAddress
	}
	return table[first : int(first)+count], noException
}

func copied[T any](table []T, first, count uint16) ([]T, Exception) {
	part, exception := window(table, first, int(count))
	return append([]T(nil), part...), exception
}

func written[T any](table []T, first uint16, values []T) Exception {
	part, exception := window(table, first, len(values))
	copy(part, values)
	return exception
}

// Coils reads relay outputs.
func (m *Image) Coils(first, count uint16) ([]bool, Exception) {
	return copied(m.CoilTable, first, count)
}

// Inputs reads discrete inputs.
func (m *Image) Inputs(first, count uint16) ([]bool, Exception) {
	return copied(m.InputTable, first, count)
}

// HoldingRegisters reads settings.
func (m *Image) HoldingRegisters(first, count uint16) ([]uint16, Exception) {
	return copied(m.HoldingTable, first, count)
}

// InputRegisters reads measurements.
func (m *Image) InputRegisters(first, count uint16) ([]uint16, Exception) {
	return copied(m.ReadingTable, first, count)
}

// SetCoils moves relays.
func (m *Image) SetCoils(first uint16, bits []bool) Exception {
	return written(m.CoilTable, first, bits)
}

// SetRegisters changes settings.
func (m *Image) SetRegisters(first uint16, words []uint16) Exception {
	return written(m.HoldingTable, first, words)
}
