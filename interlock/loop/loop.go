// Package loop turns the logic scan by scan. It owns the small interface
// through which a simulated plant, a recording and a rig feed the same two Step
// functions, and it sees to it that whatever goes wrong withholds.
package loop

import (
	"fmt"

	"ohmgate/interlock"
)

// Source brings what one scan reads. coils is what the scan before decided, so
// that a plant can act on it. more is false when the source has ended; in is
// then not used.
type Source interface {
	Next(scan uint64, coils interlock.CoilSet, in *interlock.Inputs) (more bool, err error)
}

// Restarter is a Source whose supply can fail: PowerUp reports that the logic
// lost its memory before this scan.
type Restarter interface {
	PowerUp(scan uint64) bool
}

// Turn is one scan as it is told to watchers. It is valid during the call only.
type Turn struct {
	Scan     uint64
	In       *interlock.Inputs
	State    *interlock.State
	Decision *interlock.Decision
	// Quiet says that this scan changed nothing but the channels' stamps: state
	// and decision are those of the scan before, and there are no events.
	Quiet bool
}

// Watcher is told of every scan after its outputs were decided. An error ends
// the run.
type Watcher interface {
	Watch(t *Turn) error
}

// Loop is one run of the logic.
type Loop struct {
	Config   *interlock.Config
	State    *interlock.State
	Decision *interlock.Decision
	// Skim leaves out what can not change anything, for runs that nobody waits
	// for in real time. The results are the same; a test compares them.
	Skim bool

	in    *interlock.Inputs
	scan  uint64
	quiet quiet
	turn  Turn
}

// New is a loop at power-up; c must come from Compile.
func New(c *interlock.Config) *Loop {
	return &Loop{Config: c, State: interlock.NewState(c), Decision: interlock.NewDecision(c), in: interlock.NewInputs(c)}
}

// Run turns until the source ends, a watcher refuses or something breaks.
func (l *Loop) Run(source Source, watchers ...Watcher) error {
	for {
		more, err := l.Once(source, watchers...)
		if err != nil || !more {
			return err
		}
	}
}

// Once is one scan. On any error nothing stays energised.
func (l *Loop) Once(source Source, watchers ...Watcher) (more bool, err error) {
	defer l.guard(&more, &err)
	more, err = source.Next(l.scan, l.Decision.Coils, l.in)
	if err != nil || !more {
		return false, err
	}
	if r, ok := source.(Restarter); ok && r.PowerUp(l.scan) {
		l.State.PowerUp()
		l.quiet.on = false
	}
	l.turn = Turn{Scan: l.scan, In: l.in, State: l.State, Decision: l.Decision}
	if l.Skim {
		l.turn.Quiet = l.quiet.step(l.Config, l.State, l.in, l.Decision)
	} else {
		interlock.Step(l.Config, l.State, l.in, l.Decision)
	}
	for _, w := range watchers {
		if err := w.Watch(&l.turn); err != nil {
			return false, err
		}
	}
	l.scan++
	return true, nil
}

// guard turns a panic into an error and stops every output on any error.
func (l *Loop) guard(more *bool, err *error) {
	if r := recover(); r != nil {
		*more, *err = false, InternalError{Scan: l.scan, What: r}
	}
	if *err != nil {
		l.Decision.Coils, l.Decision.Kick = 0, false
	}
}

// InternalError is a fault of this program, found while the logic turned.
type InternalError struct {
	Scan uint64
	What any
}

func (e InternalError) Error() string {
	return fmt.Sprintf("internal error in scan %d: %v; every output is withheld", e.Scan, e.What)
}
