package graph

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/fault"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Graph is every transition that the tabulated parts of a site can reach. Each
// part is tabulated with its neighbours free: nothing that can happen is left
// out; a transition that only its neighbours prevent may be in it.
type Graph struct {
	Transitions []Transition
	at          map[Transition]int
	cones       [][]int // by transition: the outputs of the graph in whose cone it lies
}

// builder makes a graph.
type builder struct {
	*runs.Bench
	made   *Graph
	output int
	steps  map[monitor.Config][]Transition // of a channel with these settings, without its number
	losses map[interlock.Reason][]Why      // of this output
}

// Make finds the transitions of the wanted outputs, of every channel and
// vessel that they hang on, and the faults in their cones.
func Make(m *model.Model, o model.Options) (*Graph, error) {
	outputs, err := m.OutputsNamed(o.Outputs)
	if err != nil {
		return nil, err
	}
	g := &builder{Bench: runs.NewBench(m, o), made: &Graph{at: map[Transition]int{}}, steps: map[monitor.Config][]Transition{}}
	for _, output := range outputs {
		g.output, g.losses = output, map[interlock.Reason][]Why{}
		for _, channel := range g.coneChannels(output) {
			if err := g.channel(channel); err != nil {
				return nil, err
			}
		}
		if err := g.outputs(output); err != nil {
			return nil, err
		}
		for _, vessel := range m.Config.VesselsOf(output) {
			g.vessel(vessel)
		}
		g.bypasses(output)
		for _, f := range fault.Near(g.Bench, output) {
			g.add(Transition{Fault: f.Fault.Name, Place: f.On})
		}
	}
	return g.made, nil
}

// add puts a transition into the graph once, and notes whose cone it lies in.
func (g *builder) add(t Transition) {
	i, known := g.made.at[t]
	if !known {
		i = len(g.made.Transitions)
		g.made.at[t] = i
		g.made.Transitions = append(g.made.Transitions, t)
		g.made.cones = append(g.made.cones, nil)
	}
	if have := &g.made.cones[i]; !slices.Contains(*have, g.output) {
		*have = append(*have, g.output)
	}
}

// Has says that a transition is in the graph.
func (g *Graph) Has(t Transition) bool {
	_, ok := g.at[t]
	return ok
}

// Outputs are those of the graph in whose cone a transition lies.
func (g *Graph) Outputs(t Transition) []int {
	if i, ok := g.at[t]; ok {
		return g.cones[i]
	}
	return nil
}

// coneChannels are the channels of an output's permissive and of its vessels.
func (g *builder) coneChannels(output int) []int {
	list := g.Model.ChannelsOf(output, -1)
	for _, vessel := range g.Model.Config.VesselsOf(output) {
		for _, channel := range g.Model.ChannelsOf(output, vessel) {
			if !slices.Contains(list, channel) {
				list = append(list, channel)
			}
		}
	}
	return list
}

// channel adds every step between phases of one channel's table.
func (g *builder) channel(channel int) error {
	steps, err := g.stepsOf(&g.Model.Config.Channels[channel].Config)
	for _, t := range steps {
		t.Subject = channel
		g.add(t)
	}
	return err
}

// stepsOf are the steps of channels with these settings, looked up once for all.
func (g *builder) stepsOf(c *monitor.Config) ([]Transition, error) {
	if list, known := g.steps[*c]; known {
		return list, nil
	}
	steps, err := g.ChannelTable(c)
	if err != nil {
		return nil, err
	}
	var list []Transition
	for before := monitor.Phase(0); before < monitor.Phases; before++ {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			for after := monitor.Phase(0); after < monitor.Phases; after++ {
				if steps.Passes(before, news, after) {
					list = append(list, stepping(0, before, news, after))
				}
			}
		}
	}
	g.steps[*c] = list
	return list, nil
}

// outputs adds every change of mode of one output's table, and what its buttons
// and its actuator can tell.
func (g *builder) outputs(output int) error {
	c := g.Model.Config
	o := &c.Outputs[output]
	steps, err := g.OutputTable(o, true)
	if err != nil {
		return err
	}
	for _, word := range steps.States {
		steps.Shape.Each(uint32(word&(1<<table.WatchShift-1)), func(s interlock.OutputControl) {
			steps.Shape.EachScan(s.Mode == interlock.Enabled, func(l *table.OutputScan) {
				_, told := g.Logic.Output(o, s, l.Arm(steps.Shape))
				g.told(output, s.Mode, l, &told)
			})
		})
	}
	for _, spoil := range g.spoils(o.Reset, o.Press) {
		g.add(Transition{Kind: interlock.ResetIgnored, Subject: output, Spoil: spoil})
	}
	if o.Start != 0 {
		g.add(Transition{Kind: interlock.StartIgnored, Subject: output})
	}
	return nil
}

// told adds what one step of an output's table tells.
func (g *builder) told(output int, before interlock.Mode, l *table.OutputScan, told *interlock.OutputTold) {
	switch kind := stopOf(told); {
	case kind != interlock.NoEvent:
		if l.Ended && !g.mayEnd(output) {
			return
		}
		for _, why := range g.alone(output, told.Reasons) {
			g.add(Transition{Kind: kind, Subject: output, Mode: before, Why: why})
		}
	case told.Enabled:
		g.add(enabling(g.Model.Config, output, before, told.ResetGiven))
	case told.ResetGiven:
		g.add(resetting(output, before))
	}
	for _, t := range unconfirmed(output, told.Unconfirmed) {
		g.add(t)
	}
	if told.Reported {
		g.add(Transition{Kind: interlock.ActuatorReported, Subject: output})
	}
}

// stopOf is the event of an output that no longer runs.
func stopOf(told *interlock.OutputTold) interlock.Kind {
	switch {
	case told.Tripped:
		return interlock.OutputTripped
	case told.Released:
		return interlock.OutputReleased
	case told.Stopped:
		return interlock.OutputStopped
	}
	return interlock.NoEvent
}

// mayEnd says that the flow through a running output can be confirmed stopped:
// only another output in series can do that.
func (g *builder) mayEnd(output int) bool {
	c := g.Model.Config
	for _, stream := range c.StreamsOf(output) {
		if len(c.Streams[stream].Through) < 2 {
			return false
		}
	}
	return len(c.StreamsOf(output)) > 0
}

// alone lists the kinds of reasons that a stop can have which has exactly these
// reasons: several at once explain nothing, so they are no kind.
func (g *builder) alone(output int, r interlock.Reasons) (list []Why) {
	switch r {
	case interlock.ReasonNotMet, interlock.ReasonUnknown:
		if _, known := g.losses[r]; !known {
			g.losses[r] = lossesOf(g.Model.Config.Outputs[output].Permissive, r, g.canBe)
		}
		return g.losses[r]
	case interlock.ReasonOverrun: // the table's name for all that is as hard
		list = append(list, Why{Reason: r})
		if g.canBeCalled(output) {
			list = append(list, Why{Reason: interlock.ReasonBackup})
		}
	case interlock.ReasonStop, interlock.ReasonUnconfirmed:
		list = append(list, Why{Reason: r})
	}
	return list
}

// canBeCalled says that another output can call this one as its backup.
func (g *builder) canBeCalled(output int) bool {
	c := g.Model.Config
	for _, caller := range c.CallersOf(output) {
		if c.Outputs[caller].AtOnce || c.Outputs[caller].Confirmable() {
			return true
		}
	}
	return false
}

// canBe is what a cause can turn into while an output runs.
func (g *builder) canBe(cause int) model.TruthSet {
	c := g.Model.Config
	if cause >= len(c.Channels) || c.Channels[cause].Evidence != 0 {
		return model.AnyTruth
	}
	set := model.SetOf(interlock.True)
	steps, err := g.ChannelTable(&c.Channels[cause].Config)
	if err != nil {
		return model.AnyTruth
	}
	for state := range steps.States {
		keep, _ := g.Logic.Fitness(steps.Phase(uint32(state)))
		set |= model.SetOf(keep)
	}
	return set
}

// lossesOf lists the smallest losses of a permissive for a reason: a minimal cut
// set of which all are unfit, or a cause under a NOT that has come true.
func lossesOf(p interlock.Permissive, reason interlock.Reason, canBe func(cause int) model.TruthSet) (list []Why) {
	wanted := interlock.False
	if reason == interlock.ReasonUnknown {
		wanted = interlock.Unknown
	}
	for _, set := range model.CutSets(p) {
		if model.Outcomes(p, func(cause int) model.TruthSet {
			if slices.Contains(set, cause) {
				return canBe(cause) & model.Unfit
			}
			return model.AnyTruth
		}).Has(wanted) {
			list = append(list, unfit(reason, set))
		}
	}
	for _, cause := range blocking(p) {
		if reason == interlock.ReasonNotMet {
			list = append(list, cameTrue(reason, cause))
		}
	}
	return list
}

func unfit(reason interlock.Reason, set []int) Why {
	why := Why{Reason: reason}
	for _, cause := range set {
		why.Causes.Add(cause)
	}
	return why
}

func cameTrue(reason interlock.Reason, cause int) Why {
	why := unfit(reason, []int{cause})
	why.Not = true
	return why
}

// blocking lists the causes that keep a permissive from being true while they
// are true themselves.
func blocking(p interlock.Permissive) (list []int) {
	set := p.Causes()
	set.Each(func(c int) {
		if !model.Outcomes(p, func(cause int) model.TruthSet {
			if cause == c {
				return model.SetOf(interlock.True)
			}
			return model.AnyTruth
		}).Has(interlock.True) {
			list = append(list, c)
		}
	})
	return list
}

// enabling is how an output came to run: what it had waited for last.
func enabling(c *interlock.Config, output int, before interlock.Mode, reset bool) Transition {
	t := Transition{Kind: interlock.OutputEnabled, Subject: output, Mode: before}
	switch o := &c.Outputs[output]; {
	case o.Start != 0:
		t.Why.Reason = interlock.ReasonStart
	case reset || !o.Automatic:
		t.Why.Reason = interlock.ReasonReset
	}
	return t
}

// resetting is a reset that does not make an output run by itself.
func resetting(output int, before interlock.Mode) Transition {
	return Transition{Kind: interlock.ResetGiven, Subject: output, Mode: before, Why: Why{Reason: interlock.ReasonReset}}
}

// unconfirmed is every way in which an actuator failed to report.
func unconfirmed(output int, u interlock.Unconfirmed) (list []Transition) {
	u.Each(func(one interlock.Unconfirmed) {
		list = append(list, Transition{Kind: interlock.ActuatorUnconfirmed, Subject: output, Unconfirmed: one})
	})
	return list
}

// spoils lists the ways in which presses of a button can come to nothing, from
// every state that the button can be in while its conditions come and go.
func (g *builder) spoils(ref interlock.Ref, p interlock.Press) (list []interlock.Spoil) {
	if ref == 0 {
		return nil
	}
	known := map[interlock.Button]bool{{}: true}
	todo := []interlock.Button{{}}
	seen := map[interlock.Spoil]bool{}
	for len(todo) > 0 {
		b := todo[0]
		todo = todo[1:]
		for _, l := range table.Levels {
			for conditions := 0; conditions < 4; conditions++ {
				next, spoil := g.Logic.Button(p, b, l.Value, l.Fresh, conditions&1 == 1, conditions&2 == 2)
				if !known[next] {
					known[next] = true
					todo = append(todo, next)
				}
				if spoil != interlock.NotSpoiled && !seen[spoil] {
					seen[spoil] = true
					list = append(list, spoil)
				}
			}
		}
	}
	return list
}

// vessel adds what one vessel's table can tell.
func (g *builder) vessel(vessel int) {
	v := &g.Model.Config.Vessels[vessel]
	steps := table.TabulateVessel(g.Logic, v)
	told := map[interlock.Kind]bool{}
	for _, state := range steps.States {
		for n := 0; n < table.VesselScans; n++ {
			if l := table.VesselScanOf(n); !(l.Still && l.FlowSeen) { // a stream that is still is not seen to flow
				steps.Tell(state, l, told)
			}
		}
	}
	for kind := interlock.MayBeCharged; kind <= interlock.ReleasedTooSoon; kind++ {
		if told[kind] {
			g.add(Transition{Kind: kind, Subject: vessel})
		}
	}
	for _, spoil := range g.spoils(v.Acknowledge, v.Press) {
		g.add(Transition{Kind: interlock.AcknowledgeIgnored, Subject: vessel, Spoil: spoil})
	}
}

// bypasses adds what the bypasses of an output's channels can tell.
func (g *builder) bypasses(output int) {
	c := g.Model.Config
	set := c.Outputs[output].Permissive.Causes()
	for i := range c.Bypasses {
		b := &c.Bypasses[i]
		if !set.Has(b.Channel) {
			continue
		}
		for kind := interlock.BypassBegan; kind <= interlock.BypassIgnored; kind++ {
			if kind != interlock.BypassEnding || b.Warn < b.For {
				g.add(Transition{Kind: kind, Subject: i})
			}
		}
	}
}
