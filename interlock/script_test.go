package interlock

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"ohmgate/monitor"
)

var rewrite = flag.Bool("rewrite", false, "write what the scripts really print; then explain every changed line")

// The scripts under testdata/interlock tell what happens to one car of Quarry
// Road works. The site is theYard below. A block is commands, a line of four
// dashes and what people are told in every scan; the last lines of a block say
// what each output is, and why. Blocks go on from each other.
//
//	power                    a loss of supply; the next scan is the first
//	bond_1 good              what a channel reads from now on: good between high open bad nothing
//	reset 1                  an input from now on: 0, 1, ? (faulty) or - (nothing arrives)
//	valve_1 stuck | free     its switches stay as they are, or follow its coil one scan later
//	scan x5                  that many scans
//	overrun                  one scan after one that took too long
//	press reset              a deliberate press: two scans at 1, two at 0
func TestScripts(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join("..", "testdata", "interlock", "*.txt"))
	if err != nil || len(paths) == 0 {
		t.Fatal("no scripts found", err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) { runScript(t, path) })
	}
}

func runScript(t *testing.T, path string) {
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	x := newYardScript(t, path)
	var out strings.Builder
	ran := 0
	for i, block := range strings.Split(strings.TrimSpace(string(data)), "\n\n") {
		commands, want, found := strings.Cut(block, "\n----")
		if !found {
			t.Fatalf("%s: block %d has no ---- line", path, i+1)
		}
		before := x.b.scan
		got := x.run(commands)
		if x.b.scan == before {
			t.Fatalf("%s: block %d makes no scan", path, i+1)
		}
		if want = strings.TrimSpace(want); want != strings.TrimSpace(got) && !*rewrite {
			t.Errorf("%s: block %d\n%s\ngot\n%swant\n%s", path, i+1, commands, got, want)
		}
		fmt.Fprintf(&out, "%s\n----\n%s\n", commands, got)
		ran++
	}
	if ran == 0 {
		t.Fatalf("%s: no block ran", path)
	}
	if *rewrite {
		if err := os.WriteFile(path, []byte(strings.TrimSpace(out.String())+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// theYard is one car, filled through a valve with end switches and a pump whose
// start is a separate command; one stop stops both. The pump is the valve's
// backup. A bond settles in
// three scans, the valve travels for up to three, run-down takes one, the wait
// is five scans and the rest two, and the bypass lasts six, warned for two.
func theYard(t *testing.T) *bench {
	b := newBench(t, 1, "reset", "start", "stop", "ack", "closed", "opened", "key")
	press := Press{Min: 2, Max: 4}
	b.c.Outputs = []Output{
		{Permissive: b.permissive("bond_1"), Reset: b.ref("reset"), Press: press, Closed: b.ref("closed"), Opened: b.ref("opened"), Travel: 3, Backup: []int{1}, Stop: b.ref("stop")},
		{Permissive: b.permissive("bond_1"), Reset: b.ref("reset"), Press: press, Start: b.ref("start"), Stop: b.ref("stop")},
	}
	b.c.Vessels = []Vessel{{BondedBy: b.permissive("bond_1"), Wait: 5, Rest: 2, Acknowledge: b.ref("ack"), Press: press}}
	b.c.Streams = []Stream{{Through: []int{0, 1}, Charges: []int{0}, RunDown: 1}}
	b.c.Bypasses = []Bypass{{Input: b.ref("key"), Channel: 0, For: 6, Warn: 2, Gap: 2}}
	b.c.PollScans = 2
	return b.start()
}

type yardScript struct {
	t     *testing.T
	path  string
	b     *bench
	stuck bool
	out   strings.Builder
}

var outputNames = []string{"valve_1", "pump"}

func newYardScript(t *testing.T, path string) *yardScript {
	b := theYard(t)
	b.set("closed", High) // the valve begins closed
	return &yardScript{t: t, path: path, b: b}
}

func (x *yardScript) run(commands string) string {
	x.out.Reset()
	for _, line := range strings.Split(commands, "\n") {
		if words := strings.Fields(line); len(words) > 0 && !strings.HasPrefix(line, "#") {
			x.command(words)
		}
	}
	for i, name := range outputNames {
		text := fmt.Sprintf("= %s %s", name, x.b.mode(i))
		if why := x.b.reasons(i); why != "" {
			text += ": " + why
		}
		fmt.Fprintln(&x.out, text)
	}
	return x.out.String()
}

func (x *yardScript) command(words []string) {
	readings := map[string]monitor.Reading{"good": readGood, "between": readBetween, "high": readHigh, "open": readOpen, "bad": readBad, "nothing": readNothing}
	signals := map[string]Signal{"0": Low, "1": High, "?": Faulty, "-": NoSignal}
	switch {
	case words[0] == "power":
		x.b.s.PowerUp()
	case words[0] == "overrun":
		x.b.in.Overrun = true
		x.scan()
		x.b.in.Overrun = false
	case words[0] == "scan":
		n := 1
		if len(words) > 1 {
			n, _ = strconv.Atoi(words[1][1:])
		}
		for ; n > 0; n-- {
			x.scan()
		}
	case words[0] == "press":
		for _, signal := range []Signal{High, High, Low, Low} {
			x.b.set(words[1], signal)
			x.scan()
		}
	case words[0] == "valve_1":
		x.stuck = words[1] == "stuck"
	case words[0] == "bond_1":
		r, ok := readings[words[1]]
		if !ok {
			x.t.Fatalf("%s: no reading %q", x.path, words[1])
		}
		x.b.read(0, r)
	default:
		signal, ok := signals[words[1]]
		if !ok {
			x.t.Fatalf("%s: no signal %q", x.path, words[1])
		}
		x.b.set(words[0], signal)
	}
}

// scan lets the valve follow its coil, makes one scan and prints what people
// are told.
func (x *yardScript) scan() {
	if !x.stuck {
		closed := map[bool]Signal{true: Low, false: High}[x.b.d.Coils.Energised(0)]
		x.b.set("closed", closed).set("opened", Low+High-closed)
	}
	x.b.run(1)
	for _, e := range x.b.d.Events {
		fmt.Fprintf(&x.out, "%d %s\n", x.b.scan, x.text(e))
	}
}

func (x *yardScript) text(e Event) string {
	switch {
	case e.Kind == PhaseChanged:
		return fmt.Sprintf("bond_1 %s -> %s (%s)", monitor.Phase(e.From), monitor.Phase(e.To), e.Class)
	case e.Kind >= AboveAccept && e.Kind <= SettlingAgain:
		return "bond_1 " + e.Kind.String()
	case e.Kind == AcknowledgeIgnored:
		return "car_1 " + e.Kind.String() + ": " + e.Spoil.String()
	case e.Kind >= MayBeCharged && e.Kind <= ReleasedTooSoon:
		return "car_1 " + e.Kind.String()
	case e.Kind == ResetIgnored:
		return outputNames[e.Subject] + " " + e.Kind.String() + ": " + e.Spoil.String()
	case e.Kind == OutputTripped:
		return outputNames[e.Subject] + " tripped: " + textOf(e.Reasons)
	case e.Kind >= OutputEnabled && e.Kind <= ActuatorReported:
		return outputNames[e.Subject] + " " + e.Kind.String()
	}
	return e.Kind.String()
}
