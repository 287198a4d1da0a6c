package graph

import (
	"container/heap"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// A tour is the shortest thing to do on a bench that makes the logic pass
// through a transition. It is found by trying everything that the bench can do,
// the shortest first, on the real Step.

// Ability is what a bench can do to a unit.
type Ability struct {
	Shows  [][monitor.Classes]bool // by channel: classes of readings that it can show
	Drives []bool                  // by input
	Supply bool                    // it can switch the unit off and on
	// Slack is how many scans a unit may be behind: it boots, and a bus is slow. Nobody
	// presses a button sooner than that after it counts.
	Slack uint64
}

// Act is a kind of deed.
type Act uint8

// What a bench can do.
const (
	ActWait    Act = iota
	ActShow        // a channel shows a class from now on
	ActSet         // an input is set from now on
	ActStick       // an actuator stays where it is from now on
	ActFree        // …and follows its command again
	ActRestart     // the unit loses its supply and gets it back
)

// Deed is one thing that is done on the bench, at the beginning of a scan.
type Deed struct {
	Scan  uint64
	Act   Act
	On    int // channel, input or output
	Class monitor.Class
	High  bool
	lasts uint64
}

// Tour is a run that passes through a transition for the first time.
type Tour struct {
	Passes Transition
	Deeds  []Deed
	Scans  uint64 // to the scan of the transition, that one counted
}

// MostPlaces limits how many different places are visited from one beginning.
const MostPlaces = 2_000

// Tours finds the shortest tours through the wanted transitions, by name. What
// it does not find needs more than the bench can do, or more than the search
// visits; full says that nothing was left to try. Outputs are those whose cones
// are tried, by name.
func Tours(m *model.Model, outputs []string, a *Ability, wanted map[string]bool) (found map[string]Tour, full bool) {
	t := &tourist{model: m, ability: a, wanted: wanted, found: map[string]Tour{}, left: len(wanted)}
	full = true
	for _, spacing := range []uint64{4, 1} {
		for output, name := range m.Names.Outputs {
			if !slices.Contains(outputs, name) {
				continue
			}
			for _, focus := range t.focuses(output) {
				if t.left > 0 {
					full = t.search(output, focus, spacing) && full
				}
			}
		}
	}
	return t.found, full
}

type tourist struct {
	model   *model.Model
	ability *Ability
	wanted  map[string]bool
	found   map[string]Tour
	left    int
}

// focuses are the causes that a search moves while all others are well: one
// channel after the other, then every cut set of several causes.
func (t *tourist) focuses(output int) (list [][]int) {
	c := t.model.Config
	set := c.Outputs[output].Permissive.Causes()
	set.Each(func(cause int) { list = append(list, []int{cause}) })
	for _, cut := range model.CutSets(c.Outputs[output].Permissive) {
		if len(cut) > 1 {
			list = append(list, cut)
		}
	}
	return list
}

// stage is a bench with the logic on it at one moment.
type stage struct {
	state  *interlock.State
	coils  interlock.CoilSet
	shown  []monitor.Class
	set    []bool
	stuck  []bool
	place  []model.Scans // by output: scans away from its stopped end
	scan   uint64
	parent int
	deeds  []Deed // that led here from its parent
}

// search tries everything, in the order of the time that it takes.
func (t *tourist) search(output int, focus []int, spacing uint64) bool {
	s := &touring{tourist: t, output: output, spacing: spacing, in: interlock.NewInputs(t.model.Config), decision: interlock.NewDecision(t.model.Config)}
	s.eyes = NewSightings(t.model)
	s.eyes.first = s.pass
	s.cast(focus)
	s.offers()
	s.begin()
	full, stuck := true, false
	for i := 0; i < len(s.roots) && t.left > 0; i++ {
		full = s.explore(s.roots[i]) && full
		s.recover(s.roots[i], false)
		if i == len(s.roots)-1 && !stuck {
			stuck = true
			s.recover(0, true)
		}
	}
	return full
}

// recover lets a careful operator bring the output to run from one stage: too
// many deeds in a row for a search that tries them all. Stuck says that nothing
// moves meanwhile.
func (s *touring) recover(root int, stuck bool) {
	next := s.follow(root)
	for _, i := range s.channels {
		if next.shown[i] != monitor.Good && s.ability.Shows[i][monitor.Good] {
			s.do(next, Deed{Act: ActShow, On: i, Class: monitor.Good})
		}
	}
	for _, i := range s.actuators {
		switch {
		case stuck:
			s.do(next, Deed{Act: ActStick, On: i})
		case next.stuck[i]:
			s.do(next, Deed{Act: ActFree, On: i})
		}
	}
	s.eyes.resume(next.state)
	asked := uint64(0) // scans for which a press would have counted
	for range runs.PatienceOf(s.model.Config) + 10*s.ability.Slack {
		s.driver.State = next.state
		button, value := s.driver.Operator()
		if asked++; value != interlock.True {
			asked = 0
		} else if asked <= s.ability.Slack {
			value = interlock.False
		}
		for _, i := range s.inputs {
			high := interlock.Ref(i+1) == button && value == interlock.True
			if s.driver.Roles[i].Kind == runs.RoleFree {
				high = s.driver.Provided(i) == interlock.True
			}
			if high != next.set[i] {
				s.do(next, Deed{Act: ActSet, On: i, High: high})
			}
		}
		s.turn(next)
		if s.driver.Enabled() && next.settled(s.model.Config) {
			s.milestone = true
			break
		}
	}
	s.keep(next)
}

// settled says that every actuator has come where its command wants it.
func (at *stage) settled(c *interlock.Config) bool {
	for i := range at.place {
		end := model.Scans(0)
		if at.coils.Energised(i) {
			end = strokeOf(&c.Outputs[i])
		}
		if c.Outputs[i].Confirmable() && at.place[i] != end {
			return false
		}
	}
	return true
}

// slowHand is the site with presses that are well within what counts.
func slowHand(c *interlock.Config) *interlock.Config {
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

// explore visits places from one beginning: power-up, or the first moment at
// which a bond, a vessel, an output or an actuator did something that it had not
// done before, so that what lies deep is found from nearby.
func (s *touring) explore(root int) bool {
	s.known, s.queue, s.visited = map[string]bool{}, waitingList{{s.stages[root].scan, root}}, 0
	for s.queue.Len() > 0 && s.left > 0 && s.visited < MostPlaces {
		from := heap.Pop(&s.queue).(waiting).stage
		for _, deed := range s.deeds(&s.stages[from]) {
			s.try(from, deed)
		}
	}
	return s.queue.Len() == 0 || s.left == 0
}

// touring is one search.
type touring struct {
	*tourist
	output     int
	spacing    uint64
	driver     *runs.Driver // knows what helps, and what every input is for
	channels   []int        // that are moved
	inputs     []int        // that are moved
	actuators  []int
	waits      []uint64
	stages     []stage
	queue      waitingList
	roots      []int // stages from which to search
	visited    int
	milestone  bool // what is being tried does something new to an output or an actuator
	known      map[string]bool
	eyes       *Sightings
	in         *interlock.Inputs
	decision   *interlock.Decision
	now        *stage // being tried
	beforehand []Deed
}

// cast says which channels, inputs and actuators this search moves.
func (s *touring) cast(focus []int) {
	c := s.model.Config
	s.driver = runs.NewDriver(model.Real(), slowHand(c), s.output)
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
		if moved[input] && s.ability.Drives[input] {
			s.inputs = append(s.inputs, input)
		}
	}
}

// offers lists how long a search waits between two deeds: around every time
// that the settings name.
func (s *touring) offers() {
	c, set := s.model.Config, map[uint64]bool{}
	add := func(n model.Scans) {
		if n > 0 {
			set[uint64(n)+uint64(n)/10+5+s.ability.Slack] = true
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

// begin is power-up with everything that is not moved in its place.
func (s *touring) begin() {
	c := s.model.Config
	first := stage{
		state: interlock.NewState(c), shown: make([]monitor.Class, len(c.Channels)), set: make([]bool, len(c.Inputs)),
		stuck: make([]bool, len(c.Outputs)), place: make([]model.Scans, len(c.Outputs)), parent: -1,
	}
	for i := range first.shown {
		first.shown[i] = monitor.Open
	}
	// A unit that boots has seen the bench at rest before anything moves.
	s.now = &first
	for range s.ability.Slack {
		s.turn(&first)
	}
	for i := range first.shown {
		if !slices.Contains(s.channels, i) && s.ability.Shows[i][monitor.Good] {
			first.shown[i] = monitor.Good
			s.beforehand = append(s.beforehand, Deed{Scan: first.scan, Act: ActShow, On: i, Class: monitor.Good})
		}
	}
	for i, r := range s.driver.Roles {
		if r.Kind == runs.RoleFree && !slices.Contains(s.inputs, i) && s.ability.Drives[i] && s.driver.Provided(i) == interlock.True {
			first.set[i] = true
			s.beforehand = append(s.beforehand, Deed{Scan: first.scan, Act: ActSet, On: i, High: true})
		}
	}
	s.stages, s.roots = append(s.stages, first), []int{0}
}

// deeds lists what can be done next.
func (s *touring) deeds(at *stage) (list []Deed) {
	for _, i := range s.channels {
		for _, class := range [...]monitor.Class{monitor.Good, monitor.Between, monitor.High, monitor.Open, monitor.Invalid} {
			if s.ability.Shows[i][class] && at.shown[i] != class {
				list = append(list, Deed{Act: ActShow, On: i, Class: class, lasts: s.spacing})
			}
		}
	}
	for _, i := range s.inputs {
		list = append(list, Deed{Act: ActSet, On: i, High: !at.set[i], lasts: s.spacing})
	}
	for _, i := range s.actuators {
		end := strokeOf(&s.model.Config.Outputs[i])
		switch {
		case at.stuck[i]:
			list = append(list, Deed{Act: ActFree, On: i, lasts: s.spacing})
		case at.place[i] == 0 || at.place[i] == end:
			list = append(list, Deed{Act: ActStick, On: i, lasts: s.spacing})
		}
	}
	if s.ability.Supply {
		list = append(list, Deed{Act: ActRestart, lasts: max(s.spacing, s.ability.Slack)})
	}
	for _, n := range s.waits {
		list = append(list, Deed{Act: ActWait, lasts: n})
	}
	return list
}

// follow is a stage that goes on from another.
func (s *touring) follow(from int) *stage {
	at := &s.stages[from]
	next := &stage{
		state: interlock.NewState(s.model.Config), coils: at.coils, shown: slices.Clone(at.shown), set: slices.Clone(at.set), stuck: slices.Clone(at.stuck),
		place: slices.Clone(at.place), scan: at.scan, parent: from,
	}
	next.state.CopyFrom(at.state)
	s.now, s.milestone = next, false
	return next
}

// do changes the bench.
func (s *touring) do(at *stage, deed Deed) {
	deed.Scan = at.scan
	switch deed.Act {
	case ActWait:
		return
	case ActShow:
		at.shown[deed.On] = deed.Class
	case ActSet:
		at.set[deed.On] = deed.High
	case ActStick, ActFree:
		at.stuck[deed.On] = deed.Act == ActStick
	case ActRestart:
		at.state.PowerUp()
	}
	at.deeds = append(at.deeds, deed)
}

// try does one deed and keeps where it leads.
func (s *touring) try(from int, deed Deed) {
	next := s.follow(from)
	s.eyes.resume(next.state)
	s.do(next, deed)
	for range deed.lasts {
		s.turn(next)
	}
	s.keep(next)
}

// keep goes on from a stage later, if nothing has led there before.
func (s *touring) keep(next *stage) {
	key := next.key(s)
	if s.known[key] {
		return
	}
	s.known[key] = true
	s.visited++
	s.stages = append(s.stages, *next)
	heap.Push(&s.queue, waiting{next.scan, len(s.stages) - 1})
	if s.milestone {
		s.roots = append(s.roots, len(s.stages)-1)
	}
}

// strokeOf is how long an actuator needs from one end to the other here: three
// quarters of what it may, as the simulated one does.
func strokeOf(o *interlock.Output) model.Scans { return max(o.Travel/4*3, 1) }

// turn is one scan.
func (s *touring) turn(at *stage) {
	c := s.model.Config
	for i := range s.in.Readings {
		s.in.Readings[i] = table.ReadingOf(&c.Channels[i].Config, at.shown[i], uint16(at.scan+1))
	}
	for i := range at.place {
		o := &c.Outputs[i]
		switch end := strokeOf(o); {
		case at.stuck[i]:
		case at.coils.Energised(i):
			at.place[i] = min(at.place[i]+1, end)
		default:
			at.place[i] = max(at.place[i], 1) - 1
		}
	}
	for i, r := range s.driver.Roles {
		v := at.set[i]
		switch r.Kind {
		case runs.RoleClosed:
			v = at.place[r.Number] == 0
		case runs.RoleOpened:
			v = at.place[r.Number] == strokeOf(&c.Outputs[r.Number])
		case runs.RoleFlow:
			v = !slices.ContainsFunc(c.Streams[r.Number].Through, func(o int) bool { return at.place[o] == 0 })
		}
		s.in.Signals[i] = s.driver.Signal(i, model.Truth(v))
	}
	interlock.Step(c, at.state, s.in, s.decision)
	at.scan++
	at.coils = s.decision.Coils
	s.eyes.scan(s.in, at.state, s.decision)
}

// pass keeps the tour to a transition that is wanted and was not seen yet.
func (s *touring) pass(t Transition) {
	bonded := t.Kind == KindChannel && t.From != t.To && t.To == monitor.Bonded.String()
	s.milestone = s.milestone || bonded || t.Kind == KindOutput || t.Kind == KindActuator || t.Kind == KindVessel && t.Why == ""
	name := t.String()
	if _, have := s.found[name]; have || !s.wanted[name] {
		return
	}
	deeds := []Deed{}
	for at := s.now; at.parent >= 0; at = &s.stages[at.parent] {
		deeds = append(slices.Clone(at.deeds), deeds...)
	}
	s.found[name] = Tour{Passes: t, Deeds: append(slices.Clone(s.beforehand), deeds...), Scans: s.now.scan}
	s.left--
}

// key is what makes two moments different places: counters only as far as a
// setting is behind or ahead of them.
func (at *stage) key(s *touring) string {
	c, k := s.model.Config, make([]byte, 0, 64)
	flags := func(bits ...bool) {
		b := byte(0)
		for i, bit := range bits {
			b |= byte(model.Int(bit)) << i
		}
		k = append(k, b)
	}
	for _, i := range s.channels {
		ch, conf := &at.state.Channels[i], &c.Channels[i]
		k = append(k, byte(ch.Phase), byte(at.shown[i]))
		flags(ch.Parted, ch.Doubt*2 >= conf.Full, ch.Run*2 >= conf.SettleScans, ch.Paused > 0)
	}
	for _, i := range s.inputs {
		flags(at.set[i])
	}
	button := func(b interlock.Button, p interlock.Press) {
		k = append(k, byte(b.Phase))
		flags(b.Held >= p.Min, b.Released)
	}
	for _, i := range append([]int{s.output}, s.actuators...) {
		o, conf := &at.state.Outputs[i], &c.Outputs[i]
		k = append(k, byte(o.Mode), byte(o.Unconfirmed))
		flags(o.Ready, o.Armed, o.StartLow, o.SeenAway, o.SeenHome, o.Disagree > 0, o.On > conf.OnDelay, at.stuck[i])
		flags(at.place[i] == 0, at.place[i] == strokeOf(conf))
		button(o.Button, conf.Press)
	}
	for _, i := range c.VesselsOf(s.output) {
		v, conf := &at.state.Vessels[i], &c.Vessels[i]
		flags(v.Clear, v.Held, v.Early, v.Waited > 0, v.Rested > 0, v.Rested > conf.Rest)
		button(v.Ack, conf.Press)
	}
	for i := range c.Bypasses {
		b := &at.state.Bypasses[i]
		flags(b.Low, b.Active > 0, b.Gap > c.Bypasses[i].Gap)
	}
	return string(k)
}

// waiting is a place that is still to be left.
type waiting struct {
	scan  uint64
	stage int
}

// waitingList is sorted by time, then by when it was found.
type waitingList []waiting

func (w waitingList) Len() int { return len(w) }
func (w waitingList) Less(i, j int) bool {
	return w[i].scan < w[j].scan || w[i].scan == w[j].scan && w[i].stage < w[j].stage
}
func (w waitingList) Swap(i, j int) { w[i], w[j] = w[j], w[i] }

// Push and Pop are what container/heap asks for.
func (w *waitingList) Push(x any) { *w = append(*w, x.(waiting)) }

// Pop takes the last one.
func (w *waitingList) Pop() any {
	old := *w
	last := old[len(old)-1]
	*w = old[:len(old)-1]
	return last
}
