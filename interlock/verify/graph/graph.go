package graph

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/fault"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Kinds of transitions of the verified graph.
const (
	KindChannel  = "channel"  // a phase, the class of what is new, the phase that follows
	KindOutput   = "output"   // a change of an output's mode, with its reason
	KindReset    = "reset"    // a press of reset or start, and why it does not count
	KindActuator = "actuator" // an actuator that does not report, and reports again
	KindVessel   = "vessel"   // what is told of a vessel
	KindBypass   = "bypass"   // what is told of a bypass
	KindFault    = "fault"    // a fault of the catalogue at one place
)

// Kinds lists the kinds in the order in which people read them.
var Kinds = []string{KindChannel, KindOutput, KindReset, KindActuator, KindVessel, KindBypass, KindFault}

// Transition is one thing that a part of the logic can do in one scan, or one
// fault at one place. Its text is its name: records keep it.
type Transition struct {
	Kind string `json:"kind"`
	Name string `json:"name"`           // channel, output, vessel or bypass; of a fault its place
	From string `json:"from,omitempty"` // phase or mode before
	To   string `json:"to"`             // phase or mode after; else what happens
	Why  string `json:"why,omitempty"`  // class of the news, or reason
	// Needs are the causes that must be unfit for it, by name, where it is the
	// loss of a permissive.
	Needs []string `json:"needs,omitempty"`
	// Outputs are those of the graph in whose cone it lies.
	Outputs []string `json:"outputs,omitempty"`
}

// String is the transition's stable name.
func (t Transition) String() string {
	switch {
	case t.Kind == KindFault:
		return t.To + " on " + t.Name
	case t.From == "" && t.Why == "":
		return t.Name + ": " + t.To
	case t.From == "":
		return fmt.Sprintf("%s: %s (%s)", t.Name, t.To, t.Why)
	}
	return fmt.Sprintf("%s: %s -> %s (%s)", t.Name, t.From, t.To, t.Why)
}

// Graph is every transition that the tabulated parts of a site can reach. Each
// part is tabulated with its neighbours free: nothing that can happen is left
// out; a transition that only its neighbours prevent may be in it.
type Graph struct {
	Site        string       `json:"site"`
	Hash        string       `json:"site_sha256"`
	Transitions []Transition `json:"transitions"`
	at          map[string]int
}

// grower makes a graph.
type grower struct {
	*runs.Bench
	made   *Graph
	output string
}

// Make finds the transitions of the wanted outputs, of every channel and
// vessel that they hang on, and the faults in their cones.
func Make(m *model.Model, o model.Options) (*Graph, error) {
	outputs, err := m.OutputsNamed(o.Outputs)
	if err != nil {
		return nil, err
	}
	g := &grower{Bench: runs.NewBench(m, o), made: &Graph{Site: m.Site, Hash: m.Hash, at: map[string]int{}}}
	for _, output := range outputs {
		g.output = m.Names.Outputs[output]
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
			g.add(Transition{Kind: KindFault, Name: f.On, To: f.Fault.Name})
		}
	}
	return g.made, nil
}

// add puts a transition into the graph once, and notes whose cone it lies in.
func (g *grower) add(t Transition) {
	text := t.String()
	i, known := g.made.at[text]
	if !known {
		i = len(g.made.Transitions)
		g.made.at[text] = i
		g.made.Transitions = append(g.made.Transitions, t)
	}
	have := &g.made.Transitions[i].Outputs
	if !slices.Contains(*have, g.output) {
		*have = append(*have, g.output)
	}
}

// Has says that a transition of this name is in the graph.
func (g *Graph) Has(name string) bool {
	_, ok := g.at[name]
	return ok
}

// coneChannels are the channels of an output's permissive and of its vessels.
func (g *grower) coneChannels(output int) []int {
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
func (g *grower) channel(channel int) error {
	steps, err := g.ChannelTable(&g.Model.Config.Channels[channel].Config)
	if err != nil {
		return err
	}
	for from := monitor.Phase(0); from < monitor.Phases; from++ {
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			for to := monitor.Phase(0); to < monitor.Phases; to++ {
				if steps.Passes(from, news, to) {
					g.add(phaseTransition(g.Model.Names.Channels[channel], from, news, to))
				}
			}
		}
	}
	return nil
}

func phaseTransition(name string, from monitor.Phase, news monitor.Class, to monitor.Phase) Transition {
	return Transition{Kind: KindChannel, Name: name, From: from.String(), To: to.String(), Why: news.String()}
}

// outputs adds every change of mode of one output's table, and what its buttons
// and its actuator can tell.
func (g *grower) outputs(output int) error {
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
		g.add(resetRefused(g.output, spoil))
	}
	if o.Start != 0 {
		g.add(Transition{Kind: KindReset, Name: g.output, To: "start refused"})
	}
	return nil
}

// told adds what one step of an output's table tells.
func (g *grower) told(output int, before interlock.Mode, l *table.OutputScan, told *interlock.OutputTold) {
	c := g.Model.Config
	switch {
	case told.Tripped || told.Released || told.Stopped:
		if l.Ended && !g.mayEnd(output) {
			return
		}
		after := interlock.KeptOut
		if told.Tripped {
			after = interlock.Tripped
		}
		for _, why := range g.alone(output, told.Reasons) {
			g.add(modeTransition(g.output, before, after, why, told.Released))
		}
	case told.Enabled:
		g.add(enabling(g.output, &c.Outputs[output], before, told.ResetGiven))
	case told.ResetGiven:
		g.add(modeTransition(g.output, before, interlock.KeptOut, reason{text: "reset"}, false))
	}
	for _, t := range actuator(g.output, told.Unconfirmed, told.Reported) {
		g.add(t)
	}
}

// mayEnd says that the flow through a running output can be confirmed stopped:
// only another output in series can do that.
func (g *grower) mayEnd(output int) bool {
	c := g.Model.Config
	for _, stream := range c.StreamsOf(output) {
		if len(c.Streams[stream].Through) < 2 {
			return false
		}
	}
	return len(c.StreamsOf(output)) > 0
}

// reason is one kind of reason of a stop, with the causes that it takes.
type reason struct {
	text  string
	needs []string
}

// alone lists the kinds of reasons that a stop can have which has exactly these
// reasons: several at once explain nothing, so they are no kind.
func (g *grower) alone(output int, r interlock.Reasons) (list []reason) {
	switch r {
	case interlock.ReasonNotMet, interlock.ReasonUnknown:
		return lossesOf(g.Model, output, r == interlock.ReasonUnknown, g.canBe)
	case interlock.ReasonOverrun: // the table's name for all that is as hard
		list = append(list, reason{text: "scan overrun"})
		if g.canBeCalled(output) {
			list = append(list, reason{text: "backup called"})
		}
	case interlock.ReasonStop:
		list = append(list, reason{text: "stop asked for"})
	case interlock.ReasonUnconfirmed:
		list = append(list, reason{text: "actuator unconfirmed"})
	}
	return list
}

// canBeCalled says that another output can call this one as its backup.
func (g *grower) canBeCalled(output int) bool {
	c := g.Model.Config
	for _, caller := range c.CallersOf(output) {
		if c.Outputs[caller].AtOnce || c.Outputs[caller].Confirmable() {
			return true
		}
	}
	return false
}

// canBe is what a cause can turn into while an output runs.
func (g *grower) canBe(cause int) model.TruthSet {
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

// lossesOf lists the smallest losses of an output's permissive: a minimal cut
// set of which all are unfit, or a cause under a NOT that has come true.
func lossesOf(m *model.Model, output int, unknown bool, canBe func(cause int) model.TruthSet) (list []reason) {
	p := m.Config.Outputs[output].Permissive
	wanted, word := interlock.False, "lost"
	if unknown {
		wanted, word = interlock.Unknown, "unknown"
	}
	for _, set := range model.CutSets(p) {
		if model.Outcomes(p, func(cause int) model.TruthSet {
			if slices.Contains(set, cause) {
				return canBe(cause) & model.Unfit
			}
			return model.AnyTruth
		}).Has(wanted) {
			list = append(list, loss(m, word, "", set))
		}
	}
	for _, cause := range blocking(p) {
		if !unknown {
			list = append(list, loss(m, word, "NOT ", []int{cause}))
		}
	}
	return list
}

func loss(m *model.Model, word, prefix string, set []int) reason {
	var names []string
	for _, cause := range set {
		names = append(names, m.Cause(cause))
	}
	return reason{fmt.Sprintf("permissive %s: %s%s", word, prefix, strings.Join(names, " and ")), names}
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

func modeTransition(name string, from, to interlock.Mode, why reason, ended bool) Transition {
	if ended {
		why.text += ", flow had ended"
	}
	return Transition{Kind: KindOutput, Name: name, From: from.String(), To: to.String(), Why: why.text, Needs: why.needs}
}

// enabling is how an output came to run.
func enabling(name string, o *interlock.Output, before interlock.Mode, reset bool) Transition {
	why := "reset"
	switch {
	case o.Start != 0:
		why = "start"
	case o.Automatic && !reset:
		why = "automatic"
	}
	return modeTransition(name, before, interlock.Enabled, reason{text: why}, false)
}

func resetRefused(name string, spoil interlock.Spoil) Transition {
	return Transition{Kind: KindReset, Name: name, To: "reset refused", Why: spoil.String()}
}

var unconfirmedTexts = [...]string{"stayed open", "stayed shut", "unknown when withheld", "unknown when enabled"}

// actuator lists what a scan tells of an actuator.
func actuator(name string, u interlock.Unconfirmed, reported bool) (list []Transition) {
	for bit, text := range unconfirmedTexts {
		if u>>bit&1 == 1 {
			list = append(list, Transition{Kind: KindActuator, Name: name, To: "actuator unconfirmed", Why: text})
		}
	}
	if reported {
		list = append(list, Transition{Kind: KindActuator, Name: name, To: "actuator reported again"})
	}
	return list
}

// spoils lists the ways in which presses of a button can come to nothing, from
// every state that the button can be in while its conditions come and go.
func (g *grower) spoils(ref interlock.Ref, p interlock.Press) (list []interlock.Spoil) {
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

// vesselTold is what is told of a vessel, in words that a record keeps.
func vesselTold(name string, kind interlock.Kind) Transition {
	return Transition{Kind: KindVessel, Name: name, To: kind.String()}
}

// vessel adds what one vessel's table can tell.
func (g *grower) vessel(vessel int) {
	v, name := &g.Model.Config.Vessels[vessel], g.Model.Names.Vessels[vessel]
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
			g.add(vesselTold(name, kind))
		}
	}
	for _, spoil := range g.spoils(v.Acknowledge, v.Press) {
		t := vesselTold(name, interlock.AcknowledgeIgnored)
		t.Why = spoil.String()
		g.add(t)
	}
}

// bypasses adds what the bypasses of an output's channels can tell.
func (g *grower) bypasses(output int) {
	c := g.Model.Config
	set := c.Outputs[output].Permissive.Causes()
	for i := range c.Bypasses {
		b := &c.Bypasses[i]
		if !set.Has(b.Channel) {
			continue
		}
		for kind := interlock.BypassBegan; kind <= interlock.BypassIgnored; kind++ {
			if kind != interlock.BypassEnding || b.Warn < b.For {
				g.add(Transition{Kind: KindBypass, Name: g.Model.Names.Bypasses[i], To: kind.String()})
			}
		}
	}
}
