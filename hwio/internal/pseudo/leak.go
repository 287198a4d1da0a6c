package pseudo

import (
	"fmt"
	"os"
	"runtime"
	"time"
)

// Usage is how many goroutines and descriptors this process has; -1 descriptors where they cannot be counted.
func Usage() (goroutines, descriptors int) {
	descriptors = -1
	if entries, err := os.ReadDir("/proc/self/fd"); err == nil {
		descriptors = len(entries)
	}
	return runtime.NumGoroutine(), descriptors
}

// Settled waits until usage is back at what it was, and says what is left over if it does not come back.
func Settled(goroutines, descriptors int) error {
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		nowRunning, nowOpen := Usage()
		if nowRunning <= goroutines && nowOpen <= descriptors {
			return nil
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("goroutines %d, then %d; descriptors %d, then %d", goroutines, nowRunning, descriptors, nowOpen)
		}
	}
}
