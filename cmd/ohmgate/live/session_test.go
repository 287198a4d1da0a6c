package live_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/interlock"
)

// started turns a session until the test ends.
func started(t *testing.T, o live.Options) *live.Session {
	t.Helper()
	s, err := live.New(o)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { _ = s.Run(ctx); close(done) }()
	t.Cleanup(func() { cancel(); <-done })
	return s
}

// paused is a session that turns only as told.
func paused(t *testing.T, o live.Options) *live.Session {
	o.Paused = true
	return started(t, o)
}

func advance(t *testing.T, s *live.Session, scans int) {
	t.Helper()
	require.NoError(t, s.Advance(context.Background(), scans))
	settled(t, s)
}

// settled waits until everything turned so far was told.
func settled(t *testing.T, s *live.Session) *live.Snapshot {
	t.Helper()
	require.NoError(t, s.Pause(context.Background()))
	require.NoError(t, s.Caught(context.Background()))
	shot, _, _ := s.Now()
	return shot
}

func act(t *testing.T, s *live.Session, a live.Action) {
	t.Helper()
	require.NoError(t, s.Act(context.Background(), a))
}

func kinds(s *live.Session) string {
	var list []string
	for _, e := range s.Events(0, 10000) {
		list = append(list, e.Kind+":"+e.Lane+e.To)
	}
	return strings.Join(list, " ")
}

// running brings the small plant to a running pump: bonded, waited, reset.
func running(t *testing.T, s *live.Session) {
	t.Helper()
	advance(t, s, 800)
	act(t, s, live.Action{Do: "press", On: "reset_1"})
	advance(t, s, 100)
	shot := settled(t, s)
	require.Equal(t, "enabled", shot.Outputs[0].Mode, "withheld by %v", shot.Outputs[0].Withheld)
}

func TestClampTakenOffIsToldWithItsReason(t *testing.T) {
	s := paused(t, livetest.Options(2))
	running(t, s)
	act(t, s, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_2"})
	advance(t, s, 5)
	shot := settled(t, s)
	require.Equal(t, "tripped", shot.Outputs[0].Mode)
	require.Equal(t, []string{"bond_2"}, shot.Outputs[0].First)
	require.NotEmpty(t, shot.Advice)
	require.Contains(t, shot.Advice[0].Text, "do not touch")
	var trip, lost *live.Event
	for _, e := range s.Events(0, 10000) {
		switch e.Kind {
		case "tripped":
			trip = &e
		case "phase":
			if e.To == "lost" {
				lost = &e
			}
		}
	}
	require.NotNil(t, trip)
	require.NotNil(t, lost)
	require.Equal(t, []string{"bond_2"}, trip.First)
	require.Equal(t, lost.Scan, trip.Scan, "the trip comes in the very scan of the loss")
	require.Equal(t, "no patience for a bad reading", lost.Why.Rule)
	require.Contains(t, lost.Why.Facts, live.Fact{Name: "reading", Value: "over-range"})
	at, ok := s.Nearest("output:pump", trip.Scan+2)
	require.True(t, ok)
	require.Equal(t, trip.Scan, at)
}

func TestWoundBackRunsTheSame(t *testing.T) {
	s := paused(t, livetest.Options(3))
	running(t, s)
	act(t, s, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_1"})
	advance(t, s, 3000)
	before, first := s.Sum(), kinds(s)
	turned := settled(t, s).Scan
	require.NoError(t, s.Rewind(context.Background(), 850))
	require.Equal(t, uint64(850), settled(t, s).Scan)
	require.NotContains(t, kinds(s), "tripped")
	require.NotContains(t, kinds(s), "differs")
	// The reset press is turned again, the fault after it is void.
	advance(t, s, 50)
	act(t, s, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_1"})
	advance(t, s, int(turned)-900)
	require.Equal(t, before, s.Sum())
	require.Contains(t, first, "tripped:output:pump")
	require.Contains(t, kinds(s), "tripped:output:pump")
}

func TestSecondRunShowsTheFirstDifference(t *testing.T) {
	s := paused(t, livetest.Options(2))
	running(t, s)
	act(t, s, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_1"})
	advance(t, s, 100)
	_, err := s.Compare()
	require.ErrorAs(t, err, new(live.Refusal))
	require.NoError(t, s.Begin(context.Background(), live.Request{Paused: true}, true))
	advance(t, s, 800)
	act(t, s, live.Action{Do: "press", On: "reset_1"})
	advance(t, s, 200)
	d, err := s.Compare()
	require.NoError(t, err)
	require.True(t, d.Differs)
	require.Equal(t, uint64(900), d.Scan)
	require.Contains(t, d.Lanes, "channel:bond_1")
	require.NotContains(t, d.Lanes, "channel:bond_2")
}

func TestReadOnlyAndRealOutputsRefuse(t *testing.T) {
	for name, change := range map[string]func(*live.Options){
		"read-only": func(o *live.Options) { o.Control = false },
		"real":      func(o *live.Options) { o.Real, o.Kind = true, "rig" },
	} {
		t.Run(name, func(t *testing.T) {
			o := livetest.Options(1)
			change(&o)
			s := started(t, o)
			ctx := context.Background()
			for _, err := range []error{
				s.Act(ctx, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_1"}),
				s.Pause(ctx), s.Resume(ctx), s.SetSpeed(ctx, 2), s.Advance(ctx, 1), s.Rewind(ctx, 0), s.Begin(ctx, live.Request{}, false),
			} {
				require.ErrorAs(t, err, new(live.Refusal))
			}
		})
	}
}

func TestLostLineStopsEverything(t *testing.T) { synctest.Test(t, lostLineStopsEverything) }

func lostLineStopsEverything(t *testing.T) {
	o := livetest.Options(1)
	o.Open = func(live.Request) (live.Plant, error) {
		p := livetest.New(o.Site)
		p.Fail = 40
		return p, nil
	}
	s, err := live.New(o)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	go func() {
		for shot, _, changed := s.Now(); shot == nil || shot.Drive.Mode != "stopped"; shot, _, changed = s.Now() {
			<-changed
		}
		cancel()
	}()
	require.ErrorContains(t, s.Run(ctx), "the line is silent")
	require.Contains(t, kinds(s), "stopped")
}

// brokenKeeper stands for a journal that is lost in the middle.
type brokenKeeper struct{ left int }

func (k *brokenKeeper) Keep(live.Portion) error {
	if k.left--; k.left < 0 {
		return errors.New("no room on the disk")
	}
	return nil
}
func (k *brokenKeeper) Lag() time.Duration { return 0 }

func TestNothingIsToldThatTheJournalDoesNotHold(t *testing.T) {
	synctest.Test(t, nothingIsToldThatTheJournalDoesNotHold)
}

func nothingIsToldThatTheJournalDoesNotHold(t *testing.T) {
	o := livetest.Options(1)
	keeper := &brokenKeeper{left: 3}
	o.Keeper = keeper
	s, err := live.New(o)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	require.ErrorContains(t, s.Run(ctx), "no room on the disk")
	shot, _, _ := s.Now()
	require.LessOrEqual(t, shot.Scan, uint64(3*256))
}

// On the clock of a machine that is never late a scan is an overrun when it begins
// later than the deadline, and then only.
func TestOverrunIsItsOwnCauseInRealTime(t *testing.T) {
	for _, c := range []struct {
		stuck    time.Duration // that one scan takes
		overruns uint64
	}{
		{livetest.Period, 0}, {livetest.Period + deadline, 0}, {livetest.Period + deadline + 1, 1}, {time.Second, 1},
	} {
		t.Run(c.stuck.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				o := livetest.Options(1)
				o.Speed, o.Deadline = 1, deadline
				o.Open = func(live.Request) (live.Plant, error) {
					return &sticky{Plant: livetest.New(o.Site), takes: c.stuck}, nil
				}
				s := started(t, o)
				time.Sleep((stuckAt + 200) * livetest.Period)
				shot := settled(t, s)
				require.Equal(t, c.overruns, shot.Overruns)
				require.Equal(t, int(c.overruns), strings.Count(kinds(s), "scan overrun"))
				require.Equal(t, max(0, c.stuck-livetest.Period), time.Duration(shot.Late.MaxNs))
			})
		})
	}
}

const (
	deadline = 30 * time.Millisecond
	stuckAt  = 7 // the scan that takes a while
)

// sticky is a plant in which one scan takes a while.
type sticky struct {
	*livetest.Plant
	takes time.Duration
}

func (p *sticky) Next(scan uint64, coils interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	if scan == stuckAt {
		time.Sleep(p.takes)
	}
	return p.Plant.Next(scan, coils, in)
}
