package joint

import (
	"errors"
	"runtime"
	"runtime/debug"

	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/table"
)

// Progress is told of scans, of nodes in the table and of the memory they take.
type Progress func(scans, nodes int, bytes uint64)

// Waits searches the charge memory of one vessel after the other beside the
// channels, each in a search of its own. What did not end is told as such.
func Waits(j *verify.Joint, memory uint64, progress Progress) (waits []verify.JointWait, err error) {
	done := map[string]verify.JointWait{}
	for _, vessel := range j.Vessels() {
		w := verify.JointWait{Vessel: vessel}
		if same := j.SameAs(vessel); same != "" {
			w.Verdict, w.States, w.CutOff = done[same].Verdict, done[same].States, done[same].CutOff
			waits = append(waits, w)
			continue
		}
		with, err := j.WithVessel(vessel)
		if err == nil {
			w.Verdict, w.States, err = aside(with, memory, progress, (*Engine).wait)
		}
		if err != nil && !errors.As(err, new(*table.CutOff)) {
			return nil, err
		}
		w.CutOff = err
		done[vessel] = w
		waits = append(waits, w)
	}
	return waits, nil
}

// aside runs a search that is judged in one way.
func aside(j *verify.Joint, memory uint64, progress Progress, judge func(*Engine) (verify.Verdict, error)) (verdict verify.Verdict, states string, err error) {
	// What the search before held goes back first: its nodes in one round, then
	// the table that they named.
	runtime.GC()
	debug.FreeOSMemory()
	e, err := New(j, memory)
	if err != nil {
		return verify.NotShown, "", err
	}
	if err := e.Run(progress); err != nil {
		return verify.NotShown, "", err
	}
	verdict, err = judge(e)
	return verdict, e.States().String(), err
}

func (e *Engine) wait() (verify.Verdict, error) { return e.Verdict(8) }
