package tell

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

var yard = Names{
	Channels: []string{"bond_1"}, Inputs: []string{"ack_1"}, Outputs: []string{"valve_1", "pump"},
	Vessels: []string{"car_1"}, Bypasses: []string{"bypass_1"},
}

// quiet is a scan of the yard in which nothing arrives.
func quiet() *Scene {
	c := &interlock.Config{
		Channels: make([]interlock.Channel, 1), Inputs: make([]interlock.Input, 1), Outputs: make([]interlock.Output, 2),
		Vessels: []interlock.Vessel{{Wait: 6000, Acknowledge: 1}}, Bypasses: []interlock.Bypass{{For: 9000}},
	}
	c.Channels[0].Accept = 5_000_000
	return &Scene{
		Names: &yard, Config: c, Period: 10 * time.Millisecond, Ohms: func(micro int64) string { return strconv.FormatFloat(float64(micro)/1e6, 'f', -1, 64) + " Ω" },
		In: interlock.NewInputs(c), State: interlock.NewState(c),
		Decision: &interlock.Decision{Start: make([]interlock.Truth, 2), Keep: make([]interlock.Truth, 2)},
	}
}

// Every kind of event has all that readers take of it. What one lacks is named.
func TestEveryKindIsComplete(t *testing.T) {
	lines, records := map[string]interlock.Kind{}, map[string]interlock.Kind{}
	for k := interlock.NoEvent + 1; k < interlock.Kinds; k++ {
		e := interlock.Event{Kind: k, To: uint32(monitor.Settling)}
		for lacks, so := range map[string]bool{
			"whom it is about": About(k) == 0, "a sense": kinds[k].sense == 0, "a rank": RankOf(&e).Words() == "",
			"a rule": Rule(&e) == "", "a basis": Basis(&e) == "", "a name": k.String() == "",
		} {
			if so {
				t.Errorf("%q (%d) lacks %s", k, k, lacks)
			}
		}
		told := quiet().Tell(&e) // panics at what nobody fills in
		record := string(yard.AppendRecord(nil, &e))
		for text, seen := range map[string]map[string]interlock.Kind{told.String(): lines, record: records} {
			if before, twice := seen[text]; twice {
				t.Errorf("%q and %q are both told as %q", before, k, text)
			}
			seen[text] = k
		}
		if strings.Contains(told.String(), "$") || k != interlock.PhaseChanged && !strings.Contains(told.What, strings.Fields(k.String())[0]) {
			t.Errorf("%q is told as %q, which has nothing of its name", k, told.String())
		}
		if !strings.HasPrefix(record, yard.Brief(&e)) {
			t.Errorf("the record %q does not begin with %q", record, yard.Brief(&e))
		}
	}
}

// Every change of phase of the chart is told with the line of the chart.
func TestEveryChangeOfPhaseHasItsRule(t *testing.T) {
	for _, edge := range monitor.Chart() {
		e := interlock.Event{Kind: interlock.PhaseChanged, From: uint32(edge.From), To: uint32(edge.To), Class: monitor.Open, Cause: monitor.Open}
		told := quiet().Tell(&e)
		if told.Rule != edge.Trigger || told.String() != "bond_1 "+edge.From.String()+" -> "+edge.To.String()+", open" {
			t.Errorf("%v -> %v: %q by %q", edge.From, edge.To, told.String(), told.Rule)
		}
		if bad := edge.To == monitor.Doubtful || edge.To == monitor.Lost || edge.To == monitor.Unreadable; bad != (RankOf(&e) == Abnormal) {
			t.Errorf("%v -> %v asks for %q", edge.From, edge.To, RankOf(&e))
		}
	}
}

// Everything else that people are told of has words: reasons, spoiled presses,
// modes, phases, classes, what records keep of a vessel.
func TestEveryValueHasWords(t *testing.T) {
	words := map[string]string{}
	has := func(what string, text string) {
		if text == "" || words[text] == what {
			t.Errorf("a %s has %q for words", what, text)
		}
		words[text] = what
	}
	interlock.AllReasons.Each(func(one interlock.Reason) { has("reason", one.String()) })
	interlock.AllUnconfirmed.Each(func(one interlock.Unconfirmed) { has("way to be unconfirmed", Unconfirmed(one)) })
	for s := interlock.NotSpoiled; s < interlock.Spoils; s++ {
		has("spoiled press", s.String())
	}
	for m := interlock.Mode(0); m < interlock.Modes; m++ {
		has("mode", m.String())
	}
	for p := monitor.Phase(0); p < monitor.Phases; p++ {
		has("phase", p.String())
	}
	for c := monitor.Class(0); c < monitor.Classes; c++ {
		has("class", c.String())
	}
	for c := Charge(0); c < Charges; c++ {
		has("state of a vessel", c.String())
	}
	for _, r := range Ranks {
		has("rank", r.Words())
	}
}

// Files hold these words, and replay, scenarios and metrics compare with them.
// They are written out here so that nobody rewords one in passing: a recording
// from before would no longer be shown.
func TestRecordsAreNotReworded(t *testing.T) {
	var have []string
	for k := interlock.NoEvent + 1; k < interlock.Kinds; k++ {
		have = append(have, k.String())
	}
	interlock.AllReasons.Each(func(one interlock.Reason) { have = append(have, one.String()) })
	interlock.AllUnconfirmed.Each(func(one interlock.Unconfirmed) { have = append(have, one.String()) })
	for s := interlock.NotSpoiled; s < interlock.Spoils; s++ {
		have = append(have, s.String())
	}
	for m := interlock.Mode(0); m < interlock.Modes; m++ {
		have = append(have, m.String())
	}
	for p := monitor.Phase(0); p < monitor.Phases; p++ {
		have = append(have, p.String())
	}
	for c := monitor.Class(0); c < monitor.Classes; c++ {
		have = append(have, c.String())
	}
	for c := Charge(0); c < Charges; c++ {
		have = append(have, c.String())
	}
	want := strings.Split(strings.TrimSpace(recorded), "\n")
	for i := range max(len(want), len(have)) {
		if i >= len(want) || i >= len(have) || want[i] != have[i] {
			t.Fatalf("records keep %q, now it is %q", want[min(i, len(want)-1):], have[min(i, len(have)-1):])
		}
	}
	for want, e := range map[string]interlock.Event{
		"bond_1 lost after doubtful on open because high": {Kind: interlock.PhaseChanged, From: uint32(monitor.Doubtful), To: uint32(monitor.Lost), Class: monitor.Open, Cause: monitor.High},
		"bond_1 settling after lost on good":              {Kind: interlock.PhaseChanged, From: uint32(monitor.Lost), To: uint32(monitor.Settling), Class: monitor.Good, Cause: monitor.Good},
		"pump tripped: scan overrun + backup called":      {Kind: interlock.OutputTripped, Subject: 1, Reasons: interlock.ReasonOverrun | interlock.ReasonBackup},
		"valve_1 reset ignored: start needed - held for too long": {
			Kind: interlock.ResetIgnored, Reasons: interlock.ReasonStart, Spoil: interlock.TooLong,
		},
		"valve_1 unconfirmed - did not report stopped in time": {Kind: interlock.ActuatorUnconfirmed, Unconfirmed: interlock.StayedOpen},
		"scan overrun": {Kind: interlock.Overrun},
	} {
		if got := string(yard.AppendRecord(nil, &e)); got != want {
			t.Errorf("%q is recorded as %q", want, got)
		}
	}
	two := []interlock.Event{{Kind: interlock.PowerUp}, {Kind: interlock.WaitOver}}
	if got := string(yard.AppendRecords([]byte("7,"), two)); got != "7,power-up; car_1 wait over" {
		t.Errorf("two events are recorded as %q", got)
	}
}

const recorded = `
power-up
scan overrun
phase
above accept
settling again
may be charged
wait began
wait over
reconnected early
acknowledged
acknowledge ignored
released
released before rest
enabled
tripped
released
stopped
reset given
reset ignored
start ignored
unconfirmed
reported again
bypass began
bypass ending
bypass ended
bypass ignored
first scan since power-up
scan overrun
permissive not met
permissive unknown
on-delay running
wait running
reconnected early, not acknowledged
actuator unconfirmed
actuator not reported stopped
backup called
stop asked for
reset needed
start needed
did not report stopped in time
did not report running in time
its switches say nothing usable while withheld
its switches say nothing usable while enabled
counts
pressed before all conditions were true
a condition went away during the press
the input went unknown during the press
held for too long
too short for a deliberate press
pressed again before it was seen released
down since power-up
kept out
tripped
enabled
unconnected
settling
bonded
doubtful
lost
unreadable
missing
invalid
open
high
between
good
may be charged
clear
reconnected early
`
