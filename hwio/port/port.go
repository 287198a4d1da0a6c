// Package port is one line to a device, with the manners of a good telephone operator: one call at a time, nobody is
// put through after the receiver is down, silence is reported as silence, and a cut cable is reported once and for good.
//
// It is the only package that imports go.bug.st/serial. That library is good at opening ports; its traps (a time-out that
// looks like success, a write without a time-out, a write after close that lands in another file, a panic for large
// descriptors, unplug that looks different everywhere) end here: see link.go for how each is shut.
//
// A serial line, a TCP connection and a line in memory give the same Port. Each has one goroutine that reads for as long as the port is
// open, so that every byte has an arrival time and a pulled plug is noticed while nobody asks, and one that writes, so
// that a write that hangs holds up nobody else.
package port

import (
	"errors"
	"fmt"
	"time"
)

// Port is one line. All methods may be called from any goroutine; exchanges are served one after the other.
type Port interface {
	// Exchange waits for silence, sends a request and gathers what comes back. The Answer is worth reading even when
	// the error is not nil: it holds whatever was heard, with times.
	Exchange(Ask) (Answer, error)
	// Halt makes the port inert, for good. A running Exchange ends with ErrHalted. Halting twice is harmless.
	Halt() error
	// String names the line as the user wrote it.
	String() string
}

// What can go wrong with a line. Test with errors.Is; the text of the wrapping Fault says where and what to do.
var (
	// ErrSilent: not one byte came in time.
	ErrSilent = errors.New("no answer in time")
	// ErrCut: something came, but never a complete answer.
	ErrCut = errors.New("answer cut short or garbled")
	// ErrNoisy: the line never fell silent long enough to speak on it.
	ErrNoisy = errors.New("line never silent")
	// ErrLost: the line is gone (unplugged, hung, closed by the other end). It never comes back under this Port.
	ErrLost = errors.New("port lost")
	// ErrHalted: the port was halted by this program.
	ErrHalted = errors.New("port halted")
	// ErrInUse: another process, or another part of this one, holds the port.
	ErrInUse = errors.New("port in use")
	// ErrCannotOpen: the port is not there or cannot be set up.
	ErrCannotOpen = errors.New("cannot open port")
)

// Fault is an error of one port: the kind is one of the values above, the cause is what the system said.
type Fault struct {
	Port  string
	Kind  error
	Note  string // what it means or what to do, in words
	Cause error
}

// Error says where, what, and why.
func (f *Fault) Error() string {
	text := fmt.Sprintf("%s: %v", f.Port, f.Kind)
	if f.Note != "" {
		text += ": " + f.Note
	}
	if f.Cause != nil {
		text += fmt.Sprintf(" (%v)", f.Cause)
	}
	return text
}

// Unwrap lets errors.Is see the kind as well as the system's own error.
func (f *Fault) Unwrap() []error {
	if f.Cause == nil {
		return []error{f.Kind}
	}
	return []error{f.Kind, f.Cause}
}

// Stamp is a moment on the program's monotonic clock, in nanoseconds since it started. One clock for all ports, so that
// what is heard on one line can be compared with what was said on another.
type Stamp int64

var began = time.Now()

// Now is the present moment.
func Now() Stamp { return Stamp(time.Since(began)) }

// WallStart is the calendar time of Stamp zero: for the head of a record, never for arithmetic.
func WallStart() time.Time { return began.Round(0) }

// Sub is the time from an earlier stamp to this one.
func (s Stamp) Sub(earlier Stamp) time.Duration { return time.Duration(s - earlier) }

// Add is the stamp a while later.
func (s Stamp) Add(d time.Duration) Stamp { return s + Stamp(d) }

// Chunk is a run of bytes that the operating system handed over together. At is when this program saw them: a USB
// adapter may have held them back for up to 16 ms, so the last byte left the wire at or before At, never after.
type Chunk struct {
	At   Stamp
	Data []byte
}

// Ask is one exchange.
type Ask struct {
	// Request is what to send; empty means listen only.
	Request []byte
	// Quiet is how long the line must have been silent, both ways, before the request goes out.
	Quiet time.Duration
	// QuietLimit is how long to wait for that silence; zero means Quiet and one second more.
	QuietLimit time.Duration
	// Wait is how long the first byte may take after the operating system took the request.
	Wait time.Duration
	// Rest is how much longer the complete answer may take once its first byte is there.
	Rest time.Duration
	// Complete says whether the bytes heard so far hold the whole answer. Nil means: gather until the time is over, and
	// silence is no error.
	Complete func(heard []byte) bool
}

// Answer is what an exchange heard.
type Answer struct {
	Asked  Stamp   // just before the first byte was handed over; not before this was anything on the wire
	Sent   Stamp   // when the operating system had taken the last byte (it may still be in a buffer)
	Heard  []byte  // all bytes after the request
	Chunks []Chunk // the same bytes with their times
	Stray  []Chunk // what had come before the request went out: noise, or a late answer to somebody else
	Ended  Stamp   // when the exchange gave its verdict
}

// First is when the first byte of the answer was seen; the second result is false if none came.
func (a Answer) First() (Stamp, bool) {
	if len(a.Chunks) == 0 {
		return 0, false
	}
	return a.Chunks[0].At, true
}

// StrayBytes joins what was heard before the request.
func (a Answer) StrayBytes() []byte {
	var all []byte
	for _, c := range a.Stray {
		all = append(all, c.Data...)
	}
	return all
}

// Way is the direction of an Event.
type Way uint8

// The zero Way is no direction, so that a forgotten field shows.
const (
	Sent Way = iota + 1
	Heard
	Lost
)

// String is the word used in records.
func (w Way) String() string {
	switch w {
	case Sent:
		return "sent"
	case Heard:
		return "heard"
	case Lost:
		return "lost"
	}
	return "?"
}

// Event is what a Tap is told: raw bytes with their times, or the loss of the line.
type Event struct {
	Port string
	Way  Way
	At   Stamp // Sent: just before the write. Heard: when the bytes were seen.
	Done Stamp // Sent: when the system had taken them. Otherwise equal to At.
	Data []byte
	Note string // Lost: why
}

// Tap is told everything that passes, in order, from the goroutines that serve the line: it must be quick and must not
// call the port. Data is its own to keep.
type Tap func(Event)
