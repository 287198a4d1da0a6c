package interval

import (
	"encoding/json"
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// magnitude draws numbers over all decades that occur here, both signs, and the
// awkward ones: 0, infinities, the largest and the smallest.
func number() *rapid.Generator[float64] {
	return rapid.Custom(func(t *rapid.T) float64 {
		switch rapid.IntRange(0, 9).Draw(t, "kind") {
		case 0:
			return rapid.SampledFrom([]float64{0, 1, -1, math.Inf(1), math.Inf(-1), math.MaxFloat64,
				-math.MaxFloat64, math.SmallestNonzeroFloat64, 330, 1e-12}).Draw(t, "special")
		case 1:
			return rapid.Float64().Draw(t, "any")
		default:
			decade := rapid.Float64Range(-15, 13).Draw(t, "decade")
			sign := rapid.SampledFrom([]float64{1, 1, -1}).Draw(t, "sign")
			return sign * math.Pow(10, decade)
		}
	})
}

func intervals() *rapid.Generator[Interval] {
	return rapid.Custom(func(t *rapid.T) Interval {
		a, b := number().Draw(t, "a"), number().Draw(t, "b")
		if math.IsNaN(a) || math.IsNaN(b) {
			return Point(1)
		}
		return Interval{Lo: math.Min(a, b), Hi: math.Max(a, b)}
	})
}

// inside draws a finite point of x, its ends included.
func inside(t *rapid.T, x Interval) float64 {
	lo, hi := math.Max(x.Lo, -math.MaxFloat64), math.Min(x.Hi, math.MaxFloat64)
	switch rapid.IntRange(0, 3).Draw(t, "where") {
	case 0:
		return lo
	case 1:
		return hi
	case 2:
		return Interval{Lo: lo, Hi: hi}.Middle()
	default:
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		return Interval{Lo: lo, Hi: hi}.clamp(lo*(1-share) + hi*share)
	}
}

// exact compares an end with a value in 2000-bit arithmetic, so that the test
// does not inherit the rounding that it checks.
func exact(v float64) *big.Float { return new(big.Float).SetPrec(2000).SetFloat64(v) }

func holdsExactly(t *rapid.T, result Interval, value *big.Float, what string) {
	if !math.IsInf(result.Lo, 0) && exact(result.Lo).Cmp(value) > 0 || math.IsInf(result.Lo, 1) {
		t.Fatalf("%s: %v lies below %v", what, value, result)
	}
	if !math.IsInf(result.Hi, 0) && exact(result.Hi).Cmp(value) < 0 || math.IsInf(result.Hi, -1) {
		t.Fatalf("%s: %v lies above %v", what, value, result)
	}
}

// Property: every result contains the exact result at every sampled point.
func TestArithmeticContainsEverySample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, y := intervals().Draw(t, "x"), intervals().Draw(t, "y")
		if math.IsInf(x.Lo, 1) || math.IsInf(x.Hi, -1) || math.IsInf(y.Lo, 1) || math.IsInf(y.Hi, -1) {
			return // points at infinity have no finite sample
		}
		a, b := inside(t, x), inside(t, y)
		big2000 := func() *big.Float { return new(big.Float).SetPrec(2000) }
		holdsExactly(t, x.Add(y), big2000().Add(exact(a), exact(b)), "add")
		holdsExactly(t, x.Sub(y), big2000().Sub(exact(a), exact(b)), "sub")
		holdsExactly(t, x.Mul(y), big2000().Mul(exact(a), exact(b)), "mul")
		holdsExactly(t, x.Square(), big2000().Mul(exact(a), exact(a)), "square")
		holdsExactly(t, x.Abs(), big2000().Abs(exact(a)), "abs")
		holdsExactly(t, x.Min(y), exact(math.Min(a, b)), "min")
		holdsExactly(t, x.Max(y), exact(math.Max(a, b)), "max")
		holdsExactly(t, x.Hull(y), exact(a), "hull")
		if a >= 0 {
			holdsExactly(t, x.Sqrt(), big2000().Sqrt(exact(a)), "sqrt")
		}
		if quotient := x.Div(y); b != 0 && !(y.Lo == 0 && b < 0) {
			holdsExactly(t, quotient, big2000().Quo(exact(a), exact(b)), "div")
		}
	})
}

// Property: the library functions contain the float64 result at every sample,
// with the few steps of distrust in between.
func TestFunctionsContainEverySample(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(-700, 700).Draw(t, "a"), rapid.Float64Range(-700, 700).Draw(t, "b")
		x := Interval{Lo: math.Min(a, b), Hi: math.Max(a, b)}
		v := inside(t, x)
		assert.True(t, x.Exp().Contains(math.Exp(v)), "exp")
		assert.True(t, x.Expm1().Contains(math.Expm1(v)), "expm1")
		if v > 0 {
			assert.True(t, x.Log().Contains(math.Log(v)), "log")
		}
		if v > -1 {
			assert.True(t, x.Log1p().Contains(math.Log1p(v)), "log1p")
		}
	})
}

func TestExactResultsStayExact(t *testing.T) {
	// 100 V / 1e-6 A is 1e8 to the last bit only after rounding: 1e-6 is not a float64.
	assert.Equal(t, Point(330), Point(165).Add(Point(165)))
	assert.Equal(t, Point(0.75), Point(1.5).Mul(Point(0.5)))
	assert.Equal(t, Point(3), Point(9).Sqrt())
	assert.Equal(t, Point(0.25), Point(1).Div(Point(4)))
	third := Point(1).Div(Point(3))
	assert.Equal(t, third.Hi, math.Nextafter(third.Lo, 1), "an inexact result is two neighbours wide")
}

func TestDivisionAtZero(t *testing.T) {
	inf := math.Inf(1)
	cases := []struct {
		name    string
		x, y, z Interval
	}{
		{"magnitude over 0..h", Between(2, 4), Between(0, 2), Interval{1, inf}},
		{"magnitude over 0", Between(2, 4), Point(0), Interval{inf, inf}},
		{"0..a over 0", Between(0, 4), Point(0), Interval{0, inf}},
		{"0 over 0", Point(0), Point(0), Whole()},
		{"negative over 0..h", Between(-4, -2), Between(0, 2), Interval{-inf, -1}},
		{"over -h..0", Between(2, 4), Between(-2, 0), Interval{-inf, -1}},
		{"zero inside", Between(2, 4), Between(-1, 1), Whole()},
		{"0..a over 0..h", Between(0, 4), Between(0, 2), Interval{0, inf}},
		{"over infinity", Between(2, 4), Interval{2, inf}, Interval{0, 2}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) { assert.Equal(t, c.z, c.x.Div(c.y)) })
	}
}

func TestConstructionAndJSON(t *testing.T) {
	_, err := New(2, 1)
	assert.ErrorContains(t, err, "write 1..2")
	_, err = New(math.NaN(), 1)
	assert.Error(t, err)
	assert.Panics(t, func() { Between(2, 1) })
	assert.Equal(t, Whole(), Point(math.NaN()))

	for _, x := range []Interval{Between(1e-6, 3), {1, math.Inf(1)}, Whole(), {}} {
		data, err := json.Marshal(x)
		require.NoError(t, err)
		var back Interval
		require.NoError(t, json.Unmarshal(data, &back))
		assert.Equal(t, x, back, string(data))
	}
	var x Interval
	for _, bad := range []string{`{"lo":2,"hi":1}`, `{"lo":1}`, `{"lo":"x","hi":1}`, `3`} {
		assert.Error(t, json.Unmarshal([]byte(bad), &x), bad)
	}
}

func TestText(t *testing.T) {
	cases := []struct {
		x    Interval
		unit string
		want string
	}{
		{Between(27.31e-9, 71.2e-9), "A", "27 nA..72 nA"},
		{Point(330), "V", "330 V"},
		{Point(0.1), "A", "100 mA"},
		{Between(0.1, 0.1000001), "s", "100 ms..110 ms"},
		{Between(1e-6, 1e-6*(1+1e-12)), "A", "1.0 µA"},
		{Between(0.2*(1-1e-9), 0.2*(1+1e-9)), "s", "200 ms"},
		{Between(0, 99.6), "V", "0 V..100 V"},
		{Interval{1e12, math.Inf(1)}, "Ω", "1.0 TΩ..none"},
		{Interval{0.5, math.Inf(1)}, "s", "500 ms..never"},
		{Between(999, 1001), "F", "990 F..1.1 kF"},
		{Between(0.234, 57.1), "", "2.3e-01..5.8e+01"},
	}
	for _, c := range cases {
		assert.Equal(t, c.want, c.x.Text(c.unit))
	}
}

// Property: the two corners of a monotone function hold every sample.
func TestApplyContainsEverySample(t *testing.T) {
	f := func(at ...float64) float64 { return at[0] * at[0] / (1 + at[1]) }
	rapid.Check(t, func(t *rapid.T) {
		x := Between(0, 0).Hull(Point(rapid.Float64Range(0, 1e6).Draw(t, "x")))
		y := Between(0, 0).Hull(Point(rapid.Float64Range(0, 1e6).Draw(t, "y")))
		result := Apply(f, Rising(x), Falling(y))
		assert.True(t, result.Contains(f(inside(t, x), inside(t, y))))
	})
}

// cubic has its turning points at 1 and 3, where it is 4 and 0.
func cubic(x float64) float64 { return x * (x - 3) * (x - 3) }

func cubicOver(x Interval) Interval {
	return x.Mul(x.Sub(Point(3)).Square())
}

func TestEncloseFindsWhatCornersMiss(t *testing.T) {
	x := Between(0.5, 3.5)
	corners := Point(cubic(0.5)).Hull(Point(cubic(3.5)))
	assert.False(t, corners.Contains(4), "the corners alone miss the maximum")

	bounds, tight := Enclose(cubicOver, x, 1e-6, 5000)
	assert.True(t, bounds.Contains(4) && bounds.Contains(0))
	assert.InDelta(t, 4, bounds.Hi, 4e-6)
	assert.LessOrEqual(t, bounds.Lo, 0.0)
	assert.True(t, tight)

	assert.True(t, bounds.Encloses(Between(0, 4)))

	at, value := Minimum(cubic, Between(1, 3.5))
	assert.InDelta(t, 3, at, 1e-6)
	assert.InDelta(t, 0, value, 1e-10)
	at, value = Maximum(cubic, Between(0.5, 3))
	assert.InDelta(t, 1, at, 1e-6)
	assert.InDelta(t, 4, value, 1e-10)
}

// Property: the bounds of Enclose hold at every sample, also with no budget.
func TestEncloseHoldsWhateverTheBudget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(-5, 5).Draw(t, "a"), rapid.Float64Range(-5, 5).Draw(t, "b")
		x := Interval{Lo: math.Min(a, b), Hi: math.Max(a, b)}
		bounds, _ := Enclose(cubicOver, x, 1e-3, rapid.IntRange(0, 60).Draw(t, "budget"))
		v := cubic(inside(t, x))
		assert.True(t, bounds.Widen(1e-12).Hull(bounds).Contains(v) || math.Abs(v) < 1e-12, "%v outside %v", v, bounds)
	})
}

func TestEncloseToInfinity(t *testing.T) {
	// x/(1+x)^2 peaks at 1 with 1/4 and dies out; written so that its bounds
	// close in at infinity too.
	over := func(x Interval) Interval {
		return Point(1).Div(Point(1).Div(x).Add(Point(2)).Add(x))
	}
	bounds, tight := Enclose(over, Interval{1e-3, math.Inf(1)}, 1e-3, 20000)
	assert.InDelta(t, 0.25, bounds.Hi, 3e-4)
	assert.GreaterOrEqual(t, bounds.Hi, 0.25)
	assert.Equal(t, 0.0, bounds.Lo)
	assert.True(t, tight)
}

func TestCrossing(t *testing.T) {
	square := func(x float64) float64 { return x * x }
	at, ok := Crossing(square, 2, Between(1e-9, 1e9))
	require.True(t, ok)
	assert.InDelta(t, math.Sqrt2, at, 1e-12)
	at, ok = Crossing(func(x float64) float64 { return 1 / x }, 4, Between(1e-9, 1e9))
	require.True(t, ok)
	assert.InDelta(t, 0.25, at, 1e-12)
	_, ok = Crossing(square, 2, Between(2, 3))
	assert.False(t, ok)
}

func TestMiddleAndDecades(t *testing.T) {
	inf := math.Inf(1)
	assert.InDelta(t, 100, Between(10, 1000).Middle(), 1e-9)
	assert.Equal(t, 0.0, Whole().Middle())
	assert.Equal(t, 5.0, Interval{5, inf}.Middle())
	assert.Equal(t, 5.0, Interval{-inf, 5}.Middle())
	assert.Equal(t, 1.0, Between(-1, 3).Middle())
	assert.InDelta(t, 2, Between(10, 1000).Decades(), 1e-12)
	assert.Equal(t, 0.0, Point(0).Decades())
	assert.Equal(t, inf, Between(0, 1).Decades())

	common, ok := Between(1, 3).Intersect(Between(2, 5))
	assert.True(t, ok)
	assert.Equal(t, Between(2, 3), common)
	_, ok = Between(1, 2).Intersect(Between(3, 4))
	assert.False(t, ok)
	assert.True(t, Between(1, 3).Encloses(Point(2)))
	assert.False(t, Interval{3, 1}.Valid())
	assert.False(t, Whole().Finite())
}
