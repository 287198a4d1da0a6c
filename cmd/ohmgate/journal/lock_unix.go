//go:build unix

package journal

import (
	"os"

	"golang.org/x/sys/unix"
)

// lockFile takes a lock that the system drops when the process ends, however.
func lockFile(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) }
