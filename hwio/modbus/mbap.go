package modbus

import (
	"encoding/binary"
	"fmt"
)

// mbapBytes is the header in front of a PDU on TCP: transaction, protocol (always 0), length (unit and PDU), unit.
const mbapBytes = 7

// EncodeTCP is one frame on a TCP connection.
func EncodeTCP(transaction uint16, unit byte, pdu []byte) []byte {
	frame := make([]byte, 0, mbapBytes+len(pdu))
	frame = binary.BigEndian.AppendUint16(frame, transaction)
	frame = binary.BigEndian.AppendUint16(frame, 0)
	frame = binary.BigEndian.AppendUint16(frame, uint16(len(pdu)+1))
	frame = append(frame, unit)
	return append(frame, pdu...)
}

// TCPFrame is one frame of a stream.
type TCPFrame struct {
	Transaction uint16
	Unit        byte
	PDU         []byte
}

// TakeTCP takes the first frame off a stream and returns what follows. More bytes may be needed (nil frame, nil error);
// an error means that the stream has lost its place: close the connection, there is no way back into step.
func TakeTCP(stream []byte) (frame *TCPFrame, rest []byte, err error) {
	if len(stream) < mbapBytes {
		return nil, stream, nil
	}
	protocol := binary.BigEndian.Uint16(stream[2:])
	length := int(binary.BigEndian.Uint16(stream[4:]))
	if protocol != 0 {
		return nil, stream, fmt.Errorf("protocol %d in the header: 0 is due", protocol)
	}
	if length < 2 || length > PDULimit+1 {
		return nil, stream, fmt.Errorf("length %d in the header: must be 2 to %d", length, PDULimit+1)
	}
	end := mbapBytes - 1 + length
	if len(stream) < end {
		return nil, stream, nil
	}
	frame = &TCPFrame{Transaction: binary.BigEndian.Uint16(stream), Unit: stream[6], PDU: stream[mbapBytes:end]}
	return frame, stream[end:], nil
}
