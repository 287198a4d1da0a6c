package port

import "time"

// Pause sleeps, precise to about 0.1 ms where the system allows. Go's own timers round waits below a millisecond up to
// a whole one, which is more than half a silent interval of Modbus at high speed.
func Pause(d time.Duration) {
	const coarse = 3 * time.Millisecond
	if d <= 0 {
		return
	}
	end := time.Now().Add(d)
	if d > coarse {
		time.Sleep(d - coarse/2)
	}
	if left := time.Until(end); left > 0 {
		fineSleep(left)
	}
}
