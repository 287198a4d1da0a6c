package verify

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// Mutant is the logic with one mistake planted in it, through the seam that the
// verifier calls it by; the logic that runs has no hooks.
type Mutant struct {
	Name  string
	Kind  string // off by one | swapped branch | dropped state | inverted quality | skipped input | engine
	plant func(l *model.Logic)
	part  part                      // what the mistake can change
	skip  func(row, level int) bool // a mistake in the search engine itself
}

// part says which tables a mutant can change; the others are taken over from the
// unchanged logic.
type part uint8

const (
	partAny     part = iota // everything is tabulated and searched again
	partChannel             // output tables stay
	partOutput              // channel tables stay
	partVessel              // channel and output tables stay
	partStep                // tables and searches stay
)

// channelMutant plants a mistake around the step of a channel.
func channelMutant(kind, name string, change func(c monitor.Config, s, next monitor.Control, news monitor.Class, again func(monitor.Config, monitor.Control, monitor.Class) monitor.Control) monitor.Control) Mutant {
	return Mutant{Name: name, Kind: kind, part: partChannel, plant: func(l *model.Logic) {
		real := l.Advance
		l.Advance = func(c *monitor.Config, s monitor.Control, news monitor.Class) monitor.Control {
			return change(*c, s, real(c, s, news), news, func(c monitor.Config, s monitor.Control, news monitor.Class) monitor.Control {
				return real(&c, s, news)
			})
		}
	}}
}

type again = func(monitor.Config, monitor.Control, monitor.Class) monitor.Control

var channelMutants = []Mutant{
	channelMutant("off by one", "a bond after one scan less of settling", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		c.SettleScans--
		return step(c, s, n)
	}),
	channelMutant("off by one", "a bond after one reading less", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		c.SettleReadings--
		return step(c, s, n)
	}),
	channelMutant("off by one", "doubtful one scan longer", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		c.LongestStay++
		return step(c, s, n)
	}),
	channelMutant("off by one", "a budget of doubt that is one scan larger", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		c.Full += c.Cost[monitor.High]
		return step(c, s, n)
	}),
	channelMutant("off by one", "a gap counts as news one scan longer", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		c.StaleAfter++
		return step(c, s, n)
	}),
	channelMutant("swapped branch", "high spends what missing spends", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		c.Cost[monitor.High], c.Cost[monitor.Missing] = c.Cost[monitor.Missing], c.Cost[monitor.High]
		return step(c, s, n)
	}),
	channelMutant("swapped branch", "open is taken as between", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		if n == monitor.Open {
			n = monitor.Between
		}
		return step(c, s, n)
	}),
	channelMutant("swapped branch", "between repays like good", func(c monitor.Config, s, next monitor.Control, n monitor.Class, step again) monitor.Control {
		if n == monitor.Between && s.Phase == monitor.Doubtful {
			return step(c, s, monitor.Good)
		}
		return next
	}),
	channelMutant("swapped branch", "a repeated reading settles like a fresh one", func(c monitor.Config, s, next monitor.Control, n monitor.Class, step again) monitor.Control {
		if n == monitor.Missing && s.Phase == monitor.Settling && next.Class == monitor.Good {
			return step(c, s, monitor.Good)
		}
		return next
	}),
	channelMutant("swapped branch", "a repeated bad reading spends nothing", func(_ monitor.Config, s, next monitor.Control, n monitor.Class, _ again) monitor.Control {
		if n == monitor.Missing && s.Phase == monitor.Doubtful && next.Class == s.Class {
			next.Phase, next.Doubt, next.Stay = s.Phase, s.Doubt, s.Stay
		}
		return next
	}),
	channelMutant("dropped state", "settling is left out", func(_ monitor.Config, s, next monitor.Control, _ monitor.Class, _ again) monitor.Control {
		if next.Phase == monitor.Settling && s.Phase != monitor.Settling {
			next = monitor.Control{Phase: monitor.Bonded, Class: next.Class, Age: next.Age}
		}
		return next
	}),
	channelMutant("dropped state", "lost is forgotten: back to bonded on a good reading", func(_ monitor.Config, s, next monitor.Control, n monitor.Class, _ again) monitor.Control {
		if s.Phase == monitor.Lost && n == monitor.Good {
			return monitor.Control{Phase: monitor.Bonded, Class: monitor.Good}
		}
		return next
	}),
	channelMutant("dropped state", "doubt is forgotten from scan to scan", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		s.Doubt = 0
		return step(c, s, n)
	}),
	channelMutant("dropped state", "the age of a reading is forgotten", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		s.Age = 0
		return step(c, s, n)
	}),
	channelMutant("inverted quality", "invalid is taken as good", func(c monitor.Config, s, _ monitor.Control, n monitor.Class, step again) monitor.Control {
		if n == monitor.Invalid {
			n = monitor.Good
		}
		return step(c, s, n)
	}),
	channelMutant("skipped input", "missing readings are passed over", func(_ monitor.Config, s, next monitor.Control, n monitor.Class, _ again) monitor.Control {
		if n == monitor.Missing {
			return s
		}
		return next
	}),
	channelMutant("skipped input", "high readings are passed over while bonded", func(_ monitor.Config, s, next monitor.Control, n monitor.Class, _ again) monitor.Control {
		if n == monitor.High && s.Phase == monitor.Bonded {
			return s
		}
		return next
	}),
	{Name: "doubtful is fit to start", Kind: "swapped branch", plant: func(l *model.Logic) {
		l.Fitness = func(p monitor.Phase) (keep, start interlock.Truth) {
			keep, _ = interlock.Fitness(p)
			return keep, keep
		}
	}},
	{Name: "lost is fit to keep", Kind: "swapped branch", plant: func(l *model.Logic) {
		l.Fitness = func(p monitor.Phase) (keep, start interlock.Truth) {
			if p == monitor.Lost {
				return interlock.True, interlock.False
			}
			return interlock.Fitness(p)
		}
	}},
	{Name: "unreadable counts as true", Kind: "inverted quality", plant: func(l *model.Logic) {
		l.Fitness = func(p monitor.Phase) (keep, start interlock.Truth) {
			if p == monitor.Unreadable {
				return interlock.True, interlock.True
			}
			return interlock.Fitness(p)
		}
	}},
	{Name: "AND is evaluated as OR", Kind: "swapped branch", plant: func(l *model.Logic) {
		l.Eval = func(p interlock.Permissive, value []interlock.Truth) interlock.Truth {
			return changed(p, func(n *interlock.Node) {
				if n.Op == interlock.OpAnd {
					n.Op = interlock.OpOr
				}
			}).Eval(value)
		}
	}},
	{Name: "a vote needs one fewer", Kind: "off by one", plant: func(l *model.Logic) {
		l.Eval = func(p interlock.Permissive, value []interlock.Truth) interlock.Truth {
			return changed(p, func(n *interlock.Node) { n.M-- }).Eval(value)
		}
	}},
	{Name: "unknown counts as true in a permissive", Kind: "inverted quality", plant: func(l *model.Logic) {
		l.Eval = func(p interlock.Permissive, value []interlock.Truth) interlock.Truth {
			known := make([]interlock.Truth, len(value))
			for i, t := range value {
				known[i] = t
				if t == interlock.Unknown {
					known[i] = interlock.True
				}
			}
			return p.Eval(known)
		}
	}},
}

// changed is a copy of a permissive with every node changed.
func changed(p interlock.Permissive, change func(*interlock.Node)) interlock.Permissive {
	list := append(interlock.Permissive(nil), p...)
	for i := range list {
		change(&list[i])
	}
	return list
}

// outputMutant plants a mistake around the step of an output.
func outputMutant(kind, name string, change func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold)) Mutant {
	return Mutant{Name: name, Kind: kind, part: partOutput, plant: func(l *model.Logic) {
		real := l.Output
		l.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
			return change(*c, s, in, func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
				return real(&c, s, in)
			})
		}
	}}
}

type outputStep = func(interlock.Output, interlock.OutputControl, interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold)

var outputMutants = []Mutant{
	outputMutant("swapped branch", "an unknown permissive keeps it running", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if in.Keep == interlock.Unknown {
			in.Keep = interlock.True
		}
		return step(c, s, in)
	}),
	outputMutant("skipped input", "a permissive that goes is seen one scan late", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode == interlock.Enabled && !s.Ready && in.Keep != interlock.True {
			next := s
			next.Ready = true
			return next, interlock.OutputTold{}
		}
		return step(c, s, in)
	}),
	outputMutant("skipped input", "the start is not asked for the permissive", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode != interlock.Enabled {
			in.Start, in.Keep = interlock.True, interlock.True
		}
		return step(c, s, in)
	}),
	outputMutant("skipped input", "the start is not asked for what would keep it running", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode != interlock.Enabled {
			in.Keep = in.Start
		}
		return step(c, s, in)
	}),
	outputMutant("skipped input", "the start is not asked for what is fit to start", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode != interlock.Enabled {
			in.Start = in.Keep
		}
		return step(c, s, in)
	}),
	outputMutant("off by one", "the on-delay ends one scan early", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if c.OnDelay > 0 {
			c.OnDelay--
		}
		return step(c, s, in)
	}),
	outputMutant("off by one", "the travel time is one scan longer", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		c.Travel++
		return step(c, s, in)
	}),
	outputMutant("off by one", "a press may be one scan shorter", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		c.Press.Min--
		return step(c, s, in)
	}),
	outputMutant("off by one", "a press may be one scan longer", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		c.Press.Max++
		return step(c, s, in)
	}),
	outputMutant("dropped state", "an armed reset outlives its conditions", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		next, told := step(c, s, in)
		next.Armed = next.Armed || s.Armed && next.Mode != interlock.Enabled
		return next, told
	}),
	outputMutant("dropped state", "a trip is forgotten: it restarts by itself", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		c.Automatic = true
		return step(c, s, in)
	}),
	outputMutant("skipped input", "an actuator that still moves is enabled again", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode != interlock.Enabled && s.Unconfirmed == 0 && s.Disagree < c.Travel {
			in.Home = true
		}
		return step(c, s, in)
	}),
	outputMutant("dropped state", "the latch of an unconfirmed actuator is lost", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		next, told := step(c, s, in)
		if s.Unconfirmed != 0 && in.Home {
			next.Unconfirmed = 0
		}
		return next, told
	}),
	outputMutant("dropped state", "the disagreement is counted anew in every scan", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		s.Disagree = 0
		return step(c, s, in)
	}),
	outputMutant("swapped branch", "an unconfirmed actuator keeps running", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if s.Mode == interlock.Enabled {
			in.Home, in.Away, in.Dark = true, true, false
		}
		return step(c, s, in)
	}),
	outputMutant("swapped branch", "a press that was begun too early counts", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		s.Ready = true
		return step(c, s, in)
	}),
	outputMutant("inverted quality", "a dead reset input reads as released", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		if in.Reset == interlock.Unknown {
			in.Reset, in.ResetFresh = interlock.False, true
		}
		return step(c, s, in)
	}),
	outputMutant("inverted quality", "a repeated 0 counts as a release", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		in.ResetFresh = in.ResetFresh || in.Reset == interlock.False
		return step(c, s, in)
	}),
	outputMutant("skipped input", "a running wait is not asked", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		in.Shared &^= interlock.ReasonWait | interlock.ReasonEarly
		return step(c, s, in)
	}),
	outputMutant("skipped input", "an overrun does not stop it", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		in.Shared &^= interlock.ReasonOverrun
		return step(c, s, in)
	}),
	outputMutant("skipped input", "a stop is not asked", func(c interlock.Output, s interlock.OutputControl, in interlock.OutputScan, step outputStep) (interlock.OutputControl, interlock.OutputTold) {
		in.Shared &^= interlock.ReasonStop
		return step(c, s, in)
	}),
	{Name: "the button counts on the first released scan", Kind: "off by one", plant: func(l *model.Logic) {
		real := l.Output
		l.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
			if s.Button.Phase == interlock.Pressed {
				s.Button.Released = in.Reset == interlock.False
			}
			return real(c, s, in)
		}
	}},
	{Name: "the button of a press does not ask for its length", Kind: "skipped input", plant: func(l *model.Logic) {
		real := l.Button
		l.Button = func(p interlock.Press, b interlock.Button, level interlock.Truth, fresh, already, still bool) (interlock.Button, interlock.Spoil) {
			p.Min, p.Max = 1, monitor.ScansMax
			return real(p, b, level, fresh, already, still)
		}
	}},
}

// vesselMutant plants a mistake around the step of a vessel.
func vesselMutant(kind, name string, change func(c *interlock.Vessel, s *interlock.VesselState, in *interlock.VesselScan) func(*interlock.VesselState)) Mutant {
	return Mutant{Name: name, Kind: kind, part: partVessel, plant: func(l *model.Logic) {
		real := l.Vessel
		l.Vessel = func(c *interlock.Vessel, s interlock.VesselState, in interlock.VesselScan) (interlock.VesselState, interlock.VesselTold) {
			mine := *c
			after := change(&mine, &s, &in)
			next, told := real(&mine, s, in)
			if after != nil {
				after(&next)
			}
			return next, told
		}
	}}
}

// aside is a mistake that no table shows, only a counter beside them.
func aside(m Mutant) Mutant {
	m.part = partStep
	return m
}

var vesselMutants = []Mutant{
	vesselMutant("off by one", "the wait ends one scan early", func(c *interlock.Vessel, _ *interlock.VesselState, _ *interlock.VesselScan) func(*interlock.VesselState) {
		c.Wait--
		return nil
	}),
	vesselMutant("off by one", "the wait counts in twos", func(_ *interlock.Vessel, s *interlock.VesselState, _ *interlock.VesselScan) func(*interlock.VesselState) {
		s.Waited = s.Waited.Next()
		return nil
	}),
	vesselMutant("swapped branch", "the wait runs from the loss, not from the end of flow", func(_ *interlock.Vessel, _ *interlock.VesselState, in *interlock.VesselScan) func(*interlock.VesselState) {
		in.Still = true
		return nil
	}),
	vesselMutant("dropped state", "a loss is forgotten when the connection comes back", func(_ *interlock.Vessel, s *interlock.VesselState, in *interlock.VesselScan) func(*interlock.VesselState) {
		held := in.Bonded == interlock.True
		return func(next *interlock.VesselState) { next.Clear = next.Clear || held && !s.Held }
	}),
	vesselMutant("dropped state", "power-up forgets that a vessel may be charged", func(_ *interlock.Vessel, s *interlock.VesselState, _ *interlock.VesselScan) func(*interlock.VesselState) {
		if *s == (interlock.VesselState{}) {
			s.Clear = true
		}
		return nil
	}),
	vesselMutant("dropped state", "an early reconnection is not latched", func(_ *interlock.Vessel, _ *interlock.VesselState, _ *interlock.VesselScan) func(*interlock.VesselState) {
		return func(next *interlock.VesselState) { next.Early = false }
	}),
	vesselMutant("dropped state", "an early reconnection in the middle of a press is acknowledged by it", func(_ *interlock.Vessel, s *interlock.VesselState, in *interlock.VesselScan) func(*interlock.VesselState) {
		pressed := s.Ack.Phase == interlock.Pressed
		in.Reconnected = in.Reconnected && !pressed
		return nil
	}),
	aside(vesselMutant("skipped input", "any press acknowledges, however short", func(c *interlock.Vessel, _ *interlock.VesselState, _ *interlock.VesselScan) func(*interlock.VesselState) {
		c.Press.Min = 1
		return nil
	})),
	aside(vesselMutant("dropped state", "flow does not start the rest again", func(_ *interlock.Vessel, s *interlock.VesselState, _ *interlock.VesselScan) func(*interlock.VesselState) {
		rested := s.Rested
		return func(next *interlock.VesselState) { next.Rested = max(next.Rested, rested) }
	})),
	aside(vesselMutant("off by one", "the rest ends one scan early", func(c *interlock.Vessel, _ *interlock.VesselState, _ *interlock.VesselScan) func(*interlock.VesselState) {
		c.Rest--
		return nil
	})),
	vesselMutant("inverted quality", "an unknown bond counts as held", func(_ *interlock.Vessel, _ *interlock.VesselState, in *interlock.VesselScan) func(*interlock.VesselState) {
		if in.Bonded == interlock.Unknown {
			in.Bonded = interlock.True
		}
		return nil
	}),
	vesselMutant("skipped input", "flow without a bond is not seen", func(_ *interlock.Vessel, _ *interlock.VesselState, in *interlock.VesselScan) func(*interlock.VesselState) {
		in.FlowSeen = false
		return nil
	}),
	vesselMutant("skipped input", "a reconnection is not seen", func(_ *interlock.Vessel, _ *interlock.VesselState, in *interlock.VesselScan) func(*interlock.VesselState) {
		in.Reconnected = false
		return nil
	}),
	{Name: "the run-down ends one scan early", Kind: "off by one", plant: func(l *model.Logic) {
		real := l.Stream
		l.Stream = func(c *interlock.Stream, s interlock.StreamState, stopped bool) interlock.StreamState {
			if next := real(c, s, stopped); next.Stopped == c.RunDown {
				return interlock.StreamState{Stopped: c.RunDown + 1}
			}
			return real(c, s, stopped)
		}
	}},
	{Name: "flow does not start the run-down again", Kind: "dropped state", plant: func(l *model.Logic) {
		real := l.Stream
		l.Stream = func(c *interlock.Stream, s interlock.StreamState, stopped bool) interlock.StreamState {
			if !stopped {
				return s
			}
			return real(c, s, stopped)
		}
	}},
	{Name: "an input that does not arrive is believed one scan longer", Kind: "off by one", part: partStep, plant: func(l *model.Logic) {
		real := l.Input
		l.Input = func(c *interlock.Input, s interlock.InputState, in interlock.Signal) (interlock.InputState, bool) {
			longer := *c
			longer.StaleAfter++
			return real(&longer, s, in)
		}
	}},
	{Name: "a flow switch that is not heard of helps", Kind: "inverted quality", part: partStep, plant: func(l *model.Logic) {
		real := l.Look
		l.Look = func(c *interlock.Config, stream int, s *interlock.State) (stopped, seen bool) {
			if ref := c.Streams[stream].Flow; ref != 0 && s.Inputs[ref-1].Level == interlock.Unknown {
				known := interlock.NewState(c)
				known.CopyFrom(s)
				known.Inputs[ref-1].Level = interlock.False
				s = known
			}
			return real(c, stream, s)
		}
	}},
	{Name: "a flow switch that shows flow is passed over", Kind: "skipped input", part: partStep, plant: func(l *model.Logic) {
		real := l.Look
		l.Look = func(c *interlock.Config, stream int, s *interlock.State) (stopped, seen bool) {
			stopped, seen = real(c, stream, s)
			return stopped, seen && (c.Streams[stream].Flow == 0 || s.Inputs[c.Streams[stream].Flow-1].Level != interlock.True)
		}
	}},
	{Name: "a bypass that is on is renewed by its key", Kind: "dropped state", plant: func(l *model.Logic) {
		real := l.Bypass
		l.Bypass = func(c *interlock.Bypass, s interlock.BypassState, level interlock.Truth, fresh bool) interlock.BypassState {
			if s.Active > 1 && s.Low && level == interlock.True && fresh {
				s.Active = 1
			}
			return real(c, s, level, fresh)
		}
	}},
	{Name: "a bypass lasts one scan longer", Kind: "off by one", plant: func(l *model.Logic) {
		real := l.Bypass
		l.Bypass = func(c *interlock.Bypass, s interlock.BypassState, level interlock.Truth, fresh bool) interlock.BypassState {
			longer := *c
			longer.For++
			return real(&longer, s, level, fresh)
		}
	}},
	{Name: "a bypass is renewed without its gap", Kind: "skipped input", plant: func(l *model.Logic) {
		real := l.Bypass
		l.Bypass = func(c *interlock.Bypass, s interlock.BypassState, level interlock.Truth, fresh bool) interlock.BypassState {
			if s.Active == 0 {
				s.Gap = c.Gap.Next()
			}
			return real(c, s, level, fresh)
		}
	}},
}

// Planted is the logic with the mistake of a mutant in a part that a joint search
// tabulates, a channel or an output; false where the mistake is elsewhere.
func (m *Mutant) Planted() (*model.Logic, bool) { return m.plantedIn(partChannel, partOutput) }

// PlantedInChannel is the same for a channel alone.
func (m *Mutant) PlantedInChannel() (*model.Logic, bool) { return m.plantedIn(partChannel) }

// PlantedAside is the same for the parts that stand beside those where they are
// asked for: a vessel, a stream, a bypass.
func (m *Mutant) PlantedAside() (*model.Logic, bool) { return m.plantedIn(partVessel) }

func (m *Mutant) plantedIn(parts ...part) (*model.Logic, bool) {
	l := model.Real()
	if !slices.Contains(parts, m.part) {
		return nil, false
	}
	m.plant(l)
	return l, true
}
