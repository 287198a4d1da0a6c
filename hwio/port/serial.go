package port

import (
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// Settings is how a serial port is opened. Zero values mean the defaults named with each field.
type Settings struct {
	// Line is speed and character; the zero Line means DefaultLine.
	Line Line
	// DTR and RTS are raised only when set. By default both stay still, so that opening a port pulls no relay. On Unix
	// the kernel itself raises them for a few milliseconds on open: nothing that matters may hang on them.
	DTR, RTS bool
	// WriteLimit is how long a write may take before the line counts as lost; default 1 s.
	WriteLimit time.Duration
	// Poll is how often the reader looks whether it should end; default 20 ms, at least 5 ms. Bytes do not wait for it.
	Poll time.Duration
	// Tap is told every byte.
	Tap Tap
}

const (
	defaultWriteLimit = time.Second
	defaultPoll       = 20 * time.Millisecond
	leastPoll         = 5 * time.Millisecond // shorter ones become zero on Windows
	// descriptorLimit is the size of the set that the library's select can hold.
	descriptorLimit = 1024
)

func (s Settings) withDefaults() Settings {
	if s.Line == (Line{}) {
		s.Line = DefaultLine
	}
	if s.WriteLimit <= 0 {
		s.WriteLimit = defaultWriteLimit
	}
	if s.Poll <= 0 {
		s.Poll = defaultPoll
	}
	s.Poll = max(s.Poll, leastPoll)
	return s
}

// Open opens a serial port for this program alone.
func Open(path string, settings Settings) (Port, error) {
	settings = settings.withDefaults()
	if err := settings.Line.Check(); err != nil {
		return nil, &Fault{Port: path, Kind: ErrCannotOpen, Note: err.Error()}
	}
	if err := refuseLargeDescriptor(path); err != nil {
		return nil, err
	}
	lock, err := takeLock(path)
	if err != nil {
		return nil, err
	}
	beside := openBeside(path)
	handle, err := openStill(path, settings, beside.hasLines())
	if err != nil {
		beside.close()
		lock.release()
		return nil, openFault(path, err)
	}
	w := &serialWire{handle: handle, beside: beside, lock: lock}
	first, err := w.prepare(settings.Poll)
	if err != nil {
		_ = w.close()
		return nil, &Fault{Port: path, Kind: ErrCannotOpen, Note: "open ports before other files, close what is not needed", Cause: err}
	}
	l := newLink(path, w, settings.Tap, settings.WriteLimit)
	if len(first) > 0 {
		l.keep(first)
	}
	return l, nil
}

// refuseLargeDescriptor looks which number the next file gets. The first read in prepare is the proof; this is the
// clear message in the usual case.
func refuseLargeDescriptor(path string) error {
	probe, err := os.Open(os.DevNull)
	if err != nil {
		return &Fault{Port: path, Kind: ErrCannotOpen, Note: "this program has no file descriptor left", Cause: err}
	}
	defer func() { _ = probe.Close() }()
	// Four numbers more: the lock has this one; then the port twice, and the pipe that wakes its reader.
	if number := descriptorNumber(probe); number >= 0 && number+4 >= descriptorLimit {
		return &Fault{Port: path, Kind: ErrCannotOpen,
			Note: fmt.Sprintf("too many open files: the port would get descriptor %d, 1019 is the last that works; open ports first", number)}
	}
	return nil
}

// openStill opens with DTR and RTS as asked, where the device has such lines.
func openStill(path string, settings Settings, hasLines bool) (serial.Port, error) {
	mode := &serial.Mode{
		BaudRate: settings.Line.Baud, DataBits: settings.Line.DataBits,
		Parity: libraryParity(settings.Line.Parity), StopBits: libraryStopBits(settings.Line.StopBits),
	}
	if hasLines {
		mode.InitialStatusBits = &serial.ModemOutputBits{DTR: settings.DTR, RTS: settings.RTS}
	}
	return serial.Open(path, mode)
}

func libraryParity(p Parity) serial.Parity {
	switch p {
	case EvenParity:
		return serial.EvenParity
	case OddParity:
		return serial.OddParity
	}
	return serial.NoParity
}

func libraryStopBits(count int) serial.StopBits {
	if count == 2 {
		return serial.TwoStopBits
	}
	return serial.OneStopBit
}

// openFault puts the library's answer in words that say what to do.
func openFault(path string, err error) error {
	fault := &Fault{Port: path, Kind: ErrCannotOpen, Cause: err}
	var trouble *serial.PortError
	if errors.As(err, &trouble) {
		switch trouble.Code() {
		case serial.PortBusy:
			fault.Kind = ErrInUse
			fault.Note = "another program holds it (on Windows also: no right to open it)"
		case serial.PermissionDenied:
			fault.Note = "no right to open it: add this user to the group that owns the device"
		case serial.PortNotFound:
			fault.Note = "not there: check the plug and the name"
		case serial.InvalidSerialPort:
			fault.Note = "not a serial port, or it cannot do this speed and character"
		}
	}
	if errors.Is(err, os.ErrNotExist) {
		fault.Note = "not there: check the plug and the name (names below /dev/serial/by-id stay the same)"
	}
	return fault
}

// serialWire is the library's port, read and written by one goroutine each.
type serialWire struct {
	handle serial.Port
	beside *beside
	lock   *portLock
}

// prepare sets the read time-out, once and before any reader runs (the library races otherwise), and reads once to see
// that reading works at all on these descriptors.
func (w *serialWire) prepare(poll time.Duration) ([]byte, error) {
	if err := w.handle.SetReadTimeout(leastPoll); err != nil {
		return nil, err
	}
	into := make([]byte, readSize)
	count, err := guardedRead(w, into)
	if err != nil {
		return nil, err
	}
	return into[:count], w.handle.SetReadTimeout(poll)
}

// read gives the library's "0, nil" its only meaning here: nothing yet.
func (w *serialWire) read(into []byte) (int, error) { return w.handle.Read(into) }

func (w *serialWire) write(data []byte) (int, error) { return w.handle.Write(data) }

func (w *serialWire) waiting() int { return w.beside.waiting() }

// release empties the output buffer, which lets some drivers return from a write that hangs.
func (w *serialWire) release() { _ = w.handle.ResetOutputBuffer() }

func (w *serialWire) close() error {
	defer w.lock.release()
	defer w.beside.close()
	return w.handle.Close()
}

func isInterrupted(err error) bool { return errors.Is(err, syscall.EINTR) }
