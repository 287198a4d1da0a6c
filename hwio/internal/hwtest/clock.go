package hwtest

import (
	"testing"
	"testing/synctest"
	"time"

	"ohmgate/hwio/port"
)

// OnFakeClock runs a test whose clock moves only when all of its goroutines wait: however busy the machine is, every time in it
// is exact. Lines must be in memory there (port.NewFar, twin.Config.InMemory); a pseudo-terminal knows the real clock only.
// Every goroutine that the test starts must have ended when it returns.
func OnFakeClock(t *testing.T, test func(t *testing.T)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		// A fake clock begins in the year 2000, and stamps count from the start of the program.
		time.Sleep(time.Until(port.WallStart().Add(time.Hour)))
		test(t)
	})
}
