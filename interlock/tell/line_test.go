package tell

import (
	"strings"
	"testing"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// What is told besides the name: numbers, names, and what to do.
func TestLinesSayWhatToDo(t *testing.T) {
	for _, c := range []struct {
		event interlock.Event
		given func(s *Scene)
		want  string
	}{
		{interlock.Event{Kind: interlock.MayBeCharged}, nil, "car_1 may be charged: do not touch; wait 1:00 from the end of flow"},
		{interlock.Event{Kind: interlock.MayBeCharged}, func(s *Scene) { s.Config.Vessels[0].Wait = 0 }, "car_1 may be charged: do not touch; no wait is configured"},
		{interlock.Event{Kind: interlock.WaitBegan}, nil, "car_1 wait began, flow has ended: do not touch for 1:00"},
		{
			interlock.Event{Kind: interlock.ReconnectedEarly}, nil,
			"car_1 reconnected early, during the wait: if it was put back, that was the dangerous act; acknowledge it with ack_1",
		},
		{ // nobody can acknowledge it: nobody is asked to
			interlock.Event{Kind: interlock.ReconnectedEarly}, func(s *Scene) { s.Config.Vessels[0].Acknowledge = 0 },
			"car_1 reconnected early, during the wait: if it was put back, that was the dangerous act",
		},
		{
			interlock.Event{Kind: interlock.AboveAccept},
			func(s *Scene) { s.In.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 7_123_456} },
			"bond_1 reads 7.12 Ω, under the limit but above accept 5 Ω: clean the contact",
		},
		{
			interlock.Event{Kind: interlock.PhaseChanged, From: uint32(monitor.Doubtful), To: uint32(monitor.Lost), Class: monitor.High, Cause: monitor.Missing},
			func(s *Scene) { s.In.Readings[0] = monitor.Reading{Quality: monitor.Valid, Value: 12_000_000} },
			"bond_1 doubtful -> lost, high 12 Ω (mostly missing)",
		},
		{ // the reading that stands beside it is not of this scan
			interlock.Event{Kind: interlock.PhaseChanged, From: uint32(monitor.Bonded), To: uint32(monitor.Lost), Class: monitor.High, Cause: monitor.High},
			func(s *Scene) {
				s.In.Readings[0], s.State.Channels[0].Age = monitor.Reading{Quality: monitor.Valid, Value: 12_000_000}, 1
			},
			"bond_1 bonded -> lost, high",
		},
		{interlock.Event{Kind: interlock.BypassEnding}, nil, "bypass_1 bypass ending on bond_1"},
		{
			interlock.Event{Kind: interlock.ActuatorUnconfirmed, Unconfirmed: interlock.StayedOpen | interlock.UnknownOpen}, nil,
			"valve_1 unconfirmed: did not report stopped in time, and it may be open; its switches say nothing usable while enabled, and it may be shut",
		},
		{ // carried along from another event of the same scan
			interlock.Event{Kind: interlock.ActuatorUnconfirmed, Unconfirmed: interlock.StayedShut, Spoil: interlock.TooLong}, nil,
			"valve_1 unconfirmed: did not report running in time, and it may be shut",
		},
		{interlock.Event{Kind: interlock.ActuatorReported, Unconfirmed: interlock.StayedOpen}, nil, "valve_1 reported again"},
		{
			interlock.Event{Kind: interlock.ResetIgnored, Spoil: interlock.TooEarly, Reasons: interlock.ReasonDelay | interlock.ReasonReset | interlock.ReasonStart}, nil,
			"valve_1 reset ignored: pressed before all conditions were true; on-delay running",
		},
		{interlock.Event{Kind: interlock.StartIgnored, Reasons: interlock.ReasonReset | interlock.ReasonStart}, nil, "valve_1 start ignored: reset needed"},
		{ // ready in this scan only
			interlock.Event{Kind: interlock.StartIgnored, Reasons: interlock.ReasonStart}, nil,
			"valve_1 start ignored: pressed before all conditions were true",
		},
		{interlock.Event{Kind: interlock.OutputStopped, Reasons: interlock.ReasonStop}, nil, "valve_1 stopped"},
	} {
		s := quiet()
		if c.given != nil {
			c.given(s)
		}
		if told := s.Tell(&c.event); told.String() != c.want {
			t.Errorf("%q\n is told as %q", c.want, told.String())
		}
	}
}

// bench is the yard compiled: valve_1 keeps while bond_1 keeps, charges car_1 and
// has pump for its backup.
func bench(t *testing.T) *Scene {
	t.Helper()
	s := quiet()
	bond := interlock.Permissive{{Op: interlock.OpCause, Cause: 0}}
	s.Config.Outputs = []interlock.Output{{Permissive: bond, Reset: 1, Press: interlock.Press{Min: 1, Max: 9}, AtOnce: true, Backup: []int{1}}, {Permissive: bond, Automatic: true}}
	s.Config.Vessels[0].BondedBy, s.Config.Vessels[0].Press = bond, interlock.Press{Min: 1, Max: 9}
	s.Config.Streams = []interlock.Stream{{Through: []int{0}, Charges: []int{0}}}
	s.Config.Inputs, s.Config.Bypasses = make([]interlock.Input, 1), nil
	channel := monitor.Config{Accept: 5_000_000, Reject: 10_000_000, OpenAbove: 100_000_000, SettleScans: 3, SettleReadings: 3, Full: 1, Repay: 1, LongestStay: 9}
	for class := monitor.Missing; class <= monitor.High; class++ {
		channel.Cost[class] = 1
	}
	s.Config.Channels[0].Config = channel
	if err := s.Config.Compile(); err != nil {
		t.Fatal(err)
	}
	s.State, s.Decision = interlock.NewState(s.Config), interlock.NewDecision(s.Config)
	return s
}

// The names behind a reason: what ended a run is looked for over fit-to-keep,
// what keeps a stopped output out over fit-to-start. A doubtful channel is the
// difference: it ends nothing, and it starts nothing.
func TestReasonsNameWhatIsBehindThem(t *testing.T) {
	s := bench(t)
	s.State.Vessels[0].Early = true
	s.State.Outputs[0].Unconfirmed = interlock.StayedOpen
	s.Decision.Keep[0], s.Decision.Start[0] = interlock.True, interlock.False
	for output, want := range map[int]string{
		0: "permissive not met: bond_1; wait running: car_1; reconnected early, not acknowledged: car_1; stop asked for",
		1: "backup called by valve_1",
	} {
		reasons := interlock.ReasonNotMet | interlock.ReasonWait | interlock.ReasonEarly | interlock.ReasonStop
		if output == 1 {
			reasons = interlock.ReasonBackup
		}
		if got := strings.Join(s.Withheld(output, reasons), "; "); got != want {
			t.Errorf("%q\n is told as %q", want, got)
		}
	}
	s.State.Outputs[0].Mode = interlock.Tripped // some scans ago
	if got := s.Behind(0, interlock.ReasonNotMet); strings.Join(got, " ") != "bond_1" {
		t.Errorf("a doubtful bond that keeps a tripped output from its reset is not named: %q", got)
	}
	two := interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpCause, Cause: 1}, {Op: interlock.OpAnd, Args: []int{0, 1}}}
	s.Config.Outputs[0].Permissive = two
	s.Decision.Keep[1], s.Decision.Start[1] = interlock.False, interlock.False
	for kind, want := range map[interlock.Kind]string{interlock.OutputTripped: "ack_1", interlock.OutputReleased: "ack_1", interlock.ResetIgnored: "bond_1 ack_1"} {
		s.Decision.Events = []interlock.Event{{Kind: kind}}
		if got := s.Behind(0, interlock.ReasonNotMet); strings.Join(got, " ") != want {
			t.Errorf("%v names %q, want %s", kind, got, want)
		}
	}
}

// Under a NOT fit-to-start may be met where fit-to-keep is not; and a caller that
// calls no longer is not named.
func TestReasonsUnderANot(t *testing.T) {
	s := bench(t)
	s.Config.Outputs[0].Permissive = interlock.Permissive{{Op: interlock.OpCause, Cause: 0}, {Op: interlock.OpNot, Args: []int{0}}}
	s.Decision.Keep[0], s.Decision.Start[0] = interlock.True, interlock.False
	if got := s.Withheld(0, interlock.ReasonNotMet); got[0] != "permissive not met: bond_1" {
		t.Errorf("%q", got)
	}
	if got := s.Withheld(1, interlock.ReasonBackup); got[0] != "backup called" {
		t.Errorf("%q", got)
	}
}

func TestStatesSayWhatToDo(t *testing.T) {
	s := bench(t)
	says := func(what, have, want string) {
		t.Helper()
		if have != want {
			t.Errorf("%s is told as %q, want %q", what, have, want)
		}
	}
	says("an output", s.Output(0), "valve_1 kept out: ")
	s.Decision.Reasons[0], s.State.Outputs[0].Mode = interlock.ReasonReset, interlock.Tripped
	says("a tripped output", s.Output(0), "valve_1 tripped: reset needed")
	s.State.Outputs[0].Mode = interlock.Enabled
	says("an enabled output", s.Output(0), "valve_1 enabled")
	says("flow", s.Vessel(0), "car_1 may be charged: do not touch; the wait of 1:00 begins when the flow has ended")
	s.State.Vessels[0].Waited = 3000
	says("a wait", s.Vessel(0), "car_1 may be charged: do not touch, wait 0:31")
	s.State.Vessels[0].Waited = 6001
	says("the last scan of a wait", s.Vessel(0), "car_1 may be charged: do not touch, wait 0:01")
	s.Config.Vessels[0].Wait = 0
	says("a vessel without a wait", s.Vessel(0), "car_1 may be charged: do not touch")
	says("no early reconnection", s.Early(0), "")
	s.State.Vessels[0].Early = true
	says("an early reconnection", s.Early(0), "car_1 reconnected early; acknowledge it with ack_1")
	s.State.Vessels[0].Clear = true
	says("a clear vessel", s.Vessel(0), "")
	says("a confirmed actuator", s.Latched(0), "")
	s.State.Outputs[0].Unconfirmed = interlock.StayedOpen
	says("a latch", s.Latched(0), "valve_1 unconfirmed: did not report stopped in time, and it may be open")
	s = quiet()
	says("a bypass at rest", s.Bypass(0), "")
	s.State.Bypasses[0].Active = 3000
	says("a bypass", s.Bypass(0), "bypass_1 is active for another 1:00")
}

func TestTripsSayWhatCameFirst(t *testing.T) {
	s := bench(t)
	s.State.Outputs[0].Trip.FirstOut.Add(0)
	s.Decision.Events = []interlock.Event{{Kind: interlock.OutputTripped, Reasons: interlock.ReasonNotMet}}
	s.Decision.Keep[0] = interlock.False
	told := s.Tell(&s.Decision.Events[0])
	if told.String() != "valve_1 tripped: permissive not met: bond_1; first-out bond_1" || told.Rule != "keep" {
		t.Errorf("%q [%s]", told.String(), told.Rule)
	}
	both := s.State.Outputs[0].Trip.FirstOut
	both.Add(1)
	told = s.OrderNotKnown(0, both)
	if told.String() != "valve_1 within one bus cycle, order not known: bond_1, ack_1" || strings.Join(told.FirstOut, " ") != "bond_1 ack_1" {
		t.Errorf("%q %q", told.String(), told.FirstOut)
	}
	if yard.Cause(7) != "6" || yard.Subject(&interlock.Event{Kind: interlock.WaitOver, Subject: 3}) != "" {
		t.Error("what has no name is not called by its number")
	}
}

func TestRanksAndSenses(t *testing.T) {
	for _, c := range []struct {
		event interlock.Event
		rank  Rank
		wrong bool
	}{
		{interlock.Event{Kind: interlock.ActuatorUnconfirmed, Unconfirmed: interlock.StayedShut}, Abnormal, true},
		{interlock.Event{Kind: interlock.ActuatorUnconfirmed, Unconfirmed: interlock.UnknownClosed}, Act, true},
		{interlock.Event{Kind: interlock.ActuatorReported, Unconfirmed: interlock.UnknownClosed}, Note, false},
		{interlock.Event{Kind: interlock.PhaseChanged, To: uint32(monitor.Unconnected)}, Note, true},
		{interlock.Event{Kind: interlock.PhaseChanged, To: uint32(monitor.Settling)}, Note, false},
		{interlock.Event{Kind: interlock.MayBeCharged}, Act, false},
	} {
		if RankOf(&c.event) != c.rank || Wrong(&c.event) != c.wrong {
			t.Errorf("%v asks for %q, wrong is %v", c.event, RankOf(&c.event), Wrong(&c.event))
		}
	}
	if Act.Words() != "act at once" || Todo.Words() != "to do" || Abnormal.Words() != "abnormal" {
		t.Error("words of ranks")
	}
}

// A reading keeps three digits, also on the other side of zero; a wait is never
// told shorter than it is.
func TestNumbersAsPeopleReadThem(t *testing.T) {
	for v, want := range map[monitor.Microohm]monitor.Microohm{
		0: 0, 999: 999, 1005: 1010, 9_995: 10_000, 123_456_789: 123_000_000, -50_000_000: -50_000_000, -123_500_000: -124_000_000, -7: -7,
	} {
		if got := Digits(v); got != want {
			t.Errorf("%d is told as %d, want %d", v, got, want)
		}
	}
	for d, want := range map[time.Duration]string{0: "0:00", time.Millisecond: "0:01", 60 * time.Second: "1:00", 60001 * time.Millisecond: "1:01"} {
		if got := Clock(d); got != want {
			t.Errorf("%v is told as %s, want %s", d, got, want)
		}
	}
}
