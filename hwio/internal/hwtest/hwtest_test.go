package hwtest

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/port"
)

const never = time.Hour // late enough for no machine to be

func TestRepeat(t *testing.T) {
	for name, c := range map[string]struct {
		tolerates time.Duration
		test      func(trial *Trial, attempt int)
		verdict   verdict
		attempts  int
		said      string
	}{
		"good":                  {never, func(*Trial, int) {}, checked, 1, "checked"},
		"good on a late one":    {0, func(trial *Trial, _ int) { trial.Late(never) }, checked, 1, "1h0m0s late"},
		"bad":                   {never, func(trial *Trial, _ int) { require.True(trial, false, "planted") }, failed, 1, "planted"},
		"bad and late":          {time.Minute, func(trial *Trial, _ int) { trial.Late(never); trial.Error("planted") }, untold, 3, "could not tell"},
		"late, then good":       {time.Minute, func(trial *Trial, n int) { late(trial, n < 2) }, checked, 2, "checked"},
		"late, then bad":        {time.Minute, func(trial *Trial, n int) { late(trial, n < 2); trial.Fatal("planted") }, failed, 2, "planted"},
		"panics":                {never, func(*Trial, int) { panic("planted") }, failed, 1, "panic: planted"},
		"fails in its cleanup":  {never, func(trial *Trial, _ int) { trial.Cleanup(func() { require.True(trial, false, "planted") }) }, failed, 1, "planted"},
		"panics in its cleanup": {never, func(trial *Trial, _ int) { trial.Cleanup(func() { panic("planted") }) }, failed, 1, "planted"},
		"lacks something":       {never, func(trial *Trial, _ int) { trial.Skipf("no %s", "peer") }, missing, 1, "no peer"},
	} {
		t.Run(name, func(t *testing.T) {
			count, cleaned := 0, 0
			made := repeat(t, 3, c.tolerates, func(trial *Trial) {
				count++
				trial.Cleanup(func() { cleaned++ })
				c.test(trial, count)
			})
			require.Equal(t, c.verdict, made.verdict)
			require.Equal(t, c.attempts, count)
			require.Equal(t, count, cleaned, "each attempt is cleaned up")
			require.Len(t, made.said, count)
			require.Contains(t, strings.Join(made.said, "\n"), c.said)
		})
	}
}

func late(trial *Trial, yes bool) {
	if yes {
		trial.Late(never)
		trial.Fatal("too late")
	}
}

// TestWatchCountsLateness, never below zero, and takes what others have measured.
func TestWatchCountsLateness(t *testing.T) {
	w := newWatch()
	time.Sleep(5 * time.Millisecond)
	require.GreaterOrEqual(t, w.end(), time.Duration(0))
	w = newWatch()
	w.note(time.Minute)
	require.Equal(t, time.Minute, w.end())
}

func TestFakeClockIsExact(t *testing.T) {
	OnFakeClock(t, func(t *testing.T) {
		begun := port.Now()
		require.Positive(t, begun)
		time.Sleep(12345 * time.Microsecond)
		require.Equal(t, 12345*time.Microsecond, port.Now().Sub(begun))
	})
}
