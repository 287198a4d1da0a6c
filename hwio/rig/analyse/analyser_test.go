package analyse

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/sheet"
)

// The clamp's contact opens at 10.0 ms and bounces once; the unit's contact opens 30 ms after it and bounces too.
const analyserCSV = `# made by hand
Time [ms], clamp, contact
0, 1, 1
10.0, 0, 1
10.5, 1, 1
11.0, 0, 1
40.0, 0, 0
40.5, 0, 1
41.0, 0, 0
500, 1, 0
700, 1, 1
800, 0, 1
1000, 0, 1
`

const analyserVCD = `$date today $end $timescale 1 us $end
$scope module top $end $var wire 1 ! clamp $end $var wire 1 " contact $end $var wire 8 # bus $end $upscope $end
$enddefinitions $end
#0 1! 1" b0 #
#10000 0!
#10500 1!
#11000 0!
#40000 0"
#40500 1"
#41000 0"
#500000 1!
#700000 1"
#800000 0!
#1000000
`

func analyserTest(most time.Duration) Test {
	return Test{Stimulus: "clamp", Response: "contact", Bounce: 5 * time.Millisecond, Output: "valve_1", Meaning: "bond_1:open", Bound: judge.Bound{Span: interval.Span{Most: most}}}
}

func TestAnalyserRecords(t *testing.T) {
	for name, text := range map[string]string{"a.csv": analyserCSV, "a.vcd": analyserVCD} {
		capture, err := ReadCapture(name, strings.NewReader(text))
		require.NoError(t, err)
		require.ErrorContains(t, capture.Sampled(time.Millisecond), "closer than a sample period")
		require.NoError(t, capture.Sampled(500*time.Microsecond))
		steps, err := capture.Measure(analyserTest(35 * time.Millisecond))
		require.NoError(t, err)
		require.Len(t, steps, 2)
		// From the first opening less a sample to the first opening of the contact; the stimulus may have been the last bounce.
		require.InDelta(t, 28.5, steps[0].Measured.Least, 1e-9)
		require.InDelta(t, 30.5, steps[0].Measured.Most, 1e-9)
		require.Equal(t, sheet.Consistent, steps[0].Verdict)
		require.Equal(t, sheet.Violated, steps[1].Verdict, "200 ms without a response")
		steps, err = capture.Measure(analyserTest(29 * time.Millisecond))
		require.NoError(t, err)
		require.Equal(t, sheet.CannotTell, steps[0].Verdict)
		steps, err = capture.Measure(analyserTest(28 * time.Millisecond))
		require.NoError(t, err)
		require.Equal(t, sheet.Violated, steps[0].Verdict)
		steps, err = capture.Measure(analyserTest(300 * time.Millisecond))
		require.NoError(t, err)
		require.Equal(t, sheet.CannotTell, steps[1].Verdict, "the record ends too early")
		other := analyserTest(time.Second)
		other.Response = "pump"
		_, err = capture.Measure(other)
		require.ErrorContains(t, err, `no line "pump"; it has clamp, contact`)
	}
}

func TestBrokenAnalyserRecords(t *testing.T) {
	for text, problem := range map[string]string{
		"":                            "names the columns",
		"Time, a\n0, 1\n":             "says no unit",
		"time_s, a\n0, 1\nx, 1\n":     "a.csv:3:1",
		"time_s, a\n1, 1\n0, 1\n":     "at or after the one before",
		"time_s, a\n0, 1\n1, 0.5\n":   "neither 0 nor 1",
		"time_s, a\n0, 1\n":           "no two samples",
		"$timescale 1 year $end\n#0":  "not understood",
		"$timescale 1 us $end #x 1!":  "is no time",
		"time_s, a\n0, 1\n1, 0, 7\n":  "wrong number of fields",
		"$timescale 1 us $end #-5 1!": "is no time",
	} {
		_, err := ReadCapture("a.csv", strings.NewReader(text))
		require.ErrorContains(t, err, problem, text)
	}
}

// Without a sample period a change may have come any time since the row before: rows that lie far apart show nothing exact.
func TestAnalyserRecordsThatSayNoSamplePeriod(t *testing.T) {
	const far = "time_s,clamp,contact\n0,1,1\n0.5,1,1\n1.0,0,1\n1.08,0,0\n1.5,0,0\n"
	capture, err := ReadCapture("far.csv", strings.NewReader(far))
	require.NoError(t, err)
	require.Contains(t, capture.Assumed(), "up to 500 ms")
	require.Equal(t, []Edge{{From: 5e8, At: 1e9}}, capture.Lines["clamp"])
	steps, err := capture.Measure(analyserTest(125 * time.Millisecond))
	require.NoError(t, err)
	require.Len(t, steps, 1)
	require.Equal(t, sheet.CannotTell, steps[0].Verdict)
	require.Zero(t, steps[0].Measured.Least)
	require.InDelta(t, 580, steps[0].Measured.Most, 1e-9)

	require.NoError(t, capture.Sampled(time.Millisecond))
	require.Contains(t, capture.Assumed(), "every 1 ms")
	steps, err = capture.Measure(analyserTest(125 * time.Millisecond))
	require.NoError(t, err)
	require.Equal(t, sheet.Consistent, steps[0].Verdict)
	require.InDelta(t, 79, steps[0].Measured.Least, 1e-9)
	require.InDelta(t, 81, steps[0].Measured.Most, 1e-9)
}

// A response that was over before the stimulus may have begun is none.
func TestAnalyserResponsesComeAfterTheirStimulus(t *testing.T) {
	capture, err := ReadCapture("early.csv", strings.NewReader("time_s,clamp,contact\n0,1,1\n1,1,0\n2,0,0\n3,0,0\n"))
	require.NoError(t, err)
	steps, err := capture.Measure(analyserTest(100 * time.Millisecond))
	require.NoError(t, err)
	require.Len(t, steps, 1)
	require.Equal(t, sheet.Violated, steps[0].Verdict, steps[0].Text)
}

func FuzzReadCapture(f *testing.F) {
	f.Add(analyserCSV)
	f.Add(analyserVCD)
	f.Fuzz(func(t *testing.T, text string) {
		capture, err := ReadCapture("f", strings.NewReader(text))
		if err != nil {
			return
		}
		if capture.Least <= 0 {
			t.Fatal("a record without two rows")
		}
		for name := range capture.Lines {
			for _, edge := range capture.Lines[name] {
				if edge.From > edge.At {
					t.Fatal("a change that was over before it began")
				}
			}
			test := analyserTest(time.Second)
			test.Stimulus, test.Response = name, name
			if _, err := capture.Measure(test); err != nil {
				t.Fatal(err)
			}
		}
	})
}
