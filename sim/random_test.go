package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNormalQuantilesAreThoseOfTheNormalDistribution(t *testing.T) {
	q := normals()
	for i := range q.body[:quantileSteps] {
		want := math.Sqrt2 * math.Erfinv(float64(i)/quantileSteps)
		require.InDelta(t, want, q.body[i], 1e-6, "step %d", i)
	}
	for i := range q.tail[:quantileSteps] {
		want := math.Sqrt2 * math.Erfcinv(float64(quantileSteps-i)/(quantileSteps*quantileSteps))
		require.InDelta(t, want, q.tail[i], 1e-5, "tail step %d", i)
	}
	require.InDelta(t, 5.2, q.tail[quantileSteps], 0.1)
}

func TestNormalNumbersHaveMeanZeroDeviationOneAndTails(t *testing.T) {
	s := NewStream(1, "bond_1", "noise")
	const n = 2_000_000
	var sum, squares float64
	beyond := [6]int{}
	for i := range uint64(n) {
		x := s.Normal(i)
		sum += x
		squares += x * x
		for k := range beyond {
			if math.Abs(x) > float64(k) {
				beyond[k]++
			}
		}
	}
	require.InDelta(t, 0, sum/n, 4/math.Sqrt(n))
	require.InDelta(t, 1, squares/n, 8/math.Sqrt(n))
	for k := 1; k <= 4; k++ {
		expected := n * math.Erfc(float64(k)/math.Sqrt2)
		require.InDelta(t, expected, float64(beyond[k]), 5*math.Sqrt(expected)+0.002*expected, "beyond %d deviations", k)
	}
}

func TestStreamsAreApart(t *testing.T) {
	a, b := NewStream(7, "bond_1", "noise"), NewStream(7, "bond_2", "noise")
	require.NotEqual(t, NewStream(7, "ab", "c"), NewStream(7, "a", "bc"))
	require.NotEqual(t, NewStream(7, "bond_1"), NewStream(8, "bond_1"))
	var both float64
	const n = 500_000
	for i := range uint64(n) {
		both += a.Normal(i) * b.Normal(i)
	}
	require.InDelta(t, 0, both/n, 5/math.Sqrt(n), "correlated")
}

func TestSineAndExponentialAgreeWithTheLibrary(t *testing.T) {
	for i := -300; i < 300; i++ {
		x := float64(i) / 97
		require.InDelta(t, math.Sin(2*math.Pi*x), sine(x), 1e-12)
		require.InDelta(t, math.Exp(-math.Abs(x)*5), expNegative(math.Abs(x)*5), 1e-14)
	}
}

func TestUniformNumbersFillTheirRange(t *testing.T) {
	s := NewStream(3, "u")
	var counts [10]int
	for i := range uint64(100_000) {
		counts[s.Below(i, 10)]++
		u := s.Uniform(i)
		require.True(t, u >= 0 && u < 1)
	}
	for digit, n := range counts {
		require.InDelta(t, 10_000, n, 500, "digit %d", digit)
	}
}
