package hwtest

import (
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"testing"
	"time"
)

// attempts of a test that needs real time; on the build server more.
const (
	attempts   = 3
	attemptsCI = 10
)

// Repeat runs a test that needs real time: terminals, sockets, other programs. It measures how late the machine is meanwhile.
// A test that fails while the machine was at most so late as it tolerates has failed. If it was later, nobody can tell: the
// numbers are logged and the test is run again. When it could never be told the test is skipped, with the numbers; a test that
// succeeds has been checked, however late the machine was.
func Repeat(t *testing.T, tolerates time.Duration, test func(trial *Trial)) {
	t.Helper()
	most := attempts
	if os.Getenv("CI") == "true" {
		most = attemptsCI
	}
	made := repeat(t, most, tolerates, test)
	for _, line := range made.said {
		t.Log(line)
	}
	switch made.verdict {
	case failed:
		t.FailNow()
	case untold:
		t.Skipf("could not tell on this machine, in %d attempts", most)
	case missing:
		t.SkipNow()
	}
}

// verdict of all attempts together.
type verdict uint8

const (
	failed verdict = iota
	checked
	untold
	missing // something that no repetition brings
)

type outcome struct {
	verdict verdict
	said    []string // one text an attempt
}

func repeat(t testing.TB, most int, tolerates time.Duration, test func(trial *Trial)) (made outcome) {
	for attempt := 1; attempt <= most; attempt++ {
		trial := &Trial{TB: t, watch: newWatch()}
		trial.run(test)
		late := trial.watch.end()
		say := func(v verdict, format string, args ...any) {
			made.verdict = v
			made.said = append(made.said, fmt.Sprintf("attempt %d: ", attempt)+fmt.Sprintf(format, args...))
		}
		switch {
		case trial.skipped != "":
			say(missing, "%s", trial.skipped)
			return made
		case !trial.Failed():
			say(checked, "checked, the machine at most %v late", late)
			return made
		case late <= tolerates:
			say(failed, "failed, the machine at most %v late, and %v are tolerated:\n%s", late, tolerates, trial.said())
			return made
		}
		say(untold, "could not tell, the machine up to %v late, and %v are tolerated:\n%s", late, tolerates, trial.said())
	}
	return made
}

// Trial is one attempt. Its failures are those of the test only if the machine was on time.
type Trial struct {
	testing.TB
	watch *watch

	guard    sync.Mutex
	failed   bool
	skipped  string
	messages []string
	cleanups []func()
}

// Late tells of lateness that somebody else has measured, such as another program at the other end of a line.
func (t *Trial) Late(by time.Duration) { t.watch.note(by) }

func (t *Trial) run(test func(*Trial)) {
	t.alone(func() { test(t) })
	t.clean()
}

// clean runs the cleanups, the last first, each on its own: one that gives up must not keep the others from running.
func (t *Trial) clean() {
	for {
		t.guard.Lock()
		last := len(t.cleanups) - 1
		if last < 0 {
			t.guard.Unlock()
			return
		}
		cleanup := t.cleanups[last]
		t.cleanups = t.cleanups[:last]
		t.guard.Unlock()
		t.alone(cleanup)
	}
}

// alone runs something that may end its goroutine, or panic.
func (t *Trial) alone(what func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer func() {
			if trouble := recover(); trouble != nil {
				t.Errorf("panic: %v\n%s", trouble, debug.Stack())
			}
		}()
		what()
	}()
	<-done
}

func (t *Trial) said() string {
	t.guard.Lock()
	defer t.guard.Unlock()
	return strings.Join(t.messages, "\n")
}

// Cleanup is run at the end of this attempt.
func (t *Trial) Cleanup(f func()) {
	t.guard.Lock()
	defer t.guard.Unlock()
	t.cleanups = append(t.cleanups, f)
}

// Log keeps a message for a failure.
func (t *Trial) Log(args ...any) {
	t.guard.Lock()
	defer t.guard.Unlock()
	t.messages = append(t.messages, strings.TrimSuffix(fmt.Sprintln(args...), "\n"))
}

// Logf keeps a message for a failure.
func (t *Trial) Logf(format string, args ...any) { t.Log(fmt.Sprintf(format, args...)) }

// Fail marks this attempt.
func (t *Trial) Fail() {
	t.guard.Lock()
	defer t.guard.Unlock()
	t.failed = true
}

// Failed says that this attempt is marked.
func (t *Trial) Failed() bool {
	t.guard.Lock()
	defer t.guard.Unlock()
	return t.failed
}

// FailNow ends this attempt.
func (t *Trial) FailNow() {
	t.Fail()
	runtime.Goexit()
}

// Error marks this attempt with a message.
func (t *Trial) Error(args ...any) {
	t.Log(args...)
	t.Fail()
}

// Errorf marks this attempt with a message.
func (t *Trial) Errorf(format string, args ...any) { t.Error(fmt.Sprintf(format, args...)) }

// Fatal ends this attempt with a message.
func (t *Trial) Fatal(args ...any) {
	t.Log(args...)
	t.FailNow()
}

// Fatalf ends this attempt with a message.
func (t *Trial) Fatalf(format string, args ...any) { t.Fatal(fmt.Sprintf(format, args...)) }

// Skip ends the whole test: something is missing that no repetition brings.
func (t *Trial) Skip(args ...any) {
	t.guard.Lock()
	t.skipped = strings.TrimSuffix(fmt.Sprintln(args...), "\n")
	t.guard.Unlock()
	runtime.Goexit()
}

// Skipf ends the whole test.
func (t *Trial) Skipf(format string, args ...any) { t.Skip(fmt.Sprintf(format, args...)) }

// watch measures how much later than asked for a sleeper of this program wakes up.
type watch struct {
	stop  chan struct{}
	ended sync.WaitGroup

	guard sync.Mutex
	most  time.Duration
}

func newWatch() *watch {
	w := &watch{stop: make(chan struct{})}
	w.ended.Go(func() {
		const nap = time.Millisecond
		for {
			begun := time.Now()
			select {
			case <-w.stop:
				return
			case <-time.After(nap):
				w.note(time.Since(begun) - nap)
			}
		}
	})
	return w
}

func (w *watch) note(late time.Duration) {
	w.guard.Lock()
	defer w.guard.Unlock()
	w.most = max(w.most, late)
}

// end is the most that it was late.
func (w *watch) end() time.Duration {
	close(w.stop)
	w.ended.Wait()
	w.guard.Lock()
	defer w.guard.Unlock()
	return w.most.Round(time.Microsecond)
}
