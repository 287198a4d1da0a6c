package modbus

import "fmt"

// Function is a function code.
type Function byte

// The eight functions that relay, input and measuring modules share. Zero is none.
const (
	ReadCoils            Function = 0x01
	ReadInputs           Function = 0x02 // discrete inputs
	ReadHoldingRegisters Function = 0x03
	ReadInputRegisters   Function = 0x04
	WriteCoil            Function = 0x05
	WriteRegister        Function = 0x06
	WriteCoils           Function = 0x0F
	WriteRegisters       Function = 0x10
)

// Functions lists them in order.
var Functions = []Function{ReadCoils, ReadInputs, ReadHoldingRegisters, ReadInputRegisters, WriteCoil, WriteRegister, WriteCoils, WriteRegisters}

// failed is the bit that turns a function code into the head of an exception.
const failed = 0x80

// shape is what a function's request and reply look like.
type shape struct {
	name  string
	write bool
	bits  bool   // items are bits, else 16-bit words
	most  uint16 // most items in one request
}

var shapes = map[Function]shape{
	ReadCoils:            {"read coils", false, true, 2000},
	ReadInputs:           {"read inputs", false, true, 2000},
	ReadHoldingRegisters: {"read holding registers", false, false, 125},
	ReadInputRegisters:   {"read input registers", false, false, 125},
	WriteCoil:            {"write coil", true, true, 1},
	WriteRegister:        {"write register", true, false, 1},
	WriteCoils:           {"write coils", true, true, 1968},
	WriteRegisters:       {"write registers", true, false, 123},
}

// Known says whether this package speaks the function.
func (f Function) Known() bool { return shapes[f].name != "" }

// Writes says whether the function changes the device.
func (f Function) Writes() bool { return shapes[f].write }

// Most is how many items one request may name.
func (f Function) Most() uint16 { return shapes[f].most }

// single says that the request carries one value instead of a count.
func (f Function) single() bool { return f == WriteCoil || f == WriteRegister }

// itemBytes is how many bytes so many items take.
func (f Function) itemBytes(count uint16) int {
	if shapes[f].bits {
		return (int(count) + 7) / 8
	}
	return 2 * int(count)
}

// String is code and name, as in "05 write coil".
func (f Function) String() string {
	if name := shapes[f].name; name != "" {
		return fmt.Sprintf("%02X %s", byte(f), name)
	}
	return fmt.Sprintf("%02X", byte(f))
}

// Exception is what a device says when it will not; zero means that it did not say so.
type Exception byte

// The exception codes of the application protocol.
const (
	IllegalFunction    Exception = 0x01
	IllegalAddress     Exception = 0x02
	IllegalValue       Exception = 0x03 // quantity, length or coded value; not a matter of what is measured
	DeviceFailure      Exception = 0x04
	Acknowledge        Exception = 0x05
	DeviceBusy         Exception = 0x06
	MemoryParity       Exception = 0x08
	GatewayPath        Exception = 0x0A
	GatewayNoResponse  Exception = 0x0B
	noException        Exception = 0
	unknownToThisTable           = "code not in the specification"
)

var exceptionNames = map[Exception]string{
	IllegalFunction:   "illegal function",
	IllegalAddress:    "illegal data address",
	IllegalValue:      "illegal data value",
	DeviceFailure:     "server device failure",
	Acknowledge:       "acknowledge, still working",
	DeviceBusy:        "server device busy",
	MemoryParity:      "memory parity error",
	GatewayPath:       "gateway path unavailable",
	GatewayNoResponse: "gateway target did not respond",
}

// String is code and name.
func (e Exception) String() string {
	name := exceptionNames[e]
	if name == "" {
		name = unknownToThisTable
	}
	return fmt.Sprintf("%02X %s", byte(e), name)
}

// Refusal is an exception reply as an error.
type Refusal struct {
	Unit     byte
	Function Function
	Code     Exception
}

// Error says who refused what, and why.
func (r *Refusal) Error() string {
	return fmt.Sprintf("device %d refused %v: exception %v", r.Unit, r.Function, r.Code)
}
