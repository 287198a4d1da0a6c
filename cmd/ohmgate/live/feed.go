package live

import (
	"errors"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/monitor"
)

// Feed lets a session look over the shoulder of a loop that it does not turn,
// such as that of a rig: whoever turns real outputs keeps doing so by himself,
// and hands over what arrived. The session turns the same logic on the same
// inputs, so it decides the same, but nobody acts on it. It is a loop.Watcher on
// one side and a Plant on the other.
type Feed struct {
	arrived chan fed
	err     error
	now     fed
}

// fed is one scan's inputs in memory of its own.
type fed struct {
	readings []monitor.Reading
	signals  []interlock.Signal
	overrun  bool
}

// feedScans is how far the session may be behind. It is never waited for.
const feedScans = 4096

// ErrBehind says that the session could not keep up.
var ErrBehind = errors.New("what is shown is too far behind the rig")

// NewFeed is a feed in which nothing has arrived.
func NewFeed() *Feed {
	return &Feed{arrived: make(chan fed, feedScans)}
}

// Watch takes what arrived in one scan.
func (f *Feed) Watch(t *loop.Turn) error {
	scan := fed{append([]monitor.Reading(nil), t.In.Readings...), append([]interlock.Signal(nil), t.In.Signals...), t.In.Overrun}
	select {
	case f.arrived <- scan:
		return nil
	default:
		return ErrBehind
	}
}

// End says that nothing more will arrive, and why; nil is the ordinary end.
func (f *Feed) End(err error) {
	f.err = err
	close(f.arrived)
}

// wait waits for a scan; came is false when something else came first.
func (f *Feed) wait(s *Session, over <-chan struct{}) (came bool) {
	select {
	case f.now = <-f.arrived:
		return true
	default:
		s.flushIfDue()
	}
	quiet := time.NewTimer(flushEvery) // so that the last scans before a silence are told
	defer quiet.Stop()
	select {
	case f.now = <-f.arrived:
		return true
	case c := <-s.commands:
		s.carryOut(c)
	case <-quiet.C:
	case <-over:
	}
	return false
}

// Next brings the scan that wait took.
func (f *Feed) Next(_ uint64, _ interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	if f.now.readings == nil && f.now.signals == nil {
		return false, f.err
	}
	copy(in.Readings, f.now.readings)
	copy(in.Signals, f.now.signals)
	in.Overrun = f.now.overrun
	return true, nil
}
