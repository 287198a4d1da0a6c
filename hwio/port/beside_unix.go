//go:build linux || darwin || freebsd || openbsd

package port

import (
	"os"

	"golang.org/x/sys/unix"
)

// beside is the device opened a second time, to ask what the library does not tell: how much lies in it unread, and whether it
// has modem lines. It has to be opened before the library is, which then keeps all others out.
type beside struct{ file *os.File }

// openBeside is nil where the device cannot be opened; the library then says why.
func openBeside(path string) *beside {
	file, err := os.OpenFile(path, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil
	}
	return &beside{file}
}

// ask puts one question to the device; false: it does not answer it.
func (b *beside) ask(question func(number int) (int, error)) (answer int, ok bool) {
	if b == nil {
		return 0, false
	}
	raw, err := b.file.SyscallConn()
	if err != nil {
		return 0, false
	}
	_ = raw.Control(func(number uintptr) { answer, err = question(int(number)) })
	return answer, err == nil
}

func (b *beside) waiting() int {
	count, _ := b.ask(unreadOn)
	return count
}

// hasLines says whether the device has modem lines. Pseudo-terminals have none and refuse to be asked about them. A device that
// could not be asked is taken to have them: they must not rise on opening.
func (b *beside) hasLines() bool {
	if b == nil {
		return true
	}
	_, ok := b.ask(func(number int) (int, error) { return unix.IoctlGetInt(number, unix.TIOCMGET) })
	return ok
}

func (b *beside) close() {
	if b != nil {
		_ = b.file.Close()
	}
}

// unreadOn is how many bytes an open file or connection holds for its reader.
func unreadOn(number int) (int, error) { return unix.IoctlGetInt(number, howMuchUnread) }
