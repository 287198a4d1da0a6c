package verify

import (
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// BenchmarkGrowthOfAVerification is the whole default verification, searches,
// properties, hunts, worst cases and audit, of sites that grow: channels under one
// output, and valves of a channel each. No two channels are set alike, so that no
// search stands for another. What is printed is the work of all cores for each
// channel, against that of ten: 1 is linear growth, 4 at forty is quadratic.
func BenchmarkGrowthOfAVerification(b *testing.B) {
	for _, shape := range []struct {
		name string
		site func(testing.TB, int) *model.Model
	}{{"under one output", underOneOutput}, {"with a valve each", aValveEach}} {
		b.Run(strings.ReplaceAll(shape.name, " ", "_"), func(b *testing.B) {
			for b.Loop() {
				ten := 0.0
				for _, n := range []int{10, 20, 40} {
					m := shape.site(b, n)
					began, work := time.Now(), worked()
					r, err := Verify(m, model.Options{})
					require.NoError(b, err)
					require.Equal(b, Shown, r.Verdict())
					each := (worked() - work).Seconds() / float64(n)
					if n == 10 {
						ten = each
					}
					fmt.Fprintf(os.Stderr, "%d channels %s: %d states, %.2f s on the clock; work for each channel %.0f ms, %.2f times that of 10\n",
						n, shape.name, r.States, time.Since(began).Seconds(), each*1e3, each/ten)
					b.ReportMetric(each/ten, fmt.Sprintf("x/%dch", n))
				}
			}
		})
	}
}

// worked is how long all cores worked for this process so far.
func worked() time.Duration {
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// brief shortens the times of a bay, and sets every channel in its own way.
func brief(m *model.Model) {
	c := m.Config
	for i := range c.Channels {
		ch := &c.Channels[i].Config
		*ch = monitor.Config{Accept: 9e6, Reject: 10e6 + monitor.Microohm(i), OpenAbove: 1e9, Floor: 50_000, OverRangeIsOpen: true, Stamped: true,
			StaleAfter: 2, SettleScans: 8, SettleReadings: 6, SettlePause: 2,
			Full: 24, Cost: [monitor.Classes]monitor.Parts{8, 8, 24, 6, 0, 0}, Repay: 2, LongestStay: 30}
	}
	press := interlock.Press{Min: 3, Max: 20}
	for i := range c.Outputs {
		o := &c.Outputs[i]
		o.Press, o.OnDelay, o.Travel = press, min(o.OnDelay, 3), min(o.Travel, 12)
	}
	for i := range c.Vessels {
		c.Vessels[i].Wait, c.Vessels[i].Rest, c.Vessels[i].Press = 40, 10, press
		c.Streams[i].RunDown = 8
	}
}

func aValveEach(t testing.TB, n int) *model.Model { return bay(t, n, brief) }

// underOneOutput is one output over all channels, that charges one vessel which
// they bond together.
func underOneOutput(t testing.TB, n int) *model.Model {
	return bay(t, n, func(m *model.Model) {
		brief(m)
		c, last := m.Config, len(m.Config.Outputs)-1
		c.Outputs, m.Names.Outputs = c.Outputs[last:], m.Names.Outputs[last:]
		c.Vessels, m.Names.Vessels = c.Vessels[:1], m.Names.Vessels[:1]
		c.Streams, m.Names.Streams = c.Streams[:1], m.Names.Streams[:1]
		c.Vessels[0].BondedBy = c.Outputs[0].Permissive
		c.Streams[0].Through = []int{0}
	})
}
