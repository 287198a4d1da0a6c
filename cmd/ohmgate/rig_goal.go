package main

import (
	"slices"
	"strings"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock"
	"ohmgate/interlock/verify/graph"
	"ohmgate/monitor"
)

// goal is a transition of the verified graph as a bench sees it: what must be done at the terminals to bring it about. The
// graph says some of this in words that records keep; they are compared as a whole here, and read nowhere else.
func (f *rigFiles) goal(t graph.Transition) stimulus.Goal {
	made := stimulus.Goal{Name: t.Name, Text: t.String()}
	output := f.site.OutputIndex(t.Name)
	switch t.Kind {
	case graph.KindChannel:
		made.Kind, made.From, made.Class = stimulus.Channel, phaseNamed(t.From), classNamed(t.Why)
	case graph.KindOutput:
		made.Kind = stimulus.Output
		f.modeGoal(&made, output, t)
	case graph.KindReset:
		made.Kind, made.Unknown = stimulus.Reset, t.Why == interlock.NoWord.String()
		made.Moves = []string{f.site.Outputs[output].Reset}
		if t.To == startRefused {
			made.Moves = []string{f.site.Outputs[output].Start}
		}
	case graph.KindActuator:
		made.Kind, made.Moves = stimulus.Actuator, f.endSwitches(output)
		made.Unknown = slices.Contains([]string{"unknown when withheld", "unknown when enabled"}, t.Why)
	case graph.KindVessel:
		made.Kind, made.Unknown = stimulus.Vessel, t.Why == interlock.NoWord.String()
		if told := []string{interlock.Acknowledged.String(), interlock.AcknowledgeIgnored.String()}; slices.Contains(told, t.To) {
			made.Moves = f.acknowledge(t.Name)
		}
	case graph.KindBypass:
		made.Kind, made.Moves = stimulus.Bypass, f.bypassInput(t.Name)
	case graph.KindFault:
		made.Kind, made.Fault = stimulus.Fault, t.To
	}
	return made
}

const startRefused = "start refused"

// modeGoal is what a change of an output's mode takes.
func (f *rigFiles) modeGoal(made *stimulus.Goal, output int, t graph.Transition) {
	o := &f.site.Outputs[output]
	switch why := strings.TrimSuffix(t.Why, ", flow had ended"); {
	case len(t.Needs) > 0:
		made.Moves, made.Unknown = t.Needs, strings.HasPrefix(why, "permissive unknown: ")
	case why == "scan overrun":
		made.Inside = true
	case why == "stop asked for":
		made.Moves = []string{o.Stop}
	case why == "actuator unconfirmed":
		made.Moves = f.endSwitches(output)
	case why == "start":
		made.Moves = []string{o.Start}
	case why == "reset":
		made.Moves = []string{o.Reset}
	}
}

// endSwitches are the inputs that an output's actuator reports with.
func (f *rigFiles) endSwitches(output int) []string {
	o := &f.site.Outputs[output]
	return slices.DeleteFunc([]string{o.Closed, o.Opened}, func(name string) bool { return name == "" })
}

func (f *rigFiles) acknowledge(vessel string) []string {
	for i := range f.site.Vessels {
		if v := &f.site.Vessels[i]; v.Name == vessel && v.Acknowledge != "" {
			return []string{v.Acknowledge}
		}
	}
	return nil
}

func (f *rigFiles) bypassInput(bypass string) []string {
	for i := range f.site.Bypasses {
		if b := &f.site.Bypasses[i]; b.Name == bypass {
			return []string{b.Input}
		}
	}
	return nil
}

func phaseNamed(text string) monitor.Phase {
	for phase := monitor.Phase(0); phase < monitor.Phases; phase++ {
		if phase.String() == text {
			return phase
		}
	}
	panic("no phase is called " + text) // the graph writes them with String
}

func classNamed(text string) monitor.Class {
	for class := monitor.Class(0); class < monitor.Classes; class++ {
		if class.String() == text {
			return class
		}
	}
	panic("no class is called " + text)
}
