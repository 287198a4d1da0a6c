//go:build linux || darwin || freebsd || openbsd

package port

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

func lockFile(file *os.File) error {
	err := unix.Flock(int(file.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return errLockHeld
	}
	return err
}

// descriptorNumber is the number of an open file.
func descriptorNumber(file *os.File) int { return int(file.Fd()) }
