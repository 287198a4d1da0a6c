//go:build unix

package web_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/cmd/ohmgate/live/web"
)

// TestTwoHundredPagesInRealTime: two hundred pages that follow through sockets
// make no scan late, on a machine that is not late itself; nor is it they who make
// it late.
func TestTwoHundredPagesInRealTime(t *testing.T) {
	if testing.Short() {
		t.Skip("what turns short is slow, as under the race detector")
	}
	const (
		late = 20 * time.Millisecond // a fifth of the session's deadline
		cost = 5 * time.Second       // of a processor; 0.3 s were seen
	)
	livetest.InTime(t, late, func() (decided bool, said string) {
		o := livetest.Options(8)
		o.Speed = 1
		w, before := serve(t, o, web.Options{StreamsMax: pages}), processor(t)
		heard, overruns := w.crowd(t, pages), w.session.Health().Overruns
		require.Less(t, processor(t)-before, cost, "of a processor")
		return heard == pages && overruns == 0, fmt.Sprintf("%d of %d pages heard everything, %d overruns", heard, pages, overruns)
	})
}
