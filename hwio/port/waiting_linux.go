package port

import (
	"os"

	"golang.org/x/sys/unix"
)

// beside is the device opened a second time, to ask how much lies in it unread: the library does not tell. It has to be opened
// before the library is, which then keeps all others out.
type beside struct{ file *os.File }

// openBeside is nil where the device cannot be opened; the library then says why.
func openBeside(path string) *beside {
	file, err := os.OpenFile(path, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil
	}
	return &beside{file}
}

func (b *beside) waiting() (count int) {
	if b == nil {
		return 0
	}
	raw, err := b.file.SyscallConn()
	if err != nil {
		return 0
	}
	_ = raw.Control(func(number uintptr) { count = unreadOn(int(number)) })
	return count
}

func (b *beside) close() {
	if b != nil {
		_ = b.file.Close()
	}
}

// unreadOn is how many bytes an open file or connection holds for its reader.
func unreadOn(number int) int {
	count, err := unix.IoctlGetInt(number, unix.TIOCINQ)
	if err != nil {
		return 0
	}
	return count
}
