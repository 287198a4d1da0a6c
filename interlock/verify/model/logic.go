package model

import (
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Logic is the seam through which the verifier calls the logic. Real is what
// runs; a mutant is Real with one function replaced by a slightly wrong one. The
// logic itself has no hooks.
type Logic struct {
	Advance func(c *monitor.Config, s monitor.Control, news monitor.Class) monitor.Control
	Parted  func(was bool, before, after *monitor.State) (now, again bool)
	Fitness func(p monitor.Phase) (keep, start interlock.Truth)
	Eval    func(p interlock.Permissive, value []interlock.Truth) interlock.Truth
	Output  func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold)
	Vessel  func(c *interlock.Vessel, s interlock.VesselState, in interlock.VesselScan) (interlock.VesselState, interlock.VesselTold)
	Stream  func(c *interlock.Stream, s interlock.StreamState, stopped bool) interlock.StreamState
	Button  func(p interlock.Press, b interlock.Button, level interlock.Truth, fresh, already, still bool) (interlock.Button, interlock.Spoil)
	Bypass  func(c *interlock.Bypass, s interlock.BypassState, level interlock.Truth, fresh bool) interlock.BypassState
	Input   func(c *interlock.Input, s interlock.InputState, in interlock.Signal) (next interlock.InputState, fresh bool)
	Look    func(c *interlock.Config, stream int, s *interlock.State) (stopped, seen bool)
	Step    func(c *interlock.Config, s *interlock.State, in *interlock.Inputs, d *interlock.Decision)
}

// Real is the logic that runs everywhere else.
func Real() *Logic {
	return &Logic{
		Advance: monitor.Advance,
		Parted:  interlock.Parted,
		Fitness: interlock.Fitness,
		Eval:    func(p interlock.Permissive, value []interlock.Truth) interlock.Truth { return p.Eval(value) },
		Output:  interlock.StepOutput,
		Vessel:  interlock.StepVessel,
		Stream:  interlock.StepStream,
		Button:  interlock.StepButton,
		Bypass:  interlock.StepBypass,
		Input:   interlock.StepInput,
		Look:    (*interlock.Config).Look,
		Step:    interlock.Step,
	}
}
