package reliability

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// Published rows are second-hand: an open-source test suite that says it quotes
// IEC 61508-6:2010 Annex B. "formula" is the same row from the formulas.

func value(t *testing.T) func(float64, error) float64 {
	return func(v float64, err error) float64 {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// twoFigures: equal after rounding to two figures, or within 5 %.
func twoFigures(t *testing.T, printed, got float64, what string) {
	t.Helper()
	scale := math.Pow(10, math.Floor(math.Log10(got))-1)
	if math.Abs(math.Round(got/scale)*scale-printed) < scale*1e-6 {
		return
	}
	assert.InEpsilon(t, printed, got, 0.05, what)
}

type row struct {
	id             string
	group          Group
	printed, exact float64
	within         float64
	source         string
}

func TestPublishedPFD(t *testing.T) {
	imperfect := tabulated(OneOutOfTwo, 5e-6, 0, 0.1, 8760)
	imperfect.ProofCoverage, imperfect.FullTest = 0.9, 87600
	rows := []row{
		{"P1", tabulated(OneOutOfOne, 5e-7, 0, 0, 8760), 2.2e-3, 2.1940e-3, 1e-12, "Table B.3 row"},
		{"P2", tabulated(OneOutOfOne, 5e-7, 0.9, 0, 8760), 2.2e-4, 2.2300e-4, 1e-9, "Table B.3 row"},
		{"P3", tabulated(OneOutOfTwo, 5e-7, 0.9, 0.02, 8760), 4.5e-6, 4.4894e-6, 1e-4, "Table B.3 row"},
		{"P5", tabulated(OneOutOfTwo, 5e-6, 0.6, 0.02, 8760), 2.8e-4, 2.7637e-4, 1e-4, "Table B.3 row"},
		{"P6", tabulated(OneOutOfTwo, 5e-6, 0, 0.02, 8760), 1.1e-3, 1.0558e-3, 1e-4, "Table B.3 row"},
		{"P7", tabulated(TwoOutOfThree, 5e-7, 0.9, 0.02, 8760), 4.6e-6, 4.6203e-6, 1e-4, "Table B.3 row"},
		{"P9", tabulated(OneOutOfOne, 2.5e-5, 0.99, 0, 87600), 1.1e-2, 1.1150e-2, 1e-9, "Table B.5 row"},
		{"P14", imperfect, 6.0e-3, 6.04e-3, 1e-3, "Table B.9 row (table number unsure)"},
	}
	require.NotEmpty(t, rows)
	for _, r := range rows {
		t.Run(r.id, func(t *testing.T) {
			got := value(t)(r.group.PFD())
			assert.InEpsilon(t, r.exact, got, r.within, r.source)
			twoFigures(t, r.printed, got, r.source)
		})
	}
	// P1 against the formula written out: λ (T/2 + MRT).
	assert.InEpsilon(t, 5e-7*(8760.0/2+8), value(t)(rows[0].group.PFD()), 1e-12)
}

func TestPublishedPFH(t *testing.T) {
	rows := []row{
		{"1oo1", tabulated(OneOutOfOne, 5e-7, 0.9, 0, 8760), 5.0e-8, 5.0000e-8, 1e-9, "Annex B row"},
		{"P10", tabulated(OneOutOfTwo, 2.5e-7, 0.9, 0.02, 8760), 5.1e-10, 5.0540e-10, 1e-4, "Table B.13 row"},
		{"B.10", tabulated(OneOutOfTwo, 5e-8, 0.9, 0.02, 730), 1.0e-10, 1.0002e-10, 1e-4, "Table B.10 row"},
		{"B.10 2oo3", tabulated(TwoOutOfThree, 5e-8, 0.9, 0.02, 730), 1.0e-10, 1.0002e-10, 1e-3, "Table B.10 row"},
		{"P13 DC .9", tabulated(OneOutOfThree, 5e-6, 0.9, 0, 4380), 2.6e-12, 2.622e-12, 1e-3, "Omeiri, Innal, Liu 2021, Table 5, IEC column"},
		{"DC .6", tabulated(OneOutOfThree, 5e-6, 0.6, 0, 4380), 1.6e-10, 1.570e-10, 1e-3, "same"},
		{"DC .99", tabulated(OneOutOfThree, 5e-6, 0.99, 0, 4380), 5.1e-15, 5.0681e-15, 1e-3, "formula (RAN)"},
	}
	for _, r := range rows {
		t.Run(r.id, func(t *testing.T) {
			got := value(t)(r.group.PFH())
			assert.InEpsilon(t, r.exact, got, r.within, r.source)
			twoFigures(t, r.printed, got, r.source)
		})
	}
	assert.InEpsilon(t, 1e-7, value(t)(tabulated(TwoOutOfTwo, 5e-7, 0.9, 0, 8760).PFH()), 1e-9, "2 λDU")
}

// The worked example of Annex B (values from memory, each matches arithmetic):
// 2oo3 sensors, logic, two final elements in series.
func TestAnnexBExample(t *testing.T) {
	example := func(interval float64, second Group) Function {
		return Function{Name: "Annex B example", Groups: []Group{
			tabulated(TwoOutOfThree, 2.5e-6, 0.9, 0.2, interval),
			tabulated(OneOutOfTwo, 5e-6, 0.99, 0.02, interval), // 1oo2D differs slightly
			tabulated(OneOutOfOne, 2.5e-6, 0.6, 0, interval),
			second,
		}}
	}
	year, err := example(8760, tabulated(OneOutOfOne, 5e-6, 0.6, 0, 8760)).Evaluate()
	require.NoError(t, err)
	assert.InEpsilon(t, 2.2517e-4, year.Groups[0].PFD, 1e-4)
	assert.InEpsilon(t, 4.88e-6, year.Groups[1].PFD, 1e-3)
	assert.InEpsilon(t, 1.3200e-2, year.Groups[2].PFD+year.Groups[3].PFD, 1e-3)
	assert.InEpsilon(t, 1.343e-2, year.PFD, 1e-3)
	twoFigures(t, 1.3e-2, year.PFD, "P15, from memory")
	assert.Equal(t, Band(1), year.PFDBand)
	assert.InEpsilon(t, 1/year.PFD, year.RiskReduction, 1e-12)

	half, err := example(4380, tabulated(OneOutOfOne, 5e-6, 0.6, 0, 4380)).Evaluate()
	require.NoError(t, err)
	assert.InEpsilon(t, 6.745e-3, half.PFD, 1e-3)
	twoFigures(t, 6.7e-3, half.PFD, "P15, from memory")
	assert.Equal(t, Band(2), half.PFDBand)

	// Second element doubled, beta 10 %: final elements alone.
	doubled := value(t)(tabulated(OneOutOfOne, 2.5e-6, 0.6, 0, 8760).PFD()) + value(t)(tabulated(OneOutOfTwo, 5e-6, 0.6, 0.1, 8760).PFD())
	assert.InEpsilon(t, 5.368e-3, doubled, 1e-3)
	assert.Equal(t, Band(2), BandOfPFD(doubled))
}

// The grid of the reference: computed from the formulas elsewhere, two figures.
func TestGrid(t *testing.T) {
	rates := [6]float64{0.5e-7, 2.5e-7, 0.5e-6, 2.5e-6, 0.5e-5, 2.5e-5}
	grid := []struct {
		interval float64
		a        Architecture
		dc, beta float64
		want     [6]float64
	}{
		{4380, OneOutOfOne, 0, 0, [6]float64{1.1e-4, 5.5e-4, 1.1e-3, 5.5e-3, 1.1e-2, 5.5e-2}},
		{4380, OneOutOfOne, 0.6, 0, [6]float64{4.4e-5, 2.2e-4, 4.4e-4, 2.2e-3, 4.4e-3, 2.2e-2}},
		{4380, OneOutOfOne, 0.9, 0, [6]float64{1.1e-5, 5.7e-5, 1.1e-4, 5.7e-4, 1.1e-3, 5.7e-3}},
		{4380, OneOutOfOne, 0.99, 0, [6]float64{1.5e-6, 7.5e-6, 1.5e-5, 7.5e-5, 1.5e-4, 7.5e-4}},
		{4380, OneOutOfTwo, 0, 0.02, [6]float64{2.2e-6, 1.1e-5, 2.4e-5, 1.5e-4, 3.7e-4, 5.0e-3}},
		{4380, OneOutOfTwo, 0.9, 0.1, [6]float64{1.1e-6, 5.6e-6, 1.1e-5, 5.6e-5, 1.1e-4, 6.0e-4}},
		{4380, TwoOutOfThree, 0, 0.02, [6]float64{2.2e-6, 1.2e-5, 2.7e-5, 2.3e-4, 6.8e-4, 1.3e-2}},
		{8760, OneOutOfOne, 0, 0, [6]float64{2.2e-4, 1.1e-3, 2.2e-3, 1.1e-2, 2.2e-2, 1.1e-1}},
		{8760, OneOutOfOne, 0.6, 0, [6]float64{8.8e-5, 4.4e-4, 8.8e-4, 4.4e-3, 8.8e-3, 4.4e-2}},
		{8760, OneOutOfOne, 0.9, 0, [6]float64{2.2e-5, 1.1e-4, 2.2e-4, 1.1e-3, 2.2e-3, 1.1e-2}},
		{8760, OneOutOfOne, 0.99, 0, [6]float64{2.6e-6, 1.3e-5, 2.6e-5, 1.3e-4, 2.6e-4, 1.3e-3}},
		{8760, TwoOutOfTwo, 0.9, 0, [6]float64{4.5e-5, 2.2e-4, 4.5e-4, 2.2e-3, 4.5e-3, 2.2e-2}},
		{8760, OneOutOfTwo, 0, 0.02, [6]float64{4.4e-6, 2.3e-5, 5.0e-5, 3.7e-4, 1.1e-3, 1.8e-2}},
		{8760, OneOutOfTwo, 0.6, 0.1, [6]float64{8.8e-6, 4.4e-5, 8.9e-5, 4.6e-4, 9.7e-4, 6.6e-3}},
		{8760, OneOutOfTwo, 0.9, 0.1, [6]float64{2.2e-6, 1.1e-5, 2.2e-5, 1.1e-4, 2.3e-4, 1.3e-3}},
		{8760, OneOutOfTwo, 0.99, 0.2, [6]float64{4.8e-7, 2.4e-6, 4.8e-6, 2.4e-5, 4.8e-5, 2.4e-4}},
		{8760, TwoOutOfThree, 0, 0.1, [6]float64{2.2e-5, 1.1e-4, 2.4e-4, 1.5e-3, 3.8e-3, 5.0e-2}},
		{8760, TwoOutOfThree, 0.9, 0.02, [6]float64{4.4e-7, 2.3e-6, 4.6e-6, 2.7e-5, 6.4e-5, 7.1e-4}},
	}
	cells := 0
	for _, g := range grid {
		for i, want := range g.want {
			cells++
			got := value(t)(tabulated(g.a, rates[i], g.dc, g.beta, g.interval).PFD())
			twoFigures(t, want, got, g.a.String())
		}
	}
	assert.Equal(t, 18*6, cells)
}

func TestBands(t *testing.T) {
	// P16 (IEC 61508-1:2010 Tables 2, 3, second-hand), exact.
	assert.Equal(t, Band(1), BandOfPFD(1e-2))
	assert.Equal(t, Band(2), BandOfPFD(9.99e-3))
	assert.Equal(t, Band(4), BandOfPFD(1e-5))
	assert.Equal(t, BelowSIL4, BandOfPFD(9.9e-6))
	assert.Equal(t, NoBand, BandOfPFD(1e-1))
	assert.Equal(t, Band(3), BandOfPFD(1e-4))
	assert.Equal(t, NoBand, BandOfPFD(math.NaN()))
	assert.Equal(t, NoBand, BandOfPFD(-1))
	assert.Equal(t, Band(4), BandOfPFH(1e-9))
	assert.Equal(t, Band(1), BandOfPFH(9.9e-6))
	assert.Equal(t, NoBand, BandOfPFH(1e-5))
	assert.Equal(t, BelowSIL4, BandOfPFH(9e-10))
	assert.Equal(t, "SIL 2 band", Band(2).String())
	assert.Equal(t, "below the SIL 4 band", BelowSIL4.String())
	assert.Equal(t, "no SIL band", NoBand.String())
}

// Exact integrals, worked out without the formulas, T = 8760 h.
func TestExactIntegrals(t *testing.T) {
	cases := []struct {
		a                Architecture
		rate, exact, sim float64
		within           float64
	}{
		{OneOutOfOne, 1e-6, 4.367238e-3, 4.380e-3, 1e-6},
		{OneOutOfOne, 1e-5, 4.254857e-2, 4.380e-2, 1e-6}, // P17
		{OneOutOfTwo, 1e-6, 2.541183e-5, 2.55792e-5, 1e-6},
		{OneOutOfTwo, 5e-6, 6.18896e-4, 6.39480e-4, 1e-6},
		{TwoOutOfThree, 1e-6, 7.59029e-5, 7.67376e-5, 1e-6},
		{TwoOutOfThree, 5e-6, 1.816816e-3, 1.918440e-3, 1e-6},
		{TwoOutOfTwo, 1e-6, 8.709065e-3, 8.760e-3, 1e-6},
	}
	for _, c := range cases {
		assert.InEpsilon(t, c.exact, value(t)(exactPFD(c.a, c.rate, 8760)), c.within, "%v %v", c.a, c.rate)
		assert.InEpsilon(t, c.sim, value(t)(tabulated(c.a, c.rate, 0, 0, 8760).simplifiedPFD()), 1e-5, "%v %v", c.a, c.rate)
	}
	for _, a := range []Architecture{OneOutOfOne, OneOutOfTwo, TwoOutOfTwo, TwoOutOfThree, OneOutOfThree} {
		for _, x := range []float64{0.5, 3, 40, 499} {
			assert.InEpsilon(t, exactByTerms(a, x), value(t)(exactPFD(a, x/100, 100)), 1e-10, "sum of exponentials, %v %v", a, x)
		}
		assert.InEpsilon(t, exactByTerms(a, 501), value(t)(exactPFD(a, 5.01, 100)), 1e-12)
		assert.Equal(t, 0.0, value(t)(exactPFD(a, 0, 100)))
	}
	_, err := exactPFD(unset, 1, 1)
	assert.Error(t, err)
	_, err = exactPFD(OneOutOfOne, math.NaN(), 1)
	assert.Error(t, err)
}

func anyGroup(t *rapid.T) Group {
	exponent := rapid.Float64Range(-8, -4.5).Draw(t, "rate")
	g := tabulated(Architecture(rapid.IntRange(1, 5).Draw(t, "architecture")), math.Pow(10, exponent),
		rapid.Float64Range(0, 0.99).Draw(t, "coverage"), rapid.Float64Range(0, 1).Draw(t, "beta"),
		rapid.Float64Range(100, 1e5).Draw(t, "interval"))
	g.Safe = math.Pow(10, rapid.Float64Range(-8, -4).Draw(t, "safe"))
	if rapid.Bool().Draw(t, "imperfect") {
		g.ProofCoverage = rapid.Float64Range(0.1, 0.99).Draw(t, "proof coverage")
		g.FullTest = g.ProofTest * rapid.Float64Range(1, 20).Draw(t, "full")
	}
	return g
}

// Properties of the reference: more coverage never more PFD, longer interval
// never less, the imperfect test never better.
func TestLaws(t *testing.T) {
	inRange := 0
	defer func() { assert.Positive(t, inRange, "no group was in the range of the formulas") }()
	rapid.Check(t, func(t *rapid.T) {
		g := anyGroup(t)
		pfd := func(g Group) float64 {
			v, err := g.PFD()
			require.NoError(t, err)
			return v
		}
		base := pfd(g)
		longer := g
		longer.ProofTest *= 1.5
		longer.FullTest *= 1.5
		assert.GreaterOrEqual(t, pfd(longer), base)
		// Coverage helps where the formulas hold. Outside, where the "probability" may
		// come out above 1, it need not: detected failures have the smaller beta.
		if g.Dangerous*math.Max(g.ProofTest, g.FullTest) < firstOrder {
			covered := g
			covered.Coverage += (1 - g.Coverage) * 0.5
			assert.LessOrEqual(t, pfd(covered), base*(1+1e-12))
			inRange++
		}
		perfect := g
		perfect.ProofCoverage = 1
		assert.LessOrEqual(t, pfd(perfect), base*(1+1e-12))
		// A beta for detected failures that was forgotten counts as beta itself.
		forgotten, said := g, g
		forgotten.BetaDetected, said.BetaDetected = nil, &g.Beta
		assert.Equal(t, pfd(said), pfd(forgotten))
		// More spurious trips from more safe failures.
		noisy := g
		noisy.Safe *= 2
		a, err := g.SpuriousTripRate()
		require.NoError(t, err)
		b, err := noisy.SpuriousTripRate()
		require.NoError(t, err)
		assert.GreaterOrEqual(t, b, a)
	})
}

// Properties: the shorthand is never below the exact integral; the independent
// term of 2oo3 is exactly 3 times that of 1oo2; beta 1 makes 1oo2 a 1oo1.
func TestLawsBetweenArchitectures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := anyGroup(t)
		none := 0.0
		g.Beta, g.BetaDetected = 0, &none
		as := func(a Architecture) Group { g := g; g.Architecture = a; return g }
		two, err := as(OneOutOfTwo).PFD()
		require.NoError(t, err)
		three, err := as(TwoOutOfThree).PFD()
		require.NoError(t, err)
		assert.InEpsilon(t, 3*two, three, 1e-12)

		single, err := as(OneOutOfOne).PFD()
		require.NoError(t, err)
		one := 1.0
		common := as(OneOutOfTwo)
		common.Beta, common.BetaDetected = 1, &one
		got, err := common.PFD()
		require.NoError(t, err)
		assert.InEpsilon(t, single, got, 1e-12)
		series, err := as(TwoOutOfTwo).PFD()
		require.NoError(t, err)
		assert.InEpsilon(t, 2*single, series, 1e-12)

		g.Coverage = 0
		exact, err := exactPFD(g.Architecture, g.Dangerous, g.ProofTest)
		require.NoError(t, err)
		short, err := g.simplifiedPFD()
		require.NoError(t, err)
		assert.GreaterOrEqual(t, short*(1+1e-9), exact)
	})
}

// Spurious trips of 2oo2 and 2oo3 against a Markov model solved exactly: mean
// time from all working to two failed, with repair of one.
func TestSpuriousAgainstMarkov(t *testing.T) {
	const rate, restoration = 1e-5, 8.0
	meanTime := func(channels float64) float64 {
		m := mat.NewDense(2, 2, []float64{channels * rate, -channels * rate, -1 / restoration, (channels-1)*rate + 1/restoration})
		var times mat.VecDense
		require.NoError(t, times.SolveVec(m, mat.NewVecDense(2, []float64{1, 1})))
		return times.AtVec(0)
	}
	for a, channels := range map[Architecture]float64{TwoOutOfTwo: 2, TwoOutOfThree: 3} {
		g := tabulated(a, 1e-7, 0, 0, 8760)
		g.Safe = rate
		got := value(t)(g.SpuriousTripRate())
		assert.InEpsilon(t, 1/meanTime(channels), got, 1e-3, a.String())
	}
	for a, times := range map[Architecture]float64{OneOutOfOne: 1, OneOutOfTwo: 2, OneOutOfThree: 3} {
		g := tabulated(a, 1e-7, 0, 0, 8760)
		g.Safe = rate
		assert.InEpsilon(t, times*rate, value(t)(g.SpuriousTripRate()), 1e-12)
		g.Beta = 1 // one cause for all is one trip
		assert.InEpsilon(t, rate, value(t)(g.SpuriousTripRate()), 1e-12)
	}
}

func TestWarnings(t *testing.T) {
	ids := func(g Group) map[string]bool {
		found := map[string]bool{}
		for _, w := range g.Warnings() {
			assert.NotEmpty(t, w.Source)
			assert.NotEmpty(t, w.Text)
			found[w.ID] = true
		}
		return found
	}
	quiet := tabulated(OneOutOfTwo, 1e-7, 0, 0.05, 8760)
	quiet.ProofCoverage, quiet.FullTest = 0.9, 87600
	assert.Empty(t, ids(quiet))

	assert.True(t, ids(tabulated(TwoOutOfThree, 2.5e-5, 0.9, 0.02, 87600))["first-order"], "λT = 2.2, the unresolved row of the reference")
	assert.True(t, ids(tabulated(OneOutOfTwo, 1e-7, 0, 0, 8760))["no-common-cause"])
	assert.True(t, ids(tabulated(OneOutOfOne, 1e-7, 0.995, 0, 8760))["coverage-high"])
	assert.True(t, ids(tabulated(OneOutOfOne, 1e-7, 0, 0, 8760))["perfect-proof-test"])
	assert.True(t, ids(tabulated(OneOutOfOne, 1e-7, 0.5, 0, 8760))["detected-trips"])
	assert.True(t, ids(tabulated(OneOutOfOne, 0, 0, 0, 8760))["no-rate"])
	assumed := quiet
	assumed.BetaDetected = nil
	assert.True(t, ids(assumed)["beta-detected-assumed"])
	imperfect := quiet
	imperfect.FullTest = 2e6
	assert.True(t, ids(imperfect)["first-order"], "the longest interval counts")
}

func TestRefuses(t *testing.T) {
	good := tabulated(OneOutOfTwo, 1e-7, 0.5, 0.05, 8760)
	require.NoError(t, good.Check())
	bad := -0.1
	cases := []struct {
		spoil func(*Group)
		says  string
	}{
		{func(g *Group) { g.Architecture = unset }, "no architecture"},
		{func(g *Group) { g.Architecture = 9 }, "no architecture"},
		{func(g *Group) { g.Dangerous = math.NaN() }, "dangerous failure rate"},
		{func(g *Group) { g.Safe = -1 }, "safe failure rate"},
		{func(g *Group) { g.Coverage = 1.1 }, "diagnostic coverage"},
		{func(g *Group) { g.Beta = 2 }, "beta"},
		{func(g *Group) { g.BetaDetected = &bad }, "beta of detected"},
		{func(g *Group) { g.ProofTest = 0 }, "proof-test interval"},
		{func(g *Group) { g.ProofCoverage = 0 }, "1 for a perfect test"},
		{func(g *Group) { g.ProofCoverage = 0.9 }, "full-test interval"},
		{func(g *Group) { g.Repair = math.Inf(1) }, "repair time"},
		{func(g *Group) { g.Restoration = -1 }, "restoration time"},
	}
	for _, c := range cases {
		g := good
		c.spoil(&g)
		for _, f := range []func() (float64, error){g.PFD, g.PFH, g.SpuriousTripRate, g.simplifiedPFD} {
			_, err := f()
			assert.ErrorContains(t, err, c.says)
		}
		_, err := Function{Name: "stop", Groups: []Group{g}}.Evaluate()
		assert.ErrorContains(t, err, "stop")
	}
	_, err := Function{Name: "stop"}.Evaluate()
	assert.ErrorContains(t, err, "no groups")
	_, err = ParseArchitecture("3oo4")
	assert.ErrorContains(t, err, "1oo1")
	for _, name := range []string{"1oo1", "1oo2", "2oo2", "2oo3", "1oo3"} {
		a, err := ParseArchitecture(name)
		require.NoError(t, err)
		assert.Equal(t, name, a.String())
	}
}

func TestResultOfNothingFailing(t *testing.T) {
	r, err := tabulated(TwoOutOfThree, 0, 0, 0.1, 8760).Evaluate()
	require.NoError(t, err)
	assert.Equal(t, 0.0, r.PFD)
	assert.Equal(t, 0.0, r.RiskReduction)
	assert.Equal(t, 0.0, r.TripEvery)
	_, err = json.Marshal(r)
	require.NoError(t, err, "no infinity in a record")
	sure, err := tabulated(OneOutOfOne, 1, 0, 0, 8760).Evaluate()
	require.NoError(t, err)
	assert.Equal(t, 1.0, sure.PFD, "a probability is cut at 1")
}
