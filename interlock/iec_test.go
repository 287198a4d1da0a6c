package interlock

import (
	"math/rand"
	"strings"
	"testing"
)

// The function blocks of IEC 61131-3, written from their definitions. They stand
// beside our logic as an independent check; nothing of ours is built from them.

type rTrig struct{ m bool }

func (f *rTrig) call(clk bool) (q bool) {
	q = clk && !f.m
	f.m = clk
	return q
}

type fTrig struct{ m bool }

func (f *fTrig) call(clk bool) (q bool) {
	q = !clk && !f.m
	f.m = !clk
	return q
}

type timer struct {
	pt, et  int
	last, q bool
	running bool
}

// ton: Q when IN has been true for PT.
func (f *timer) ton(in bool) (bool, int) {
	switch {
	case !in:
		f.et = 0
	case f.last && f.et < f.pt:
		f.et++
	}
	f.last = in
	return in && f.et >= f.pt, f.et
}

// tof: Q stays for PT after IN fell.
func (f *timer) tof(in bool) (bool, int) {
	switch {
	case in:
		f.q, f.et = true, 0
	case f.last:
		f.et = 0
	case f.q:
		f.et++
	}
	f.last = in
	if f.et >= f.pt && !in {
		f.q = false
	}
	return f.q, f.et
}

// tp: a pulse of exactly PT, not retriggered.
func (f *timer) tp(in bool) (bool, int) {
	switch {
	case f.running:
		f.et++
	case in && !f.last && f.et == 0:
		f.running = true
	}
	if f.running && f.et >= f.pt {
		f.running = false
	}
	if !f.running && !in {
		f.et = 0
	}
	f.last = in
	return f.running, f.et
}

func sr(s1, r, q bool) bool { return s1 || !r && q }
func rs(s, r1, q bool) bool { return !r1 && (s || q) }

// golden is the trace that the function blocks of an open-source IEC 61131-3
// compiler (matiec) gave with PT 3 s and one call a second.
const golden = `
IN    0 1 1 1 1 1 0 0 0 0 0  1  0  1  0  1  1  1  1  0
TON.Q 0 0 0 0 1 1 0 0 0 0 0  0  0  0  0  0  0  0  1  0
TONET 0 0 1 2 3 3 0 0 0 0 0  0  0  0  0  0  1  2  3  0
TOF.Q 0 1 1 1 1 1 1 1 1 0 0  1  1  1  1  1  1  1  1  1
TOFET 0 0 0 0 0 0 0 1 2 3 3  0  0  0  0  0  0  0  0  0
TP.Q  0 1 1 1 0 0 0 0 0 0 0  1  1  1  0  1  1  1  0  0
TP.ET 0 0 1 2 3 3 0 0 0 0 0  0  1  2  0  0  1  2  3  0
R_TR  0 1 0 0 0 0 0 0 0 0 0  1  0  1  0  1  0  0  0  0
F_TR  1 0 0 0 0 0 1 0 0 0 0  0  1  0  1  0  0  0  0  1`

func goldenRows(t *testing.T) map[string][]int {
	rows := map[string][]int{}
	for _, line := range strings.Split(strings.TrimSpace(golden), "\n") {
		words := strings.Fields(line)
		for _, w := range words[1:] {
			rows[words[0]] = append(rows[words[0]], int(w[0]-'0'))
		}
		if len(rows[words[0]]) != 20 {
			t.Fatalf("%s has %d columns", words[0], len(rows[words[0]]))
		}
	}
	return rows
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// The reference blocks reproduce the golden trace: the yardstick is straight.
func TestReferenceBlocksGiveTheGoldenTrace(t *testing.T) {
	rows := goldenRows(t)
	ton, tof, tp := timer{pt: 3}, timer{pt: 3}, timer{pt: 3}
	var r rTrig
	var f fTrig
	for at, in := range rows["IN"] {
		got := map[string]int{"R_TR": bit(r.call(in == 1)), "F_TR": bit(f.call(in == 1))}
		q, et := ton.ton(in == 1)
		got["TON.Q"], got["TONET"] = bit(q), et
		q, et = tof.tof(in == 1)
		got["TOF.Q"], got["TOFET"] = bit(q), et
		q, et = tp.tp(in == 1)
		got["TP.Q"], got["TP.ET"] = bit(q), et
		for name, value := range got {
			if value != rows[name][at] {
				t.Errorf("t %d: %s is %d, the trace says %d", at, name, value, rows[name][at])
			}
		}
	}
	// Check T3: both true: SR sets, RS resets.
	if !sr(true, true, false) || rs(true, true, true) {
		t.Error("SR and RS")
	}
}

// delayed is an automatic output with an on-delay over one input.
func delayed(t *testing.T, delay Scans) *bench {
	b := newBench(t, 0, "in")
	b.c.Outputs = []Output{{Permissive: b.permissive("in"), OnDelay: delay, Automatic: true}}
	return b.start()
}

// The on-delay is a TON: on the golden trace, and for every delay on random
// input. In the scan of power-up alone ours withholds whatever TON says.
func TestOnDelayIsTON(t *testing.T) {
	rows := goldenRows(t)
	b := delayed(t, 3)
	for at, in := range rows["IN"] {
		b.set("in", Low+Signal(in)).run(1)
		if got := bit(b.d.Coils.Energised(0)); got != rows["TON.Q"][at] {
			t.Errorf("t %d: coil %d, TON.Q %d", at, got, rows["TON.Q"][at])
		}
	}
	r := rand.New(rand.NewSource(61131))
	on := 0
	for delay := 0; delay < 8; delay++ {
		b, ton := delayed(t, Scans(delay)), timer{pt: delay}
		b.set("in", Low).run(1)
		ton.ton(false)
		in := false
		for i := 0; i < 3000; i++ {
			if r.Intn(6) == 0 {
				in = !in
			}
			b.set("in", Low+Signal(bit(in))).run(1)
			q, _ := ton.ton(in)
			if b.d.Coils.Energised(0) != q {
				t.Fatalf("delay %d, scan %d: coil %v, TON %v", delay, i, !q, q)
			}
			on += bit(q)
		}
	}
	if on < 1000 {
		t.Fatalf("only %d scans on", on)
	}
}

// Check T2 and its neighbours: a rise at t0 with PT 300 scans shows at t0+300,
// not one scan earlier.
func TestOnDelayBoundary(t *testing.T) {
	b := delayed(t, 300)
	b.set("in", Low).run(2).set("in", High).run(300).want(0, KeptOut)
	b.run(1).want(0, Enabled)
}

// Run-down is a TOF: a stream is still exactly when TOF of "not confirmed
// stopped" is over; before that has ever happened it is taken to flow.
func TestRunDownIsTOF(t *testing.T) {
	r := rand.New(rand.NewSource(3))
	for down := Scans(0); down < 6; down++ {
		c, s, tof := Stream{RunDown: down}, StreamState{}, timer{pt: int(down)}
		tof.tof(true)
		flowing := true
		for i := 0; i < 3000; i++ {
			if r.Intn(5) == 0 {
				flowing = !flowing
			}
			s = stepStream(&c, s, flow{stopped: !flowing})
			if q, _ := tof.tof(flowing); s.Still(&c) == q {
				t.Fatalf("run-down %d, scan %d: still %v, TOF %v", down, i, q, q)
			}
		}
	}
	if (StreamState{}).Still(&Stream{}) {
		t.Error("a stream is still before anything was seen")
	}
}

// A bypass is a TP, not retriggered, and never longer; it begins less often: a
// gap with the button seen released must pass first.
func TestBypassIsAtMostATP(t *testing.T) {
	rows := goldenRows(t)
	c, s := Bypass{For: 3, Warn: 1}, BypassState{}
	pulses := 0
	for at, in := range rows["IN"] {
		s, _ = stepBypass(&c, s, truthOf(in == 1), true)
		if s.Active > 0 && rows["TP.Q"][at] == 0 {
			t.Errorf("t %d: the bypass is on, TP is off", at)
		}
		pulses += bit(s.Active > 0)
	}
	if pulses != 6 { // TP has a third pulse at 15; its rise comes one scan after the second ended
		t.Errorf("%d scans of bypass", pulses)
	}
}

// A start command is an R_TRIG, but for the first call: what is down at
// power-up has not been pressed. A reset is given only after both an R_TRIG and
// an F_TRIG have fired; F_TRIG also fires on the first call of a button that
// rests at 0 (check T4), and there no reset is given.
func TestEdgesAndTheFirstScan(t *testing.T) {
	var f fTrig
	if !f.call(false) {
		t.Fatal("check T4: F_TRIG with CLK 0 on its first call")
	}
	if b, _ := stepButton(testPress, Button{}, False, true, true, true); b.Phase == Given {
		t.Fatal("the first scan of a resting button gives a reset")
	}
	r := rand.New(rand.NewSource(7))
	given := 0
	for trial := 0; trial < 2000; trial++ {
		var rise rTrig
		var fall fTrig
		var b Button
		rises, falls, down := 0, 0, r.Intn(2) == 0
		for i := 0; i < 30; i++ {
			if r.Intn(3) == 0 {
				down = !down
			}
			rose, fell := rise.call(down), fall.call(down)
			if i > 0 {
				rises, falls = rises+bit(rose), falls+bit(fell)
			}
			b, _ = stepButton(testPress, b, truthOf(down), true, true, true)
			if b.Phase == Given {
				given++
				if rises == 0 || falls == 0 || fell {
					t.Fatalf("given after %d rises and %d falls, in the scan of a fall: %v", rises, falls, fell)
				}
			}
		}
	}
	if given < 100 {
		t.Fatalf("only %d presses given", given)
	}
}

// The mode of an output is an RS: what trips dominates what resets.
func TestTripDominatesReset(t *testing.T) {
	for _, keep := range truths {
		for _, reset := range []bool{false, true} {
			o := Output{Reset: 1, Press: testPress}
			s := OutputControl{Mode: Enabled}
			in := OutputScan{Keep: keep, Start: keep, Reset: truthOf(reset), ResetFresh: true}
			next, _ := StepOutput(&o, s, in)
			if want := rs(reset, keep != True, true); (next.Mode == Enabled) != want {
				t.Errorf("keep %v, reset %v: %v", keep, reset, next.Mode)
			}
		}
	}
}
