package monitor

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var rewrite = flag.Bool("rewrite", false, "write what the scripts really print; then explain every changed line")

// The scripts under testdata/monitor teach what a channel does. A block is
// commands, a line of four dashes and one line for every scan; blocks are
// parted by empty lines, and the channel goes on from block to block.
//
//	channel metal | dissipative        the channel of this script, at power-up
//	set accept 9 Ω                     change it; also reject, open-above, floor, valid-max,
//	                                   stale-after, settle, readings, pause, full, repay, stay,
//	                                   cost-high, cost-open, cost-invalid, cost-missing, stamped
//	read 8.2 Ω x2                      that many fresh readings; also over-range, bad, nothing
//	read 8.2 Ω same | late | restart   with the last stamp, an older one, one from a new numbering
func TestScripts(t *testing.T) {
	paths, err := filepath.Glob(filepath.Join("..", "testdata", "monitor", "*.txt"))
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
	script := channelScript{t: t, path: path}
	var out strings.Builder
	ran := 0
	for i, block := range strings.Split(strings.TrimSpace(string(data)), "\n\n") {
		commands, want, found := strings.Cut(block, "\n----")
		if !found {
			t.Fatalf("%s: block %d has no ---- line", path, i+1)
		}
		got := script.run(commands)
		if got == "" {
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

// channelScript is one channel under a script.
type channelScript struct {
	t     *testing.T
	path  string
	c     Config
	s     State
	stamp uint16
}

// run carries out the commands of one block and prints a line for every scan.
func (x *channelScript) run(commands string) string {
	var out strings.Builder
	for _, line := range strings.Split(commands, "\n") {
		words := strings.Fields(line)
		switch {
		case len(words) == 0 || strings.HasPrefix(line, "#"):
		case words[0] == "channel":
			x.channel(words[1:])
		case words[0] == "set":
			x.set(words[1:])
		case words[0] == "read":
			x.read(words[1:], &out)
		default:
			x.t.Fatalf("%s: no command %q", x.path, line)
		}
	}
	return out.String()
}

func (x *channelScript) channel(words []string) {
	*x = channelScript{t: x.t, path: x.path, stamp: 100}
	switch strings.Join(words, " ") {
	case "metal":
		x.c = rack()
	case "dissipative": // FIBC type C: 1e8 Ω, IEC 61340-4-4:2018 list of changes
		x.c = rack()
		x.c.Accept, x.c.Reject, x.c.OpenAbove, x.c.Floor, x.c.ValidMax = 90_000_000_000_000, 100_000_000_000_000, 1_000_000_000_000_000, 1_000_000_000, 0
	default:
		x.t.Fatalf("%s: no channel %q", x.path, words)
	}
}

func (x *channelScript) set(words []string) {
	resistances := map[string]*Microohm{"accept": &x.c.Accept, "reject": &x.c.Reject, "open-above": &x.c.OpenAbove, "floor": &x.c.Floor, "valid-max": &x.c.ValidMax}
	counts := map[string]*Scans{"stale-after": &x.c.StaleAfter, "settle": &x.c.SettleScans, "readings": &x.c.SettleReadings, "pause": &x.c.SettlePause, "stay": &x.c.LongestStay}
	parts := map[string]*Parts{"full": &x.c.Full, "repay": &x.c.Repay, "cost-high": &x.c.Cost[High], "cost-open": &x.c.Cost[Open], "cost-invalid": &x.c.Cost[Invalid], "cost-missing": &x.c.Cost[Missing]}
	switch key := words[0]; {
	case resistances[key] != nil:
		*resistances[key] = x.resistance(words[1], words[2])
	case counts[key] != nil:
		*counts[key] = Scans(x.number(words[1]))
	case parts[key] != nil:
		*parts[key] = Parts(x.number(words[1]))
	case key == "stamped":
		x.c.Stamped = words[1] == "yes"
	default:
		x.t.Fatalf("%s: nothing called %q to set", x.path, key)
	}
}

func (x *channelScript) number(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 {
		x.t.Fatalf("%s: %q is no number", x.path, text)
	}
	return n
}

// resistance reads an exact decimal.
func (x *channelScript) resistance(text, unit string) Microohm {
	power, ok := map[string]int{"uΩ": 0, "mΩ": 3, "Ω": 6, "kΩ": 9, "MΩ": 12, "GΩ": 15}[unit]
	whole, decimals, _ := strings.Cut(text, ".")
	if !ok || len(decimals) > power {
		x.t.Fatalf("%s: %q %q is no resistance", x.path, text, unit)
	}
	v, err := strconv.ParseInt(whole+decimals+strings.Repeat("0", power-len(decimals)), 10, 64)
	if err != nil {
		x.t.Fatalf("%s: %q %q: %v", x.path, text, unit, err)
	}
	return Microohm(v)
}

func (x *channelScript) read(words []string, out *strings.Builder) {
	if err := x.c.Validate(); err != nil {
		x.t.Fatalf("%s: %v", x.path, err)
	}
	times := 1
	if last := words[len(words)-1]; strings.HasPrefix(last, "x") {
		times, words = x.number(last[1:]), words[:len(words)-1]
	}
	in := Reading{}
	switch words[0] {
	case "nothing":
	case "bad":
		in.Quality = Bad
	case "over-range":
		in.Quality = OverRange
	default:
		in.Quality, in.Value = Valid, x.resistance(words[0], words[1])
		words = words[1:]
	}
	for ; times > 0; times-- {
		in.Stamp = x.nextStamp(words[1:])
		x.s = Step(&x.c, x.s, in)
		fmt.Fprintln(out, x.line())
	}
}

func (x *channelScript) nextStamp(words []string) uint16 {
	switch strings.Join(words, " ") {
	case "same":
	case "late":
		return x.s.Stamp - 1
	case "restart":
		x.stamp = 1
	default:
		x.stamp++
	}
	return x.stamp
}

// line prints what the channel is, what it read and every count that runs.
func (x *channelScript) line() string {
	s := x.s
	text := fmt.Sprintf("%-11s  %s", s.Phase, s.Class)
	for _, n := range []struct {
		name  string
		value uint32
	}{{"age", uint32(s.Age)}, {"run", uint32(s.Run)}, {"count", uint32(s.Count)}, {"paused", uint32(s.Paused)}, {"doubt", uint32(s.Doubt)}, {"stay", uint32(s.Stay)}} {
		if n.value > 0 {
			text += fmt.Sprintf(" %s=%d", n.name, n.value)
		}
	}
	if s.Phase == Doubtful || s.Phase == Lost {
		text += " by " + s.Cause().String()
	}
	return text
}
