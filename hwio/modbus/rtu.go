package modbus

import (
	"encoding/binary"
	"fmt"
)

// Addresses of the serial line.
const (
	Broadcast    = 0   // everybody listens, nobody answers
	HighestUnit  = 247 // 248 to 255 are reserved
	rtuOverhead  = 3   // address and CRC
	shortestRTU  = 4   // address, function, CRC
	exceptionRTU = 5
)

// EncodeRTU is one frame: address, PDU, CRC low byte first.
func EncodeRTU(unit byte, pdu []byte) []byte {
	frame := make([]byte, 0, len(pdu)+rtuOverhead)
	frame = append(append(frame, unit), pdu...)
	return binary.LittleEndian.AppendUint16(frame, CRC(frame))
}

// DecodeRTU takes one whole frame apart.
func DecodeRTU(frame []byte) (unit byte, pdu []byte, err error) {
	if len(frame) < shortestRTU || len(frame) > RTULimit {
		return 0, nil, fmt.Errorf("frame of %d bytes: must be %d to %d", len(frame), shortestRTU, RTULimit)
	}
	body := frame[:len(frame)-2]
	if carried, due := binary.LittleEndian.Uint16(frame[len(frame)-2:]), CRC(body); carried != due {
		return 0, nil, fmt.Errorf("check sum %04X where %04X is due", carried, due)
	}
	return frame[0], body[1:], nil
}

// FindReply looks for the answer to a request among the bytes heard: noise before it, and frames that answer something
// else, are passed over. Start and end tell where it stood.
func FindReply(heard []byte, unit byte, request Request) (reply Reply, start, end int, found bool) {
	for start = 0; start+exceptionRTU <= len(heard); start++ {
		if heard[start] != unit {
			continue
		}
		length := exceptionRTU
		switch heard[start+1] {
		case byte(request.Function):
			length = request.ReplyLength() + rtuOverhead
		case byte(request.Function) | failed:
		default:
			continue
		}
		if start+length > len(heard) {
			continue
		}
		_, pdu, err := DecodeRTU(heard[start : start+length])
		if err != nil {
			continue
		}
		if reply, err = DecodeReply(request, pdu); err == nil {
			return reply, start, start + length, true
		}
	}
	return Reply{}, 0, 0, false
}

// FindRequest looks for a request to any unit among the bytes heard, as a server without a sense of silence must: the
// first place where length and check sum agree. Bytes before start are noise; found is false while more may be needed.
func FindRequest(heard []byte) (unit byte, pdu []byte, start, end int, found bool) {
	for start = 0; start+shortestRTU <= len(heard); start++ {
		length, known := RequestLength(heard[start+1:])
		end = start + length + rtuOverhead
		if !known || length == 0 || end > len(heard) || end-start > RTULimit {
			continue
		}
		if unit, pdu, err := DecodeRTU(heard[start:end]); err == nil {
			return unit, pdu, start, end, true
		}
	}
	return 0, nil, 0, 0, false
}
