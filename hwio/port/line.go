package port

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Parity is how the parity bit of a character is set.
type Parity byte

// The letters of the usual short form.
const (
	NoParity   Parity = 'N'
	EvenParity Parity = 'E'
	OddParity  Parity = 'O'
)

// Line is how characters look on a serial wire, as in "19200 8E1".
type Line struct {
	Baud     int // bits per second
	DataBits int // 7 or 8
	Parity   Parity
	StopBits int // 1 or 2
}

// DefaultLine is the Modbus serial-line default: 19200 8E1.
var DefaultLine = Line{Baud: 19200, DataBits: 8, Parity: EvenParity, StopBits: 1}

// ParseLine reads the short form, "19200 8E1".
func ParseLine(text string) (Line, error) {
	wrong := fmt.Errorf("line %q: write baud rate and character like \"19200 8E1\" or \"9600 8N2\"", text)
	speed, character, ok := strings.Cut(strings.TrimSpace(text), " ")
	character = strings.TrimSpace(character)
	if !ok || len(character) != 3 {
		return Line{}, wrong
	}
	baud, err := strconv.Atoi(speed)
	if err != nil {
		return Line{}, wrong
	}
	line := Line{Baud: baud, DataBits: int(character[0] - '0'), Parity: Parity(character[1]), StopBits: int(character[2] - '0')}
	if err := line.Check(); err != nil {
		return Line{}, fmt.Errorf("line %q: %w", text, err)
	}
	return line, nil
}

// Check refuses what no port can do.
func (l Line) Check() error {
	switch {
	case l.Baud < 50 || l.Baud > 4_000_000:
		return fmt.Errorf("baud rate %d: use 50 to 4000000", l.Baud)
	case l.DataBits != 7 && l.DataBits != 8:
		return fmt.Errorf("%d data bits: use 7 or 8", l.DataBits)
	case l.Parity != NoParity && l.Parity != EvenParity && l.Parity != OddParity:
		return fmt.Errorf("parity %q: use N, E or O", rune(l.Parity))
	case l.StopBits != 1 && l.StopBits != 2:
		return fmt.Errorf("%d stop bits: use 1 or 2", l.StopBits)
	}
	return nil
}

// String is the short form.
func (l Line) String() string {
	return fmt.Sprintf("%d %d%c%d", l.Baud, l.DataBits, l.Parity, l.StopBits)
}

// Bits is the length of one character on the wire, start bit and all.
func (l Line) Bits() int {
	bits := 1 + l.DataBits + l.StopBits
	if l.Parity != NoParity {
		bits++
	}
	return bits
}

// WireTime is how long so many characters take on the wire, without gaps.
func (l Line) WireTime(characters int) time.Duration {
	if l.Baud <= 0 {
		return 0
	}
	return time.Duration(int64(characters) * int64(l.Bits()) * int64(time.Second) / int64(l.Baud))
}
