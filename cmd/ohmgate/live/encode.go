package live

import (
	"encoding/binary"
	"errors"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// encoder writes the inputs of scans one after the other, each reading as its
// difference from the one before. A stretch that begins with restart can be
// read without what came earlier.
type encoder struct {
	last    []monitor.Reading
	powerUp bool // the logic lost its memory before the scan to come
}

const (
	markRestart = 1 << iota // differences start from zero
	markOverrun
	markPowerUp
)

func (e *encoder) append(out []byte, in *interlock.Inputs, restart bool) []byte {
	mark := byte(0)
	if restart || len(e.last) != len(in.Readings) {
		mark |= markRestart
		e.last = make([]monitor.Reading, len(in.Readings))
	}
	if in.Overrun {
		mark |= markOverrun
	}
	if e.powerUp {
		mark |= markPowerUp
		e.powerUp = false
	}
	out = append(out, mark)
	for i, r := range in.Readings {
		out = append(out, byte(r.Quality))
		out = binary.AppendVarint(out, int64(int16(r.Stamp-e.last[i].Stamp)))
		e.last[i].Stamp = r.Stamp
		if r.Quality == monitor.Valid {
			out = binary.AppendVarint(out, int64(r.Value-e.last[i].Value))
			e.last[i].Value = r.Value
		}
	}
	for i := 0; i < len(in.Signals); i += 4 {
		packed := byte(0)
		for j, signal := range in.Signals[i:min(i+4, len(in.Signals))] {
			packed |= byte(signal) << (2 * j)
		}
		out = append(out, packed)
	}
	return out
}

// ErrCutShort says that recorded inputs end in the middle of a scan.
var ErrCutShort = errors.New("the recorded inputs end in the middle of a scan")

// InputReader reads what a session encoded, scan by scan.
type InputReader struct {
	rest    []byte
	last    []monitor.Reading
	powerUp bool
}

// Feed gives the reader another stretch.
func (r *InputReader) Feed(stretch []byte) { r.rest = stretch }

// Empty reports that the stretch is read.
func (r *InputReader) Empty() bool { return len(r.rest) == 0 }

// PowerUp reports that the logic lost its memory before the scan read last.
func (r *InputReader) PowerUp() bool { return r.powerUp }

// Read takes one scan.
func (r *InputReader) Read(in *interlock.Inputs) error {
	if len(r.rest) == 0 {
		return ErrCutShort
	}
	mark := r.rest[0]
	r.rest = r.rest[1:]
	if mark&markRestart != 0 || len(r.last) != len(in.Readings) {
		r.last = make([]monitor.Reading, len(in.Readings))
	}
	in.Overrun, r.powerUp = mark&markOverrun != 0, mark&markPowerUp != 0
	for i := range in.Readings {
		if err := r.reading(i, &in.Readings[i]); err != nil {
			return err
		}
	}
	packed := (len(in.Signals) + 3) / 4
	if len(r.rest) < packed {
		return ErrCutShort
	}
	for i := range in.Signals {
		in.Signals[i] = interlock.Signal(r.rest[i/4] >> (2 * (i % 4)) & 3)
	}
	r.rest = r.rest[packed:]
	return nil
}

func (r *InputReader) reading(i int, out *monitor.Reading) error {
	if len(r.rest) == 0 || r.rest[0] > byte(monitor.Valid) {
		return ErrCutShort
	}
	quality := monitor.Quality(r.rest[0])
	r.rest = r.rest[1:]
	stamp, err := r.varint()
	if err != nil {
		return err
	}
	r.last[i].Stamp += uint16(stamp)
	*out = monitor.Reading{Quality: quality, Stamp: r.last[i].Stamp}
	if quality != monitor.Valid {
		return nil
	}
	difference, err := r.varint()
	if err != nil {
		return err
	}
	r.last[i].Value += monitor.Microohm(difference)
	out.Value = r.last[i].Value
	return nil
}

func (r *InputReader) varint() (int64, error) {
	v, n := binary.Varint(r.rest)
	if n <= 0 {
		return 0, ErrCutShort
	}
	r.rest = r.rest[n:]
	return v, nil
}
