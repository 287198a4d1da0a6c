package port

import (
	"bytes"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// lateWire is a line whose reader the machine holds up: what has come lies in the system for a while before it is fetched.
type lateWire struct {
	late time.Duration
	sent chan []byte // requests

	guard  sync.Mutex
	unread []byte
	closed bool
}

func (w *lateWire) arrive(text string) {
	w.guard.Lock()
	defer w.guard.Unlock()
	w.unread = append(w.unread, text...)
}

func (w *lateWire) waiting() int {
	w.guard.Lock()
	defer w.guard.Unlock()
	return len(w.unread)
}

func (w *lateWire) read(into []byte) (int, error) {
	for range 20 {
		if w.waiting() > 0 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	if w.waiting() > 0 {
		time.Sleep(w.late)
	}
	w.guard.Lock()
	defer w.guard.Unlock()
	if w.closed {
		return 0, errors.New("closed")
	}
	count := copy(into, w.unread)
	w.unread = w.unread[count:]
	return count, nil
}

func (w *lateWire) write(data []byte) (int, error) {
	w.sent <- bytes.Clone(data)
	return len(data), nil
}

func (w *lateWire) release() {}

func (w *lateWire) close() error { return nil }

func (w *lateWire) end() {
	w.guard.Lock()
	defer w.guard.Unlock()
	w.closed = true
}

// onLateWire runs a test on a fake clock with a link whose reader comes so much late.
func onLateWire(t *testing.T, late time.Duration, test func(t *testing.T, w *lateWire, l *link)) {
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(time.Until(WallStart().Add(time.Hour)))
		w := &lateWire{late: late, sent: make(chan []byte, 10)}
		l := makeLink("late", w, nil, time.Second)
		l.pause = time.Sleep
		l.start()
		t.Cleanup(func() {
			w.end()
			time.Sleep(10 * time.Second)
			require.NoError(t, l.Halt())
		})
		time.Sleep(time.Second + 500*time.Microsecond) // between two looks of the reader
		test(t, w, l)
	})
}

// TestLateReaderMakesNoAnswer: what came before the question is no answer to it, also where this program's own reader was held
// up and fetches it afterwards. On a machine with ten busy programs a stale answer was taken for a fresh one.
func TestLateReaderMakesNoAnswer(t *testing.T) {
	onLateWire(t, 50*time.Millisecond, func(t *testing.T, w *lateWire, l *link) {
		w.arrive("stale\n")
		ask := Ask{Request: []byte("ping\n"), Quiet: time.Millisecond, Wait: 100 * time.Millisecond, Complete: func(heard []byte) bool { return bytes.IndexByte(heard, '\n') >= 0 }}
		begun := Now()
		answer, err := l.Exchange(ask)
		require.ErrorIs(t, err, ErrSilent)
		require.Equal(t, "stale\n", string(answer.StrayBytes()))
		require.GreaterOrEqual(t, answer.Asked.Sub(begun), 51*time.Millisecond, "the silence is counted from when the bytes were fetched")
		ask.Quiet = 0
		w.arrive("stale too\n")
		answer, err = l.Exchange(ask)
		require.ErrorIs(t, err, ErrSilent, "nor where no silence is asked for")
		require.Equal(t, "stale too\n", string(answer.StrayBytes()))
	})
}

// TestReaderThatNeverComes: then nothing is asked, and the machine is named.
func TestReaderThatNeverComes(t *testing.T) {
	onLateWire(t, 5*time.Second, func(t *testing.T, w *lateWire, l *link) {
		w.arrive("stale\n")
		_, err := l.Exchange(Ask{Request: []byte("ping\n"), Quiet: time.Millisecond, QuietLimit: 300 * time.Millisecond, Wait: time.Second})
		require.ErrorIs(t, err, ErrNoisy)
		require.ErrorContains(t, err, "the machine is too busy")
		require.Empty(t, w.sent)
	})
}
