package interlock

import (
	"fmt"
	"testing"

	"ohmgate/monitor"
)

// The test site "Quarry Road works" in small: channels read 1 Ω when good, are
// lost at once when open, and settle in three scans.
func quickChannel() monitor.Config {
	return monitor.Config{
		Accept: 9_000_000, Reject: 10_000_000, OpenAbove: 1_000_000_000,
		OverRangeIsOpen: true, StaleAfter: 1,
		SettleScans: 3, SettleReadings: 3, SettlePause: 1,
		Full: 6, Cost: [monitor.Classes]monitor.Parts{monitor.Missing: 3, monitor.Invalid: 3, monitor.Open: 6, monitor.High: 2},
		Repay: 6, LongestStay: 5,
	}
}

var (
	readGood    = monitor.Reading{Value: 1_000_000, Quality: monitor.Valid}
	readBetween = monitor.Reading{Value: 9_500_000, Quality: monitor.Valid}
	readHigh    = monitor.Reading{Value: 11_000_000, Quality: monitor.Valid}
	readOpen    = monitor.Reading{Quality: monitor.OverRange}
	readBad     = monitor.Reading{Quality: monitor.Bad}
	readNothing = monitor.Reading{}
)

// bench is a small site on the table: names for its parts, the inputs of the
// next scan, and the state and decision of the last one.
type bench struct {
	t  *testing.T
	c  *Config
	s  *State
	in *Inputs
	d  *Decision

	channels, inputs []string
	scan             int
}

// newBench makes a bench with n channels bond_1… and the named inputs. Parts
// are added to c; run compiles it on its first call.
func newBench(t *testing.T, n int, inputs ...string) *bench {
	t.Helper()
	b := &bench{t: t, c: &Config{}, inputs: inputs}
	for i := 0; i < n; i++ {
		b.c.Channels = append(b.c.Channels, Channel{Config: quickChannel()})
		b.channels = append(b.channels, fmt.Sprintf("bond_%d", i+1))
	}
	b.c.Inputs = make([]Input, len(inputs))
	for i := range b.c.Inputs {
		b.c.Inputs[i].StaleAfter = 1
	}
	return b
}

// ref is the input's reference; naming one that is not there fails the test.
func (b *bench) ref(name string) Ref {
	b.t.Helper()
	for i, have := range b.inputs {
		if have == name {
			return Ref(i + 1)
		}
	}
	b.t.Fatalf("no input %q", name)
	return 0
}

func (b *bench) find(name string) (int, bool) {
	for i, have := range b.channels {
		if have == name {
			return i, true
		}
	}
	for i, have := range b.inputs {
		if have == name {
			return len(b.channels) + i, true
		}
	}
	return 0, false
}

func (b *bench) permissive(text string) Permissive {
	b.t.Helper()
	p, err := ParsePermissive(text, b.find)
	if err != nil {
		b.t.Fatalf("%q: %v", text, err)
	}
	return p
}

// start compiles the site and puts it at power-up; channels read good and
// inputs read 0 unless told otherwise.
func (b *bench) start() *bench {
	b.t.Helper()
	if err := b.c.Compile(); err != nil {
		b.t.Fatal(err)
	}
	b.s, b.in, b.d = NewState(b.c), NewInputs(b.c), NewDecision(b.c)
	for i := range b.in.Readings {
		b.in.Readings[i] = readGood
	}
	for i := range b.in.Signals {
		b.in.Signals[i] = Low
	}
	return b
}

func (b *bench) set(name string, s Signal) *bench {
	b.t.Helper()
	b.in.Signals[b.ref(name)-1] = s
	return b
}

func (b *bench) read(channel int, r monitor.Reading) *bench {
	b.in.Readings[channel] = r
	return b
}

// run makes n scans with the inputs as they stand.
func (b *bench) run(n int) *bench {
	for i := 0; i < n; i++ {
		Step(b.c, b.s, b.in, b.d)
		b.scan++
	}
	return b
}

// press is one deliberate press of a button: two scans at 1, two at 0.
func (b *bench) press(name string) *bench {
	b.t.Helper()
	return b.set(name, High).run(2).set(name, Low).run(2)
}

func (b *bench) mode(output int) Mode { return b.s.Outputs[output].Mode }

func (b *bench) want(output int, m Mode) *bench {
	b.t.Helper()
	if got := b.mode(output); got != m {
		b.t.Fatalf("scan %d: output %d is %v, want %v; reasons %s", b.scan, output, got, m, b.reasons(output))
	}
	if b.d.Coils.Energised(output) != (m == Enabled) {
		b.t.Fatalf("scan %d: output %d is %v but its coil says otherwise", b.scan, output, m)
	}
	return b
}

func (b *bench) reasons(output int) string { return textOf(b.d.Reasons[output]) }

func textOf(r Reasons) string {
	text := ""
	r.Each(func(one Reason) {
		if text != "" {
			text += ", "
		}
		text += one.String()
	})
	return text
}

// told reports whether the last scan told of a kind, and how often.
func (b *bench) told(kind Kind) int {
	n := 0
	for _, e := range b.d.Events {
		if e.Kind == kind {
			n++
		}
	}
	return n
}
