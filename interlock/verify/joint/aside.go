package joint

import (
	"runtime"
	"runtime/debug"

	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/model"
)

// Progress is told of scans, of nodes in the table and of the memory they take.
type Progress func(scans, nodes int, bytes uint64)

// Wait searches the charge memory of a vessel beside the channels, in a search of its
// own.
func Wait(j *Problem, memory uint64, progress Progress) (said verdict.Verdict, states string, err error) {
	return aside(j, memory, progress, func(e *Engine) (verdict.Verdict, error) { return e.Verdict(model.PropertyWait) })
}

// aside runs a search that is judged in one way.
func aside(j *Problem, memory uint64, progress Progress, judge func(*Engine) (verdict.Verdict, error)) (said verdict.Verdict, states string, err error) {
	// What the search before held goes back first: its nodes in one round, then
	// the table that they named.
	runtime.GC()
	debug.FreeOSMemory()
	e, err := New(j, memory)
	if err != nil {
		return verdict.NotShown, "", err
	}
	if err := e.Run(progress); err != nil {
		return verdict.NotShown, "", err
	}
	said, err = judge(e)
	return said, e.States().String(), err
}
