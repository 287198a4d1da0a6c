package live

import (
	"context"
	"fmt"
	"time"

	"ohmgate/interlock/tell"
)

// Refusal is an order that was not carried out because the session does not
// allow it, rather than because it makes no sense.
type Refusal string

func (r Refusal) Error() string { return string(r) }

// order runs a function in the loop's goroutine, between two scans.
func (s *Session) order(ctx context.Context, do func() error) error {
	c := command{do, make(chan error, 1)}
	select {
	case s.commands <- c:
		return <-c.done
	case <-s.told.over:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *Session) carryOut(c command) { c.done <- c.do() }

// mayDrive says whether people may move the paper.
func (s *Session) mayDrive() error {
	if !s.opts.Control {
		return Refusal("this page is read-only; start serve with --control to drive it")
	}
	if s.opts.Real {
		return Refusal("real outputs are attached: the paper moves with real time")
	}
	return nil
}

// Pause stops the paper, Resume lets it move again.
func (s *Session) Pause(ctx context.Context) error { return s.setMode(ctx, "paused", "running") }

// Resume lets a paused run go on.
func (s *Session) Resume(ctx context.Context) error { return s.setMode(ctx, "running", "paused") }

func (s *Session) setMode(ctx context.Context, to, from string) error {
	if err := s.mayDrive(); err != nil {
		return err
	}
	return s.order(ctx, func() error {
		switch s.drive.Mode {
		case to:
			return nil
		case from:
			s.drive.Mode = to
			s.anchor()
			s.say(to, tell.Note, "the run is "+to)
			s.flush(true)
			return nil
		}
		return fmt.Errorf("the run is %s: %s; begin a new run or wind back", s.drive.Mode, s.drive.Note)
	})
}

// SetSpeed turns the paper at a multiple of real time; 0 is as fast as it goes.
func (s *Session) SetSpeed(ctx context.Context, speed float64) error {
	if err := s.mayDrive(); err != nil {
		return err
	}
	if speed != 0 && (speed < 0.001 || speed > 10000) {
		return fmt.Errorf("speed %g: write 0 for as fast as it goes, or 0.001 to 10000 times real time", speed)
	}
	return s.order(ctx, func() error {
		s.drive.Speed = speed
		s.anchor()
		text := fmt.Sprintf("the run turns at %g times real time", speed)
		if speed == 0 {
			text = "the run turns as fast as it goes"
		}
		s.say("speed", tell.Note, text)
		s.flush(true)
		return nil
	})
}

// stepsMax bounds one order of single scans.
const stepsMax = 100000

// Advance turns some scans of a paused run.
func (s *Session) Advance(ctx context.Context, scans int) error {
	if err := s.mayDrive(); err != nil {
		return err
	}
	if scans < 1 || scans > stepsMax {
		return fmt.Errorf("%d scans: write 1 to %d", scans, stepsMax)
	}
	return s.order(ctx, func() error {
		if s.drive.Mode != "paused" {
			return fmt.Errorf("the run is %s: pause it before turning single scans", s.drive.Mode)
		}
		for range scans {
			if s.once(); s.drive.Mode != "paused" {
				break
			}
		}
		s.flush(true)
		return nil
	})
}

// Begin starts a new run. keep holds the old one as the reference under it.
func (s *Session) Begin(ctx context.Context, r Request, keep bool) error {
	if err := s.mayDrive(); err != nil {
		return err
	}
	return s.order(ctx, func() error {
		old := s.run
		s.flush(true)
		if err := s.open(r); err != nil {
			return err
		}
		if keep {
			s.batch.keepAs = fmt.Sprintf("run %d", old)
		}
		s.drive.Mode, s.drive.Note, s.failure = "running", "", nil
		if r.Paused {
			s.drive.Mode = "paused"
		}
		name := r.Scenario
		if name == "" {
			name = "no scenario"
		}
		s.anchor()
		s.say("run began", tell.Note, fmt.Sprintf("run %d began: %s", s.run, name))
		s.flush(true)
		return nil
	})
}

// Rewind winds back to a scan and leaves the run paused there. The plant is
// turned again from its start with everything that people did to it before.
func (s *Session) Rewind(ctx context.Context, scan uint64) error {
	if err := s.mayDrive(); err != nil {
		return err
	}
	return s.order(ctx, func() error {
		if scan > s.scan {
			return fmt.Errorf("scan %d: the run has only come to %d", scan, s.scan)
		}
		return s.rewind(scan)
	})
}

func (s *Session) rewind(scan uint64) error {
	from := s.scan
	s.flush(true)
	plant, err := s.opts.Open(s.request)
	if err != nil {
		return err
	}
	s.letGo()
	s.plant = plant
	if err := s.rewire(); err != nil {
		return err
	}
	s.quiet = true
	s.batch.rebuild = true
	log := s.log
	s.log = nil
	for s.scan < scan && err == nil {
		for ; err == nil && len(log) > 0 && log[0].scan <= s.scan; log = log[1:] {
			err = s.redo(log[0])
		}
		if err == nil {
			err = s.again()
		}
	}
	s.flush(true)
	s.quiet = false
	s.batch.cut, s.batch.first = true, s.scan
	s.drive.Mode, s.drive.Note = "paused", ""
	if err != nil {
		s.halt(fmt.Errorf("the run could not be turned again: %w", err))
	}
	s.anchor()
	s.say(Rewound, tell.Note, fmt.Sprintf("wound back from scan %d to scan %d; what followed is void", from, s.scan))
	s.flush(true)
	return err
}

// redo does what happened to the plant before this scan the first time.
func (s *Session) redo(l logged) error {
	if l.overrun {
		s.overrun = true
		s.log = append(s.log, l)
		return nil
	}
	return s.apply(l.action)
}

// again is one scan of a run that is turned again.
func (s *Session) again() error {
	more, err := s.loop.Once(source{s}, s)
	s.overrun = false
	if err == nil && !more {
		err = fmt.Errorf("it ended at scan %d", s.scan)
	}
	if s.batch.scans >= batchScans {
		s.flush(false)
	}
	return err
}

// Act does something to the simulated plant.
func (s *Session) Act(ctx context.Context, a Action) error {
	if s.opts.Real {
		return Refusal("real outputs are attached: nothing can be injected")
	}
	if !s.opts.Control {
		return Refusal("this page is read-only; start serve with --control to inject faults")
	}
	return s.order(ctx, func() error {
		if s.drive.Mode != "running" && s.drive.Mode != "paused" {
			return fmt.Errorf("the run is %s: begin a new run or wind back", s.drive.Mode)
		}
		if err := s.apply(a); err != nil {
			return err
		}
		s.say("hand", tell.Note, a.text(), a.On)
		s.flush(true)
		return nil
	})
}

func (s *Session) apply(a Action) error {
	plant, can := s.plant.(Breakable)
	if !can {
		return Refusal("a " + s.opts.Kind + " takes no faults; only a simulation does")
	}
	if err := plant.Apply(s.scan, a); err != nil {
		return err
	}
	s.log = append(s.log, logged{scan: s.scan, action: a})
	return nil
}

func (a Action) text() string {
	text := "by hand: " + a.Do
	if a.Fault != "" {
		text += " " + a.Fault
	}
	if a.On != "" {
		text += " on " + a.On
	}
	if a.To != "" {
		text += " to " + a.To
	}
	if a.For != "" {
		text += " for " + a.For
	}
	return text
}

// Elapsed is the run's own time at a scan.
func (s *Session) Elapsed(scan uint64) time.Duration { return time.Duration(scan) * s.opts.Period }
