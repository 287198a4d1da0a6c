package rig

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

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

func analyserTest(most time.Duration) AnalyserTest {
	return AnalyserTest{Stimulus: "clamp", Response: "contact", Bounce: 5 * time.Millisecond, Output: "valve_1", Meaning: "bond_1:open", Bound: Bound{Span: Span{0, most}}}
}

func TestAnalyserRecords(t *testing.T) {
	for name, text := range map[string]string{"a.csv": analyserCSV, "a.vcd": analyserVCD} {
		capture, err := ReadCapture(name, strings.NewReader(text))
		require.NoError(t, err)
		require.Equal(t, 500*time.Microsecond, capture.Step, "all times are multiples of it")
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

func FuzzReadCapture(f *testing.F) {
	f.Add(analyserCSV)
	f.Add(analyserVCD)
	f.Fuzz(func(t *testing.T, text string) {
		capture, err := ReadCapture("f", strings.NewReader(text))
		if err != nil {
			return
		}
		if capture.Step <= 0 {
			t.Fatal("a record without a step")
		}
		for name := range capture.Lines {
			test := analyserTest(time.Second)
			test.Stimulus, test.Response = name, name
			if _, err := capture.Measure(test); err != nil {
				t.Fatal(err)
			}
		}
	})
}
