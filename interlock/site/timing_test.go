package site

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// change is the good site with other texts in some places.
func change(t interface{ Fatalf(string, ...any) }, changes ...string) *Site {
	text := good
	for i := 0; i < len(changes); i += 2 {
		if strings.Count(text, changes[i]) != 1 {
			t.Fatalf("%q does not stand once in the good site", changes[i])
		}
		text = strings.Replace(text, changes[i], changes[i+1], 1)
	}
	s, problems := Parse("site.yaml", []byte(text))
	if problems != nil {
		t.Fatalf("%v", problems)
	}
	return s
}

func logicOf(t interface{ Fatalf(string, ...any) }, s *Site) *interlock.Config {
	config, problems := s.Logic()
	if problems != nil {
		t.Fatalf("%v", problems)
	}
	return config
}

// TestTimesInScans is the arithmetic of fence posts: a settle time of 500 ms at
// 100 ms takes six readings, not five; a patience of 80 ms at 20 ms guarantees
// 60 ms and catches within 80 ms and the aperture.
func TestTimesInScans(t *testing.T) {
	s := change(t, "scan: 9..12 ms", "scan: 20 ms", "poll: 10 ms", "poll: 20 ms", "{high: 200 ms", "{high: 80 ms")
	got := s.Timing(logicOf(t, s), 0)
	high := got.Of(monitor.High)
	if high.BadScans != 4 || high.Guaranteed != 60*time.Millisecond || high.Detection != 85*time.Millisecond {
		t.Errorf("high: %+v", high)
	}
	if missing := got.Of(monitor.Missing); missing.DetectionScans != 6 || missing.Detection != 125*time.Millisecond || missing.Guaranteed != 100*time.Millisecond {
		t.Errorf("missing: %+v", missing)
	}
	if open := got.Of(monitor.Open); open.BadScans != 1 || open.Guaranteed != 0 || open.Detection != 25*time.Millisecond {
		t.Errorf("open: %+v", open)
	}
	if none := got.Of(monitor.Good); none.BadScans != 0 {
		t.Errorf("good: %+v", none)
	}
	s = change(t, "scan: 9..12 ms", "scan: 100 ms", "poll: 10 ms", "poll: 100 ms", "stale_after: 60 ms\n    settle", "stale_after: 200 ms\n    settle",
		"pause: 50 ms", "pause: 0 ms", "invalid: 60 ms, missing: 60 ms}", "invalid: 100 ms, missing: 100 ms}",
		"car_here_1: {use: evidence, stale_after: 60 ms", "car_here_1: {use: evidence, stale_after: 0 ms", "reset_1: {use: button, stale_after: 60 ms", "reset_1: {use: button, stale_after: 0 ms",
		"start_1: {use: button, stale_after: 60 ms", "start_1: {use: button, stale_after: 0 ms", "ack_1: {use: button, stale_after: 60 ms", "ack_1: {use: button, stale_after: 0 ms",
		"stop_1: {use: switch, inverted: yes, stale_after: 60 ms", "stop_1: {use: switch, inverted: yes, stale_after: 0 ms",
		"valve_1_closed: {use: switch, stale_after: 60 ms", "valve_1_closed: {use: switch, stale_after: 0 ms", "valve_1_open: {use: switch, stale_after: 60 ms", "valve_1_open: {use: switch, stale_after: 0 ms",
		"flow_1: {use: flow, stale_after: 60 ms", "flow_1: {use: flow, stale_after: 0 ms", "key_1: {use: key, stale_after: 60 ms", "key_1: {use: key, stale_after: 0 ms")
	settle := s.Timing(logicOf(t, s), 0).Settle
	if settle.Scans != 6 || settle.Shortest != 500*time.Millisecond || settle.Longest != 500*time.Millisecond || settle.Paused != 500*time.Millisecond {
		t.Errorf("settle: %+v", settle)
	}
}

// TestTolerated: counting 4:1 forgives one bad reading in five for ever,
// consecutive forgives all but the last of the patience.
func TestTolerated(t *testing.T) {
	for counting, want := range map[string]string{"integrating 4:1": "1 in 5", "consecutive": "15 in 16", "integrating 1:4": "4 in 5", "integrating 1:15": "15 in 16", "integrating 1:100": "15 in 16"} {
		s := change(t, "counting: integrating 4:1", "counting: "+counting)
		high := s.Timing(logicOf(t, s), 0).Of(monitor.High)
		if got := fmt.Sprintf("%d in %d", high.Tolerated, high.Of); got != want {
			t.Errorf("%s: %s, want %s", counting, got, want)
		}
	}
	s := change(t)
	if open := s.Timing(logicOf(t, s), 0).Of(monitor.Open); open.Tolerated != 0 || open.Of != 1 {
		t.Errorf("a class without patience: %+v", open)
	}
}

// drawn is a site with any period, poll and times that can be read.
func drawn(t *rapid.T) *Site {
	s := change(t)
	micros := func(name string, least, most time.Duration) time.Duration {
		return time.Duration(rapid.Int64Range(int64(least), int64(most)).Draw(t, name))
	}
	s.Period.Min = micros("scan min", time.Millisecond, 50*time.Millisecond)
	s.Period.Max = micros("scan max", s.Period.Min, 2*s.Period.Min)
	s.Poll = s.Period.Max
	if rapid.Bool().Draw(t, "slow poll") {
		s.Poll = micros("poll", s.Period.Max, 5*s.Period.Max)
	}
	c := &s.Channels[0]
	c.Stamped = false
	c.StaleAfter = micros("stale", max(s.leastStale(), s.Period.Max), 20*s.Period.Max)
	c.SettleTime = micros("settle", c.StaleAfter+1, 40*s.Period.Max)
	for _, bad := range badClasses {
		c.Patience[bad.class] = rapid.SampledFrom([]time.Duration{0, s.Period.Max, 4 * s.Period.Max, micros(bad.key, s.Period.Max, 30*s.Period.Max)}).Draw(t, bad.key)
	}
	c.Counting = rapid.SampledFrom([]string{"consecutive", "integrating"}).Draw(t, "counting")
	c.LongestDoubt = micros("doubt", 40*s.Period.Max, 100*s.Period.Max)
	if rapid.Bool().Draw(t, "short doubt") {
		c.LongestDoubt = micros("doubt", s.Period.Max, 10*s.Period.Max)
	}
	c.Aperture = 0
	return s
}

// TestConversionLaws: whatever the times, every rounding is to the safe side at
// both ends of the period.
func TestConversionLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawn(t)
		config, problems := s.Logic()
		if problems != nil {
			if strings.Contains(problems.Error(), "common measure") {
				return
			}
			t.Fatalf("%v", problems)
		}
		c, run, got := &s.Channels[0], &config.Channels[0].Config, s.Timing(config, 0)
		must := func(holds bool, law string) {
			if !holds {
				t.Fatalf("%s\n%+v\n%+v", law, *c, got)
			}
		}
		must(got.Settle.Shortest >= c.SettleTime, "settles no faster than asked")
		must(got.Settle.Longest >= got.Settle.Shortest && got.Settle.Paused >= got.Settle.Longest, "settle longest")
		must(time.Duration(run.StaleAfter)*s.Period.Max <= c.StaleAfter, "stale no later than asked")
		must(time.Duration(run.LongestStay)*s.Period.Max <= c.LongestDoubt, "doubtful no longer than asked")
		for _, timing := range got.Patience {
			asked := timing.Asked
			if timing.Class == monitor.Missing {
				asked += c.StaleAfter
			}
			must(timing.Guaranteed <= asked, "guarantees no more patience than asked")
			must(timing.Guaranteed < timing.Detection, "catches later than it guarantees")
			if asked >= s.Period.Max && timing.Class != monitor.Missing && s.Poll <= s.Period.Max {
				must(timing.Detection <= asked, "catches within the patience asked, but for the aperture")
			}
			must(uint64(run.Cost[timing.Class])*uint64(max(1, s.Clock().AtMost(timing.Asked))) == uint64(run.Full), "the patience spends the budget exactly")
		}
		if c.Counting == "integrating" {
			least := run.Full
			for _, bad := range badClasses {
				least = min(least, run.Cost[bad.class])
			}
			exact := uint64(run.Repay)*uint64(c.RepayGood) == uint64(least)*uint64(c.RepayBad)
			must(exact || run.Repay == run.Full, "good scans repay bad ones exactly")
		} else {
			must(run.Repay == run.Full, "one good reading forgives all")
		}
	})
}

// run samples one channel as the world would: scans at any spacing within the
// period, readings fetched once a poll, the disturbance from start for length.
// It returns when the channel was first seen out of fit-to-keep, and when it
// was first bonded.
func runChannel(t *rapid.T, s *Site, config *interlock.Config, class monitor.Class, start, length, end time.Duration) (lost, bonded time.Duration) {
	run := &config.Channels[0].Config
	reading := func(at time.Duration) monitor.Reading {
		if at < start || at >= start+length {
			return monitor.Reading{Value: run.Accept, Quality: monitor.Valid}
		}
		return map[monitor.Class]monitor.Reading{
			monitor.High: {Value: run.Reject + 1, Quality: monitor.Valid}, monitor.Open: {Value: run.OpenAbove, Quality: monitor.Valid},
			monitor.Invalid: {Quality: monitor.Bad}, monitor.Missing: {},
		}[class]
	}
	jitter := rapid.SampledFrom([]string{"min", "max", "any"}).Draw(t, "spacing")
	var state monitor.State
	seed := rapid.Uint64().Draw(t, "seed")
	lost, bonded = -1, -1
	poll := time.Duration(0)
	for now := time.Duration(0); now < end; {
		in := monitor.Reading{}
		if s.Poll <= s.Period.Max {
			in = reading(now)
		} else {
			for ; poll <= now; poll += s.Poll {
				in = reading(poll)
			}
		}
		state = monitor.Step(run, state, in)
		if bonded < 0 && state.Phase == monitor.Bonded {
			bonded = now
		}
		if bonded >= 0 && lost < 0 && !state.Phase.MayKeep() {
			lost = now
		}
		seed = seed*6364136223846793005 + 1442695040888963407
		step := s.Period.Min + time.Duration(seed>>33)%(s.Period.Max-s.Period.Min+1)
		switch jitter {
		case "min":
			step = s.Period.Min
		case "max":
			step = s.Period.Max
		}
		now += step
	}
	return lost, bonded
}

// TestGuaranteesHold runs the logic itself against its printed times: a
// disturbance shorter than the guaranteed patience never ends in a loss, one
// that lasts is caught within the worst detection, and no bond is given before
// the settle time.
func TestGuaranteesHold(t *testing.T) {
	ridden, caught := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s := drawn(t)
		config, problems := s.Logic()
		if problems != nil {
			return
		}
		timings := s.Timing(config, 0)
		timing := rapid.SampledFrom(timings.Patience[:]).Draw(t, "class")
		from := timings.Settle.Paused + 3*s.Poll
		start := from + time.Duration(rapid.Int64Range(0, int64(4*s.Poll)).Draw(t, "phase"))
		if timing.Guaranteed > 0 {
			lost, bonded := runChannel(t, s, config, timing.Class, start, timing.Guaranteed-1, start+timing.Guaranteed+20*s.Poll)
			if bonded < timings.Settle.Shortest-1 || bonded > timings.Settle.Longest {
				t.Fatalf("bonded at %v, not from %v to %v", bonded, timings.Settle.Shortest, timings.Settle.Longest)
			}
			if lost >= 0 {
				t.Fatalf("%v of class %v lost at %v after %v: %+v", timing.Guaranteed-1, timing.Class, lost, start, timing)
			}
			ridden++
		}
		end := start + timing.Detection + 2*s.Poll + 2*s.Period.Max
		lost, bonded := runChannel(t, s, config, timing.Class, start, end, end)
		if bonded < 0 {
			t.Fatalf("never bonded, although %+v", timings.Settle)
		}
		if lost < 0 || lost-start > timing.Detection {
			t.Fatalf("a lasting %v from %v was lost at %v, later than %v: %+v", timing.Class, start, lost, timing.Detection, timing)
		}
		caught++
	})
	if !testing.Short() && (ridden < 20 || caught < 50) || ridden == 0 || caught == 0 {
		t.Fatalf("only %d disturbances ridden through, %d caught", ridden, caught)
	}
}

// TestClock tries the conversions at their edges.
func TestClock(t *testing.T) {
	c := Clock{9 * time.Millisecond, 12 * time.Millisecond}
	for _, one := range []struct {
		time          time.Duration
		atLeast, most interlock.Scans
	}{{0, 0, 0}, {-1, 0, 0}, {1, 1, 0}, {9 * time.Millisecond, 1, 0}, {9*time.Millisecond + 1, 2, 0}, {12*time.Millisecond - 1, 2, 0}, {12 * time.Millisecond, 2, 1}, {1<<63 - 1, monitor.ScansMax, monitor.ScansMax}} {
		if c.AtLeast(one.time) != one.atLeast || c.AtMost(one.time) != one.most {
			t.Errorf("%v: %d, %d", one.time, c.AtLeast(one.time), c.AtMost(one.time))
		}
	}
	if !c.Fits(10737*time.Hour) || c.Fits(10738*time.Hour) {
		t.Error("2^32 scans of 9 ms are 10737.4 h")
	}
	if c.Longest(monitor.ScansMax) < c.Shortest(monitor.ScansMax) || times64(monitor.ScansMax, 1<<62) != 1<<63-1 || sum(1<<62, 1<<62, 1<<62) != 1<<63-1 {
		t.Error("durations wrap")
	}
	if (Clock{}).AtLeast(time.Second) != 0 || (Clock{}).AtMost(time.Second) != 0 {
		t.Error("a clock that stands still counts")
	}
	rapid.Check(t, func(t *rapid.T) {
		c := Clock{Min: time.Duration(rapid.Int64Range(1, 1e9).Draw(t, "min"))}
		c.Max = c.Min + time.Duration(rapid.Int64Range(0, 1e9).Draw(t, "more"))
		d := time.Duration(rapid.Int64Range(1, 1e15).Draw(t, "time"))
		if !c.Fits(d) {
			return
		}
		least, most := c.AtLeast(d), c.AtMost(d)
		if c.Shortest(least) < d || c.Shortest(least-1) >= d || c.Longest(most) > d || c.Longest(most+1) <= d {
			t.Fatalf("%v: %d to %d scans of %v", d, most, least, c)
		}
		press := c.press(d, 100*d)
		if press.Max > 0 && (c.Shortest(press.Min-1) < d || c.Longest(press.Max+1) > 100*d) {
			t.Fatalf("a press of %v..%v is counted %+v", d, 100*d, press)
		}
	})
}
