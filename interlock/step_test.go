package interlock

import (
	"fmt"
	"math/rand"
	"reflect"
	"testing"

	"ohmgate/monitor"
)

// Backups are withheld in the very scan of the call, however long the chain and
// whatever the order of declaration.
func TestBackupsOfBackupsInTheSameScan(t *testing.T) {
	b := newBench(t, 1)
	p := b.permissive("bond_1")
	always := b.permissive("bond_1 OR NOT bond_1")
	b.c.Outputs = []Output{
		{Permissive: always, Automatic: true},                                 // 0 is called by 1
		{Permissive: always, Automatic: true, Backup: []int{0}, AtOnce: true}, // 1 is called by 2
		{Permissive: p, Automatic: true, Backup: []int{1}, AtOnce: true},      // 2 begins it
	}
	b.start().run(6)
	for i := 0; i < 3; i++ {
		b.want(i, Enabled)
	}
	b.read(0, readOpen).run(1)
	for i := 0; i < 3; i++ {
		b.want(i, Tripped)
	}
	if b.reasons(0) != "backup called" || b.s.Outputs[0].Trip.Callers != 1<<1 || b.s.Outputs[1].Trip.Callers != 1<<2 {
		t.Errorf("output 0: %s, called by %b; output 1 by %b", b.reasons(0), b.s.Outputs[0].Trip.Callers, b.s.Outputs[1].Trip.Callers)
	}
	if got := b.c.Order(); !reflect.DeepEqual(got, []int{2, 1, 0}) {
		t.Errorf("order %v", got)
	}
}

// Only what may still be open calls the backup: a valve that does not open has
// stopped the flow itself.
func TestOnlyFailToCloseCallsTheBackup(t *testing.T) {
	for u, want := range map[Unconfirmed]bool{StayedOpen: true, UnknownClosed: true, StayedShut: false, UnknownOpen: false, 0: false, StayedShut | StayedOpen: true} {
		if u.CallsBackup() != want {
			t.Errorf("unconfirmed %d calls its backup: %v", u, !want)
		}
	}
	for _, stuck := range []bool{false, true} {
		b := theYard(t)
		b.set("closed", High).set("opened", Low).run(12)
		b.press("reset").want(0, Enabled)
		b.set("start", High).run(1).set("start", Low).want(1, Enabled)
		if !stuck { // the valve never opens
			b.run(3).want(0, Tripped).want(1, Enabled)
			continue
		}
		b.set("closed", Low).set("opened", High).run(3).want(0, Enabled)
		b.read(0, readOpen).run(1).want(0, Tripped).want(1, Tripped)
		b.read(0, readGood).run(4)
		if b.d.Reasons[1]&ReasonBackup == 0 {
			t.Error("a valve that stays open does not call its backup")
		}
	}
}

// The latch needs both ends, in that order, for what was seen wrong; the
// stopped end for what was only dark. It then stands until a reset.
func TestWhatClearsALatch(t *testing.T) {
	ends := map[string]report{"home": {home: true}, "away": {away: true}, "dark": {dark: true}, "neither": {}}
	cases := []struct {
		latch Unconfirmed
		seen  []string
		want  bool
	}{
		{0, nil, true},
		{StayedOpen, []string{"home"}, false}, {StayedOpen, []string{"away"}, false}, {StayedOpen, []string{"away", "home"}, true}, {StayedOpen, []string{"home", "away"}, false},
		{StayedShut, []string{"home"}, false}, {StayedShut, []string{"away", "neither", "home"}, true},
		{UnknownClosed, []string{"home"}, true}, {UnknownOpen, []string{"home"}, true}, {UnknownOpen, []string{"away"}, false}, {UnknownClosed, []string{"dark", "neither"}, false},
		{UnknownClosed | StayedOpen, []string{"home"}, false}, {UnknownClosed | StayedOpen, []string{"away", "home"}, true},
	}
	for _, k := range cases {
		o := Output{Closed: 1, Opened: 2, Travel: 1000}
		s := OutputControl{Unconfirmed: k.latch}
		for _, end := range k.seen {
			next := s
			var news OutputTold
			confirm(&o, &s, &next, ends[end], &news)
			if news.Reported != (next.believed() && !s.believed()) {
				t.Errorf("%+v: told %v", k, news.Reported)
			}
			s = next
		}
		if s.Believed() != k.want || s.Unconfirmed != k.latch {
			t.Errorf("latch %d after %v: believed %v, latched %d", k.latch, k.seen, s.Believed(), s.Unconfirmed)
		}
	}
}

// What each end switch says, with one switch, the other, both and none.
func TestReports(t *testing.T) {
	for _, k := range []struct {
		closed, opened   bool
		c, o             Truth
		home, away, dark bool
	}{
		{true, true, True, False, true, false, false}, {true, true, False, True, false, true, false},
		{true, true, True, True, false, false, false}, {true, true, False, False, false, false, false},
		{true, true, Unknown, False, false, false, true}, {true, true, True, Unknown, false, false, true},
		{true, false, True, Unknown, true, false, false}, {true, false, False, Unknown, false, true, false}, {true, false, Unknown, True, false, false, true},
		{false, true, Unknown, False, true, false, false}, {false, true, Unknown, True, false, true, false}, {false, true, True, Unknown, false, false, true},
	} {
		s := &State{Inputs: []InputState{{Level: k.c}, {Level: k.o}}}
		o := Output{}
		if k.closed {
			o.Closed = 1
		}
		if k.opened {
			o.Opened = 2
		}
		if got := s.report(&o); got != (report{k.home, k.away, k.dark}) {
			t.Errorf("%+v: %+v", k, got)
		}
	}
	if o := (Output{}); o.Confirmable() || !(&Output{Opened: 1}).Confirmable() {
		t.Error("confirmable")
	}
}

// First-out is the set of causes that were not true in the trip scan; what goes
// within the same bus cycle stands beside it and the order is said to be
// unknown; what goes later is not added; a reset clears it.
func TestFirstOut(t *testing.T) {
	for _, k := range []struct {
		name             string
		second           int // scans after the first cause in which the second goes
		first, alongside []int
		unknown          bool
	}{
		{"at once", 0, []int{0, 1}, nil, true},
		{"within the bus cycle", 1, []int{0}, []int{1}, true},
		{"at its end", 2, []int{0}, []int{1}, true},
		{"after it", 3, []int{0}, nil, false},
	} {
		b := newBench(t, 3, "reset")
		b.c.PollScans = 3
		b.c.Outputs = []Output{{Permissive: b.permissive("bond_1 AND bond_2 AND bond_3"), Reset: b.ref("reset"), Press: testPress}}
		b.start().run(8).press("reset").want(0, Enabled)
		b.read(0, readOpen)
		for i := 0; i < 6; i++ {
			if i == k.second {
				b.read(1, readOpen)
			}
			b.run(1).want(0, Tripped)
		}
		trip := b.s.Outputs[0].Trip
		if got := members(&trip.FirstOut); !reflect.DeepEqual(got, k.first) {
			t.Errorf("%s: first-out %v, want %v", k.name, got, k.first)
		}
		if got := members(&trip.Alongside); !reflect.DeepEqual(got, k.alongside) || trip.OrderUnknown() != k.unknown {
			t.Errorf("%s: alongside %v, order unknown %v", k.name, got, trip.OrderUnknown())
		}
		if trip.Why != ReasonNotMet {
			t.Errorf("%s: why %s", k.name, textOf(trip.Why))
		}
		b.read(0, readGood).read(1, readGood).run(6).press("reset")
		if b.want(0, Enabled); b.s.Outputs[0].Trip != (TripRecord{}) {
			t.Errorf("%s: the reset leaves %+v", k.name, b.s.Outputs[0].Trip)
		}
	}
}

func members(set *CauseSet) (all []int) {
	set.Each(func(cause int) { all = append(all, cause) })
	return all
}

// Duties: power-up and overrun kick no watchdog before everything is decided;
// every reason is kept and has a text.
func TestDecisionDuties(t *testing.T) {
	b := theYard(t)
	b.set("closed", High).run(1)
	if !b.d.Kick || b.told(PowerUp) != 1 || b.d.Coils != 0 {
		t.Errorf("first scan: kick %v, events %v, coils %b", b.d.Kick, b.d.Events, b.d.Coils)
	}
	b.in.Overrun = true
	b.run(1)
	if b.d.Kick || b.told(Overrun) != 1 || b.told(PowerUp) != 0 {
		t.Errorf("overrun: kick %v, events %v", b.d.Kick, b.d.Events)
	}
	b.in.Overrun = false
	if b.run(1); !b.d.Kick {
		t.Error("the scan after an overrun kicks nothing")
	}
	if CoilSet(0).Energised(-1) || (^CoilSet(0)).Energised(64) || !CoilSet(1<<63).Energised(63) {
		t.Error("coils")
	}
}

// Events about a channel that never bonds, and one whose settling starts again.
func TestChannelEvents(t *testing.T) {
	b := newBench(t, 1).start()
	b.read(0, readOpen).run(1).read(0, readBetween).run(1)
	if b.told(AboveAccept) != 1 {
		t.Errorf("between from unconnected: %v", b.d.Events)
	}
	if b.run(1); b.told(AboveAccept) != 0 {
		t.Error("told in every scan")
	}
	b.read(0, readGood).run(2).read(0, readBetween).run(1)
	if b.told(SettlingAgain) != 1 {
		t.Errorf("between while settling: %v", b.d.Events)
	}
	if b.run(1); b.told(SettlingAgain) != 0 {
		t.Error("settling again is told in every scan")
	}
}

// The events of one scan always fit into what NewDecision made room for.
func TestEventsFit(t *testing.T) {
	b := yard(t).start()
	room := cap(b.d.Events)
	for i := 0; i < 4000; i++ {
		shake(rand.New(rand.NewSource(int64(i))), b)
		if b.run(1); cap(b.d.Events) != room {
			t.Fatalf("scan %d tells %d events, room for %d", i, len(b.d.Events), room)
		}
	}
}

// shake makes every reading and input of the next scan random.
func shake(r *rand.Rand, b *bench) {
	readings := []monitor.Reading{readGood, readGood, readGood, readGood, readHigh, readOpen, readBad, readNothing, readBetween}
	for i := range b.in.Readings {
		b.in.Readings[i] = readings[r.Intn(len(readings))]
	}
	for i := range b.in.Signals {
		b.in.Signals[i] = Signal(r.Intn(4))
	}
	b.in.Overrun = r.Intn(20) == 0
}

// Unknown never helps: from the same state, hiding any part of a scan from the
// site energises nothing that the whole scan does not energise, for
// permissives of every kind.
func TestHidingEnablesNothing(t *testing.T) {
	r := rand.New(rand.NewSource(9))
	texts := []string{"bond_1 AND bond_2", "bond_1 OR bond_2", "2oo3(bond_1, bond_2, here)", "NOT here AND bond_1", "here XOR bond_1", "NOT (bond_1 AND here)"}
	enabled := 0
	for _, text := range texts {
		b := newBench(t, 2, "here")
		b.c.Outputs = []Output{{Permissive: b.permissive(text), Automatic: true, OnDelay: 1}}
		b.c.Inputs[0].StaleAfter = 0
		b.start()
		whole, hidden := NewState(b.c), NewState(b.c)
		for i := 0; i < 3000; i++ {
			shake(r, b)
			if b.in.Signals[0] <= Faulty || r.Intn(3) > 0 {
				b.in.Signals[0] = Low + Signal(r.Intn(2))
			}
			hidden.CopyFrom(whole)
			Step(b.c, whole, b.in, b.d)
			coils := b.d.Coils
			if r.Intn(2) == 0 {
				b.in.Signals[0] = Signal(r.Intn(2))
			}
			for k := range b.in.Readings {
				if r.Intn(2) == 0 {
					b.in.Readings[k] = []monitor.Reading{readBad, readNothing}[r.Intn(2)]
				}
			}
			Step(b.c, hidden, b.in, b.d)
			if b.d.Coils&^coils != 0 && !doubtLasts(whole, hidden) {
				t.Fatalf("%s, scan %d: hiding gives %b, the whole scan %b\nwhole %+v\nhidden %+v", text, i, b.d.Coils, coils, whole.Channels, hidden.Channels)
			}
			enabled += bit(coils != 0)
		}
	}
	if enabled < 500 {
		t.Fatalf("only %d scans ran anything", enabled)
	}
}

// doubtLasts: silence delays a trip by at most the patience for it
// (SEMANTICS.md, The channel), and a settling that pauses is not yet said to be dark. Both are
// the channel's own rules, so a channel that is not unreadable, where the whole
// scan moved it, excuses the difference.
func doubtLasts(whole, hidden *State) bool {
	for i := range whole.Channels {
		if w, h := whole.Channels[i].Phase, hidden.Channels[i].Phase; w != h && h != monitor.Unreadable {
			return true
		}
	}
	return false
}

// 64 channels and 32 outputs; nothing is allocated in a scan.
func TestStepAllocatesNothing(t *testing.T) {
	b := bigSite(t, 64)
	r := rand.New(rand.NewSource(10))
	if n := testing.AllocsPerRun(200, func() { shake(r, b); b.run(1) }); n != 0 {
		t.Errorf("%v allocations a scan", n)
	}
	if len(b.c.Outputs) != 32 || len(b.c.Channels) != 64 {
		t.Errorf("%d outputs, %d channels", len(b.c.Outputs), len(b.c.Channels))
	}
}

// bigSite has an output, a vessel and a stream for every two channels.
func bigSite(t testing.TB, channels int) *bench {
	b := &bench{c: &Config{PollScans: 2}}
	var names []string
	for i := 0; i < channels; i += 2 {
		names = append(names, fmt.Sprintf("reset_%d", i), fmt.Sprintf("closed_%d", i))
	}
	if tt, ok := t.(*testing.T); ok {
		b = newBench(tt, channels, names...)
	} else {
		b = newBench(&testing.T{}, channels, names...)
	}
	for i := 0; i < channels; i += 2 {
		n := i / 2
		bond := fmt.Sprintf("bond_%d AND bond_%d", i+1, i+2)
		b.c.Outputs = append(b.c.Outputs, Output{Permissive: b.permissive(bond), Reset: b.ref(names[i]), Press: testPress, Closed: b.ref(names[i+1]), Travel: 5})
		b.c.Vessels = append(b.c.Vessels, Vessel{BondedBy: b.permissive(bond), Wait: 9, Acknowledge: b.ref(names[i]), Press: testPress})
		b.c.Streams = append(b.c.Streams, Stream{Through: []int{n}, Charges: []int{n}, RunDown: 2})
	}
	return b.start()
}

// The cost of a scan grows in step with channels and outputs: ns per channel.
func BenchmarkStep(b *testing.B) {
	for _, channels := range []int{8, 16, 32, 64} {
		for _, busy := range []bool{false, true} {
			b.Run(fmt.Sprintf("%d-channels-%s", channels, map[bool]string{false: "quiet", true: "busy"}[busy]), func(b *testing.B) {
				site := bigSite(b, channels)
				r := rand.New(rand.NewSource(11))
				scans := make([]Inputs, 64)
				for i := range scans {
					if busy {
						shake(r, site)
					}
					scans[i] = Inputs{Readings: append([]monitor.Reading(nil), site.in.Readings...), Signals: append([]Signal(nil), site.in.Signals...)}
				}
				b.ReportAllocs()
				i := 0
				for b.Loop() {
					Step(site.c, site.s, &scans[i&63], site.d)
					i++
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(channels), "ns/channel")
			})
		}
	}
}

// States are made of small plain values, and copies share nothing.
func TestStates(t *testing.T) {
	b := yard(t).start()
	r := rand.New(rand.NewSource(12))
	for i := 0; i < 200; i++ {
		shake(r, b)
		b.run(1)
	}
	other := NewState(b.c)
	other.CopyFrom(b.s)
	if !reflect.DeepEqual(other, b.s) {
		t.Fatal("a copy differs")
	}
	b.s.PowerUp()
	if !reflect.DeepEqual(b.s, NewState(b.c)) || reflect.DeepEqual(other, b.s) {
		t.Fatal("power-up leaves something, or the copy shares it")
	}
	for _, v := range []any{ChannelState{}, InputState{}, StreamState{}, VesselState{}, OutputState{}, BypassState{}} {
		if !reflect.TypeOf(v).Comparable() {
			t.Errorf("%T is not comparable", v)
		}
	}
}

// Binary inputs: a gap repeats the last value for so long, a fault is unknown
// at once, and what no input can send is a fault.
func TestInputs(t *testing.T) {
	c := Input{StaleAfter: 2}
	s := InputState{}
	play := func(signals ...Signal) (text string) {
		for _, in := range signals {
			var fresh bool
			s, fresh = stepInput(&c, s, in)
			text += s.Level.String()[:1]
			if fresh {
				text += "!"
			}
		}
		return text
	}
	if got := play(NoSignal, Low, NoSignal, NoSignal, NoSignal, NoSignal, High, Faulty, NoSignal, High, Signal(9), Low); got != "uf!ffuut!uut!uf!" {
		t.Errorf("levels %s", got)
	}
	c.Inverted = true
	if got := play(Low, High, NoSignal, Faulty); got != "t!f!fu" {
		t.Errorf("inverted: %s", got)
	}
	c = Input{}
	if got := play(High, NoSignal); got != "t!u" {
		t.Errorf("stale-after 0: %s", got)
	}
}

// A bypass: from a fresh 1 after a fresh 0 and a gap; for its time, warned, not
// renewed, not longer for being held; off at power-up even if held.
func TestBypass(t *testing.T) {
	c := Bypass{For: 4, Warn: 2, Gap: 1}
	cases := []struct{ name, signals, want string }{ // + began, w warned, e ended, i ignored, . none
		{"after the gap", "0010000000", "..+.w.e..."},
		{"gap not over", "01", ".i"},
		{"held through", "001111111111", "..+.w.e....."},
		{"pressed again while on", "00101010", "..+.i.i."},
		{"again too soon", "001000010000", "..+.w.ei...."},
		{"again after the gap", "001000000100", "..+.w.e..+.w"},
		{"held at power-up", "1111", "...."},
		{"held at power-up, then released", "110010", "....+."},
		{"unknown hides an edge", "000?1", "....."},
		{"a gap is no edge", "00-1", "...+"},
	}
	for _, k := range cases {
		var s BypassState
		got, level, active := "", Unknown, 0
		for _, r := range k.signals {
			fresh := r == '0' || r == '1'
			switch r {
			case '0':
				level = False
			case '1':
				level = True
			case '?':
				level = Unknown
			}
			next, news := stepBypass(&c, s, level, fresh)
			if StepBypass(&c, s, level, fresh) != next {
				t.Fatal("StepBypass differs")
			}
			s = next
			active += bit(s.Active > 0)
			switch {
			case news.ignored:
				got += "i"
			case news.ended:
				got += "e"
			case news.began:
				got += "+"
			case news.warning:
				got += "w"
			default:
				got += "."
			}
		}
		// "Pressed again while on" is warned in scan 4 and ends in scan 6: ignored
		// hides both.
		if got != k.want {
			t.Errorf("%s: %s gives %s, want %s", k.name, k.signals, got, k.want)
		}
		if active > 4*2 {
			t.Errorf("%s: on for %d scans", k.name, active)
		}
	}
}

// CoversLost extends a bypass to lost, and to nothing else; evidence is never
// bypassed; and what ran under a bypass may be charged afterwards.
func TestBypassCovers(t *testing.T) {
	for _, coversLost := range []bool{false, true} {
		b := yard(t)
		b.c.Bypasses[0].CoversLost = coversLost
		b.start()
		b.set("here", High).set("closed_1", High).set("closed_2", High).run(12)
		b.set("key", High).run(1)
		for _, k := range []struct {
			phase monitor.Phase
			want  Truth
		}{{monitor.Unreadable, True}, {monitor.Lost, truthOf(coversLost)}, {monitor.Unconnected, False}, {monitor.Settling, False}} {
			b.s.Channels[0].State = monitor.State{Control: monitor.Control{Phase: k.phase}}
			for _, evidence := range []struct {
				signal Signal
				want   Truth
			}{{High, k.want}, {Low, False}, {Faulty, min(k.want, Unknown)}} {
				b.s.Inputs[b.ref("here")-1], _ = stepInput(&b.c.Inputs[b.ref("here")-1], InputState{}, evidence.signal)
				keep, _ := fitness(k.phase)
				b.d.allowKeep[0], b.d.allowStart[0] = min(keep, b.s.level(b.ref("here"))), min(keep, b.s.level(b.ref("here")))
				s := *b.s
				s.Bypasses = []BypassState{{Active: 2}}
				b.c.stepBypasses(&s, b.d)
				if b.d.allowKeep[0] != evidence.want || b.d.allowStart[0] != evidence.want {
					t.Errorf("covers lost %v, %v, evidence %v: keep %v start %v, want %v", coversLost, k.phase, evidence.signal, b.d.allowKeep[0], b.d.allowStart[0], evidence.want)
				}
			}
		}
	}
}

// The parts that the verifier is handed are the parts of Step.
func TestParts(t *testing.T) {
	o := Output{Reset: 1, Press: testPress, Automatic: true, Closed: 1, Travel: 2}
	next, told := StepOutput(&o, OutputControl{}, OutputScan{Keep: True, Start: True, Home: true, Reset: False, ResetFresh: true})
	if next.Mode != Enabled || !told.Enabled || told.Reasons != 0 {
		t.Errorf("StepOutput: %+v %+v", next, told)
	}
	v := Vessel{Wait: 2, Acknowledge: 1, Press: testPress}
	s, seen := StepVessel(&v, VesselState{Held: true, Clear: true}, VesselScan{Bonded: False, FlowSeen: true, Acknowledge: False, AcknowledgeFresh: true})
	if s.Clear || !seen.Charged || s.Ack.Phase != Idle {
		t.Errorf("StepVessel: %+v %+v", s, seen)
	}
	if got := StepStream(&Stream{RunDown: 1}, StreamState{}, true); got.Stopped != 1 {
		t.Errorf("StepStream: %+v", got)
	}
	if b, _ := StepButton(testPress, Button{}, False, true, true, true); b.Phase != Idle {
		t.Errorf("StepButton: %+v", b)
	}
	if got, fresh := StepInput(&Input{}, InputState{}, High); got.Level != True || !fresh {
		t.Errorf("StepInput: %+v", got)
	}
	if keep, start := Fitness(monitor.Doubtful); keep != True || start != False {
		t.Errorf("Fitness: %v %v", keep, start)
	}
	before, after := monitor.State{Control: monitor.Control{Phase: monitor.Bonded}}, monitor.State{Control: monitor.Control{Phase: monitor.Lost}}
	if now, again := Parted(false, &before, &after); !now || again {
		t.Errorf("Parted: %v %v", now, again)
	}
	b := yard(t).start()
	if stopped, flows := b.c.Look(0, b.s); stopped || flows || !b.c.StreamConfirmable(0) {
		t.Errorf("Look: stopped %v, flows %v", stopped, flows)
	}
}

// Two streams through one pump to one car are one link; and an output that runs
// against a shut valve is released, not tripped, when the car is unclamped.
func TestReleasedWhileItRuns(t *testing.T) {
	b := yard(t)
	b.c.Streams = append(b.c.Streams, Stream{Through: []int{1, 2}, Charges: []int{1}, RunDown: 1})
	b.c.Channels[0].Evidence = 0
	b.start().set("closed_1", High).set("closed_2", High).run(12)
	if got := b.c.VesselsOf(2); len(got) != 2 {
		t.Fatalf("the pump charges %v", got)
	}
	b.press("reset").set("closed_1", Low).set("opened_1", High).set("closed_2", Low).want(0, Enabled).want(1, Enabled)
	b.set("start", High).run(1).set("start", Low).want(2, Enabled)
	b.set("stop", High).run(1).want(1, KeptOut) // valve 2 alone
	b.set("closed_2", High).read(0, readOpen).run(1).want(0, Tripped)
	b.set("closed_1", High).set("opened_1", Low).run(6).want(2, Enabled) // by bond_2, against two shut valves
	b.read(1, readOpen).run(1).want(2, KeptOut)
	if b.told(OutputReleased) != 1 || b.told(OutputTripped) != 0 || b.told(MayBeCharged) != 0 || b.told(Released) != 1 {
		t.Errorf("events %v", b.d.Events)
	}
}

// A 1 that only repeats is no press, whatever the button was.
func TestRepeatedOneIsNoPress(t *testing.T) {
	for _, p := range []PressPhase{Idle, Given} {
		if b, spoil := stepButton(testPress, Button{Phase: p}, True, false, true, true); b.Phase != p || spoil != NotSpoiled {
			t.Errorf("%v: %+v, %v", p, b, spoil)
		}
	}
}

// Without a bus cycle nothing is added after the trip scan; a reset clears the
// record although the start is still to come, and so does an automatic restart.
func TestFirstOutIsClearedByEither(t *testing.T) {
	b := newBench(t, 2, "reset", "start")
	all := b.permissive("bond_1 AND bond_2")
	b.c.Outputs = []Output{
		{Permissive: all, Reset: b.ref("reset"), Start: b.ref("start"), Press: testPress},
		{Permissive: all, Automatic: true},
	}
	b.start().run(8).press("reset").set("start", High).run(1).set("start", Low).want(0, Enabled).want(1, Enabled)
	b.read(0, readOpen).run(1).read(1, readOpen).run(1)
	for i := range b.c.Outputs {
		trip := b.s.Outputs[i].Trip
		if got := members(&trip.FirstOut); !reflect.DeepEqual(got, []int{0}) || trip.Alongside.Len() != 0 || trip.OrderUnknown() {
			t.Errorf("output %d: %+v", i, trip)
		}
	}
	b.read(0, readGood).read(1, readGood).run(6).want(0, Tripped).want(1, Enabled)
	if b.s.Outputs[0].Trip == (TripRecord{}) || b.s.Outputs[1].Trip != (TripRecord{}) {
		t.Error("the record of a tripped output is gone, or that of a restarted one stands")
	}
	if b.press("reset").want(0, KeptOut); b.s.Outputs[0].Trip != (TripRecord{}) {
		t.Error("the reset leaves the record")
	}
}
