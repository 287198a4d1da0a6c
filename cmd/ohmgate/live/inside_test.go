package live

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
)

func TestMirrorsStopWhatTheirChartsDoNotKnow(t *testing.T) {
	names := &Names{Site: &site.Site{Channels: []site.Channel{{Name: "bond_1"}}, Outputs: []site.Output{{Name: "pump"}}}}
	config := &interlock.Config{Channels: make([]interlock.Channel, 1), Outputs: make([]interlock.Output, 1)}
	known, refused := map[[2]monitor.Phase]bool{}, 0
	for _, e := range monitor.Chart() {
		known[[2]monitor.Phase{e.From, e.To}] = true
	}
	for from := monitor.Phase(0); from < monitor.Phases; from++ {
		for to := monitor.Phase(0); to < monitor.Phases; to++ {
			m, s := newMirrors(names, 1, 1), interlock.NewState(config)
			m.channels[0].SetState(from.String())
			s.Channels[0].Phase = to
			err := m.follow(7, s)
			if from == to || known[[2]monitor.Phase{from, to}] {
				require.NoError(t, err, "%s to %s", from, to)
				require.Equal(t, to.String(), m.channels[0].Current())
				continue
			}
			require.ErrorAs(t, err, new(UnknownTransition), "%s to %s", from, to)
			refused++
		}
	}
	require.Equal(t, 36-6-len(monitor.Chart()), refused)
	m, s := newMirrors(names, 1, 1), interlock.NewState(config)
	s.Outputs[0].Mode = interlock.Tripped
	require.ErrorContains(t, m.follow(7, s), `output pump went from "kept out" to "tripped"`)
}

// TestPyramidKeepsEveryExtreme compares the pyramid with the readings
// themselves: whatever the zoom, no spike is lost and none is invented.
func TestPyramidKeepsEveryExtreme(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(1, 3000).Draw(t, "count")
		p, all := newPyramid(), make([]sample, count)
		for i := range all {
			all[i] = sampleOf(monitor.Reading{
				Quality: monitor.Quality(rapid.IntRange(0, 3).Draw(t, "quality")),
				Value:   monitor.Microohm(rapid.Int64Range(0, 1e12).Draw(t, "value")),
			})
			p.push(all[i])
		}
		from := uint64(rapid.IntRange(0, count-1).Draw(t, "from"))
		to := from + uint64(rapid.IntRange(0, count).Draw(t, "length"))
		got := p.read(from, to, rapid.IntRange(1, 400).Draw(t, "width"))
		require.LessOrEqual(t, got.Start, from)
		for i, flags := range got.Flags {
			begin := got.Start + uint64(i)*got.Step
			want := nothing
			for n := begin; n < begin+got.Step && n < uint64(count); n++ {
				want = want.join(all[n])
			}
			require.Equal(t, int(want.flags), flags)
			if want.flags&FlagNumber != 0 {
				require.Equal(t, want.min, *got.Min[i])
				require.Equal(t, want.max, *got.Max[i])
			} else {
				require.Nil(t, got.Min[i])
			}
		}
		end := got.Start + uint64(len(got.Flags))*got.Step
		require.GreaterOrEqual(t, end, min(to+1, uint64(count)))
	})
}

func TestPyramidMemoryIsFlat(t *testing.T) {
	p := newPyramid()
	for i := range 6_000_000 {
		p.push(sample{float32(i), float32(i), FlagNumber})
	}
	buckets := 0
	for k := range p.rings {
		buckets += len(p.rings[k].min)
	}
	require.LessOrEqual(t, buckets, levels*ringBuckets)
	old := p.read(0, 5_999_999, 1000)
	require.Equal(t, float32(5_999_999), *old.Max[len(old.Max)-1])
	require.Equal(t, float32(0), *old.Min[0])
	fresh := p.read(5_999_900, 5_999_999, 1000)
	require.Equal(t, uint64(1), fresh.Step)
	require.Len(t, fresh.Min, 100)
}

func TestSegmentsMergeOnlyWhatCannotBeDrawnApart(t *testing.T) {
	var l edgeList
	for i := range uint64(5000) {
		l.put(i*3, uint8(i%2))
	}
	exact := l.read(300, 330, 100)
	require.Equal(t, Segment{300, 0, 1}, exact[0])
	require.Len(t, exact, 11)
	merged := l.read(0, 15000, 50)
	require.LessOrEqual(t, len(merged), 102)
	for _, s := range merged[1 : len(merged)-1] {
		require.Equal(t, uint64(3), s[2], "both values are in every stretch")
	}
}

func TestDifferenceOfEdges(t *testing.T) {
	fill := func(pairs ...uint64) *edgeList {
		l := &edgeList{}
		for i := 0; i < len(pairs); i += 2 {
			l.put(pairs[i], uint8(pairs[i+1]))
		}
		return l
	}
	for _, c := range []struct {
		a, b    *edgeList
		through uint64
		scan    uint64
		differs bool
	}{
		{fill(0, 1, 5, 2), fill(0, 1, 5, 2), 9, 0, false},
		{fill(0, 1, 5, 2), fill(0, 1, 6, 2), 9, 5, true},
		{fill(0, 1, 5, 2), fill(0, 1), 9, 5, true},
		{fill(0, 1, 5, 2), fill(0, 1), 4, 5, false},
		{fill(0, 1), fill(0, 2), 4, 0, true},
	} {
		scan, differs := firstDifference(c.a, c.b, c.through)
		require.Equal(t, c.differs, differs)
		if differs {
			require.Equal(t, c.scan, scan)
		}
	}
}

func TestInputsReadBackAsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		channels, inputs := rapid.IntRange(0, 5).Draw(t, "channels"), rapid.IntRange(0, 9).Draw(t, "inputs")
		c := &interlock.Config{Channels: make([]interlock.Channel, channels), Inputs: make([]interlock.Input, inputs)}
		var written []*interlock.Inputs
		var e encoder
		var text []byte
		for n := range rapid.IntRange(1, 30).Draw(t, "scans") {
			in := interlock.NewInputs(c)
			in.Overrun = rapid.Bool().Draw(t, "overrun")
			for i := range in.Readings {
				q := monitor.Quality(rapid.IntRange(0, 3).Draw(t, "quality"))
				in.Readings[i] = monitor.Reading{Quality: q, Stamp: rapid.Uint16().Draw(t, "stamp")}
				if q == monitor.Valid {
					in.Readings[i].Value = monitor.Microohm(rapid.Int64Range(math.MinInt64, math.MaxInt64).Draw(t, "value"))
				}
			}
			for i := range in.Signals {
				in.Signals[i] = interlock.Signal(rapid.IntRange(0, 3).Draw(t, "signal"))
			}
			text = e.append(text, in, n%7 == 0)
			written = append(written, in)
		}
		var r InputReader
		r.Feed(text)
		for _, want := range written {
			got := interlock.NewInputs(c)
			require.NoError(t, r.Read(got))
			require.Equal(t, want, got)
		}
		require.True(t, r.Empty())
		r.Feed(text[:len(text)-1])
		var err error
		for range written {
			if err = r.Read(interlock.NewInputs(c)); err != nil {
				break
			}
		}
		require.ErrorIs(t, err, ErrCutShort)
	})
}

// FuzzInputs reads garbage: it must end in an error or in scans, and never in a
// panic or without end.
func FuzzInputs(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{markRestart, 3, 2, 4, 0, 0})
	c := &interlock.Config{Channels: make([]interlock.Channel, 2), Inputs: make([]interlock.Input, 5)}
	f.Fuzz(func(t *testing.T, text []byte) {
		var r InputReader
		r.Feed(text)
		in := interlock.NewInputs(c)
		for scans := 0; !r.Empty(); scans++ {
			if r.Read(in) != nil {
				return
			}
			require.LessOrEqual(t, scans, len(text))
		}
	})
}

func TestLateBucketsHoldWhatTheySay(t *testing.T) {
	for d := time.Duration(0); d < time.Hour; d += d/7 + time.Microsecond {
		end := bucketEnd(lateBucket(d))
		require.Greater(t, end, d)
		require.LessOrEqual(t, end, d+d/4+2*time.Microsecond)
	}
	var l lateness
	for i := range 10000 {
		l.add(time.Duration(i) * time.Microsecond)
	}
	require.InDelta(t, 9990, l.share(0.999).Microseconds(), 1300)
}

func TestWordsOfQuantities(t *testing.T) {
	for v, want := range map[monitor.Microohm]string{
		0: "0 Ω", 2_000_000: "2 Ω", 9_600_000: "9.6 Ω", 210_000: "210 mΩ", 1_000_000_000: "1 kΩ", 123_400_000: "123 Ω", 5_000_000_000_000_000: "5 GΩ", -50_000_000: "-50 Ω",
	} {
		require.Equal(t, want, Ohms(v))
	}
	require.Equal(t, "1:01", tell.Clock(60001*time.Millisecond))
	require.Equal(t, "300 ms", Seconds(300*time.Millisecond))
}

// Every value that a lane can have has a word for the page, and no two of a lane
// are called alike.
func TestEveryValueOfALaneHasAWord(t *testing.T) {
	words := laneWords()
	seen := map[string]bool{}
	has := func(kind LaneKind, value uint8) {
		require.Less(t, int(value), len(words[kind]), "%s %d has no word", kind, value)
		word := words[kind][value].Word
		require.NotContains(t, []string{"", "?"}, word, "%s %d", kind, value)
		require.False(t, seen[string(kind)+word], "%s %d is called %q as another value", kind, value, word)
		seen[string(kind)+word] = true
	}
	for p := range monitor.Phase(monitor.Phases) {
		has(LaneChannel, uint8(p))
	}
	for _, level := range []interlock.Truth{interlock.False, interlock.Unknown, interlock.True} {
		has(LaneInput, levelValue(level))
	}
	for mode := range interlock.Mode(interlock.Modes) {
		for _, ways := range []interlock.Unconfirmed{0, interlock.StayedOpen} {
			has(LaneOutput, outputValue(&interlock.OutputState{OutputControl: interlock.OutputControl{Mode: mode, Unconfirmed: ways}}))
		}
	}
	for _, early := range []bool{false, true} {
		for _, v := range []interlock.VesselState{{Early: early}, {Early: early, Waited: 1}, {Early: early, Clear: true}} {
			has(LaneVessel, vesselValue(&v))
		}
	}
	for _, stopped := range []interlock.Scans{0, 1, 5} {
		has(LaneStream, streamValue(interlock.StreamState{Stopped: stopped}, &interlock.Stream{RunDown: 3}))
	}
	has(LaneBypass, 0)
	has(LaneBypass, 1)
	ranks := describedWords()
	for _, r := range tell.Ranks {
		require.NotEmpty(t, ranks.Ranks[r])
	}
}
