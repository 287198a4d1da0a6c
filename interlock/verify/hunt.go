package verify

import (
	"container/heap"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// A hunt looks for a run of the real logic on the whole site, from power-up, that
// violates something. A good plant and a careful operator go on by themselves;
// at every turn one thing may begin to go wrong, or stop to. Runs are followed
// in the order of faults first, then scans, then changes, so the first that is
// found is minimal in that order among those that a hunt can make. It is a run of
// the real Step: nothing needs to be replayed.
type hunt struct {
	v       *verification
	w       *witness
	d       *runs.Driver
	quarry  quarry
	wrongs  []deviation
	known   map[string]bool
	queue   trails
	turns   uint64
	left    uint64 // turns
	counter cutCounters
	near    neighbours
	before  *sight // the scan before
	// patience bounds how long a healthy plant may take.
	patience uint64
	well     []*trail // healthy beginnings, for replays
	late     *trail   // one more, up to a scan from which much is played
	spoilt   bool     // what is looked for comes about although all is well
}

// quarry is what a hunt looks for.
type quarry struct {
	output   int
	property model.Property // 0 is none
	causes   []int          // that may go wrong; nil is whatever can reach the output
	faults   int            // at most
	turns    uint64
	// is says whether this scan is it; found are the default properties that the
	// witness saw broken.
	is func(d *runs.Driver, s *sight, found model.PropertySet) bool
	// compass leads to what a search has found; without one, all is tried in the
	// order of faults.
	compass *compass
	// recovery: what is looked for is a site that never comes back.
	recovery bool
	says     string                              // where the witness has nothing to say
	expect   func(t *trail, scans uint64) string // what the run claims; nil is that the output runs at its end
	// any: the first default property that is broken is what is looked for from
	// then on.
	any bool
}

// trail is a run so far: the state that it led to and how.
type trail struct {
	state   *interlock.State
	sight   *sight
	stamp   uint16
	scans   uint64
	far     uint32 // from a violation, at least, where a compass leads
	faults  int
	changes int
	wrong   []int  // of the deviations, those that go on
	leg     *leg   // the last change of it
	alone   uint64 // scans since all has been well and the output does not run
	calm    uint64 // scans since all has been well
	caught  bool
	says    string
	expect  string
}

// leg is a part of a trail in which the same goes wrong, and those before it.
type leg struct {
	at     uint64 // scan from which on it does
	begun  []int
	before *leg
}

// trails is a heap.
type trails []*trail

func (q trails) Len() int { return len(q) }
func (q trails) Less(i, k int) bool {
	a, b := q[i], q[k]
	switch {
	case a.far != b.far:
		return a.far < b.far
	case a.faults != b.faults:
		return a.faults < b.faults
	case a.scans != b.scans:
		return a.scans < b.scans
	}
	return a.changes < b.changes
}
func (q trails) Swap(i, k int) { q[i], q[k] = q[k], q[i] }
func (q *trails) Push(x any)   { *q = append(*q, x.(*trail)) }
func (q *trails) Pop() any {
	last := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return last
}

// huntTurns is how many scans of the whole site one hunt may take: where a search
// has met what is looked for, and where it is only asked whether there is any.
const (
	huntTurns  = 1_000_000
	probeTurns = 200_000
)

// hunt returns the first run found, or nil.
func (v *verification) hunt(q quarry) *runs.Run {
	h := v.huntOf(q)
	root := &trail{state: newState(h), sight: h.w.begin()}
	if q.compass != nil {
		return h.guided(root)
	}
	// A quarter of the turns from power-up, where the shortest runs begin; what is
	// left in equal parts from other moments.
	begin := h.moments(root)
	h.left = q.turns / 4
	run := h.search(root)
	for i := 0; i < len(begin) && run == nil; i++ {
		h.left = h.turns + (q.turns-min(q.turns, h.turns))/uint64(len(begin)-i)
		run = h.search(begin[i])
	}
	return run
}

func (v *verification) huntOf(q quarry) *hunt {
	h := &hunt{v: v, w: v.witnessOf(q.output), d: runs.NewDriver(v.Logic, v.Model.Config, q.output), quarry: q, known: map[string]bool{}, left: q.turns, patience: runs.PatienceOf(v.Model.Config)}
	h.d.Order = append(v.Model.InSeries(q.output), q.output)
	h.wrongs = v.deviations(q.causes, q.output)
	h.counter = countersOf(v.Model.Config)
	h.before = h.w.begin()
	h.relevant()
	return h
}

// guided follows the compass from power-up and from where the output runs.
func (h *hunt) guided(root *trail) *runs.Run {
	starts := []*trail{root}
	if running := h.until(root, nil, h.runs); running != nil {
		starts = append(starts, running)
	}
	for _, t := range starts {
		t.far = h.away(t)
	}
	return h.search(starts...)
}

// away is how far a trail is from what is looked for; 0 without a compass.
func (h *hunt) away(t *trail) uint32 {
	if h.quarry.compass == nil {
		return 0
	}
	return h.quarry.compass.away(h.w, t.state, t.sight)
}

// search follows trails in their order until one is caught.
func (h *hunt) search(roots ...*trail) *runs.Run {
	h.queue, h.known = slices.Clone(roots), map[string]bool{}
	heap.Init(&h.queue)
	for room := h.room(); h.queue.Len() > 0 && h.turns < h.left && len(h.known) < room; {
		t := heap.Pop(&h.queue).(*trail)
		if t.caught {
			return h.tell(t)
		}
		if key := h.sign(t); !h.known[key] {
			h.known[key] = true
			h.follow(t)
		}
	}
	return nil
}

// room is how many trails fit into the memory given: each keeps the state of the
// whole site, what the witness remembers, its sign, and a branch for everything
// that may go wrong.
func (h *hunt) room() int {
	c := h.d.Config
	each := 1000 + 220*len(h.wrongs) + 250*len(c.Channels) + 24*len(c.Inputs) + 300*len(c.Outputs) + 100*len(c.Vessels) + 8*len(c.Streams) + 32*len(c.Bypasses)
	return int(h.v.Options.MemoryLimit() / uint64(each))
}

// follow goes on from a trail as it is, and leaves one for every thing that may
// stop to go wrong there, or begin to.
func (h *hunt) follow(t *trail) {
	if next := h.ahead(t); next != nil {
		next.far = h.away(next)
		heap.Push(&h.queue, next)
	}
	for i := range t.wrong {
		h.branch(t, append(append([]int(nil), t.wrong[:i]...), t.wrong[i+1:]...), t.faults)
	}
	if t.faults == h.quarry.faults {
		return
	}
	h.d.State, h.d.Stamp = t.state, t.stamp
	h.arm(t.wrong)
	for i := range h.wrongs {
		if !h.clashes(t.wrong, i) && differs(h.d, h.wrongs[i]) {
			h.branch(t, append(append([]int(nil), t.wrong...), i), t.faults+1)
		}
	}
}

// clashes says that a thing already goes wrong in another way.
func (h *hunt) clashes(list []int, i int) bool {
	for _, k := range list {
		if h.wrongs[k].place() == h.wrongs[i].place() {
			return true
		}
	}
	return false
}

func (h *hunt) branch(t *trail, wrong []int, faults int) {
	same := *t
	same.wrong, same.faults, same.changes, same.leg = wrong, faults, t.changes+1, &leg{t.scans, wrong, t.leg}
	heap.Push(&h.queue, &same)
}

// ahead turns scans until what decides has changed, or what is looked for is
// there; nil where nothing will ever change any more.
func (h *hunt) ahead(t *trail) *trail {
	next := *t
	next.state, next.sight = interlock.NewState(h.d.Config), h.w.begin()
	next.state.CopyFrom(t.state)
	next.sight.copyFrom(t.sight)
	d := h.d
	d.State, d.Stamp = next.state, t.stamp
	before := h.sign(&next)
	for {
		h.turns++
		found := h.turn(&next)
		next.scans++
		next.stamp = d.Stamp
		next.wrong = h.goOn(next.wrong)
		h.alone(&next)
		ends := sameState(h.w.prior, d.State) && h.before.same(next.sight)
		if h.catches(&next, found, ends) {
			return &next
		}
		if h.sign(&next) != before {
			return &next
		}
		if ends || h.turns >= h.left {
			return nil
		}
	}
}

// catches says that what is looked for is there.
func (h *hunt) catches(t *trail, found model.PropertySet, ends bool) bool {
	if h.quarry.any && found&witnessed != 0 {
		h.quarry.any, h.quarry.property = false, (found & witnessed).First()
		h.quarry.is = func(_ *runs.Driver, _ *sight, found model.PropertySet) bool { return found.Has(h.quarry.property) }
	}
	switch {
	case h.quarry.is != nil && h.quarry.is(h.d, t.sight, found):
		told := h.w.told[h.quarry.property]
		if p := h.v.property(h.quarry.property); p != nil && told.says == "" {
			told = h.w.told[(found & p.breaks()).First()]
		}
		t.caught, t.says, t.expect = true, told.says, told.expect
	case h.quarry.recovery && t.calm > 2 && h.relapses():
		t.caught, t.says, t.expect = true, h.w.name()+" is withheld again at once although all is well", "always: "+h.w.name()+" is enabled"
	case h.quarry.recovery && (t.alone > h.patience || ends && t.alone > 0):
		t.scans += h.patience + 1 - min(t.alone, h.patience+1) // it would be like this for ever
		t.alone = max(t.alone, h.patience+1)
		t.caught, t.says = true, fmt.Sprintf("%s is not enabled %d scans after all was well", h.w.name(), t.alone)
	}
	return t.caught
}

// relapses says that an output that ran is withheld by nothing that is wrong now,
// nor by a doubt that is left.
func (h *hunt) relapses() bool {
	for _, i := range h.near.channels {
		if h.w.prior.Channels[i].Phase == monitor.Doubtful {
			return false
		}
	}
	return h.runs(h.w.prior) && !h.runs(h.d.State)
}

func newState(h *hunt) *interlock.State { return interlock.NewState(h.d.Config) }

// sameState says that nothing moved in a scan, not even a counter.
func sameState(a, b *interlock.State) bool {
	for i := range a.Channels {
		if a.Channels[i].Control != b.Channels[i].Control || a.Channels[i].Parted != b.Channels[i].Parted {
			return false
		}
	}
	for i := range a.Outputs {
		if a.Outputs[i].OutputControl != b.Outputs[i].OutputControl {
			return false
		}
	}
	return a.Running == b.Running && slices.Equal(a.Inputs, b.Inputs) && slices.Equal(a.Vessels, b.Vessels) &&
		slices.Equal(a.Streams, b.Streams) && slices.Equal(a.Bypasses, b.Bypasses)
}

// alone counts the scans since all has been well and the output does not run.
func (h *hunt) alone(t *trail) {
	t.alone, t.calm = t.alone+1, t.calm+1
	if len(t.wrong) > 0 {
		t.calm = 0
	}
	if len(t.wrong) > 0 || t.state.Outputs[h.quarry.output].Mode == interlock.Enabled {
		t.alone = 0
	}
}

// goOn drops what acts for one scan only.
func (h *hunt) goOn(wrong []int) []int {
	var list []int
	for _, i := range wrong {
		if !h.wrongs[i].once() {
			list = append(list, i)
		}
	}
	return list
}

// turn is one scan with what goes wrong in it.
func (h *hunt) turn(t *trail) (found model.PropertySet) {
	d := h.d
	h.arm(t.wrong)
	if d.Supply {
		d.State.PowerUp()
		t.sight.forget()
	}
	h.w.prior.CopyFrom(d.State)
	h.w.none()
	h.before.copyFrom(t.sight)
	d.Turn()
	return h.w.see(t.sight, d)
}

func (h *hunt) arm(wrong []int) {
	h.d.Healthy()
	for _, i := range wrong {
		h.d.Supply = h.d.Supply || h.wrongs[i].kind == lostSupply
	}
	for _, i := range wrong {
		deviate(h.d, h.wrongs[i])
	}
}

// tell makes a run as small as it gets, turns it once more, from power-up, and
// keeps it.
func (h *hunt) tell(t *trail) *runs.Run {
	list := h.stretches(t)
	again := h.play(list, t.scans)
	if again == nil {
		return nil // the same inputs lead elsewhere: the logic has a memory of its own
	}
	return h.keep(h.smaller(list, again))
}

// keep records what the whole site does with some things going wrong, from
// power-up and in fresh memory. What it does not show there again is no run: the
// logic then has a memory of its own.
func (h *hunt) keep(list []stretch, t *trail) *runs.Run {
	d := runs.NewDriver(h.d.Logic, h.d.Config, h.quarry.output)
	d.Order = h.d.Order
	record := runs.NewRecorder(h.v.Model)
	h.d = d
	seen, shows := h.w.begin(), false
	for scan := uint64(0); scan < t.scans; scan++ {
		var wrong []int
		for _, s := range list {
			if s.from <= scan && scan < s.to {
				wrong = append(wrong, s.wrong)
			}
		}
		h.arm(wrong)
		if d.Supply {
			d.State.PowerUp()
			seen.forget()
		}
		h.w.prior.CopyFrom(d.State)
		record.Turn(d)
		h.w.none()
		found := h.w.see(seen, d)
		shows = h.quarry.is != nil && h.quarry.is(d, seen, found)
	}
	if !shows && !h.quarry.recovery {
		return nil
	}
	var named []int
	for _, s := range list {
		named = append(named, s.wrong)
	}
	return h.finish(record, t, named)
}

// finish says what the run shows and what moved the output.
func (h *hunt) finish(record *runs.Recorder, t *trail, named []int) *runs.Run {
	var texts []string
	for _, i := range named {
		if text := h.v.deviationText(h.wrongs[i]); !slices.Contains(texts, text) {
			texts = append(texts, text)
		}
	}
	how := "nothing goes wrong"
	if len(texts) > 0 {
		how = strings.Join(texts, ", then ")
	}
	sentence := how
	if t.says == "" {
		t.says = h.quarry.says
	}
	if t.says != "" {
		sentence = fmt.Sprintf("in scan %d %s (%s)", t.scans-1, t.says, how)
	}
	run := record.Finish(sentence, t.faults)
	if h.quarry.property > 0 {
		run.Property = h.quarry.property.String()
	}
	name := h.w.name()
	run.Output = name
	expect := t.expect
	if expect == "" {
		expect = "never: " + name + " is enabled"
	}
	run.Expect = fmt.Sprintf("{%s, from: %d scans, to: %d scans}", expect, run.Scans-1, run.Scans)
	if strings.HasPrefix(expect, "first-out") { // of this very scan: more may go while the bus cycle lasts
		run.Expect = fmt.Sprintf("{%s, at: %d scans}", expect, run.Scans-1)
	}
	if h.quarry.recovery && t.expect == "" {
		run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s is enabled}", t.alone-1, t.scans-t.alone, name)
	}
	if h.quarry.expect != nil {
		run.Expect = h.quarry.expect(t, run.Scans)
	}
	run.Slice = append(texts, h.moved(t)...)
	return run
}

// moved names the counters and the rule that had the last word.
func (h *hunt) moved(t *trail) []string {
	o := &t.state.Outputs[h.quarry.output]
	var list []string
	for _, ch := range h.w.needed {
		c := &t.state.Channels[ch]
		list = append(list, fmt.Sprintf("%s %s, doubt %d of %d", h.v.Model.Names.Channels[ch], c.Phase, c.Doubt, h.d.Config.Channels[ch].Full))
	}
	for n, vessel := range h.w.vessels {
		s := &t.state.Vessels[vessel]
		list = append(list, fmt.Sprintf("%s waited %d of %d scans, still for %d", h.v.Model.Names.Vessels[vessel], s.Waited, h.d.Config.Vessels[vessel].Wait.Next(), t.sight.vessels[n].still))
	}
	if len(list) > 4 {
		list = append(list[:4], fmt.Sprintf("and %d more", len(list)-4))
	}
	return append(list, fmt.Sprintf("%s %s, reset %s", h.w.name(), o.Mode, o.Button.Phase))
}

// sign writes down what decides what can follow. Long counters are written as
// cells, as in a search; what is lost by that are runs, never their truth.
func (h *hunt) sign(t *trail) string {
	s, m := t.state, t.sight
	b := make([]byte, 0, 256)
	num := func(list ...uint32) {
		for _, n := range list {
			b = binary.AppendUvarint(b, uint64(n))
		}
	}
	b = append(b, flags(s.Running))
	for _, i := range h.near.channels {
		ch := &s.Channels[i]
		num(uint32(ch.Phase), uint32(ch.Class), uint32(ch.Age), uint32(ch.Run), uint32(ch.Count), uint32(ch.Paused), uint32(ch.Doubt), h.counter.stay[i].Index(ch.Stay))
		bond := &m.bonds[i]
		num(uint32(bond.bad), uint32(bond.kind), uint32(bond.span), uint32(bond.good), uint32(bond.paused), uint32(bond.age), uint32(bond.class), uint32(bond.spent), uint32(bond.dip), uint32(bond.ago))
		b = append(b, flags(ch.Parted, bond.mixed, bond.calm, bond.parted, bond.again))
	}
	for _, i := range h.near.inputs {
		num(uint32(s.Inputs[i].Level+1), uint32(s.Inputs[i].Age))
	}
	for _, i := range h.near.outputs {
		o, k := &s.Outputs[i], &h.counter
		num(uint32(o.Mode), k.on[i].Index(o.On), k.disagree[i].Index(o.Disagree), uint32(o.Unconfirmed), uint32(o.Button.Phase), k.held[i].Index(o.Button.Held))
		b = append(b, flags(o.Ready, o.Armed, o.StartLow, o.SeenAway, o.SeenHome, o.Button.Released))
	}
	for n, i := range h.w.vessels {
		vessel, seen := &s.Vessels[i], &m.vessels[n]
		num(h.counter.wait[i].Index(vessel.Waited), uint32(vessel.Ack.Phase), h.counter.ack[i].Index(vessel.Ack.Held), h.counter.rest[i].Index(vessel.Rested))
		num(h.counter.wait[i].Index(seen.still), h.counter.rest[i].Index(seen.rested), uint32(seen.press), h.counter.ack[i].Index(seen.pressed))
		b = append(b, flags(vessel.Clear, vessel.Held, vessel.Early, vessel.Ack.Released, seen.held, seen.paid, seen.early))
	}
	for _, i := range h.w.streams {
		num(h.counter.run[i].Index(s.Streams[i].Stopped))
	}
	for _, i := range h.near.bypasses {
		num(h.counter.bypass[i].Index(s.Bypasses[i].Active), h.counter.gap[i].Index(s.Bypasses[i].Gap))
		b = append(b, flags(s.Bypasses[i].Low, m.keys[i].Low))
		num(h.counter.gap[i].Index(m.keys[i].Gap))
	}
	num(uint32(m.watch.Pack()>>table.WatchShift), h.counter.disagree[h.quarry.output].Index(m.moving), m.memory, uint32(model.Int(m.tripped)))
	for _, word := range m.named {
		b = binary.AppendUvarint(b, word)
	}
	for _, i := range t.wrong {
		num(uint32(i) + 1)
	}
	return string(b)
}

// neighbours are the parts of the site that can matter to a hunt.
type neighbours struct{ channels, inputs, outputs, bypasses []int }

// relevant finds them: the output, what stands in series with it, what calls it,
// what is asked about, and everything that reaches any of these.
func (h *hunt) relevant() {
	c := h.d.Config
	causes := len(c.Channels) + len(c.Inputs)
	outputs := map[int]bool{}
	for _, o := range append(append([]int(nil), h.d.Order...), h.w.callers...) {
		outputs[o] = true
	}
	near := map[int]bool{}
	for _, cause := range h.quarry.causes {
		if cause < causes {
			near[cause] = true
		} else {
			outputs[cause-causes] = true
		}
	}
	for o := range c.Outputs {
		if !outputs[o] {
			continue
		}
		h.near.outputs = append(h.near.outputs, o)
		for _, cause := range h.v.reach(o) {
			near[cause] = true
		}
	}
	for cause := 0; cause < causes; cause++ {
		if near[cause] && cause < len(c.Channels) {
			h.near.channels = append(h.near.channels, cause)
		} else if near[cause] {
			h.near.inputs = append(h.near.inputs, cause-len(c.Channels))
		}
	}
	for i := range c.Bypasses {
		if near[c.Bypasses[i].Channel] {
			h.near.bypasses = append(h.near.bypasses, i)
		}
	}
}

// cutCounters are the cells of a site's long counters, a little finer than a
// search needs, so that "one scan too long" is told from "just long enough".
type cutCounters struct {
	stay           []model.Cells
	on, held       []model.Cells
	disagree       []model.Cells
	wait, ack, run []model.Cells
	rest           []model.Cells
	bypass, gap    []model.Cells
}

func around(n model.Scans) []model.Scans {
	return []model.Scans{0, 1, 2, max(n, 1) - 1, n, n.Next(), n.Next().Next()}
}

func countersOf(c *interlock.Config) cutCounters {
	var k cutCounters
	cut := func(list ...model.Scans) model.Cells {
		var starts []model.Scans
		top := model.Scans(0)
		for _, n := range list {
			starts = append(starts, around(n)...)
			top = max(top, n.Next().Next())
		}
		return model.CellsOf(top, starts...)
	}
	for i := range c.Channels {
		k.stay = append(k.stay, cut(c.Channels[i].LongestStay))
	}
	for i := range c.Outputs {
		o := &c.Outputs[i]
		k.on, k.disagree, k.held = append(k.on, cut(o.OnDelay)), append(k.disagree, cut(o.Travel)), append(k.held, cut(o.Press.Min, o.Press.Max))
	}
	for i := range c.Vessels {
		k.wait, k.ack = append(k.wait, cut(c.Vessels[i].Wait)), append(k.ack, cut(c.Vessels[i].Press.Min, c.Vessels[i].Press.Max))
		k.rest = append(k.rest, cut(c.Vessels[i].Rest))
	}
	for i := range c.Streams {
		k.run = append(k.run, cut(c.Streams[i].RunDown))
	}
	for i := range c.Bypasses {
		k.bypass, k.gap = append(k.bypass, cut(c.Bypasses[i].For)), append(k.gap, cut(c.Bypasses[i].Gap))
	}
	return k
}

// deviation is one thing that is not well for a while.
type deviation struct {
	kind  deviationKind
	cause int             // or the output whose actuator is stuck
	class monitor.Class   // of a channel
	value interlock.Truth // of an input; of a stuck actuator: true is away from rest
}

type deviationKind uint8

const (
	wrongReading deviationKind = iota
	frozenReading
	wrongInput
	noInput
	stuckActuator
	lateScan
	lostSupply
)

// place is what goes wrong: one place, one fault at a time.
func (x deviation) place() int {
	switch x.kind {
	case stuckActuator:
		return -1 - x.cause
	case lateScan, lostSupply:
		return -1_000_000 - int(x.kind)
	}
	return x.cause
}

// once says that it acts in one scan and is then over.
func (x deviation) once() bool { return x.kind == lostSupply }

// deviations lists what can go wrong with some causes, or with whatever reaches
// an output.
func (v *verification) deviations(causes []int, output int) []deviation {
	c := v.Model.Config
	all := causes == nil
	if all {
		causes = v.reach(output)
	}
	var list []deviation
	for _, cause := range causes {
		switch {
		case cause < len(c.Channels):
			can := table.Possible(&c.Channels[cause].Config)
			for _, class := range [...]monitor.Class{monitor.Open, monitor.High, monitor.Invalid, monitor.Missing, monitor.Between, monitor.Good} {
				if can[class] && (class != monitor.Good || runs.HelpfulFor(c.Outputs[output].Permissive, cause) == interlock.False) {
					list = append(list, deviation{cause: cause, class: class})
				}
			}
			if c.Channels[cause].Stamped {
				list = append(list, deviation{kind: frozenReading, cause: cause})
			}
		case cause < len(c.Channels)+len(c.Inputs):
			for _, value := range model.Truths {
				list = append(list, deviation{kind: wrongInput, cause: cause, value: value})
			}
			list = append(list, deviation{kind: noInput, cause: cause})
		}
	}
	if all {
		if o := &c.Outputs[output]; o.Closed != 0 && o.Opened != 0 {
			list = append(list, deviation{kind: stuckActuator, cause: output, value: interlock.True}, deviation{kind: stuckActuator, cause: output, value: interlock.False})
		}
		list = append(list, deviation{kind: lateScan}, deviation{kind: lostSupply})
	}
	return list
}

// reach lists every cause that can touch an output at all: its cone, and what
// tells of the vessels that it charges.
func (v *verification) reach(output int) []int {
	c, cone := v.Model.Config, v.Model.Cone(output)
	input := func(ref interlock.Ref) {
		if ref != 0 {
			cone[len(c.Channels)+int(ref)-1] = true
		}
	}
	for _, vessel := range c.VesselsOf(output) {
		input(c.Vessels[vessel].Acknowledge)
		for _, st := range c.ChargedBy(vessel) {
			input(c.Streams[st].Flow)
			for _, o := range c.Streams[st].Through {
				input(c.Outputs[o].Closed)
				input(c.Outputs[o].Opened)
			}
		}
		set := c.Vessels[vessel].BondedBy.Causes()
		set.Each(func(cause int) { cone[cause] = true })
	}
	var list []int
	for cause := 0; cause < len(c.Channels)+len(c.Inputs); cause++ {
		if cone[cause] {
			list = append(list, cause)
		}
	}
	return list
}

// differs says that a thing that goes wrong shows itself in the scan that is armed.
// What does not yet is begun no sooner than it does.
func differs(d *runs.Driver, x deviation) bool {
	input := func(ref interlock.Ref, v interlock.Truth) bool {
		return ref != 0 && d.In.Signals[ref-1] != d.Signal(int(ref-1), v)
	}
	switch x.kind {
	case wrongInput:
		return input(interlock.Ref(x.cause-len(d.Config.Channels)+1), x.value)
	case stuckActuator:
		o := &d.Config.Outputs[x.cause]
		return input(o.Closed, -x.value) || input(o.Opened, x.value)
	}
	return true
}

// deviate makes one thing go wrong in the scan that is about to be turned.
func deviate(d *runs.Driver, x deviation) {
	switch input := x.cause - len(d.Config.Channels); x.kind {
	case wrongReading:
		d.In.Readings[x.cause] = table.ReadingOf(&d.Config.Channels[x.cause].Config, x.class, d.Stamp)
		d.Shown[x.cause] = x.class
	case frozenReading:
		d.In.Readings[x.cause].Stamp = d.State.Channels[x.cause].Stamp
		d.Shown[x.cause] = monitor.Missing
		if d.Supply || !d.State.Channels[x.cause].Seen { // the first since power-up is news
			d.Shown[x.cause] = monitor.Good
		}
	case wrongInput:
		d.In.Signals[input] = d.Signal(input, x.value)
	case noInput:
		d.In.Signals[input] = interlock.NoSignal
	case stuckActuator:
		o := &d.Config.Outputs[x.cause]
		d.In.Signals[o.Closed-1] = d.Signal(int(o.Closed-1), -x.value)
		d.In.Signals[o.Opened-1] = d.Signal(int(o.Opened-1), x.value)
	case lateScan:
		d.In.Overrun = true
	}
}

func (v *verification) deviationText(x deviation) string {
	switch x.kind {
	case wrongReading:
		return fmt.Sprintf("%s reads %s", v.Model.Cause(x.cause), x.class)
	case frozenReading:
		return fmt.Sprintf("%s repeats one measurement", v.Model.Cause(x.cause))
	case noInput:
		return v.Model.Cause(x.cause) + " does not arrive"
	case stuckActuator:
		return fmt.Sprintf("%s is stuck %s", v.Model.Names.Outputs[x.cause], map[interlock.Truth]string{interlock.True: "away from rest", interlock.False: "at rest"}[x.value])
	case lateScan:
		return "scans overrun"
	case lostSupply:
		return "the supply is lost"
	}
	return fmt.Sprintf("%s is %s", v.Model.Cause(x.cause), levelText(x.value))
}
