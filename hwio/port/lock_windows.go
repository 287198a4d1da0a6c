package port

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFile locks one byte far behind the text, so that others can still read who holds the lock.
func lockFile(file *os.File) error {
	place := &windows.Overlapped{Offset: 1 << 30}
	err := windows.LockFileEx(windows.Handle(file.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, place)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return errLockHeld
	}
	return err
}

// descriptorNumber is -1: Windows has no such limit.
func descriptorNumber(*os.File) int { return -1 }
