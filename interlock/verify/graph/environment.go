package graph

import (
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Environment is what a bench can do to a unit.
type Environment struct {
	Shows  [][monitor.Classes]bool // by channel: classes of readings that it can show
	Drives []bool                  // by input
	Supply bool                    // it can switch the unit off and on
	// Slack is how many scans a unit may be behind: it boots, and a bus is slow. Nobody
	// presses a button sooner than that after it counts.
	Slack uint64
}

// Act is what one action does.
type Act uint8

// What a bench can do.
const (
	Show    Act = iota + 1 // a channel shows a class from now on
	Set                    // an input is set from now on
	Stick                  // an actuator stays where it is from now on
	Free                   // …and follows its command again
	Restart                // the unit loses its supply and gets it back
)

// Action is one thing that is done on the bench, at the beginning of a scan.
type Action struct {
	Scan  uint64
	Act   Act
	On    int // channel, input or output
	Class monitor.Class
	High  bool
	lasts uint64 // scans until the next action
}

// node is one state of the search: a bench, with the logic on it, at one moment.
type node struct {
	state    *interlock.State
	coils    interlock.CoilSet
	shown    []monitor.Class // by channel
	set      []bool          // by input
	stuck    []bool          // by output: its actuator
	position []model.Scans   // by output: scans away from its stopped end
	scan     uint64
	parent   int      // the node from which it was reached; -1: none
	actions  []Action // that led here from its parent
}

// successor is a copy of a node, to go on from.
func (s *exploration) successor(from int) *node {
	next := s.copyOf(&s.nodes[from])
	next.parent, next.actions = from, nil
	s.now, s.novel = next, false
	return next
}

func (s *exploration) copyOf(at *node) *node {
	same := *at
	same.state = interlock.NewState(s.model.Config)
	same.state.CopyFrom(at.state)
	same.shown, same.set, same.stuck, same.position = slices.Clone(at.shown), slices.Clone(at.set), slices.Clone(at.stuck), slices.Clone(at.position)
	return &same
}

// do changes the bench by an action, before the next scan.
func (s *exploration) do(at *node, action Action) {
	action.Scan = at.scan
	switch action.Act {
	case Show:
		at.shown[action.On] = action.Class
	case Set:
		at.set[action.On] = action.High
	case Stick, Free:
		at.stuck[action.On] = action.Act == Stick
	case Restart:
		at.state.PowerUp()
	}
	at.actions = append(at.actions, action)
}

// turn is one scan.
func (s *exploration) turn(at *node) {
	c := s.model.Config
	for i := range s.in.Readings {
		s.in.Readings[i] = table.ReadingOf(&c.Channels[i].Config, at.shown[i], uint16(at.scan+1))
	}
	for i := range at.position {
		o := &c.Outputs[i]
		switch end := strokeOf(o); {
		case at.stuck[i]:
		case at.coils.Energised(i):
			at.position[i] = min(at.position[i]+1, end)
		default:
			at.position[i] = max(at.position[i], 1) - 1
		}
	}
	for i, r := range s.driver.Roles {
		v := at.set[i]
		switch r.Kind {
		case runs.RoleClosed:
			v = at.position[r.Number] == 0
		case runs.RoleOpened:
			v = at.position[r.Number] == strokeOf(&c.Outputs[r.Number])
		case runs.RoleFlow:
			v = !slices.ContainsFunc(c.Streams[r.Number].Through, func(o int) bool { return at.position[o] == 0 })
		}
		s.in.Signals[i] = s.driver.Signal(i, model.Truth(v))
	}
	interlock.Step(c, at.state, s.in, s.decision)
	at.scan++
	at.coils = s.decision.Coils
	s.observer.scan(s.in, at.state, s.decision)
}

// strokeOf is how long an actuator needs from one end to the other here: three
// quarters of what it may, as the simulated one does.
func strokeOf(o *interlock.Output) model.Scans { return max(o.Travel/4*3, 1) }

// settled says that every actuator has come where its command wants it.
func (at *node) settled(c *interlock.Config) bool {
	for i := range at.position {
		end := model.Scans(0)
		if at.coils.Energised(i) {
			end = strokeOf(&c.Outputs[i])
		}
		if c.Outputs[i].Confirmable() && at.position[i] != end {
			return false
		}
	}
	return true
}

// slowPresses is the configuration with presses that are well within what counts.
func slowPresses(c *interlock.Config) *interlock.Config {
	slow := *c
	slow.Outputs, slow.Vessels = slices.Clone(c.Outputs), slices.Clone(c.Vessels)
	for i := range slow.Outputs {
		p := &slow.Outputs[i].Press
		p.Min += (p.Max - p.Min) / 4
	}
	for i := range slow.Vessels {
		p := &slow.Vessels[i].Press
		p.Min += (p.Max - p.Min) / 4
	}
	return &slow
}

// choose says which channels, inputs and actuators this exploration moves.
func (s *exploration) choose(focus []int) {
	c := s.model.Config
	s.driver = runs.NewDriver(model.Real(), slowPresses(c), s.output)
	moved := map[int]bool{}
	for _, cause := range focus {
		if cause >= len(c.Channels) {
			moved[cause-len(c.Channels)] = true
			continue
		}
		s.channels = append(s.channels, cause)
		if ref := c.Channels[cause].Evidence; ref != 0 {
			moved[int(ref)-1] = true
		}
		for i := range c.Bypasses {
			if c.Bypasses[i].Channel == cause {
				moved[int(c.Bypasses[i].Input)-1] = true
			}
		}
	}
	outputs := append([]int{s.output}, c.CallersOf(s.output)...)
	for _, output := range outputs {
		o := &c.Outputs[output]
		for _, ref := range [...]interlock.Ref{o.Reset, o.Start, o.Stop} {
			if ref != 0 {
				moved[int(ref)-1] = true
			}
		}
		if o.Confirmable() {
			s.actuators = append(s.actuators, output)
		}
	}
	for _, v := range c.VesselsOf(s.output) {
		if ref := c.Vessels[v].Acknowledge; ref != 0 {
			moved[int(ref)-1] = true
		}
	}
	for input := range c.Inputs {
		if moved[input] && s.environment.Drives[input] {
			s.inputs = append(s.inputs, input)
		}
	}
}

// offerWaits lists how long an exploration waits between two actions: around every time
// that the settings name.
func (s *exploration) offerWaits() {
	c, set := s.model.Config, map[uint64]bool{}
	add := func(n model.Scans) {
		if n > 0 {
			set[uint64(n)+uint64(n)/10+5+s.environment.Slack] = true
		}
	}
	for _, i := range s.channels {
		ch := &c.Channels[i]
		add(ch.SettleScans)
		set[uint64(ch.SettleScans)/2+1] = true
		add(ch.LongestStay)
		for _, class := range table.Bad {
			if n := ch.BadScans(class); n > 1 && ch.Cost[class] < ch.Full {
				add(n)
				set[uint64(n)/2] = true
			}
		}
	}
	o := &c.Outputs[s.output]
	add(o.OnDelay)
	add(o.Travel)
	add(o.Press.Min)
	add(o.Press.Max)
	for _, v := range c.VesselsOf(s.output) {
		most := c.Vessels[v].Wait
		for _, stream := range c.ChargedBy(v) {
			most = max(most, c.Vessels[v].Wait+c.Streams[stream].RunDown)
			add(c.Streams[stream].RunDown + c.Vessels[v].Rest)
		}
		add(most + o.Travel)
	}
	for i := range c.Bypasses {
		if slices.Contains(s.channels, c.Bypasses[i].Channel) {
			add(c.Bypasses[i].For)
			add(c.Bypasses[i].Gap)
		}
	}
	for n := range set {
		if n > s.spacing {
			s.waits = append(s.waits, n)
		}
	}
	slices.Sort(s.waits)
}

// begin is the first node: power-up with everything that is not moved in its place.
func (s *exploration) begin() {
	c := s.model.Config
	first := node{
		state: interlock.NewState(c), shown: make([]monitor.Class, len(c.Channels)), set: make([]bool, len(c.Inputs)),
		stuck: make([]bool, len(c.Outputs)), position: make([]model.Scans, len(c.Outputs)), parent: -1,
	}
	for i := range first.shown {
		first.shown[i] = monitor.Open
	}
	// A unit that boots has seen the bench at rest before anything moves.
	s.now = &first
	for range s.environment.Slack {
		s.turn(&first)
	}
	for i := range first.shown {
		if !slices.Contains(s.channels, i) && s.environment.Shows[i][monitor.Good] {
			first.shown[i] = monitor.Good
			s.beforehand = append(s.beforehand, Action{Scan: first.scan, Act: Show, On: i, Class: monitor.Good})
		}
	}
	for i, r := range s.driver.Roles {
		if r.Kind == runs.RoleFree && !slices.Contains(s.inputs, i) && s.environment.Drives[i] && s.driver.Provided(i) == interlock.True {
			first.set[i] = true
			s.beforehand = append(s.beforehand, Action{Scan: first.scan, Act: Set, On: i, High: true})
		}
	}
	s.nodes, s.starts = append(s.nodes, first), []int{0}
}

// actions lists what can be done next.
func (s *exploration) actions(at *node) (list []Action) {
	for _, i := range s.channels {
		for _, class := range [...]monitor.Class{monitor.Good, monitor.Between, monitor.High, monitor.Open, monitor.Invalid} {
			if s.environment.Shows[i][class] && at.shown[i] != class {
				list = append(list, Action{Act: Show, On: i, Class: class, lasts: s.spacing})
			}
		}
	}
	for _, i := range s.inputs {
		list = append(list, Action{Act: Set, On: i, High: !at.set[i], lasts: s.spacing})
	}
	for _, i := range s.actuators {
		end := strokeOf(&s.model.Config.Outputs[i])
		switch {
		case at.stuck[i]:
			list = append(list, Action{Act: Free, On: i, lasts: s.spacing})
		case at.position[i] == 0 || at.position[i] == end:
			list = append(list, Action{Act: Stick, On: i, lasts: s.spacing})
		}
	}
	if s.environment.Supply {
		list = append(list, Action{Act: Restart, lasts: max(s.spacing, s.environment.Slack)})
	}
	return list
}
