package rig_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/verdict"
)

// The bench of these tests is an independent one: a script for Debian's python3 that holds one end of a pseudo-terminal, a relay
// module at address 1, an input module at address 2, and behind them a unit that does what the quick site says. It shares no
// line of code with this program, and faults are injected on demand, from a certain answer on. Asked over its standard input, it
// tells how many contacts are closed, and by how many microseconds it was late itself.
const peerBench = `
import os, pty, random, select, struct, sys, termios, time, tty

def crc(data):
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return struct.pack("<H", value)

class Unit:
    """The quick site: bond_1 settles in 60 ms, opens at once, high for 100 ms; reset by a press; wait of 300 ms."""
    def __init__(self): self.restart(0)
    def restart(self, now):
        self.on = self.lost = self.early = False
        self.settled, self.high, self.pressed, self.pressed_good, self.ack = None, None, None, False, None
        self.wait = now
    def tick(self, now, c):
        if not c[6]:
            self.restart(now); return
        ohms = None
        if c[0]: ohms = 0.3 if c[1] else 30 if c[2] else None
        if ohms == 0.3: self.settled, self.high = self.settled or now, None
        elif ohms is None: self.settled, self.high = None, None; self.trip(now)
        else:
            self.settled = None if not self.on else self.settled
            self.high = self.high or now
            if now - self.high > 0.1: self.trip(now)
        if self.lost and ohms == 0.3 and now - self.wait < 0.3: self.early = True
        if c[4]: self.ack = self.ack or now
        elif self.ack: self.ack, self.early = None, False
        ready = self.settled and now - self.settled > 0.065 and now - self.wait > 0.36 and not self.early and not self.on
        if c[3]:
            if self.pressed is None: self.pressed, self.pressed_good = now, bool(ready)
            self.pressed_good = self.pressed_good and bool(ready)
        elif self.pressed:
            if self.pressed_good and now - self.pressed > 0.05: self.on = True
            self.pressed = None
    def trip(self, now):
        if self.on: self.on, self.lost, self.wait = False, True, now

class Bench:
    def __init__(self, path, fault, since):
        self.since = since
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave); tty.setraw(self.master)
        if os.path.islink(path): os.unlink(path)
        os.symlink(os.ttyname(self.slave), path)
        self.fault, self.coils, self.contacts = fault, [False] * 8, [False] * 8
        self.moves, self.due, self.unit, self.count = [], [], Unit(), 0
        self.told, self.dice, self.previous = time.monotonic(), random.Random(7), {}
    def relays(self, wanted, now):
        for index, on in enumerate(wanted):
            if on != self.coils[index]:
                self.coils[index] = on
                self.moves.append((now + 0.005, index, on))
    def serve(self, frame, now):
        unit, function, first, second = struct.unpack(">BBHH", frame[:6])
        if unit == 1:
            self.told = now
            if function == 1: return self.bits(unit, function, self.coils[first:first + second])
            if function == 5:
                wanted = self.coils[:]; wanted[first] = second == 0xFF00
                self.relays(wanted, now); return frame[:6]
            if function == 15:
                wanted = self.coils[:]
                for i in range(second): wanted[first + i] = bool(frame[7 + i // 8] >> i % 8 & 1)
                self.relays(wanted, now); return frame[:6]
        if unit == 2 and function == 2:
            c = self.contacts
            inputs = [self.unit.on, c[3], c[5], c[0]] + [False] * 4
            return self.bits(unit, function, inputs[first:first + second])
        return None if unit not in (1, 2) else bytes([unit, function | 0x80, 1])
    def bits(self, unit, function, list):
        packed = bytearray((len(list) + 7) // 8)
        for i, on in enumerate(list): packed[i // 8] |= on << i % 8
        return bytes([unit, function, len(packed)]) + bytes(packed)
    def say(self, at, data): self.due.append((at, data))
    def answer(self, frame, now):
        body = self.serve(frame, now)
        if body is None: return
        at, whole = now + 0.004, body + crc(body)
        self.count += 1
        seldom, kind = self.count > self.since and self.count % 11 == 0, self.fault
        if kind == "wrong unit" and seldom: body = bytes([body[0] ^ 3]) + body[1:]; whole = body + crc(body)
        elif kind == "late" and seldom: at += 0.140
        elif kind == "very late" and seldom: at += self.dice.choice([0.155, 0.160, 0.164, 0.168, 0.172])
        elif kind == "previous answer":
            key = frame[:6]; whole, self.previous[key] = self.previous.get(key, whole), whole
        elif kind == "busy" and seldom: body = bytes([body[0], body[1] | 0x80, 6]); whole = body + crc(body)
        elif kind == "failing" and self.count > self.since: body = bytes([body[0], body[1] | 0x80, 4]); whole = body + crc(body)
        elif kind == "truncated" and seldom: whole = whole[:-3]
        elif kind == "twice" and seldom: whole = whole + whole
        elif kind == "twice, apart": seldom and self.say(at + 0.006, whole)
        elif kind == "echo": self.say(now + 0.002, frame)
        elif kind == "noise" and seldom: whole = bytes(self.dice.randrange(256) for _ in range(1 + self.count % 4)) + whole
        elif kind == "wrong check sum" and seldom: whole = whole[:-1] + bytes([whole[-1] ^ 0x10])
        elif kind == "silent for seconds" and self.since < self.count < self.since + 12: return
        elif kind == "silent for ever" and self.count > self.since: return
        elif kind == "byte count" and seldom and body[1] < 5: body = body[:2] + bytes([body[2] + 1]) + body[3:] + b"\0"; whole = body + crc(body)
        elif kind == "all ones" and self.count > self.since and body[0] == 2: body = bytes([2, 2, 1, 0xFF]); whole = body + crc(body)
        self.say(at, whole)
    def run(self):
        heard, babble, late, before = b"", 0, 0, time.monotonic()
        while True:
            now = time.monotonic()
            late, before = max(late, now - before - 0.001), now
            for at, data in sorted(d for d in self.due if d[0] <= now): os.write(self.master, data)
            self.due = [d for d in self.due if d[0] > now]
            if self.fault == "babble" and self.count > self.since and now > babble: os.write(self.master, bytes([self.dice.randrange(256)])); babble = now + 0.001
            for move in [m for m in self.moves if m[0] <= now]: self.contacts[move[1]] = move[2]; self.moves.remove(move)
            if now - self.told > 0.6 and any(self.coils): self.relays([False] * 8, now)
            self.unit.tick(now, self.contacts)
            if select.select([self.master], [], [], 0.001)[0]:
                heard += os.read(self.master, 512)
                while len(heard) >= 8:
                    length = 9 + heard[6] if heard[1] == 15 else 8
                    if len(heard) < length: break
                    frame, heard = heard[:length], heard[length:]
                    if crc(frame[:-2]) == frame[-2:]: self.answer(frame, time.monotonic())
            if sys.stdin in select.select([sys.stdin], [], [], 0)[0]:
                sys.stdin.readline(); print(sum(self.contacts), int(late * 1e6), flush=True)

Bench(sys.argv[1], sys.argv[2], int(sys.argv[3])).run()
`

const python = "/usr/bin/python3"

// atPeer is the quick bench at the line of the independent one; the answer of the function is how many contacts are closed.
func atPeer(t *hwtest.Trial, fault string, since int) (*trial, func() int) {
	needPython(t)
	folder, err := os.MkdirTemp("", "peer-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	line := filepath.Join(folder, "bus")
	command := exec.Command(python, "-c", peerBench, line, fault, fmt.Sprint(since))
	command.Stderr = os.Stderr
	in, err := command.StdinPipe()
	require.NoError(t, err)
	out, err := command.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, command.Start())
	answers := bufio.NewReader(out)
	closed := func() (count int) {
		_, err := io.WriteString(in, "\n")
		require.NoError(t, err)
		answer, err := answers.ReadString('\n')
		require.NoError(t, err)
		var late int64
		_, err = fmt.Sscanf(answer, "%d %d", &count, &late)
		require.NoError(t, err, answer)
		t.Late(time.Duration(late) * time.Microsecond)
		return count
	}
	t.Cleanup(func() {
		defer func() {
			_ = command.Process.Kill()
			_ = command.Wait()
		}()
		closed() // and how late it was
	})
	require.Eventually(t, func() bool { _, err := os.Lstat(line); return err == nil }, time.Minute, 10*time.Millisecond)
	b := quickBench(t)
	b.order.Settings = bench.Settings{Devices: map[string]string{"bus": line}}
	return b, closed
}

// quickBench is an order on the quick site, its lines still to be named.
func quickBench(t testing.TB) *trial {
	m, logic := quickMap(t)
	out := &sink{left: 1 << 20}
	return &trial{out: out, book: sheet.NewBook(out), order: rig.Order{
		Map: m, Logic: logic, Mode: wiring.Stimulate, Runs: 1, Edges: 16, Seed: 1, Alpha: 0.05,
		New: func() (loop.Source, error) { return &script{ends: 250}, nil },
	}}
}

func needPython(t testing.TB) {
	if _, err := os.Stat(python); err != nil {
		require.NotEqual(t, "true", os.Getenv("CI"), "python3 is missing: install it")
		t.Skip("python3 is missing: this test needs it as an independent peer")
	}
}

// answersBefore is how many answers this bench gives before a run begins: then most of the checks are over.
const answersBefore = 230

// TestPeerBench: a good unit behind a line that misbehaves is never found violated, and what could be a wrong reading is
// never judged: the run is lost, or says that it cannot tell. The relays are open afterwards, or it is said that nobody knows.
func TestPeerBench(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		fault string
		since int
		exits []int // 0 is not among them: sixteen edges are too few for a verdict
		said  string
	}{
		{"none", 0, []int{3}, "loop-back latency was not shown"},
		{"wrong unit", answersBefore, []int{3}, ""},
		{"wrong unit", 0, []int{5}, "loses too much"},
		{"late", answersBefore, []int{3}, ""},
		{"very late", answersBefore, []int{3, 5}, ""},
		{"previous answer", 0, []int{5}, "not where they were sent"},
		{"busy", answersBefore, []int{3}, ""},
		{"failing", answersBefore, []int{5}, "exception 04"},
		{"truncated", answersBefore, []int{3}, ""},
		{"twice", answersBefore, []int{5}, "nobody waited for"},
		{"twice, apart", answersBefore, []int{5}, "nobody waited for"},
		{"echo", 0, []int{5}, "nobody waited for"},
		{"noise", answersBefore, []int{3}, ""},
		{"wrong check sum", answersBefore, []int{3}, ""},
		{"byte count", answersBefore, []int{3}, ""},
		{"silent for seconds", answersBefore, []int{5}, "no answer in time"},
		{"silent for ever", answersBefore, []int{5}, "no answer in time"},
		{"babble", answersBefore, []int{3, 4, 5}, ""},
		{"all ones", answersBefore - 60, []int{5}, ""},
	} {
		t.Run(fmt.Sprintf("%s since %d", c.fault, c.since), func(t *testing.T) {
			t.Parallel()
			hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) { behindFault(t, c.fault, c.since, c.exits, c.said) })
		})
	}
}

func behindFault(t *hwtest.Trial, fault string, since int, exits []int, said string) {
	b, closed := atPeer(t, fault, since)
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	report := rig.Perform(ctx, b.order, b.book)
	require.NoError(t, ctx.Err(), "it hung")
	if report.RigState == sheet.StateOpen {
		time.Sleep(20 * time.Millisecond)
		require.Zero(t, closed(), "the truth behind %q", report.RigState)
	}
	require.Contains(t, exits, int(report.Exit), "%s %v", report.Trouble, report.Runs)
	require.NotEqual(t, verdict.Shown, report.Verdict)
	checked := sheet.Check("record", b.out.Bytes())
	require.Empty(t, checked.Problems)
	require.NotNil(t, checked.Sheets[0].End)
	require.Equal(t, report.Exit, checked.Sheets[0].End.Exit)
	require.Equal(t, report.RigState, checked.Sheets[0].State())
	require.Contains(t, checked.Sheets[0].End.Reason, said)
	for _, run := range report.Runs {
		require.NotContains(t, texts(run.Steps), sheet.Violated)
	}
	require.Eventually(t, func() bool { return closed() == 0 }, 30*time.Second, 50*time.Millisecond, "the module's own time-out")
}

// TestPeerBenchIsShown: the same bench without fault and with all edges.
func TestPeerBenchIsShown(t *testing.T) {
	t.Parallel()
	hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
		b, _ := atPeer(t, "none", 0)
		b.order.Edges = bench.LeastEdges
		report := rig.Perform(context.Background(), b.order, b.book)
		require.EqualValues(t, 0, report.Exit, "%s %v", report.Trouble, report.Runs)
		require.Len(t, report.Runs[0].Steps, 4)
	})
}
