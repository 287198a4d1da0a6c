package trend

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/tracetest"
)

// Published data; the source stands beside each.
func TestPublishedDataSets(t *testing.T) {
	// Sen, JASA 63 (1968) 1379; R package deming and SciPy's own tests.
	sen := [][]float64{{1, 2, 3, 4, 10, 12, 18}, {9, 15, 19, 20, 45, 55, 78}}
	line, ok := Fit(sen[0], sen[1], 0.93)
	require.True(t, ok)
	require.InDelta(t, 4, line.Slope, 1e-9)
	require.InDelta(t, 26.0/7, line.Low, 1e-9)
	require.InDelta(t, 35.0/8, line.High, 1e-9)
	require.InDelta(t, 6, line.Intercept, 1e-9, "median of y - 4t")
	require.InDelta(t, 4, line.MiddleY-line.Slope*line.MiddleX, 1e-9, "the joint intercept")

	// Helsel and Hirsch, USGS TWRI 4-A3 chapter 10 (data from memory): one outlier
	// moves least squares, not this slope.
	x, y := []float64{1, 2, 3, 4, 5, 6, 7}, []float64{1, 2, 3, 4, 5, 16, 7}
	line, ok = Fit(x, y, 0.95)
	require.True(t, ok)
	require.InDelta(t, 1, line.Slope, 1e-6)
	_, squares := stat.LinearRegression(x, y, nil, false)
	require.InDelta(t, 1.714286, squares, 1e-6)

	// SciPy's test: x 0, 1, 2, y 0, 1, 1.
	line, ok = Fit([]float64{0, 1, 2}, []float64{0, 1, 1}, 0.95)
	require.True(t, ok)
	require.InDelta(t, 0.5, line.Slope, 1e-12)
	require.InDelta(t, 0, line.MiddleY-line.Slope*line.MiddleX-0.5, 1e-12)
}

// Noise without a trend must be called one about as seldom as promised.
func TestNoiseIsNoTrend(t *testing.T) {
	random, found := uint64(5), 0
	const trials = 400
	for range trials {
		var x, y []float64
		for i := range 40 {
			random = random*6364136223846793005 + 1442695040888963407
			x, y = append(x, float64(i)), append(y, float64(random>>33))
		}
		line, _ := Fit(x, y, Confidence)
		if line.Low > 0 || line.High < 0 {
			found++
		}
	}
	// 5 % of 400 are 20; more than 36 or fewer than 7 happen less than once in a
	// thousand times.
	require.Less(t, found, 37)
	require.Greater(t, found, 6)
}

// rust records days of one channel whose resistance rises steadily, with noise
// and with hours in which the clamp hangs free.
func rust(t *testing.T, days int, from, perDay float64, seconds int) *Collector {
	c, h := tracetest.Config(1), tracetest.Header(1)
	h.Period = time.Duration(seconds) * time.Second
	collector := NewCollector(c)
	require.NoError(t, collector.Begin(h))
	state, in, d := interlock.NewState(c), interlock.NewInputs(c), interlock.NewDecision(c)
	random := uint64(3)
	for k := 0; k*seconds < days*86400; k++ {
		at := time.Duration(k*seconds) * time.Second
		random = random*6364136223846793005 + 1442695040888963407
		ohms := from + perDay*at.Hours()/24 + float64(random>>33%1000)/2000
		in.Readings[0] = monitor.Reading{Value: monitor.Microohm(ohms * 1e6), Quality: monitor.Valid, Stamp: uint16(k)}
		if int(at.Hours())%24 < 3 {
			in.Readings[0].Quality = monitor.OverRange
		}
		interlock.Step(c, state, in, d)
		require.NoError(t, collector.Write(&trace.Row{Scan: uint64(k), Time: at, In: in, State: state, Decision: d}))
	}
	return collector
}

func TestCleanBefore(t *testing.T) {
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	collector := rust(t, 30, 2, 0.1, 10)
	require.LessOrEqual(t, len(collector.channels[0].buckets), bucketsKept)
	r := collector.Report(start)[0]
	require.Equal(t, "trend", r.Verdict)
	require.InDelta(t, 0.1, r.Slope, 0.002)
	require.Less(t, r.Low, 0.1)
	require.Greater(t, r.High, 0.1)
	require.InDelta(t, 2+0.25+3, r.Now, 0.1)
	// accept is 9 Ω: (9-2.25)/0.1 = 67.5 days, which is 7 May
	require.InDelta(t, 67.5, r.Accept.Likely, 1.5)
	require.Less(t, r.Accept.Earliest, r.Accept.Likely)
	require.InDelta(t, 77.5, r.Reject.Likely, 2)
	at, err := time.Parse("2006-01-02", r.Accept.LikelyOn)
	require.NoError(t, err)
	require.WithinDuration(t, time.Date(2026, 5, 7, 0, 0, 0, 0, time.UTC), at, 60*time.Hour)
}

func TestNoTrendFallingTooShort(t *testing.T) {
	require.Equal(t, "no trend", rust(t, 10, 2, 0, 10).Report(time.Time{})[0].Verdict)
	require.Equal(t, "falling", rust(t, 10, 5, -0.1, 10).Report(time.Time{})[0].Verdict)
	require.Equal(t, "too short", rust(t, 1, 2, 0.1, 10).Report(time.Time{})[0].Verdict)
	r := rust(t, 30, 2, 0.0001, 10).Report(time.Time{})[0]
	if r.Verdict == "trend" {
		require.Nil(t, r.Accept, "beyond ten years nothing is said")
	}
}

// Thinning keeps the medians: a long series thinned and the same series fitted
// whole give the same slope within its interval.
func TestThinningKeepsTheSlope(t *testing.T) {
	var all thinned
	var x, y []float64
	random := uint64(11)
	for k := range 3000 {
		random = random*6364136223846793005 + 1442695040888963407
		ohms := 1 + float64(k)*1e-4 + float64(random>>33%100)/100
		all.add(uint64(k), float64(k)*60, ohms)
		x, y = append(x, float64(k)*60/day), append(y, ohms)
	}
	require.LessOrEqual(t, len(all.buckets), bucketsKept)
	require.EqualValues(t, 3000, all.total)
	whole, _ := Fit(x, y, Confidence)
	var tx, ty []float64
	for i := range all.buckets {
		tx, ty = append(tx, median(all.buckets[i].times)/day), append(ty, median(all.buckets[i].values))
	}
	thin, _ := Fit(tx, ty, Confidence)
	require.True(t, thin.Slope >= whole.Low*0.9 && thin.Slope <= whole.High*1.1, "%v against %v", thin, whole)
	require.False(t, math.IsNaN(thin.Slope))
}
