package port

import (
	"time"

	"golang.org/x/sys/unix"
)

// fineSleep leaves waiting to the kernel. An early return by a signal is harmless: all callers look at the clock again.
func fineSleep(d time.Duration) {
	wish := unix.NsecToTimespec(d.Nanoseconds())
	_ = unix.Nanosleep(&wish, nil)
}
