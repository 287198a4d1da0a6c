package charge

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/sim/charge/interval"
)

// The seven invented situations of the Quarry Road works. The figures to expect
// are rough ones worked out by hand (two digits); they are recomputed here
// from the tables and compared within the rounding of what was printed.

func span(lo, hi float64) interval.Interval { return interval.Between(lo, hi) }

// near compares both ends within 5 %: two printed digits.
func near(t *testing.T, want, got interval.Interval, what string) {
	t.Helper()
	assert.InEpsilon(t, want.Lo, got.Lo, 0.05, "%s: got %v, expected %v", what, got, want)
	assert.InEpsilon(t, want.Hi, got.Hi, 0.05, "%s: got %v, expected %v", what, got, want)
}

func outcome(t *testing.T, l Loss) Outcome {
	t.Helper()
	out, err := l.Evaluate()
	require.NoError(t, err)
	return out
}

// energyOf takes the lowest listed ignition energy, as a point.
func energyOf(t *testing.T, substance string) interval.Interval {
	t.Helper()
	f, ok := IgnitionEnergy(substance)
	require.True(t, ok, substance)
	return at(f.Value.Lo)
}

func TestDemoRailSiding(t *testing.T) {
	k := StreamingConstant().Value
	car, ok := CapacitanceDefault("rail tank car")
	require.True(t, ok)
	loss := Loss{Current: LongPipe(at(4), at(0.1)).Current(k), Leak: NoLeak(), Capacitance: car.Value,
		Ignition: Ignites(energyOf(t, "toluene")),
		RunDown:  RunDown{Delay: at(0.2), Shape: Linear, Law: CurrentAsSquare, Travel: span(6, 15)}}
	near(t, span(0.6e-6, 1.6e-6), loss.Current, "current")
	out := outcome(t, loss)
	near(t, span(0.31, 1.6), out.TimeToIncendive, "time to incendive")
	// 0.44 mJ, printed as 0.4.
	near(t, span(0.436e-3, 69e-3), out.Energy, "energy at stop")
	assert.Equal(t, LosesEverywhere, out.Verdict)
	assert.InEpsilon(t, 40e-6, HeldVoltage(loss.Current, at(25)).Hi, 0.01, "rails hold 40 µV")

	slow := loss
	slow.Current = LongPipe(at(1), at(0.1)).Current(k)
	near(t, span(4.9, 26), outcome(t, slow).TimeToIncendive, "at 1 m/s")
}

func TestDemoDrumLine(t *testing.T) {
	flow, bore := at(1e-3), at(0.04)
	pipe := LongPipe(VelocityOf(flow, bore), bore).Current(StreamingConstant().Value)
	filtered := StreamCurrent(FineFilterDensity.Value, flow)
	assert.InEpsilon(t, 3.8e-9, pipe.Lo, 0.02)
	assert.InEpsilon(t, 5e-6, filtered.Hi, 1e-9)
	loss := Loss{Current: pipe.Hull(filtered), Leak: NoLeak(), Capacitance: span(50*pF, 300*pF),
		Ignition: Ignites(energyOf(t, "toluene")), RunDown: RunDown{Delay: at(0.1), Shape: Linear, Travel: at(0.5)}}
	out := outcome(t, loss)
	near(t, span(31e-3, 100), out.TimeToIncendive, "time to incendive")
	assert.Equal(t, Depends, out.Verdict)
	edge, err := loss.BreakEvenOf(InputCurrent, span(1e-10, 1e-4))
	require.NoError(t, err)
	require.True(t, edge.HasWins)
	assert.InEpsilon(t, 440e-6, edge.Wins/flow.Hi, 0.01, "wins if filter <= 440 µC/m³")
	assert.Equal(t, WinsEverywhere, outcome(t, loss.With(InputCurrent, pipe)).Verdict, "without a filter")
}

func TestDemoBulkContainer(t *testing.T) {
	bore := at(0.05)
	loss := Loss{Current: LongPipe(VelocityOf(at(0.2/60), bore), bore).Current(StreamingConstant().Value), Leak: NoLeak(),
		Capacitance: span(200*pF, 600*pF), Ignition: Ignites(energyOf(t, "ethyl acetate")), RunDown: RunDown{Delay: at(0.2), Travel: at(3)}}
	near(t, span(27e-9, 72e-9), loss.Current, "current")
	out := outcome(t, loss)
	near(t, span(6, 28), out.TimeToIncendive, "cage")
	assert.InEpsilon(t, 0.23e-6, out.Peak.Hi, 0.02)
	assert.InEpsilon(t, 0.43e-6, out.Critical.Lo, 0.02)
	assert.Equal(t, WinsEverywhere, out.Verdict)
}

func TestDemoBagStation(t *testing.T) {
	bag := func(current interval.Interval) Loss {
		return Loss{Current: current, Leak: NoLeak(), Capacitance: span(100*pF, 1000*pF), Ignition: Ignites(at(0.14e-3)),
			RunDown: RunDown{Travel: span(2, 4)}}
	}
	pouring, _ := PowderCharge("pouring")
	poured := StreamCurrent(pouring.Value, at(1))
	near(t, span(1e-9, 0.1e-6), poured, "pouring 1 kg/s")
	bound := bag(at(BagCurrent.Value.Hi))
	near(t, span(56e-3, 180e-3), outcome(t, bound).TimeToIncendive, "at 3 µA")
	near(t, span(1.7, 5.3), outcome(t, bag(at(poured.Hi))).TimeToIncendive, "at 0.1 µA")
	assert.Greater(t, outcome(t, bag(at(poured.Lo))).TimeToIncendive.Lo, 120.0, "minutes at 1 nA")
	assert.Equal(t, Depends, outcome(t, bag(poured.Hull(BagCurrent.Value))).Verdict)
	critical := ResistanceLimits(at(3e-6), span(100*pF, 1000*pF), Ignites(at(0.14e-3))).Critical
	assert.InEpsilon(t, 1.8e8, critical.Lo, 0.03)
	assert.InDelta(t, 0.25, Decades(at(1e8), critical).Lo, 0.01, "limit 1e8 has a factor 1.8 left")
}

func TestDemoMixingTub(t *testing.T) {
	out := outcome(t, Loss{Current: span(10e-9, 1e-6), Leak: NoLeak(), Capacitance: span(100*pF, 300*pF),
		Ignition: Ignites(energyOf(t, "methyl ethyl ketone")), RunDown: RunDown{Travel: span(8, 20)}})
	near(t, span(0.23, 40), out.TimeToIncendive, "time to incendive")
	assert.Equal(t, Depends, out.Verdict)
}

func TestDemoDryer(t *testing.T) {
	loss := Loss{Current: span(10e-9, 1e-6), Leak: NoLeak(), Capacitance: span(50*pF, 150*pF),
		Ignition: Ignites(energyOf(t, "isopropanol")), RunDown: RunDown{Travel: span(20, 60)}}
	near(t, span(0.26, 44), outcome(t, loss).TimeToIncendive, "time to incendive")
	edge, err := loss.With(InputCapacitance, at(50*pF)).BreakEvenOf(InputCurrent, span(1e-12, 1e-3))
	require.NoError(t, err)
	assert.InEpsilon(t, 4.25e-9, edge.Wins, 0.01, "4 nA, 60 s")
	assert.InEpsilon(t, 12.7e-9, edge.Loses, 0.01, "13 nA, 20 s")
}

func TestDemoSieve(t *testing.T) {
	conveying, _ := PowderCharge("pneumatic conveying")
	current := CapCurrent(StreamCurrent(conveying.Value, at(1.5)))
	near(t, span(0.15e-6, 100e-6), current.Capped, "capped")
	assert.InEpsilon(t, 1.5e-3, current.Uncapped.Hi, 1e-9)
	sugar := Ignites(energyOf(t, "sugar"))
	clearing := RunDown{Travel: span(30, 90)}
	deck := Loss{Current: current.Capped, Leak: NoLeak(), Capacitance: at(150 * pF), Ignition: sugar, RunDown: clearing}
	near(t, span(30e-3, 20), outcome(t, deck).TimeToIncendive, "deck")
	assert.Equal(t, LosesEverywhere, outcome(t, deck).Verdict)
	edge, err := deck.BreakEvenOf(InputCurrent, span(1e-10, 1e-3))
	require.NoError(t, err)
	assert.InEpsilon(t, 0.022e-6, edge.Wins/1.5, 0.02, "µC/kg at 90 s")
	assert.InEpsilon(t, 0.067e-6, edge.Loses/1.5, 0.02, "µC/kg at 30 s")

	ring := deck.With(InputCapacitance, at(15*pF))
	out := outcome(t, ring)
	assert.InEpsilon(t, 6.8e-3, out.EnergyCapped.Hi, 0.01, "ring holds 6.8 mJ at 30 kV")
	assert.Equal(t, WinsEverywhere, out.VerdictCapped, "below 30 mJ")
	assert.Equal(t, LosesEverywhere, out.Verdict, "uncapped it would not be")
	fine := outcome(t, ring.With(InputEnergy, at(3e-3)))
	assert.Equal(t, LosesEverywhere, fine.VerdictCapped, "not below 3 mJ")
}

// What a record carries of an outcome: words for verdicts, "inf" for an open end.
func TestOutcomeAsJSON(t *testing.T) {
	out := outcome(t, Loss{Current: at(1e-9), Leak: interval.Interval{Lo: 1e9, Hi: math.Inf(1)}, Capacitance: at(1e-9),
		Ignition: Ignites(at(0.2e-3)), RunDown: RunDown{Travel: at(1)}})
	assert.Equal(t, "630 s..never", out.TimeToIncendive.Text("s"))
	data, err := json.Marshal(out)
	require.NoError(t, err)
	assert.Contains(t, string(data), `"hi":"inf"`)
	assert.Contains(t, string(data), `"verdict":"wins everywhere"`)
	data, err = json.Marshal(FineFilterDensity)
	require.NoError(t, err)
	assert.Contains(t, string(data), `"confidence":"from memory, unsure"`)
}
