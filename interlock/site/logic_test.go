package site

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// TestLogic is the good site in numbers and scans, worked out by hand from a
// scan of 9..12 ms.
func TestLogic(t *testing.T) {
	s := change(t)
	c := logicOf(t, s)
	if c.PollScans != 2 { // 10 ms in scans of 9 ms
		t.Errorf("poll: %d", c.PollScans)
	}
	bond := c.Channels[0]
	want := monitor.Config{
		Accept: 9e6, Reject: 10e6, OpenAbove: 1e9, Floor: 50_000, ValidMax: 2e9, OverRangeIsOpen: true, Stamped: true,
		StaleAfter:     5,  // 60 / 12
		SettleScans:    57, // 500 / 9, rounded up, and the first
		SettleReadings: 5,
		SettlePause:    4,   // 50 / 12, rounded down
		LongestStay:    416, // 5000 / 12, rounded down
		// 200/12 = 16, 60/12 = 5, 0 = at once: 80 parts; four good repay one bad
		// of 16, so 80/16/4 parts each: times 4.
		Full: 320, Repay: 5,
	}
	want.Cost[monitor.High], want.Cost[monitor.Open], want.Cost[monitor.Invalid], want.Cost[monitor.Missing] = 20, 320, 64, 64
	if bond.Config != want || bond.Evidence != 1 {
		t.Errorf("channel %+v\nwant %+v", bond, want)
	}
	valve, pump := c.Outputs[0], c.Outputs[1]
	if valve.OnDelay != 23 || valve.Travel != 667 || valve.Reset != 2 || valve.Start != 3 || valve.Stop != 4 || valve.Closed != 6 || valve.Opened != 7 ||
		!reflect.DeepEqual(valve.Backup, []int{1}) || valve.AtOnce || valve.Automatic || valve.Press != (interlock.Press{Min: 13, Max: 249}) {
		t.Errorf("valve %+v", valve)
	}
	if pump.OnDelay != 0 || pump.Travel != 0 || pump.Reset != 2 || pump.Start != 0 || pump.Press != (interlock.Press{Min: 13, Max: 249}) {
		t.Errorf("pump %+v", pump)
	}
	car := c.Vessels[0]
	if car.Wait != 6667 || car.Rest != 3334 || car.Acknowledge != 5 || s.Render(car.BondedBy) != "bond_1" {
		t.Errorf("car %+v", car)
	}
	stream := c.Streams[0]
	if stream.RunDown != 112 || stream.Flow != 8 || !reflect.DeepEqual(stream.Through, []int{0, 1}) || !reflect.DeepEqual(stream.Charges, []int{0}) {
		t.Errorf("stream %+v", stream)
	}
	if got := c.Bypasses[0]; got != (interlock.Bypass{Input: 9, Channel: 0, For: 40000, Warn: 6667, Gap: 1112}) {
		t.Errorf("bypass %+v", got)
	}
	if c.Inputs[3] != (interlock.Input{Inverted: true, StaleAfter: 5}) {
		t.Errorf("stop %+v", c.Inputs[3])
	}
}

// TestUnconfirmedStop uses the longest stop where nothing confirms one.
func TestUnconfirmedStop(t *testing.T) {
	s := change(t, "through: [valve_1, pump]", "through: [pump]\n    longest_stop: 20 s")
	if got := logicOf(t, s).Streams[0].RunDown; got != 2223 {
		t.Errorf("%d scans, want 20 s in scans of 9 ms", got)
	}
}

// TestDefaults are what a silent file means.
func TestDefaults(t *testing.T) {
	s := change(t, "poll: 10 ms\n", "", "    press: 0.1..3 s\n", "", "    on_delay: 200 ms\n", "", "    backup_when: unconfirmed\n", "", ", covers: unreadable, measure: \"\"", "", "    profile: linear\n", "")
	o := s.Outputs[0]
	if s.Poll != 12*time.Millisecond || o.PressMin != 100*time.Millisecond || o.PressMax != 3*time.Second || o.OnDelay != 0 || o.BackupWhen != "unconfirmed" || s.Bypasses[0].Covers != "unreadable" || s.Streams[0].Profile != "full" {
		t.Errorf("%v %+v %+v %+v", s.Poll, o, s.Bypasses[0], s.Streams[0])
	}
	if s.Has("outputs.valve_1.press") || !s.Has("outputs.valve_1.reset") {
		t.Error("what the file says is not told from what it is silent about")
	}
}

// TestByHand builds sites that no file could give: the last gate names what is
// wrong.
func TestByHand(t *testing.T) {
	for want, spoil := range map[string]func(*Site){
		"the scan period is not a time":                             func(s *Site) { s.Period = Times{} },
		`no input is called "x"`:                                    func(s *Site) { s.Channels[0].Evidence = "x" },
		`no output is called "y"`:                                   func(s *Site) { s.Streams[0].Through[0] = "y" },
		`no channel is called "z"`:                                  func(s *Site) { s.Bypasses[0].Channel = "z" },
		`the expression ends too early (column 11 of "bond_1 AND")`: func(s *Site) { s.Outputs[0].Permissive = "bond_1 AND" },
		"the patiences have no common measure that fits 32 bits": func(s *Site) {
			s.Channels[0].Patience = [monitor.Classes]time.Duration{1e11 + 7e7, 1e11, 1e11 - 7e7, 1e11 - 11e7}
		},
		"the logic refuses the site: monitor: accept is above reject":        func(s *Site) { s.Channels[0].Accept = 11e6 },
		"the logic refuses the site: interlock: output 1: restarts on reset": func(s *Site) { s.Outputs[1].Reset = "" },
		`no channel or input is called "bond_2" (column 1 of "bond_2")`:      func(s *Site) { s.Vessels[0].BondedBy = "bond_2" },
		"the logic refuses the site: interlock: 409 inputs, at most":         func(s *Site) { s.Inputs = append(s.Inputs, make([]Input, 400)...) },
	} {
		s := change(t)
		spoil(s)
		config, problems := s.Logic()
		told := strings.ReplaceAll(problems.Error(), "\n    ", " ")
		if config != nil || !strings.Contains(told, want) {
			t.Errorf("%s: %v", want, told)
		}
	}
}

func TestNames(t *testing.T) {
	s := change(t)
	for i := range s.Causes() + len(s.Outputs) {
		name := s.CauseName(i)
		if i < s.Causes() && s.CauseIndex(name) != i || name == "" {
			t.Errorf("cause %d is %q, which is cause %d", i, name, s.CauseIndex(name))
		}
	}
	if s.CauseName(-1) != "" || s.CauseName(99) != "" || s.CauseIndex("pump") != -1 || s.CauseIndex("bond_1") != 0 || s.CauseIndex("car_here_1") != 1 {
		t.Error("a cause that is none")
	}
	if s.OutputIndex("pump") != 1 || s.StreamIndex("toluene_1") != 0 || s.BypassIndex("bypass_1") != 0 || s.VesselIndex("car_1") != 0 || s.PartIndex("manlid") != 0 || s.InputIndex("none") != -1 || s.Ref("none") != 0 || s.Ref("car_here_1") != 1 {
		t.Error("indexes")
	}
	if s.VesselOf(&Channel{Part: "car_1"}) != 0 || s.VesselOf(&Channel{Part: "manlid"}) != 0 || s.VesselOf(&Channel{Part: "x"}) != -1 {
		t.Error("vessel of a part")
	}
	if at := s.At("channels.bond_1.nothing.here"); at != (Position{6, 3}) {
		t.Errorf("nearest place %v", at)
	}
	if s.At("") != (Position{1, 1}) || s.ValueAt("scan") != (Position{3, 7}) || s.ValueAt("channels.bond_1.x") != (Position{6, 3}) {
		t.Error("places")
	}
	if p, err := s.ParseProperty("pump AND NOT bond_1"); err != nil || s.Render(p) != "pump AND NOT bond_1" {
		t.Errorf("property: %v", err)
	}
	if _, err := s.ParsePermissive("pump"); err == nil {
		t.Error("a permissive over an output")
	}
	if s.Render(nil) != "" {
		t.Error("the empty permissive")
	}
}

// formulaText draws an expression over four causes.
func formulaText(t *rapid.T, depth int) string {
	names := []string{"bond_1", "car_here_1", "stop_1", "flow_1"}
	kind := rapid.IntRange(0, 6).Draw(t, "kind")
	if depth == 0 || kind == 0 {
		return rapid.SampledFrom(names).Draw(t, "name")
	}
	a, b := formulaText(t, depth-1), formulaText(t, depth-1)
	switch kind {
	case 1:
		return "NOT (" + a + ")"
	case 2:
		return "(" + a + ") XOR (" + b + ")"
	case 3:
		return a + " or " + b
	case 4:
		return "(" + a + ") AND (" + b + ")"
	case 5:
		return "2oo3(" + a + ", " + b + ", bond_1)"
	}
	return a + " & NOT " + b
}

// TestRenderReadsBack: what Render writes is the same condition, for all 81
// assignments of the three values, and renders as itself.
func TestRenderReadsBack(t *testing.T) {
	s := change(t)
	rapid.Check(t, func(t *rapid.T) {
		text := formulaText(t, 4)
		p, err := s.ParsePermissive(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		shown := s.Render(p)
		again, err := s.ParsePermissive(shown)
		if err != nil || s.Render(again) != shown {
			t.Fatalf("%s became %s: %v", text, shown, err)
		}
		causes := []int{s.CauseIndex("bond_1"), s.CauseIndex("car_here_1"), s.CauseIndex("stop_1"), s.CauseIndex("flow_1")}
		for n := range 81 {
			value := make([]interlock.Truth, s.Causes())
			for _, cause := range causes {
				value[cause] = interlock.Truth(n%3 - 1)
				n /= 3
			}
			if p.Eval(value) != again.Eval(value) {
				t.Fatalf("%s became %s, which is another condition", text, shown)
			}
		}
	})
}

func TestRenderedForms(t *testing.T) {
	s := change(t)
	for text, want := range map[string]string{
		"(bond_1)":                                   "bond_1",
		"((bond_1 or stop_1)) and flow_1":            "(bond_1 OR stop_1) AND flow_1",
		"bond_1 and stop_1 or flow_1":                "bond_1 AND stop_1 OR flow_1",
		"not (bond_1 and stop_1)":                    "NOT (bond_1 AND stop_1)",
		"NOT NOT bond_1":                             "NOT NOT bond_1",
		"bond_1 xor (stop_1 xor flow_1)":             "bond_1 XOR (stop_1 XOR flow_1)",
		"bond_1 xor stop_1 xor flow_1":               "bond_1 XOR stop_1 XOR flow_1",
		"2OO3(bond_1, stop_1 or flow_1, not flow_1)": "2oo3(bond_1, stop_1 OR flow_1, NOT flow_1)",
	} {
		p, err := s.ParsePermissive(text)
		if err != nil || s.Render(p) != want {
			t.Errorf("%s: %s, want %s (%v)", text, s.Render(p), want, err)
		}
	}
}

func TestProblems(t *testing.T) {
	if (Problems)(nil).Err() != nil || Problems(nil).Error() != "" {
		t.Error("no problem is an error")
	}
	p := Problems{{"a.yaml", 3, 1, "later", "x"}, {"a.yaml", 2, 9, "b", "x"}, {"a.yaml", 2, 1, "a", "x"}, {"a.yaml", 2, 9, "b", "x"}, {"a.yaml", 2, 9, "a", "x"}}
	if got := p.sorted().Err().Error(); got != "a.yaml:2:1: a; x\na.yaml:2:9: a; x\na.yaml:2:9: b; x\na.yaml:3:1: later; x" {
		t.Errorf("%s", got)
	}
	for word, want := range map[string]string{"pmup": "pump", "vlave": "valve", "abc": "", "pump": "pump", strings.Repeat("p", 99): ""} {
		if got := nearest(word, []string{"valve", "pump", "feeder"}); got != want {
			t.Errorf("nearest to %s is %q", word, got)
		}
	}
}
