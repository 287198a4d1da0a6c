// Package joint takes every channel of an output in full detail at once.
//
// Picture a seating plan instead of a guest list: eight channels with fifty
// thousand states each have more combinations than could ever be listed, but
// "any of these here, any of those there, and if the pump runs nobody in the
// third row" fits on one page. The set of reached states is kept as such a plan,
// a binary decision diagram: the output part first, then channel by channel,
// each variable beside its next value. One scan moves the whole set: channel by
// channel, and the output by what the permissive then says.
//
// The parts are those that the explicit search tabulates, so both see the same
// logic; what the permissive says is evaluated here a second time.
package joint

import (
	"fmt"
	"math/big"
	"slices"

	"github.com/dalzilio/rudd"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Engine is the diagram of one output with all its channels.
type Engine struct {
	joint               *Problem
	b                   *diagrams
	limit               uint64
	output              block
	timer               *timer // of a bypass; nil is that all of them are free
	channels            []channel
	inputs              map[int][]int // variables of the inputs of the permissive
	guards              []rudd.Node   // over output now and channels next: each letter can be
	keepTrue, startTrue rudd.Node     // over channels next: the permissive can be true at all
	steps               []rudd.Node   // the output under each letter
	bad, hit            map[model.Property][]rudd.Node
	well                scan          // all inputs as they should be, no bypass
	bare                []rudd.Node   // letters where no bypass stands in
	back, forth         rudd.Replacer // next to now, now to next
	running             rudd.Node     // output now
	runs                rudd.Node     // output next
	nowVars             []int
	varCount            int
	reached             rudd.Node
	onward              rudd.Node // reached, the channels one scan on; nil until it is asked for

	// Scans is how many images the search took.
	Scans int
}

// block is where one part stands among the variables.
type block struct {
	code     code
	now      []int // by bit of the code, uppermost first
	nowSet   rudd.Node
	nextSet  rudd.Node
	words    []uint64
	rows     map[uint64]uint32 // by word, only the bits of the code
	rowPlace []int             // now and next interleaved
}

type channel struct {
	*Channel
	block
	step  rudd.Node                  // every news
	again []int                      // in a vessel: a parted connection reads good again in this scan
	under [monitor.Classes]rudd.Node // one class of news alone
	truth struct{ keep, start three }
	bare  struct{ keep, start three } // no bypass
	alone struct{ keep, start three } // evidence given, no bypass
	fit   rudd.Node                   // next: may keep, or covered by a bypass
	firm  rudd.Node                   // next: may start, or covered
	held  rudd.Node                   // now: may keep
	kept  rudd.Node                   // next: may keep
	ready rudd.Node                   // next: may start
	cover rudd.Node                   // next: a bypass that is on stands in
	calm  rudd.Node                   // now: has read for long what it reads where all is well
	free  []int
}

// New builds the diagrams of the parts.
func New(j *Problem, memory uint64) (e *Engine, err error) {
	e = &Engine{joint: j, limit: memory, bad: map[model.Property][]rudd.Node{}, hit: map[model.Property][]rudd.Node{}, inputs: map[int][]int{}}
	words := make([][]uint64, len(j.Channels))
	e.output = e.place(j.Words)
	if j.Timer != nil {
		e.timer = &timer{block: e.place(j.Timer.Words)}
	}
	for i := range j.Channels {
		words[i] = wordsOf(j.Channels[i].Table)
		c := channel{Channel: &j.Channels[i], block: e.place(words[i])}
		c.free = e.more(3) // its evidence, and whether a bypass stands in
		if c.InVessel {
			c.again = e.more(1)
		}
		e.channels = append(e.channels, c)
	}
	for _, n := range append(slices.Clone(j.Permissive), j.Bond...) {
		if n.Op == interlock.OpCause && e.channelOf(n.Cause) == nil && e.inputs[n.Cause] == nil {
			e.inputs[n.Cause] = e.more(2)
		}
	}
	if e.b, err = newDiagrams(e.varCount, e.expected(), memory); err != nil {
		return nil, err
	}
	defer e.full("building the relations", &err)
	e.everySet()
	e.timerSteps()
	e.channelSteps(words)
	e.outputSteps()
	e.permissive()
	if e.back, err = e.b.NewReplacer(next(e.nowVars), e.nowVars); err != nil {
		return nil, err
	}
	if e.forth, err = e.b.NewReplacer(e.nowVars, next(e.nowVars)); err != nil {
		return nil, err
	}
	e.b.release()
	return e, nil
}

// expected is how many nodes the table begins with: growing it later costs more
// than having it.
func (e *Engine) expected() int {
	size := 1 << 16
	for i := range e.channels {
		size += 20 * len(e.channels[i].Table.States)
	}
	return size
}

// full turns a full table into "this is how far it came". Deferred: an operation
// on a full table may stumble over a node that is not there.
func (e *Engine) full(where string, err *error) {
	full(e.b, e.limit, fmt.Sprintf("%s, after %d scans", where, e.Scans), err, recover())
}

func full(b *diagrams, limit uint64, where string, err *error, trouble any) {
	if b.full() {
		*err = &table.CutOff{Where: where, Limit: limit}
	} else if trouble != nil {
		panic(trouble)
	}
}

func (e *Engine) channelOf(cause int) *channel {
	for i := range e.channels {
		if e.channels[i].Cause == cause {
			return &e.channels[i]
		}
	}
	return nil
}

// place gives a part its variables.
func (e *Engine) place(words []uint64) block {
	b := block{code: codeOf(words), words: words, rows: map[uint64]uint32{}}
	for i, w := range words {
		b.rows[b.code.masked(w)] = uint32(i)
	}
	for range b.code {
		b.now = append(b.now, e.varCount)
		e.nowVars = append(e.nowVars, e.varCount)
		b.rowPlace = append(b.rowPlace, e.varCount, e.varCount+1)
		e.varCount += 2
	}
	return b
}

func (e *Engine) more(n int) []int {
	var list []int
	for range n {
		list = append(list, e.varCount)
		e.varCount++
	}
	return list
}

// everySet names the variables that a scan leaves behind, part by part. That a
// connection reads good again is told within the scan only.
func (e *Engine) everySet() {
	leaves := slices.Clone(e.output.now)
	for i := range e.channels {
		c := &e.channels[i]
		c.nowSet, c.nextSet = e.b.Makeset(c.now), e.b.Makeset(append(next(c.now), c.again...))
		leaves = append(leaves, c.again...)
	}
	e.output.nowSet, e.output.nextSet = e.b.Makeset(leaves), e.b.Makeset(next(e.output.now))
}

func next(now []int) []int {
	list := make([]int, len(now))
	for i, v := range now {
		list[i] = v + 1
	}
	return list
}

// masked keeps the bits of a word that vary.
func (c code) masked(word uint64) (m uint64) {
	for _, b := range c {
		m |= word & (1 << b)
	}
	return m
}

// row is the pattern of one step between two words.
func (c code) row(from, to uint64) (p pattern) {
	for i, b := range c {
		if from>>b&1 == 1 {
			p.set(2 * i)
		}
		if to>>b&1 == 1 {
			p.set(2*i + 1)
		}
	}
	return p
}

// some is the diagram of the words that are wanted, now or next.
func (e *Engine) some(b *block, words []uint64, next int, want func(i int) bool) rudd.Node {
	return some(e.b, b, words, next, want)
}

func some(d *diagrams, b *block, words []uint64, next int, want func(i int) bool) rudd.Node {
	var rows []pattern
	for i, w := range words {
		if want(i) {
			var p pattern
			for k, bit := range b.code {
				if w>>bit&1 == 1 {
					p.set(k)
				}
			}
			rows = append(rows, p)
		}
	}
	places := make([]int, len(b.now))
	for i, v := range b.now {
		places[i] = v + next
	}
	return shapeOf(rows, len(b.code)).put(d, places)
}

// channelSteps builds the relations; channels that are alike share their shapes.
func (e *Engine) channelSteps(words [][]uint64) {
	type shapes [monitor.Classes]*shape
	type key struct {
		table    *table.ChannelTable
		inVessel bool
	}
	known := map[key]*shapes{}
	for i := range e.channels {
		c := &e.channels[i]
		s := known[key{c.Table, c.InVessel}]
		if s == nil {
			s = &shapes{}
			var rows [monitor.Classes][]pattern
			c.Table.EachStep(func(from, to uint32, news monitor.Class, again bool) {
				row := c.code.row(words[i][from], words[i][to])
				if c.InVessel && again {
					row.set(2 * len(c.code))
				}
				rows[news] = append(rows[news], row)
			})
			for class := range rows {
				s[class] = shapeOf(rows[class], 2*len(c.code)+len(c.again))
			}
			known[key{c.Table, c.InVessel}] = s
		}
		c.step = e.b.False()
		for class := range s {
			c.under[class] = s[class].put(e.b, append(slices.Clone(c.rowPlace), c.again...))
			c.step = e.b.Or(c.step, c.under[class])
		}
		e.channelTruth(c, words[i])
	}
}

// channelTruth is what a channel says after its step.
func (e *Engine) channelTruth(c *channel, words []uint64) {
	in := func(want func(monitor.Phase) bool) rudd.Node {
		return e.some(&c.block, words, 1, func(i int) bool { return want(c.Table.States[i].Phase) })
	}
	keep, start := in(monitor.Phase.MayKeep), in(monitor.Phase.MayStart)
	unreadable := in(func(p monitor.Phase) bool { return p == monitor.Unreadable })
	covered := e.b.False()
	if c.Bypassed {
		covered = in(func(p monitor.Phase) bool {
			return p == monitor.Unreadable || c.CoversLost && p == monitor.Lost
		})
	}
	c.kept, c.ready = keep, start
	c.held = e.some(&c.block, words, 0, func(i int) bool { return c.Table.States[i].Phase.MayKeep() })
	c.fit, c.firm = e.b.Or(keep, covered), e.b.Or(start, covered)
	c.calm = e.some(&c.block, words, 0, func(i int) bool {
		s := &c.Table.States[i]
		return c.settled(s) && s.Class == c.Reads && s.Age == 0 && (!s.Parted || c.Reads != monitor.Good)
	})
	stands := e.b.And(covered, e.b.Ithvar(c.free[2]))
	if e.timer != nil && e.joint.Timer.Channel == c.Name {
		stands = e.b.And(covered, e.timer.on)
	}
	c.cover = stands
	evidence := three{e.b.True(), e.b.False()}
	if c.Evidence {
		evidence = e.freeTruth(c.free[:2])
	}
	alone := func(fit rudd.Node) three { return three{fit, e.b.Not(e.b.Or(fit, unreadable))} }
	bare := func(fit rudd.Node) three { return lesser(e.b, alone(fit), evidence) }
	shown := func(fit rudd.Node) three {
		t := alone(fit)
		return lesser(e.b, three{e.b.Or(t.yes, stands), e.b.And(t.no, e.b.Not(stands))}, evidence)
	}
	c.truth.keep, c.truth.start = shown(keep), shown(start)
	c.bare.keep, c.bare.start = bare(keep), bare(start)
	c.alone.keep, c.alone.start = alone(keep), alone(start)
}

// settled says that a channel is as it is where all is well: bonded, or off.
func (c *channel) settled(s *table.ChannelState) bool {
	if c.Reads == monitor.Good {
		return s.Phase == monitor.Bonded
	}
	return !s.Phase.MayKeep() && s.Phase != monitor.Unreadable
}

func (e *Engine) outputSteps() {
	runs := func(i int) bool { return e.joint.Running(e.joint.Words[i]) }
	e.running, e.runs = e.some(&e.output, e.joint.Words, 0, runs), e.some(&e.output, e.joint.Words, 1, runs)
	letters := e.joint.Letters()
	e.steps = make([]rudd.Node, letters)
	all := make([][]pattern, letters)
	bad, hit := map[model.Property][][]pattern{}, map[model.Property][][]pattern{}
	for _, n := range e.joint.Properties {
		bad[n], hit[n] = make([][]pattern, letters), make([][]pattern, letters)
	}
	e.joint.EachStep(func(s Step) {
		row := e.output.code.row(s.From, s.To)
		all[s.Letter] = append(all[s.Letter], row)
		for _, n := range e.joint.Properties {
			if s.Bad.Has(n) {
				bad[n][s.Letter] = append(bad[n][s.Letter], row)
			}
			if s.Hit.Has(n) {
				hit[n][s.Letter] = append(hit[n][s.Letter], row)
			}
		}
	})
	diagram := func(rows []pattern) rudd.Node {
		return shapeOf(rows, 2*len(e.output.code)).put(e.b, e.output.rowPlace)
	}
	for v := range all {
		e.steps[v] = diagram(all[v])
		for _, n := range e.joint.Properties {
			e.bad[n], e.hit[n] = append(e.bad[n], diagram(bad[n][v])), append(e.hit[n], diagram(hit[n][v]))
		}
	}
}

// start is power-up: every part at its first state.
func (e *Engine) start() rudd.Node {
	s := e.b.True()
	for i := len(e.channels) - 1; i >= 0; i-- {
		s = e.b.And(s, e.zero(&e.channels[i].block))
	}
	if e.timer != nil {
		s = e.b.And(s, e.zero(&e.timer.block))
	}
	return e.b.And(s, e.zero(&e.output))
}

// zero is the first state of a part: all of its words begin with 0.
func (e *Engine) zero(b *block) rudd.Node {
	s := e.b.True()
	for i := len(b.now) - 1; i >= 0; i-- {
		s = e.b.And(s, e.b.NIthvar(b.now[i]))
	}
	return s
}

// scan is what one scan may bring: news to every channel, and by letter what
// comes of them to the output, over the output now and the channels next.
type scan struct {
	news   func(*channel) rudd.Node
	guards []rudd.Node
}

// free is a scan that may bring anything.
func (e *Engine) free() scan {
	return scan{func(c *channel) rudd.Node { return c.step }, e.guards}
}

// moved takes every channel one scan on: over the output now, the channels next.
func (e *Engine) moved(set rudd.Node, s scan) rudd.Node {
	for i := range e.channels {
		c := &e.channels[i]
		set = e.b.AndExist(c.nowSet, set, s.news(c))
	}
	if e.timer != nil {
		set = e.b.AndExist(e.timer.nowSet, set, e.timer.step)
	}
	return set
}

// image is the set one scan later.
func (e *Engine) image(set rudd.Node, s scan) rudd.Node {
	moved, result := e.moved(set, s), e.b.False()
	for v := range e.steps {
		result = e.b.Or(result, e.b.AndExist(e.output.nowSet, e.b.And(moved, s.guards[v]), e.steps[v]))
	}
	return e.b.Replace(result, e.back)
}

// before is where one scan can lead into a set.
func (e *Engine) before(set rudd.Node, s scan) rudd.Node {
	later, result := e.b.Replace(set, e.forth), e.b.False()
	for v := range e.steps {
		result = e.b.Or(result, e.b.AndExist(e.output.nextSet, e.b.And(later, s.guards[v]), e.steps[v]))
	}
	for i := range e.channels {
		c := &e.channels[i]
		result = e.b.AndExist(c.nextSet, result, s.news(c))
	}
	return result
}

// Run reaches everything that can be reached from power-up. Progress is told of
// scans, of nodes in the table and of the memory that they take.
func (e *Engine) Run(progress Progress) (err error) {
	defer e.full("searching jointly", &err)
	e.reached = e.start()
	fresh := e.reached
	for !e.b.Equal(fresh, e.b.False()) {
		later := e.image(fresh, e.free())
		e.Scans++
		all := e.b.Or(e.reached, later)
		if e.b.Equal(all, e.reached) {
			break
		}
		// Either set would do: what is new is smaller, all that is reached has
		// the simpler plan, and the plan is what costs.
		e.reached, fresh = all, all
		if e.b.full() {
			return nil // told by the deferred call
		}
		e.b.release()
		if progress != nil {
			nodes := e.b.allocated()
			progress(e.Scans, nodes, uint64(nodes)*bytesPerNode)
		}
	}
	return nil
}

// States is the number of states reached.
func (e *Engine) States() *big.Int {
	n := e.b.Satcount(e.reached)
	return n.Rsh(n, uint(e.varCount-len(e.nowVars)))
}
