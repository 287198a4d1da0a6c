package coverage

import (
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock"
	"ohmgate/interlock/verify/graph"
	"ohmgate/interlock/verify/model"
)

var goalKinds = [graph.Groups]stimulus.Kind{
	graph.OfChannel: stimulus.Channel, graph.OfOutput: stimulus.Output, graph.OfReset: stimulus.Reset, graph.OfActuator: stimulus.Actuator,
	graph.OfVessel: stimulus.Vessel, graph.OfBypass: stimulus.Bypass, graph.OfFault: stimulus.Fault,
}

// goal is a transition of the verified graph as a bench sees it: what must be done at the terminals to bring it about.
func goal(m *model.Model, t graph.Transition) stimulus.Goal {
	needs := t.Needs(m.Config)
	made := stimulus.Goal{Kind: goalKinds[t.Group()], Name: t.SubjectName(m), Text: t.Text(m), Unknown: needs.Unknown, Inside: needs.Inside, Fault: t.Fault}
	if t.Kind == interlock.PhaseChanged {
		made.From, made.Class = t.Before, t.News
	}
	for _, cause := range needs.Causes {
		made.Moves = append(made.Moves, m.Cause(cause))
	}
	return made
}
