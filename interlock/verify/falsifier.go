package verify

import (
	"container/heap"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/monitor"
)

// A falsifier looks for a run of the real logic on the whole site, from power-up, that
// violates something. A good plant and a careful operator go on by themselves;
// at every turn one thing may begin to go wrong, or stop to. Runs are followed
// in the order of faults first, then scans, then changes, so the first that is
// found is minimal in that order among those that a falsifier can make. It is a run of
// the real Step: nothing needs to be replayed.
type falsifier struct {
	v        *verification
	observer *observer
	d        *runs.Driver
	goal     goal
	wrongs   []deviation
	known    map[string]bool
	queue    frontier
	turns    uint64
	left     uint64 // turns
	counter  cutCounters
	near     neighbours
	before   *memory // the scan before
	// patience bounds how long a healthy plant may take.
	patience uint64
	well     []*path // healthy beginnings, for replays
	late     *path   // one more, up to a scan from which much is played
	spoilt   bool    // what is looked for comes about although all is well
}

// goal is what a falsifier looks for.
type goal struct {
	output   int
	property model.Property // 0 is none
	causes   []int          // that may go wrong; nil is whatever can reach the output
	faults   int            // at most
	turns    uint64
	// is says whether this scan is it; found are the default properties that the
	// witness saw broken.
	is func(d *runs.Driver, s *memory, found model.PropertySet) bool
	// distances lead to what a search has found; without one, all is tried in the
	// order of faults.
	distances *distances
	// recovery: what is looked for is a site that never comes back.
	recovery bool
	says     string                             // where the observer has nothing to say
	expect   func(t *path, scans uint64) string // what the run claims; nil is that the output runs at its end
	// any: the first default property that is broken is what is looked for from
	// then on.
	any bool
}

// path is a run so far: the state that it led to and how.
type path struct {
	state   *interlock.State
	memory  *memory
	stamp   uint16
	scans   uint64
	far     uint32 // from a violation, at least, where distances lead
	faults  int
	changes int
	wrong   []int    // of the deviations, those that go on
	segment *segment // the last change of it
	alone   uint64   // scans since all has been well and the output does not run
	calm    uint64   // scans since all has been well
	reached bool
	breach  breach // what was reached
}

// segment is a part of a path in which the same goes wrong, and those before it.
type segment struct {
	at     uint64 // scan from which on it does
	begun  []int
	before *segment
}

// frontier is a heap of paths.
type frontier []*path

func (q frontier) Len() int { return len(q) }
func (q frontier) Less(i, k int) bool {
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
func (q frontier) Swap(i, k int) { q[i], q[k] = q[k], q[i] }
func (q *frontier) Push(x any)   { *q = append(*q, x.(*path)) }
func (q *frontier) Pop() any {
	last := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return last
}

// falsifyTurns is how many scans of the whole site one falsifier may take: where a search
// has met what is looked for, and where it is only asked whether there is any.
const (
	falsifyTurns = 1_000_000
	probeTurns   = 200_000
)

// falsify returns the first run found, or nil.
func (v *verification) falsify(q goal) *runs.Run {
	f := v.falsifierOf(q)
	root := &path{state: newState(f), memory: f.observer.begin()}
	if q.distances != nil {
		return f.guided(root)
	}
	// A quarter of the turns from power-up, where the shortest runs begin; what is
	// left in equal parts from other start points.
	begin := f.startPoints(root)
	f.left = q.turns / 4
	run := f.search(root)
	for i := 0; i < len(begin) && run == nil; i++ {
		f.left = f.turns + (q.turns-min(q.turns, f.turns))/uint64(len(begin)-i)
		run = f.search(begin[i])
	}
	return run
}

func (v *verification) falsifierOf(q goal) *falsifier {
	f := &falsifier{v: v, observer: v.observerOf(q.output), d: runs.NewDriver(v.Logic, v.Model.Config, q.output), goal: q, known: map[string]bool{}, left: q.turns, patience: runs.PatienceOf(v.Model.Config)}
	f.d.Order = append(v.Model.InSeries(q.output), q.output)
	f.wrongs = v.deviations(q.causes, q.output)
	f.counter = countersOf(v.Model.Config)
	f.before = f.observer.begin()
	f.relevant()
	return f
}

// guided follows the distances from power-up and from where the output runs.
func (f *falsifier) guided(root *path) *runs.Run {
	starts := []*path{root}
	if running := f.until(root, nil, f.runs); running != nil {
		starts = append(starts, running)
	}
	for _, t := range starts {
		t.far = f.away(t)
	}
	return f.search(starts...)
}

// away is how far a path is from what is looked for; 0 without distances.
func (f *falsifier) away(t *path) uint32 {
	if f.goal.distances == nil {
		return 0
	}
	return f.goal.distances.away(f.observer, t.state, t.memory)
}

// search follows paths in their order until one is reached.
func (f *falsifier) search(roots ...*path) *runs.Run {
	f.queue, f.known = slices.Clone(roots), map[string]bool{}
	heap.Init(&f.queue)
	for room := f.room(); f.queue.Len() > 0 && f.turns < f.left && len(f.known) < room; {
		t := heap.Pop(&f.queue).(*path)
		if t.reached {
			return f.tell(t)
		}
		if key := f.sign(t); !f.known[key] {
			f.known[key] = true
			f.follow(t)
		}
	}
	return nil
}

// room is how many paths fit into the memory given: each keeps the state of the
// whole site, what the observer remembers, its sign, and a branch for everything
// that may go wrong.
func (f *falsifier) room() int {
	c := f.d.Config
	each := 1000 + 220*len(f.wrongs) + 250*len(c.Channels) + 24*len(c.Inputs) + 300*len(c.Outputs) + 100*len(c.Vessels) + 8*len(c.Streams) + 32*len(c.Bypasses)
	return int(f.v.Options.MemoryLimit() / uint64(each))
}

// follow goes on from a path as it is, and leaves one for every thing that may
// stop to go wrong there, or begin to.
func (f *falsifier) follow(t *path) {
	if next := f.ahead(t); next != nil {
		next.far = f.away(next)
		heap.Push(&f.queue, next)
	}
	for i := range t.wrong {
		f.branch(t, append(append([]int(nil), t.wrong[:i]...), t.wrong[i+1:]...), t.faults)
	}
	if t.faults == f.goal.faults {
		return
	}
	f.d.State, f.d.Stamp = t.state, t.stamp
	f.arm(t.wrong)
	for i := range f.wrongs {
		if !f.clashes(t.wrong, i) && differs(f.d, f.wrongs[i]) {
			f.branch(t, append(append([]int(nil), t.wrong...), i), t.faults+1)
		}
	}
}

// clashes says that a thing already goes wrong in another way.
func (f *falsifier) clashes(list []int, i int) bool {
	for _, k := range list {
		if f.wrongs[k].place() == f.wrongs[i].place() {
			return true
		}
	}
	return false
}

func (f *falsifier) branch(t *path, wrong []int, faults int) {
	same := *t
	same.wrong, same.faults, same.changes, same.segment = wrong, faults, t.changes+1, &segment{t.scans, wrong, t.segment}
	heap.Push(&f.queue, &same)
}

// ahead turns scans until what decides has changed, or what is looked for is
// there; nil where nothing will ever change any more.
func (f *falsifier) ahead(t *path) *path {
	next := *t
	next.state, next.memory = interlock.NewState(f.d.Config), f.observer.begin()
	next.state.CopyFrom(t.state)
	next.memory.copyFrom(t.memory)
	d := f.d
	d.State, d.Stamp = next.state, t.stamp
	before := f.sign(&next)
	for {
		f.turns++
		found := f.turn(&next)
		next.scans++
		next.stamp = d.Stamp
		next.wrong = f.goOn(next.wrong)
		f.alone(&next)
		ends := sameState(f.observer.prior, d.State) && f.before.same(next.memory)
		if f.reaches(&next, found, ends) {
			return &next
		}
		if f.sign(&next) != before {
			return &next
		}
		if ends || f.turns >= f.left {
			return nil
		}
	}
}

// catches says that what is looked for is there.
func (f *falsifier) reaches(t *path, found model.PropertySet, ends bool) bool {
	if f.goal.any && found != 0 {
		f.goal.any, f.goal.property = false, found.First()
		f.goal.is = func(_ *runs.Driver, _ *memory, found model.PropertySet) bool { return found.Has(f.goal.property) }
	}
	switch {
	case f.goal.is != nil && f.goal.is(f.d, t.memory, found):
		t.reached, t.breach = true, f.observer.breaches[f.goal.property]
		if p := f.v.property(f.goal.property); p != nil && t.breach.says == "" {
			t.breach = f.observer.breaches[(found & p.breaks()).First()]
		}
	case f.goal.recovery && t.calm > 2 && f.relapses():
		t.reached, t.breach = true, broken("%s is withheld again at once although all is well", f.observer.name()).must("always: %s is enabled", f.observer.name())
	case f.goal.recovery && (t.alone > f.patience || ends && t.alone > 0):
		t.scans += f.patience + 1 - min(t.alone, f.patience+1) // it would be like this for ever
		t.alone = max(t.alone, f.patience+1)
		t.reached, t.breach = true, broken("%s is not enabled %d scans after all was well", f.observer.name(), t.alone)
	}
	return t.reached
}

// relapses says that an output that ran is withheld by nothing that is wrong now,
// nor by a doubt that is left.
func (f *falsifier) relapses() bool {
	for _, i := range f.near.channels {
		if f.observer.prior.Channels[i].Phase == monitor.Doubtful {
			return false
		}
	}
	return f.runs(f.observer.prior) && !f.runs(f.d.State)
}

func newState(f *falsifier) *interlock.State { return interlock.NewState(f.d.Config) }

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
func (f *falsifier) alone(t *path) {
	t.alone, t.calm = t.alone+1, t.calm+1
	if len(t.wrong) > 0 {
		t.calm = 0
	}
	if len(t.wrong) > 0 || t.state.Outputs[f.goal.output].Mode == interlock.Enabled {
		t.alone = 0
	}
}

// goOn drops what acts for one scan only.
func (f *falsifier) goOn(wrong []int) []int {
	var list []int
	for _, i := range wrong {
		if !f.wrongs[i].once() {
			list = append(list, i)
		}
	}
	return list
}

// turn is one scan with what goes wrong in it.
func (f *falsifier) turn(t *path) (found model.PropertySet) {
	d := f.d
	f.arm(t.wrong)
	if d.Supply {
		d.State.PowerUp()
		t.memory.forget()
	}
	f.observer.prior.CopyFrom(d.State)
	f.before.copyFrom(t.memory)
	d.Turn()
	return f.observer.observe(t.memory, d)
}

func (f *falsifier) arm(wrong []int) {
	f.d.Healthy()
	for _, i := range wrong {
		f.d.Supply = f.d.Supply || f.wrongs[i].kind == lostSupply
	}
	for _, i := range wrong {
		deviate(f.d, f.wrongs[i])
	}
}
