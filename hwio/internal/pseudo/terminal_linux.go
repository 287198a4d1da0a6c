// Package pseudo makes pseudo-terminals that can be unplugged: a telephone line whose exchange end we hold. It serves the
// twin and the tests; Linux only, elsewhere Open says so.
package pseudo

import (
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// Available says that this system has pseudo-terminals.
const Available = true

// Terminal is one pseudo-terminal: we hold the master; the slave is the device that a client opens. We also keep the
// slave open, so that the line stays up between clients.
type Terminal struct {
	master *os.File
	slave  *os.File
}

// Open makes a raw pseudo-terminal whose master can be closed while it is being read.
func Open() (*Terminal, error) {
	first, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("no pseudo-terminal: %w", err)
	}
	master, err := interruptible(first)
	if err == nil {
		err = makeRaw(slave)
	}
	if err != nil {
		_ = slave.Close()
		return nil, fmt.Errorf("no pseudo-terminal: %w", err)
	}
	return &Terminal{master: master, slave: slave}, nil
}

// interruptible gives the master to Go's poller. As pty.Open leaves it, a read would hold it open for ever.
func interruptible(first *os.File) (*os.File, error) {
	defer func() { _ = first.Close() }()
	number, err := unix.FcntlInt(first.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	if err := unix.SetNonblock(number, true); err != nil {
		_ = unix.Close(number)
		return nil, err
	}
	return os.NewFile(uintptr(number), first.Name()), nil
}

// makeRaw turns off echo and line editing before any client is there to do it.
func makeRaw(slave *os.File) error {
	number := int(slave.Fd())
	modes, err := unix.IoctlGetTermios(number, unix.TCGETS)
	if err != nil {
		return err
	}
	modes.Iflag, modes.Oflag, modes.Lflag = 0, 0, 0
	modes.Cc[unix.VMIN], modes.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(number, unix.TCSETS, modes)
}

// Device is the name that a client opens.
func (t *Terminal) Device() string { return t.slave.Name() }

// Read waits for bytes from the client; it ends with an error when the terminal is unplugged.
func (t *Terminal) Read(into []byte) (int, error) { return t.master.Read(into) }

// Write gives up soon: with nobody reading, bytes fall on the floor as on a real wire. A busy machine may let the first
// deadline pass before the write has begun, so what was not even tried is tried again.
func (t *Terminal) Write(data []byte) {
	for _, patience := range []time.Duration{2 * time.Millisecond, 20 * time.Millisecond} {
		_ = t.master.SetWriteDeadline(time.Now().Add(patience))
		if count, err := t.master.Write(data); count > 0 || !errors.Is(err, os.ErrDeadlineExceeded) {
			return
		}
	}
}

// Unplug hangs up: the client sees a dead line.
func (t *Terminal) Unplug() {
	_ = t.master.Close()
	_ = t.slave.Close()
}
