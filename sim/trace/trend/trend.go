// Package trend reads from a recording of days whether a connection is getting
// worse, and when somebody should clean its clamp.
//
// Picture a gardener who measures a hedge every week with a crooked rule: no
// single number is worth much, but of all pairs of numbers the middle slope is,
// even if a few were misread. That is the slope of Theil and Sen; its interval
// comes from how many pairs agree.
package trend

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Line is a slope with its interval, and an intercept.
type Line struct {
	Slope, Low, High float64 // per unit of x
	Intercept        float64 // median of y - slope·x
	MiddleX, MiddleY float64 // medians
	Pairs            int
}

// Fit is the Theil-Sen line through points, with the interval of Sen (1968) at
// this confidence, from Kendall's variance with ties in y. The ends of the
// interval are rounded outwards. ok is false with fewer than two different x.
func Fit(x, y []float64, confidence float64) (line Line, ok bool) {
	n := len(x)
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range x {
		for j := 0; j < i; j++ {
			if dx := x[i] - x[j]; dx != 0 {
				slopes = append(slopes, (y[i]-y[j])/dx)
			}
		}
	}
	if len(slopes) == 0 {
		return Line{}, false
	}
	sort.Float64s(slopes)
	line = Line{Slope: middle(slopes), Pairs: len(slopes), MiddleX: median(x), MiddleY: median(y)}
	rest := make([]float64, n)
	for i := range x {
		rest[i] = y[i] - line.Slope*x[i]
	}
	line.Intercept = median(rest)
	z := distuv.UnitNormal.Quantile(1 - (1-confidence)/2)
	half := z * math.Sqrt(kendallVariance(y))
	pairs := float64(len(slopes))
	low := int(math.Floor((pairs-half)/2)) - 1
	high := int(math.Ceil((pairs + half) / 2))
	line.Low, line.High = math.Inf(-1), math.Inf(1)
	if low >= 0 {
		line.Low = slopes[low]
	}
	if high < len(slopes) {
		line.High = slopes[high]
	}
	return line, true
}

// kendallVariance is the variance of Kendall's S if there is no trend.
func kendallVariance(y []float64) float64 {
	sorted := append([]float64(nil), y...)
	sort.Float64s(sorted)
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) }
	v := term(float64(len(y)))
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		v -= term(float64(j - i))
		i = j
	}
	return v / 18
}

func median(list []float64) float64 {
	sorted := append([]float64(nil), list...)
	sort.Float64s(sorted)
	return middle(sorted)
}

// middle is the median of a sorted list.
func middle(sorted []float64) float64 {
	n := len(sorted)
	if n%2 == 1 {
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}
