package livetest_test

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live/livetest"
)

// ends is a test that notes how it ended.
type ends struct {
	testing.TB
	how string
}

func (e *ends) Helper()                   {}
func (e *ends) Failed() bool              { return false }
func (e *ends) Logf(string, ...any)       {}
func (e *ends) Fatalf(f string, a ...any) { e.end("failed: ", f, a...) }
func (e *ends) Skipf(f string, a ...any)  { e.end("skipped: ", f, a...) }
func (e *ends) end(how, f string, a ...any) {
	if e.how == "" {
		e.how = how + fmt.Sprintf(f, a...)
	}
	panic(e)
}

// inTime is how a test ends whose trial decides at the nth time, on a machine that
// is never late.
func inTime(t *testing.T, late time.Duration, nth int) (how string, trials int) {
	synctest.Test(t, func(t *testing.T) {
		e := &ends{}
		defer func() {
			if got := recover(); got != nil && got != e {
				panic(got)
			}
			how = e.how
		}()
		livetest.InTime(e, late, func() (bool, string) {
			trials++
			time.Sleep(time.Second)
			return trials == nth, "nothing"
		})
	})
	return how, trials
}

func TestUndecidedOnAMachineInTimeIsAFailure(t *testing.T) {
	how, trials := inTime(t, 0, 99)
	require.Equal(t, "failed: 3 trials of a machine in time decided nothing", how)
	require.Equal(t, 3, trials)
	how, trials = inTime(t, 0, 2)
	require.Empty(t, how)
	require.Equal(t, 2, trials)
}

// Nothing is in time to within less than nothing.
func TestUndecidedOnALateMachineIsSaid(t *testing.T) {
	how, trials := inTime(t, -1, 99)
	require.Contains(t, how, "skipped: could not tell: in 8 trials this machine was 0s to 0s late")
	require.Equal(t, 8, trials)
}
