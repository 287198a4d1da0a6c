package judge

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

func TestJudge(t *testing.T) {
	span := func(least, most float64) interval.Span {
		return interval.Span{Least: interval.FromMillis(least), Most: interval.FromMillis(most)}
	}
	bound := Bound{Span: span(40, 100)}
	for _, c := range []struct {
		measured interval.Span
		found    sheet.Finding
	}{
		{span(50, 90), sheet.Consistent}, {span(40, 100), sheet.Consistent}, {span(30, 90), sheet.Consistent},
		{span(90, 101), sheet.CannotTell}, {span(10, 300), sheet.CannotTell}, {span(100, 101), sheet.CannotTell},
		{span(101, 130), sheet.Violated}, {span(5, 39), sheet.Violated},
	} {
		found, text := bound.Judge(c.measured)
		require.Equal(t, c.found, found, text)
		require.NotEmpty(t, text)
	}
}

// TestPrintedTimesClaimNoMore: what is printed of a measurement holds what was measured; a bound is printed as it is.
func TestPrintedTimesClaimNoMore(t *testing.T) {
	span := func(least, most float64) *sheet.Millis {
		return interval.Span{Least: interval.FromMillis(least), Most: interval.FromMillis(most)}.Millis()
	}
	require.Equal(t, "7..29 ms", span(7.566, 28.001).String())
	require.Equal(t, "8..28 ms", span(8, 28).String())
	require.Equal(t, "124.7..125 ms", span(124.7, 125).Exact())
	require.Contains(t, Statement("x", 3, interval.FromMillis(28.001), 0.05), "none was seen slower than 29 ms")
	require.Contains(t, Statement("x", 3, interval.FromMillis(28), 0.05), "none was seen slower than 28 ms")
	_, text := Bound{Span: interval.Span{Least: 0, Most: interval.FromMillis(124.7)}}.Judge(interval.Span{Least: interval.FromMillis(124.8), Most: interval.FromMillis(130)})
	require.Equal(t, "slower than 124.7 ms", text)
	rapid.Check(t, func(t *rapid.T) {
		least := rapid.Int64Range(0, 1e10).Draw(t, "least")
		most := least + rapid.Int64Range(0, 1e9).Draw(t, "took")
		var from, to int64
		_, err := fmt.Sscanf(interval.Span{Least: time.Duration(least), Most: time.Duration(most)}.Millis().String(), "%d..%d ms", &from, &to)
		require.NoError(t, err)
		require.True(t, from*1e6 <= least && least < (from+1)*1e6, "%d..%d of %d..%d", from, to, least, most)
		require.True(t, to*1e6 >= most && most > (to-1)*1e6, "%d..%d of %d..%d", from, to, least, most)
	})
}

// TestIntervalsHoldTheTruth: whatever the true times were, if both intervals hold them then the span holds their difference,
// and a verdict against a bound is never wrong about the truth.
func TestIntervalsHoldTheTruth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		small := rapid.Int64Range(0, 50_000_000)
		begin := rapid.Int64Range(0, 1e12).Draw(t, "begin")
		took := rapid.Int64Range(0, 1e9).Draw(t, "took")
		stimulus := interval.Moment{From: port.Stamp(begin - small.Draw(t, "a")), To: port.Stamp(begin + small.Draw(t, "b"))}
		response := interval.Moment{From: port.Stamp(begin + took - small.Draw(t, "c")), To: port.Stamp(begin + took + small.Draw(t, "d"))}
		span := interval.Took(stimulus, response, time.Duration(small.Draw(t, "spread")))
		truth := time.Duration(took)
		if truth < span.Least || truth > span.Most {
			t.Fatalf("%v is not in %v", truth, span)
		}
		bound := Bound{Span: interval.Span{Least: time.Duration(small.Draw(t, "least")), Most: time.Duration(rapid.Int64Range(5e7, 1e9).Draw(t, "most"))}}
		verdict, _ := bound.Judge(span)
		inside := truth >= bound.Least && truth <= bound.Most
		if verdict == sheet.Violated && inside || verdict == sheet.Consistent && truth > bound.Most {
			t.Fatalf("%v, bound %v: %s", truth, bound, verdict)
		}
	})
}

// TestSlowerFraction: the success run n = ln(1-C)/ln(R), exact: 59 runs at 95 % show 95 %, 299 show 99 %,
// 22 at 90 % show 90 %; and IEC 61508-7 D.2.1: about 3/n at 95 %.
func TestSlowerFraction(t *testing.T) {
	for _, c := range []struct {
		runs     int
		alpha    float64
		fraction float64
	}{{59, 0.05, 0.05}, {299, 0.05, 0.01}, {22, 0.10, 0.10}, {459, 0.01, 0.01}, {2995, 0.05, 0.001}} {
		require.LessOrEqual(t, SlowerFraction(c.runs, c.alpha), c.fraction)
		require.Greater(t, SlowerFraction(c.runs-1, c.alpha), c.fraction)
	}
	require.InDelta(t, 3.0/30_000, SlowerFraction(30_000, 0.05), 1e-6)
	text := Statement("valve_1", 59, 40*time.Millisecond, 0.05)
	require.Contains(t, text, "The worst case was not measured")
	require.Contains(t, text, "with 95 % confidence fewer than 4.95 %")
	require.Empty(t, Statement("x", 0, 0, 0.05))
}

// TestContactThatIsThereHasNoAnswer: the unit missed its reset, so that its contact is open when the logic withholds. When it
// energises later on its own and opens again, that is not a slow answer to the decision before; what it did on its own is.
func TestContactThatIsThereHasNoAnswer(t *testing.T) {
	s, problems := site.Read("../../../testdata/rig/bench_siding.yaml")
	require.Nil(t, problems)
	m, problems := wiring.Read(s)
	require.Nil(t, problems)
	logic, problems := s.Logic()
	require.Nil(t, problems)
	at := func(millis int) interval.Moment {
		from := port.Stamp(time.Hour + time.Duration(millis)*time.Millisecond)
		return interval.Moment{From: from, To: from.Add(10 * time.Millisecond)}
	}
	reset, lost := Stimulus{Scan: 50, Name: "reset_1", When: at(1000)}, Stimulus{Scan: 55, Name: "bond_1", When: at(1100), Class: monitor.Open, Channel: true, Clean: true}
	decided := []Decided{{Output: 0, On: true, Scan: 51}, {Output: 0, Scan: 55, FirstOut: []int{0}}}
	for name, c := range map[string]struct {
		answers []Answer
		found   []sheet.Finding // in the order of time
	}{
		"follows":                      {[]Answer{{On: true, When: at(1030)}, {When: at(1130)}}, []sheet.Finding{sheet.Consistent, sheet.Consistent}},
		"opens too late":               {[]Answer{{On: true, When: at(1030)}, {When: at(2330)}}, []sheet.Finding{sheet.Consistent, sheet.Violated}},
		"was open, and comes":          {[]Answer{{On: true, When: at(1530)}}, []sheet.Finding{sheet.CannotTell, sheet.CannotTell, sheet.Violated}},
		"was open, and comes and goes": {[]Answer{{On: true, When: at(1530)}, {When: at(2330)}}, []sheet.Finding{sheet.CannotTell, sheet.CannotTell, sheet.Violated, sheet.CannotTell}},
	} {
		o := &Observed{Map: m, Logic: logic, Stimuli: []Stimulus{reset, lost}, Decided: decided, Answers: c.answers, Begun: port.Stamp(time.Hour), Ended: port.Stamp(time.Hour + 5*time.Second)}
		steps := o.Judge(nil, 0)
		require.Len(t, steps, len(c.found), name)
		for i := range steps {
			require.Equal(t, c.found[i], steps[i].Verdict, "%s: %+v", name, steps[i])
		}
	}
}
