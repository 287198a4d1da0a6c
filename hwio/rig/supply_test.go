package rig_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/rig/twinbench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
)

// dip is the script with the unit's supply off from scan 95 to scan 115.
type dip struct{ script }

func (d *dip) PowerUp(scan uint64) bool { return scan == 0 || scan >= 95 && scan < 115 }

// bootSite is the quick site with a unit that takes its time to start.
var bootSite = strings.Replace(quickSite, "supply: {module: relays, point: 6}", "supply: {module: relays, point: 6, boot: 400 ms}", 1)

// TestSupplyCutInTheMiddle: the contact falls with the supply, and a unit that starts for 400 ms is not found slow. A welded
// contact shows.
func TestSupplyCutInTheMiddle(t *testing.T) {
	for _, wrong := range []string{"", "welded"} {
		t.Run("unit "+wrong, func(t *testing.T) {
			hwtest.OnFakeClock(t, func(t *testing.T) {
				s, problems := site.Parse("boot.yaml", []byte(bootSite))
				require.Nil(t, problems)
				m, problems := wiring.Read(s)
				require.Nil(t, problems)
				b := newBenchOn(t, m, twinbench.Options{Wrong: wrong})
				b.order.New = func() (loop.Source, error) { return &dip{script{ends: 250}}, nil }
				report, _ := b.perform(t, context.Background())
				steps := report.Runs[0].Steps
				said := texts(steps)
				found := false
				for i := range steps {
					found = found || steps[i].Stimulus == "supply on -> off" && steps[i].Change == "withheld"
				}
				require.True(t, found, said)
				if wrong == "" {
					require.NotContains(t, said, sheet.Violated, "%v", report.Runs[0].Lag)
					require.EqualValues(t, 3, report.Exit, fmt.Sprint(report.Trouble, said))
				} else {
					require.EqualValues(t, 1, report.Exit, said)
				}
			})
		})
	}
}
