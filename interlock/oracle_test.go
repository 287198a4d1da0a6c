package interlock

import (
	"fmt"
	"math/rand"
	"testing"

	"ohmgate/monitor"
)

// oracle is a second, slow formulation of SEMANTICS.md, sections 4 to 8, for one vessel
// and one output. It keeps no latch, no count and no button state: for every
// scan it reads the whole history again, its own decisions included. Only the
// channel comes from monitor, which has an oracle of its own.
type oracle struct {
	c       *Config
	scans   []oracleScan
	enabled []bool // its own decisions
	mode    []Mode
	memo    map[string]bool // answers about scans of the past never change
}

// oracleScan is one scan: what came in, and the channel's state after it.
type oracleScan struct {
	signals []Signal
	overrun bool
	channel monitor.State
}

// The inputs of the oracle's site.
const (
	inReset = iota
	inStart
	inStop
	inAck
	inClosed
	inOpened
	inFlow
	inKey
	inHere
	oracleInputs
)

// remember answers a question about a scan once.
func (o *oracle) remember(what string, k int, answer func() bool) bool {
	key := fmt.Sprint(what, k)
	known, ok := o.memo[key]
	if !ok {
		known = answer()
		o.memo[key] = known
	}
	return known
}

// level is the value in effect of an input in scan k, and whether it arrived.
func (o *oracle) level(input, k int) (Truth, bool) {
	for gap := 0; k-gap >= 0 && gap <= int(o.c.Inputs[input].StaleAfter); gap++ {
		switch o.scans[k-gap].signals[input] {
		case High:
			return True, gap == 0
		case Low:
			return False, gap == 0
		case Faulty:
			return Unknown, false
		}
	}
	return Unknown, false
}

func (o *oracle) is(input, k int, want Truth) bool {
	got, _ := o.level(input, k)
	return got == want
}

func and(a, b Truth) Truth {
	switch {
	case a == False || b == False:
		return False
	case a == True && b == True:
		return True
	}
	return Unknown
}

func (o *oracle) evidence(k int) Truth {
	if o.c.Channels[0].Evidence == 0 {
		return True
	}
	level, _ := o.level(inHere, k)
	return level
}

// fit is the connection as people see it; with a bypass where asked.
func (o *oracle) fit(k int, toStart, bypassed bool) Truth {
	phase, fits := o.scans[k].channel.Phase, False
	switch {
	case bypassed && phase == monitor.Unreadable && o.bypass(k):
		fits = True
	case phase == monitor.Unreadable:
		fits = Unknown
	case phase == monitor.Bonded, phase == monitor.Doubtful && !toStart:
		fits = True
	}
	return and(fits, o.evidence(k))
}

// rise: a fresh 1 in scan k after a valid 0 with nothing but zeros since.
func (o *oracle) rise(input, k int) bool {
	if level, fresh := o.level(input, k); level != True || !fresh {
		return false
	}
	for j := k - 1; j >= 0; j-- {
		if level, fresh := o.level(input, j); level != False {
			return false
		} else if fresh {
			return true
		}
	}
	return false
}

// bypass: within its time from a press that the gap allowed.
func (o *oracle) bypass(k int) bool {
	if len(o.c.Bypasses) == 0 {
		return false
	}
	b := o.c.Bypasses[0]
	ends := -1 // the scan in which the last one ended
	for j := 0; j <= k; j++ {
		zeros := 0
		for i := ends + 1; i < j; i++ {
			zeros += bit(o.is(inKey, i, False))
		}
		if o.rise(inKey, j) && zeros > int(b.Gap) {
			if ends = j + int(b.For); k < ends {
				return true
			}
			j = ends
		}
	}
	return false
}

func (o *oracle) running(k int) bool { return k > 0 && o.enabled[k-1] }

// switches: what the output's end switches say in scan k.
func (o *oracle) switches(k int) (home, away, dark bool) {
	out := &o.c.Outputs[0]
	home, away = true, true
	for _, s := range []struct {
		declared bool
		input    int
		atHome   Truth
	}{{out.Closed != 0, inClosed, True}, {out.Opened != 0, inOpened, False}} {
		if s.declared {
			home = home && o.is(s.input, k, s.atHome)
			away = away && o.is(s.input, k, -s.atHome)
			dark = dark || o.is(s.input, k, Unknown)
		}
	}
	return home, away, dark
}

func (o *oracle) confirmable() bool {
	return o.c.Outputs[0].Closed != 0 || o.c.Outputs[0].Opened != 0
}

// failure is how the actuator is unconfirmed in scan k alone: for longer than
// its travel, with the same command, it did not report what was asked.
func (o *oracle) failure(k int) Unconfirmed {
	if !o.confirmable() {
		return 0
	}
	for j := k; j >= k-int(o.c.Outputs[0].Travel); j-- {
		if j < 0 || o.running(j) != o.running(k) {
			return 0
		}
		home, away, _ := o.switches(j)
		if o.running(j) && away || !o.running(j) && home {
			return 0
		}
	}
	_, _, dark := o.switches(k)
	return [2][2]Unconfirmed{{StayedOpen, UnknownClosed}, {StayedShut, UnknownOpen}}[bit(o.running(k))][bit(dark)]
}

// latch is every failure up to scan k since the last reset given before `upTo`,
// and whether the actuator has since shown what is needed to be believed.
func (o *oracle) latch(k int) (kinds Unconfirmed, believed bool) {
	from := 0
	for j := k - 1; j >= 0; j-- { // a reset given in scan k itself clears after this
		if o.given(j) {
			from = j + 1
			break
		}
	}
	newest := from
	for j := from; j <= k; j++ {
		if f := o.failure(j); f&^kinds != 0 {
			kinds, newest = kinds|f, j
		}
	}
	away := kinds&(StayedOpen|StayedShut) == 0 // what was never seen wrong needs the stopped end only
	for j := newest; j <= k; j++ {
		h, a, _ := o.switches(j)
		if away = away || a; away && h {
			believed = true
		}
	}
	return kinds, kinds == 0 || believed
}

// stopped: the stream is confirmed stopped in scan k.
func (o *oracle) stopped(k int) bool {
	return o.remember("stopped", k, func() bool {
		if o.running(k) || o.c.Streams[0].Flow != 0 && !o.is(inFlow, k, False) {
			return false
		}
		if !o.confirmable() {
			return true
		}
		home, _, _ := o.switches(k)
		believed := true
		if k > 0 && !o.given(k-1) {
			_, believed = o.latch(k - 1)
		}
		return home && believed
	})
}

// flows: a sign of flow in scan k.
func (o *oracle) flows(k int) bool {
	if o.c.Streams[0].Flow != 0 && o.is(inFlow, k, True) {
		return true
	}
	open := o.c.Outputs[0].Closed != 0 && o.is(inClosed, k, False) || o.c.Outputs[0].Opened != 0 && o.is(inOpened, k, True)
	return !o.stopped(k) && (o.running(k) || open)
}

// still: confirmed stopped for the run-down and one scan.
func (o *oracle) still(k int) bool {
	for j := k; j >= k-int(o.c.Streams[0].RunDown); j-- {
		if j < 0 || !o.stopped(j) {
			return false
		}
	}
	return true
}

func (o *oracle) held(k int) bool { return k >= 0 && o.fit(k, false, false) == True }

// charged: a loss while the flow is not over, or flow without a bond.
func (o *oracle) charged(k int) bool {
	return o.held(k-1) && !o.held(k) && !o.still(k) || !o.held(k) && o.flows(k)
}

// clear: the wait has passed since the last thing that charged the vessel, or
// since power-up.
func (o *oracle) clear(k int) bool {
	return o.remember("clear", k, func() bool {
		run := 0
		for j := k; j >= 0 && !o.charged(j); j-- {
			if run++; !o.still(j) {
				run = 0
			}
			if run > int(o.c.Vessels[0].Wait) {
				return true
			}
		}
		return false
	})
}

// reconnected: the first fresh good reading since the connection was seen open
// or high, or was there and went to lost or unreadable.
func (o *oracle) reconnected(k int) bool {
	good := func(j int) bool { return o.scans[j].channel.Class == monitor.Good && o.scans[j].channel.Age == 0 }
	if !good(k) {
		return false
	}
	for j := k; j >= 0 && (j == k || !good(j)); j-- {
		now := o.scans[j].channel
		var was monitor.State
		if j > 0 {
			was = o.scans[j-1].channel
		}
		there := was.Phase == monitor.Bonded || was.Phase == monitor.Doubtful || was.Phase == monitor.Settling || was.Class == monitor.Good
		if now.Class == monitor.Open || now.Class == monitor.High || there && (now.Phase == monitor.Lost || now.Phase == monitor.Unreadable) {
			return true
		}
	}
	return false
}

// reconnectedEarly: it did so while the vessel may be charged.
func (o *oracle) reconnectedEarly(k int) bool {
	return o.reconnected(k) && (k == 0 || !o.clear(k-1) || o.charged(k))
}

// early: an early reconnection up to scan k that no press after it acknowledged.
func (o *oracle) early(k int) bool {
	if o.c.Vessels[0].Acknowledge == 0 {
		return false
	}
	early := false
	for j := 0; j <= k; j++ {
		early = early || o.reconnectedEarly(j)
		if early && o.acknowledged(j) {
			early = false
		}
	}
	return early
}

func (o *oracle) acknowledged(k int) bool {
	return o.remember("ack", k, func() bool {
		b := button{o, inAck, o.c.Vessels[0].Press, o.early, func(j int) bool { return !o.reconnectedEarly(j) && j > 0 && o.early(j-1) }}
		return b.pressed(k)
	})
}

// button is one button read from the history: already must hold in the scan
// before a press, through in every scan of it.
type button struct {
	o                *oracle
	input            int
	p                Press
	already, through func(int) bool
}

// runStart is the first scan of the run of equal levels that ends in scan k.
func (b *button) runStart(k int, level Truth) int {
	for k > 0 && b.o.is(b.input, k-1, level) {
		k--
	}
	return k
}

// alive: the ones that end in scan k are a press in which everything was right
// so far. It began at rest, and not for too long ago.
func (b *button) alive(k int) bool {
	if k < 0 || !b.o.is(b.input, k, True) {
		return false
	}
	first := b.runStart(k, True)
	for j := first; j <= k; j++ {
		if !b.through(j) {
			return false
		}
	}
	return k-first < int(b.p.Max) && first > 0 && b.atRest(first-1) && b.already(first-1)
}

// ends: in which scan of the zeros up to k the press before them is decided,
// and whether it counts: its second fresh zero, or what spoils it.
func (b *button) ends(k int) (at int, counts, decided bool) {
	zero := b.runStart(k, False)
	if !b.through(zero) || zero-b.runStart(zero-1, True) < int(b.p.Min) {
		return zero, false, true
	}
	for j := zero + 1; j <= k; j++ {
		if !b.through(j) {
			return j, false, true
		}
		if _, fresh := b.o.level(b.input, j); fresh {
			return j, true, true
		}
	}
	return k, false, false
}

// atRest: the zeros that end in scan k belong to no press any more. What counts
// is at rest at once; what was spoiled needs one more zero that arrives.
func (b *button) atRest(k int) bool {
	if !b.o.is(b.input, k, False) {
		return false
	}
	if zero := b.runStart(k, False); !b.alive(zero - 1) {
		return true
	}
	at, counts, decided := b.ends(k)
	for j := at + 1; decided && !counts && j <= k; j++ {
		if _, fresh := b.o.level(b.input, j); fresh {
			return true
		}
	}
	return counts
}

// pressed: a whole deliberate press ends in scan k.
func (b *button) pressed(k int) bool {
	if !b.o.is(b.input, k, False) || !b.alive(b.runStart(k, False)-1) {
		return false
	}
	at, counts, _ := b.ends(k)
	return counts && at == k
}

// given: the reset counts in scan k.
func (o *oracle) given(k int) bool {
	return o.remember("given", k, func() bool {
		b := button{o, inReset, o.c.Outputs[0].Press, o.ready, o.ready}
		return b.pressed(k)
	})
}

func (o *oracle) stopAsked(k int) bool { return o.c.Outputs[0].Stop != 0 && !o.is(inStop, k, False) }

// ready: everything that the output itself needs is true, it is not running,
// and has been allowed to start for the on-delay.
func (o *oracle) ready(k int) bool {
	return o.remember("ready", k, func() bool {
		if k == 0 || o.running(k) || o.scans[k].overrun || o.stopAsked(k) || !o.clear(k) || o.early(k) {
			return false
		}
		for j := k; j >= k-int(o.c.Outputs[0].OnDelay); j-- {
			if j < 0 || o.running(j) || o.permissive(j, true) != True || o.permissive(j, false) != True {
				return false
			}
		}
		_, believed := o.latch(k)
		home, _, _ := o.switches(k) // true without switches
		return believed && home
	})
}

func (o *oracle) permissive(k int, toStart bool) Truth {
	fit := o.fit(k, toStart, true)
	if o.c.Outputs[0].Permissive.inverts() { // NOT bond_1
		fit = -fit
	}
	return fit
}

// decide is the output in scan k.
func (o *oracle) decide(k int) (bool, Mode) {
	before := KeptOut
	if k > 0 {
		before = o.mode[k-1]
	}
	kinds, _ := o.latch(k)
	if o.running(k) {
		keeps := o.permissive(k, false) == True
		switch {
		case keeps && kinds == 0 && !o.stopAsked(k) && !o.scans[k].overrun:
			return true, Enabled
		case keeps && kinds == 0 && !o.scans[k].overrun, kinds == 0 && !o.scans[k].overrun && o.still(k):
			return false, KeptOut
		}
		return false, Tripped
	}
	if o.given(k) {
		before, kinds = KeptOut, 0
	}
	out := &o.c.Outputs[0]
	begun := out.Start == 0 || o.rise(inStart, k) && k > 0 && o.ready(k-1)
	if o.ready(k) && (o.armed(k) || out.Automatic && kinds == 0) && begun {
		return true, Enabled
	}
	return false, before
}

// armed: a reset was given, and the conditions have held ever since.
func (o *oracle) armed(k int) bool {
	for j := k; j >= 0 && o.ready(j); j-- {
		if o.given(j) {
			return true
		}
	}
	return false
}

// oracleSite draws a site of one car and one valve.
func oracleSite(t *testing.T, r *rand.Rand) *bench {
	b := newBench(t, 1, "reset", "start", "stop", "ack", "closed", "opened", "flow", "key", "here")
	yes := func() bool { return r.Intn(2) == 0 }
	some := func(name string) Ref {
		if yes() {
			return b.ref(name)
		}
		return 0
	}
	for i := range b.c.Inputs {
		b.c.Inputs[i].StaleAfter = Scans(r.Intn(3))
	}
	if r.Intn(3) == 0 {
		b.c.Channels[0].Evidence = b.ref("here")
	}
	p := Press{Min: Scans(1 + r.Intn(2)), Max: Scans(2 + r.Intn(2))}
	text := "bond_1"
	if r.Intn(8) == 0 {
		text = "NOT bond_1"
	}
	o := Output{Permissive: b.permissive(text), OnDelay: Scans(r.Intn(3)), Reset: b.ref("reset"), Press: p, Start: some("start"), Stop: some("stop"), Closed: some("closed"), Opened: some("opened"), Travel: Scans(1 + r.Intn(3))}
	v := Vessel{BondedBy: b.permissive("bond_1"), Wait: Scans(r.Intn(4)), Rest: Scans(r.Intn(3)), Acknowledge: b.ref("ack"), Press: p}
	if v.Wait == 0 {
		o.Automatic, v.Acknowledge = yes(), some("ack")
	}
	s := Stream{Through: []int{0}, Charges: []int{0}, RunDown: Scans(r.Intn(3))}
	if r.Intn(3) == 0 {
		s.Flow = b.ref("flow")
	}
	if yes() {
		b.c.Bypasses = []Bypass{{Input: b.ref("key"), Channel: 0, For: Scans(3 + r.Intn(6)), Warn: 1, Gap: Scans(r.Intn(3))}}
	}
	b.c.Outputs, b.c.Vessels, b.c.Streams = []Output{o}, []Vessel{v}, []Stream{s}
	return b.start()
}

// oracleDay plays what a plant and its people do: everything good, the valve
// following its coil, and every few scans a press, a clamp off, a stuck valve,
// a lost module.
type oracleDay struct {
	r      *rand.Rand
	b      *bench
	plan   [oracleInputs][]Signal // what an input does next
	stuck  int
	reads  []monitor.Reading
	closed Signal
}

func (day *oracleDay) next() {
	r := day.r
	if r.Intn(3) == 0 {
		input := []int{inReset, inReset, inReset, inStart, inAck, inAck, inStop, inFlow, inKey, inHere}[r.Intn(10)]
		if len(day.plan[input]) == 0 {
			for n := 1 + r.Intn(4); n > 0; n-- {
				day.plan[input] = append(day.plan[input], High)
			}
			day.plan[input] = append(day.plan[input], Low, Low)
		}
	}
	if r.Intn(25) == 0 {
		input := r.Intn(oracleInputs)
		for n := 1 + r.Intn(4); n > 0; n-- {
			day.plan[input] = append(day.plan[input], Signal(r.Intn(4)))
		}
	}
	if r.Intn(20) == 0 && len(day.reads) == 0 {
		kinds := []monitor.Reading{readBetween, readHigh, readOpen, readBad, readNothing}
		kind := kinds[r.Intn(len(kinds))]
		for n := 1 + r.Intn(5); n > 0; n-- {
			day.reads = append(day.reads, kind)
		}
	}
	if r.Intn(30) == 0 {
		day.stuck = r.Intn(8)
	}
	day.fill()
}

func (day *oracleDay) fill() {
	in := day.b.in
	if day.stuck > 0 {
		day.stuck--
	} else {
		day.closed = Low + Signal(bit(!day.b.d.Coils.Energised(0)))
	}
	for i := range in.Signals {
		in.Signals[i] = Low
		switch i {
		case inClosed:
			in.Signals[i] = day.closed
		case inOpened:
			in.Signals[i] = Low + High - day.closed
		case inHere:
			in.Signals[i] = High
		}
		if len(day.plan[i]) > 0 {
			in.Signals[i], day.plan[i] = day.plan[i][0], day.plan[i][1:]
			if i == inHere {
				in.Signals[i] = [4]Signal{NoSignal, Faulty, High, Low}[in.Signals[i]]
			}
		}
	}
	in.Readings[0] = readGood
	if len(day.reads) > 0 {
		in.Readings[0], day.reads = day.reads[0], day.reads[1:]
	}
	in.Overrun = day.r.Intn(60) == 0
}

// The oracle and Step agree on the output, its mode, the vessel's memory and
// the latches, in every scan of thousands of days at Quarry Road works.
func TestOracleAgrees(t *testing.T) {
	trials, length := 1500, 70
	if testing.Short() {
		trials = 400
	}
	r := rand.New(rand.NewSource(62_881))
	counts := map[string]int{}
	for trial := 0; trial < trials; trial++ {
		b := oracleSite(t, r)
		o := &oracle{c: b.c, memo: map[string]bool{}}
		day := &oracleDay{r: r, b: b}
		for k := 0; k < length; k++ {
			day.next()
			b.run(1)
			o.scans = append(o.scans, oracleScan{append([]Signal(nil), b.in.Signals...), b.in.Overrun, b.s.Channels[0].State})
			enabled, mode := o.decide(k)
			o.enabled, o.mode = append(o.enabled, enabled), append(o.mode, mode)
			if err := o.disagree(k, b); err != nil {
				t.Fatalf("trial %d scan %d: %v\nchannel %+v\noutput %+v\nvessel %+v\nstream %+v bypass %+v\nscans %v\nenabled %v", trial, k, err, b.c.Channels[0].Evidence, b.c.Outputs[0], b.c.Vessels[0], b.c.Streams[0], b.c.Bypasses, o.story(), o.enabled)
			}
			countEvents(counts, b.d)
		}
	}
	for _, kind := range []Kind{OutputEnabled, OutputTripped, OutputReleased, OutputStopped, ResetGiven, ResetIgnored, StartIgnored, ActuatorUnconfirmed, ActuatorReported,
		MayBeCharged, WaitBegan, WaitOver, ReconnectedEarly, Acknowledged, AcknowledgeIgnored, Released, ReleasedTooSoon, BypassBegan, BypassEnded, BypassIgnored} {
		if counts[kind.String()+fmt.Sprint(kind)] < trials/400 {
			t.Errorf("%v (%d) came about only %d times", kind, kind, counts[kind.String()+fmt.Sprint(kind)])
		}
	}
}

func countEvents(counts map[string]int, d *Decision) {
	for _, e := range d.Events {
		counts[e.Kind.String()+fmt.Sprint(e.Kind)]++
	}
}

func (o *oracle) story() string {
	text := ""
	for k, s := range o.scans {
		text += fmt.Sprintf("\n%d %v %v %v %v age %d", k, s.signals, s.overrun, s.channel.Phase, s.channel.Class, s.channel.Age)
	}
	return text
}

func (o *oracle) disagree(k int, b *bench) error {
	out, vessel := b.s.Outputs[0], b.s.Vessels[0]
	kinds, _ := o.latch(k)
	if o.given(k) {
		kinds = 0
	}
	switch {
	case out.Mode != o.mode[k] || b.d.Coils.Energised(0) != o.enabled[k]:
		return fmt.Errorf("%v (%s), the oracle says %v", out.Mode, textOf(b.d.Reasons[0]), o.mode[k])
	case vessel.Clear != o.clear(k):
		return fmt.Errorf("vessel clear %v, the oracle says %v", vessel.Clear, o.clear(k))
	case vessel.Early != o.early(k):
		return fmt.Errorf("reconnected early %v, the oracle says %v", vessel.Early, o.early(k))
	case out.Unconfirmed != kinds:
		return fmt.Errorf("unconfirmed %d, the oracle says %d", out.Unconfirmed, kinds)
	case b.s.Streams[0].Still(&b.c.Streams[0]) != o.still(k):
		return fmt.Errorf("still %v, the oracle says %v", !o.still(k), o.still(k))
	case (len(b.c.Bypasses) > 0 && b.s.Bypasses[0].Active > 0) != o.bypass(k):
		return fmt.Errorf("bypass %v, the oracle says %v", !o.bypass(k), o.bypass(k))
	}
	return nil
}
