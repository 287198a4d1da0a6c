package modbus

import (
	"time"

	"ohmgate/hwio/port"
)

// Silences of the serial line. Up to 19200 baud they are counted in characters of eleven bits; above, the specification
// fixes them, because counting would ask for more interrupts than small devices can serve.
const (
	fastestCounted = 19200
	fixedInner     = 750 * time.Microsecond
	fixedOuter     = 1750 * time.Microsecond
	specBits       = 11
)

// InnerSilence is t1.5: a longer gap inside a frame breaks it.
func InnerSilence(baud int) time.Duration { return silence(baud, 3, fixedInner) }

// OuterSilence is t3.5: at least so much silence between frames.
func OuterSilence(baud int) time.Duration { return silence(baud, 7, fixedOuter) }

func silence(baud, halfCharacters int, fixed time.Duration) time.Duration {
	if baud > fastestCounted || baud <= 0 {
		return fixed
	}
	bits := int64(halfCharacters) * specBits // in half bits
	return time.Duration((bits*int64(time.Second) + int64(baud)) / (2 * int64(baud)))
}

// WireTime is what one question and its normal answer take on the line at least: both frames, the device's turnaround,
// and the silence before the next. The bus-load calculator adds these up.
func WireTime(line port.Line, request Request, turnaround time.Duration) time.Duration {
	asked, err := request.Encode()
	if err != nil {
		return 0
	}
	characters := len(asked) + rtuOverhead + request.ReplyLength() + rtuOverhead
	return line.WireTime(characters) + turnaround + OuterSilence(line.Baud)
}
