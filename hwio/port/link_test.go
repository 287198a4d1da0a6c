package port_test

import (
	"bytes"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/port"
)

// These tests are about what a link makes of what it hears and when: on a line in memory and a fake clock, where every time is
// exact. What an operating system adds to it is in port_linux_test.go.

func untilLine(heard []byte) bool { return bytes.IndexByte(heard, '\n') >= 0 }

func openMemory(t *testing.T, settings port.Settings) (*port.Far, port.Port) {
	far := port.NewFar("far")
	line, err := far.Open(settings)
	require.NoError(t, err)
	t.Cleanup(func() {
		far.Unplug()
		_ = line.Halt()
	})
	return far, line
}

// answerAfter says something a while after each question.
func answerAfter(far *port.Far, wait time.Duration, reply string) {
	go func() {
		into := make([]byte, 512)
		for {
			if _, err := far.Read(into); err != nil {
				return
			}
			time.Sleep(wait)
			far.Write([]byte(reply))
		}
	}()
}

func TestExchangeHasExactTimes(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		var events []port.Event
		var guard sync.Mutex
		far, line := openMemory(t, port.Settings{Tap: func(e port.Event) { guard.Lock(); defer guard.Unlock(); events = append(events, e) }})
		answerAfter(far, 7*time.Millisecond, "pong\n")
		answer, err := line.Exchange(port.Ask{Request: []byte("ping\n"), Wait: 10 * time.Millisecond, Complete: untilLine})
		require.NoError(t, err)
		require.Equal(t, "pong\n", string(answer.Heard))
		first, ok := answer.First()
		require.True(t, ok)
		require.Equal(t, answer.Asked, answer.Sent)
		require.Equal(t, 7*time.Millisecond, first.Sub(answer.Asked))
		require.Equal(t, first, answer.Ended)
		guard.Lock()
		defer guard.Unlock()
		require.Len(t, events, 2)
		require.Equal(t, []port.Way{port.Sent, port.Heard}, []port.Way{events[0].Way, events[1].Way})
		require.Equal(t, "ping\n", string(events[0].Data))
		require.Equal(t, "pong\n", string(events[1].Data))
	})
}

func TestSilenceIsTyped(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		far, line := openMemory(t, port.Settings{})
		answer, err := line.Exchange(port.Ask{Request: []byte("ping\n"), Wait: 30 * time.Millisecond, Complete: untilLine})
		require.ErrorIs(t, err, port.ErrSilent)
		require.NotErrorIs(t, err, port.ErrLost)
		require.Equal(t, 30*time.Millisecond, answer.Ended.Sub(answer.Sent))
		answerAfter(far, time.Millisecond, "po")
		answer, err = line.Exchange(port.Ask{Request: []byte("ping\n"), Wait: 30 * time.Millisecond, Complete: untilLine})
		require.ErrorIs(t, err, port.ErrCut)
		require.Equal(t, "popo", string(answer.Heard), "the first question is answered as well")
		require.Equal(t, 30*time.Millisecond, answer.Ended.Sub(answer.Sent))
	})
}

// TestRestOfAnAnswer: once its first byte is there an answer may take longer, and no longer than that.
func TestRestOfAnAnswer(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		for rest, wanted := range map[time.Duration]error{20 * time.Millisecond: nil, 5 * time.Millisecond: port.ErrCut} {
			far, line := openMemory(t, port.Settings{})
			go func() {
				time.Sleep(8 * time.Millisecond)
				far.Write([]byte("po"))
				time.Sleep(15 * time.Millisecond)
				far.Write([]byte("ng\n"))
			}()
			answer, err := line.Exchange(port.Ask{Request: []byte("ping\n"), Wait: 10 * time.Millisecond, Rest: rest, Complete: untilLine})
			require.ErrorIs(t, err, wanted)
			if wanted == nil {
				require.Equal(t, 23*time.Millisecond, answer.Ended.Sub(answer.Sent))
			} else {
				require.Equal(t, 15*time.Millisecond, answer.Ended.Sub(answer.Sent))
			}
			time.Sleep(time.Second) // the late end of it falls on the floor
		}
	})
}

func TestWhatCameBeforeTheQuestionIsNoAnswer(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		far, line := openMemory(t, port.Settings{})
		far.Write([]byte("stale\n"))
		answer, err := line.Exchange(port.Ask{Request: []byte("ping\n"), Quiet: time.Millisecond, Wait: 20 * time.Millisecond, Complete: untilLine})
		require.ErrorIs(t, err, port.ErrSilent)
		require.Equal(t, "stale\n", string(answer.StrayBytes()))
	})
}

// TestSilenceIsCountedFromTheLastSound, on either side.
func TestSilenceIsCountedFromTheLastSound(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		far, line := openMemory(t, port.Settings{})
		time.Sleep(time.Second)
		begun := port.Now()
		ask := port.Ask{Request: []byte("ping\n"), Quiet: 10 * time.Millisecond}
		answer, err := line.Exchange(ask)
		require.NoError(t, err)
		require.Equal(t, begun, answer.Asked, "silent for long")
		answer, err = line.Exchange(ask)
		require.NoError(t, err)
		require.Equal(t, 10*time.Millisecond, answer.Asked.Sub(begun), "after our own question")
		time.Sleep(6 * time.Millisecond)
		far.Write([]byte("x"))
		answer, err = line.Exchange(ask)
		require.NoError(t, err)
		require.Equal(t, 26*time.Millisecond, answer.Asked.Sub(begun), "after what was heard")
		require.Equal(t, "x", string(answer.StrayBytes()))
	})
}

func TestBabblingLineIsNotSpokenOn(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		far, line := openMemory(t, port.Settings{})
		stop := make(chan struct{})
		defer close(stop)
		go func() {
			for {
				select {
				case <-stop:
					return
				case <-time.After(2 * time.Millisecond):
					far.Write([]byte("x"))
				}
			}
		}()
		time.Sleep(10 * time.Millisecond)
		begun := port.Now()
		answer, err := line.Exchange(port.Ask{Request: []byte("ping\n"), Quiet: 200 * time.Millisecond, QuietLimit: 300 * time.Millisecond, Wait: time.Second})
		require.ErrorIs(t, err, port.ErrNoisy)
		require.ErrorContains(t, err, "is another master on the bus")
		require.GreaterOrEqual(t, answer.Ended.Sub(begun), 300*time.Millisecond)
		require.Less(t, answer.Ended.Sub(begun), 500*time.Millisecond)
		require.Zero(t, answer.Sent, "nothing may be sent on a line that is not silent")
	})
}

func TestLineThatHangsIsLost(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		far, line := openMemory(t, port.Settings{WriteLimit: 50 * time.Millisecond})
		begun := port.Now()
		_, err := line.Exchange(port.Ask{Request: make([]byte, 1<<20), Wait: time.Second, Complete: untilLine})
		require.ErrorIs(t, err, port.ErrLost)
		require.ErrorContains(t, err, "hung")
		require.Equal(t, 50*time.Millisecond, port.Now().Sub(begun))
		// The far end still has the write: nothing is given back under it.
		require.Error(t, line.Halt())
		_, err = far.Open(port.Settings{})
		require.ErrorIs(t, err, port.ErrInUse)
		far.Unplug()
		require.NoError(t, line.Halt(), "once the write returns, everything is given back")
	})
}

func TestUnplugAndHaltEndAnExchangeAtOnce(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		for wanted, end := range map[error]func(*port.Far, port.Port){
			port.ErrLost:   func(far *port.Far, _ port.Port) { far.Unplug() },
			port.ErrHalted: func(_ *port.Far, line port.Port) { _ = line.Halt() },
		} {
			far, line := openMemory(t, port.Settings{})
			begun := port.Now()
			time.AfterFunc(10*time.Millisecond, func() { end(far, line) })
			ask := port.Ask{Request: []byte("ping\n"), Wait: 5 * time.Second, Complete: untilLine}
			_, err := line.Exchange(ask)
			require.ErrorIs(t, err, wanted)
			require.Equal(t, 10*time.Millisecond, port.Now().Sub(begun), "it is not waited out")
			_, err = line.Exchange(ask)
			require.ErrorIs(t, err, wanted, "for good")
			_ = line.Halt()
			_, err = line.Exchange(ask)
			require.ErrorIs(t, err, wanted, "the first reason stands")
		}
	})
}

func TestLineInMemoryIsOneAtATime(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		far, line := openMemory(t, port.Settings{})
		_, err := far.Open(port.Settings{})
		require.ErrorIs(t, err, port.ErrInUse)
		require.NoError(t, line.Halt())
		again, err := far.Open(port.Settings{})
		require.NoError(t, err)
		far.Unplug()
		require.NoError(t, again.Halt())
		_, err = far.Open(port.Settings{})
		require.ErrorIs(t, err, port.ErrCannotOpen)
	})
}
