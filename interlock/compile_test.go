package interlock

import (
	"strings"
	"testing"

	"ohmgate/monitor"
)

// yard is a whole small site that Compile accepts: two cars, each with a valve,
// a pump that feeds both, a bypass, and a backup.
func yard(t *testing.T) *bench {
	b := newBench(t, 2, "reset", "start", "stop", "closed_1", "opened_1", "closed_2", "ack", "flow", "key", "here")
	press := Press{Min: 2, Max: 5}
	b.c.Channels[0].Evidence = b.ref("here")
	b.c.Outputs = []Output{
		{Permissive: b.permissive("bond_1"), Reset: b.ref("reset"), Press: press, Closed: b.ref("closed_1"), Opened: b.ref("opened_1"), Travel: 3, Backup: []int{2}},
		{Permissive: b.permissive("bond_2"), Reset: b.ref("reset"), Press: press, Closed: b.ref("closed_2"), Travel: 3, Backup: []int{2}, Stop: b.ref("stop")},
		{Permissive: b.permissive("bond_1 OR bond_2"), Reset: b.ref("reset"), Press: press, Start: b.ref("start")},
	}
	b.c.Vessels = []Vessel{
		{BondedBy: b.permissive("bond_1"), Wait: 4, Rest: 2, Acknowledge: b.ref("ack"), Press: press},
		{BondedBy: b.permissive("bond_2"), Wait: 4, Rest: 2, Acknowledge: b.ref("ack"), Press: press},
	}
	b.c.Streams = []Stream{
		{Through: []int{0, 2}, Charges: []int{0}, Flow: b.ref("flow"), RunDown: 1},
		{Through: []int{1, 2}, Charges: []int{1}, RunDown: 1},
	}
	b.c.Bypasses = []Bypass{{Input: b.ref("key"), Channel: 0, For: 10, Warn: 3, Gap: 2}}
	b.c.PollScans = 2
	return b
}

func TestCompileRefusals(t *testing.T) {
	if err := yard(t).c.Compile(); err != nil {
		t.Fatal("the site itself: ", err)
	}
	far := Ref(99)
	cases := []struct {
		name, want string
		edit       func(*bench)
	}{
		{"channels", "129 channels, at most 128", func(b *bench) { b.c.Channels = make([]Channel, MaxChannels+1) }},
		{"inputs", "385 inputs, at most 384", func(b *bench) { b.c.Inputs = make([]Input, MaxInputs+1) }},
		{"outputs", "65 outputs, at most 64", func(b *bench) { b.c.Outputs = make([]Output, MaxOutputs+1) }},
		{"channel", "accept is above reject", func(b *bench) { b.c.Channels[0].Accept = 1 << 40 }},
		{"evidence", "evidence names no input", func(b *bench) { b.c.Channels[0].Evidence = far }},
		{"stream through nothing", "flows through no output", func(b *bench) { b.c.Streams[0].Through = nil }},
		{"stream through unknown", "flows through an unknown output", func(b *bench) { b.c.Streams[0].Through = []int{3} }},
		{"stream through negative", "flows through an unknown output", func(b *bench) { b.c.Streams[0].Through = []int{-1} }},
		{"stream charges unknown", "charges an unknown vessel", func(b *bench) { b.c.Streams[0].Charges = []int{2} }},
		{"stream flow", "flow names no input", func(b *bench) { b.c.Streams[0].Flow = far }},
		{"vessel without bond", "no channel shows its bond", func(b *bench) { b.c.Vessels[0].BondedBy = nil }},
		{"vessel bonded by an input", "not a channel", func(b *bench) { b.c.Vessels[0].BondedBy = b.permissive("here") }},
		{"vessel bonded by NOT", "uses NOT or XOR", func(b *bench) { b.c.Vessels[0].BondedBy = b.permissive("NOT bond_1") }},
		{"vessel bonded by XOR", "uses NOT or XOR", func(b *bench) { b.c.Vessels[0].BondedBy = b.permissive("bond_1 XOR bond_2") }},
		{"acknowledge", "acknowledge names no input", func(b *bench) { b.c.Vessels[0].Acknowledge = far }},
		{"wait without acknowledge", "could never be cleared", func(b *bench) { b.c.Vessels[0].Acknowledge = 0 }},
		{"acknowledge press", "a press of acknowledge could never count", func(b *bench) { b.c.Vessels[0].Press.Min = 0 }},
		{"reads unknown", "unknown cause", func(b *bench) { b.c.Outputs[0].Permissive[0].Cause = 12 }},
		{"reads negative", "unknown cause", func(b *bench) { b.c.Outputs[0].Permissive[0].Cause = -1 }},
		{"empty AND", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{Op: OpAnd}} }},
		{"empty OR", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{Op: OpOr}} }},
		{"bare NOT", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{Op: OpNot}} }},
		{"half XOR", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{}, {Op: OpXor, Args: []int{0}}} }},
		{"vote for nothing", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{}, {Op: OpVote, Args: []int{0}}} }},
		{"vote for too many", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{}, {Op: OpVote, M: 2, Args: []int{0}}} }},
		{"loop of nodes", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{Op: OpNot, Args: []int{0}}} }},
		{"unknown operation", "not whole", func(b *bench) { b.c.Outputs[0].Permissive = Permissive{{Op: 77}} }},
		{"output input", "names an unknown input", func(b *bench) { b.c.Outputs[0].Stop = far }},
		{"no reset", "names no reset input", func(b *bench) { b.c.Outputs[2].Reset = 0 }},
		{"confirmation without reset", "no reset input to clear", func(b *bench) { b.c.Outputs[0].Reset = 0 }},
		{"press", "a press of reset could never count", func(b *bench) { b.c.Outputs[0].Press = Press{Min: 3, Max: 2} }},
		{"travel", "no travel time", func(b *bench) { b.c.Outputs[0].Travel = 0 }},
		{"backup", "names an unknown backup", func(b *bench) { b.c.Outputs[0].Backup = []int{5} }},
		{"backup never called", "could never call its backup", func(b *bench) { b.c.Outputs[2].Backup = []int{0} }},
		{"own backup", "circle", func(b *bench) { b.c.Outputs[0].Backup = []int{0} }},
		{"backups in a circle", "circle", func(b *bench) { b.c.Outputs[2].Backup, b.c.Outputs[2].AtOnce = []int{1}, true }},
		{"automatic with a wait", "restarts by itself but charges vessel 0", func(b *bench) { b.c.Outputs[0].Automatic = true }},
		{"bypass input", "names no input", func(b *bench) { b.c.Bypasses[0].Input = 0 }},
		{"bypass far input", "names no input", func(b *bench) { b.c.Bypasses[0].Input = far }},
		{"bypass channel", "names no channel", func(b *bench) { b.c.Bypasses[0].Channel = 2 }},
		{"bypass negative", "names no channel", func(b *bench) { b.c.Bypasses[0].Channel = -1 }},
		{"bypass twice", "has a bypass already", func(b *bench) { b.c.Bypasses = append(b.c.Bypasses, b.c.Bypasses[0]) }},
		{"bypass of no time", "lasts no time", func(b *bench) { b.c.Bypasses[0].For = 0 }},
		{"bypass for ever", "longer than can be counted", func(b *bench) { b.c.Bypasses[0].For = monitor.ScansMax }},
		{"bypass without warning", "no warning before it ends", func(b *bench) { b.c.Bypasses[0].Warn = 0 }},
		{"bypass warned too early", "warns before it begins", func(b *bench) { b.c.Bypasses[0].Warn = 10 }},
		{"two bypasses on a vessel", "a vessel that its channel bonds has a bypass already", func(b *bench) {
			b.c.Vessels[0].BondedBy = b.permissive("bond_1 AND bond_2")
			b.c.Bypasses = append(b.c.Bypasses, Bypass{Input: 1, Channel: 1, For: 9, Warn: 1})
		}},
		{"bypasses and a broken vessel", "bonded-by reads something", func(b *bench) {
			b.c.Vessels[0].BondedBy[0].Cause = 1 << 20
			b.c.Bypasses = append(b.c.Bypasses, Bypass{Input: 1, Channel: 1, For: 9, Warn: 1})
		}},
	}
	for _, k := range cases {
		b := yard(t)
		k.edit(b)
		err := b.c.Compile()
		if err == nil || !strings.Contains(err.Error(), k.want) {
			t.Errorf("%s: got %v, want %q in it", k.name, err, k.want)
		}
		if b.c.Order() != nil {
			t.Errorf("%s: refused, but with an order to step in", k.name)
		}
	}
}

// A site that Compile has not accepted runs nothing and kicks no watchdog.
func TestUncompiledSiteIsWithheld(t *testing.T) {
	b := yard(t)
	Step(b.c, NewState(b.c), NewInputs(b.c), NewDecision(b.c)) // before: no panic
	s, in, d := NewState(b.c), NewInputs(b.c), NewDecision(b.c)
	for i := 0; i < 3; i++ {
		if Step(b.c, s, in, d); d.Kick || d.Coils != 0 {
			t.Fatal("an uncompiled site kicks the watchdog or runs something")
		}
	}
}

// Compiling twice gives the same links.
func TestCompileTwice(t *testing.T) {
	b := yard(t).start()
	for i := 0; i < 2; i++ {
		if got := b.c.VesselsOf(2); len(got) != 2 {
			t.Fatalf("the pump charges %v", got)
		}
		if got := b.c.StreamsOf(2); len(got) != 2 {
			t.Fatalf("streams through the pump: %v", got)
		}
		if got := b.c.CallersOf(2); len(got) != 2 {
			t.Fatalf("callers of the pump: %v", got)
		}
		if got := b.c.ChargedBy(1); len(got) != 1 || got[0] != 1 {
			t.Fatalf("car 2 is charged by %v", got)
		}
		if got := b.c.Order(); len(got) != 3 || got[2] != 2 {
			t.Fatalf("order %v: the pump must come after both valves that call it", got)
		}
		if err := b.c.Compile(); err != nil {
			t.Fatal(err)
		}
	}
}

// Two bypasses on two vessels are two bypasses; a channel number that is none
// is refused as such.
func TestBypassesOfDifferentVessels(t *testing.T) {
	b := yard(t)
	b.c.Bypasses = append(b.c.Bypasses, Bypass{Input: b.ref("key"), Channel: 1, For: 9, Warn: 1})
	if err := b.c.Compile(); err != nil {
		t.Error(err)
	}
	for _, channel := range []int{-1, MaxCauses, MaxCauses + 1} {
		b.c.Bypasses[1].Channel = channel
		if err := b.c.Compile(); err == nil || !strings.Contains(err.Error(), "names no channel") || strings.Contains(err.Error(), "a vessel that") {
			t.Errorf("channel %d: %v", channel, err)
		}
	}
}
