package charge

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/sim/charge/interval"
)

// Numeric cases with a source beside each. Kind P: the number itself is printed
// in the source. Kind F: the source gives the formula and the number is worked
// out from it. "from memory" where the document was not read.

var at = interval.Point

const (
	pS = PicoSiemens
	pF = 1e-12
	nF = 1e-9
	uA = 1e-6
	mJ = 1e-3
	uC = 1e-6
)

// reference is one number to reproduce, to a relative tolerance.
type reference struct {
	id     string
	source string
	got    interval.Interval
	want   float64
	within float64
}

// check demands that the interval is narrow (all these cases are points) and near.
func (r reference) check(t *testing.T) {
	t.Helper()
	scale := math.Max(math.Abs(r.want), 1e-300)
	require.LessOrEqual(t, r.got.Hi-r.got.Lo, 1e-8*scale, "%s: %v is not a point", r.id, r.got)
	assert.LessOrEqual(t, math.Abs(r.got.Middle()-r.want), r.within*scale+1e-11*scale,
		"%s (%s): got %v, want %v", r.id, r.source, r.got, r.want)
}

func runReferences(t *testing.T, cases []reference) {
	require.NotEmpty(t, cases)
	for _, c := range cases {
		t.Run(fmt.Sprintf("case_%s", c.id), c.check)
	}
}

func must(t *testing.T, current, leak, capacitance interval.Interval) Conductor {
	t.Helper()
	c, err := NewConductor(current, leak, capacitance)
	require.NoError(t, err)
	return c
}

// toVoltage and toEnergy are reached at a voltage (V) or a spark energy (J) alone.
func toVoltage(v interval.Interval) Criterion { return Criterion{SparkVoltage: v} }
func toEnergy(w interval.Interval) Criterion  { return Criterion{Energy: w} }

func TestReferenceRelaxation(t *testing.T) {
	tau := func(epsilon, pico float64) interval.Interval { return RelaxationTime(at(epsilon), at(pico*pS)) }
	runReferences(t, []reference{
		{"1", "NFPA 77 (2000) p. 90, printed 0.36 (P)", tau(2, 50), 0.354, 0.02},
		{"1 printed", "NFPA 77 (2000) p. 90 (P)", tau(2, 50), 0.36, 0.02},
		{"2", "NFPA 77 (2000) p. 90, printed 0.002 (P)", tau(2, 1e4), 0.002, 0.15},
		{"3", "NFPA 77 (2000) p. 90 (P)", tau(4.6, 100), 0.407, 0.001},
		{"4", "NFPA 77 (2000) B.2 methanol (P)", tau(32.70, 4.4e7), 6.6e-6, 0.02},
		{"6", "NFPA 77 (2000) B.2 methyl formate (P)", tau(8.5, 1.92e8), 3.9e-7, 0.02},
		{"7", "NFPA 77 (2000) B.2 methyl cyanoacetate (P)", tau(29.30, 4.49e7), 5.8e-6, 0.02},
		{"9", "NFPA 77 (2000) B.2 MIBK (P)", tau(13.11, 5.2e6), 2.2e-5, 0.03},
		{"11", "CCPS, about 30 min (P; permittivity assumed)", tau(2.1, 0.01), 1800, 0.05},
		{"12", "CCPS 5 % (P) with the hyperbolic law, from memory",
			Hyperbolic(at(340*uC), at(100), at(2)).Scale(1 / (340 * uC)), 0.0495, 0.01},
		{"43", "ELS eq. 10.8 (P): 2 tau", TankRelaxation(tau(2, 3)), 11.8, 0.01},
	})
	a, b := tau(4.6, 100), tau(2.3, 50)
	assert.InEpsilon(t, a.Middle(), b.Middle(), 1e-9, "case 3: ether relaxes like benzene (NFPA 77 p. 90)")
	assert.Greater(t, tau(2.1, 0.01).Lo*3, 3600.0, "case 11: 3 tau over an hour (CCPS)")
	assert.LessOrEqual(t, TankRelaxation(tau(2, 3)).Hi, 12.0, "case 43")
}

// Every ohmic row of the liquid table agrees with its printed relaxation time
// within rounding (NFPA 77 (2000) Table B.2; rows marked from memory in the table).
func TestLiquidTableAgreesWithItself(t *testing.T) {
	checked := 0
	for _, l := range Liquids() {
		tau := RelaxationTime(at(l.Permittivity), l.Conductivity)
		if l.Dissipation {
			assert.Greater(t, tau.Lo, 100.0, "%s: ohmic would be far slower than the printed dissipation", l.Name)
			continue
		}
		checked++
		assert.InEpsilon(t, l.PublishedTime.Lo, tau.Lo, 0.04, l.Name)
		if !math.IsInf(l.PublishedTime.Hi, 1) {
			assert.InEpsilon(t, l.PublishedTime.Hi, tau.Hi, 0.04, l.Name)
		} else {
			assert.True(t, math.IsInf(tau.Hi, 1), l.Name)
		}
	}
	assert.Equal(t, 20, checked)
	row, ok := FindLiquid(" Toluene ")
	require.True(t, ok)
	assert.True(t, row.Confidence.IsFromMemory())
	assert.Contains(t, row.Source(), "B.2")
	_, ok = FindLiquid("custard")
	assert.False(t, ok)
	assert.Equal(t, Nonconductive, ClassOf(at(49*pS)))
	assert.Equal(t, Semiconductive, ClassOf(interval.Between(50*pS, 1e4*pS)))
	assert.Equal(t, Conductive, ClassOf(at(1.1e4*pS)))
	assert.Equal(t, MixedClass, ClassOf(interval.Between(1*pS, 1e3*pS)))
}

func TestReferenceCapacitanceAndEnergy(t *testing.T) {
	person := func(kilovolt float64) interval.Interval { return SparkEnergy(at(100*pF), at(kilovolt*1e3)) }
	critical := func(millijoule, pico float64) interval.Interval {
		return Criterion{Energy: at(millijoule * mJ)}.Voltage(at(pico * pF))
	}
	runReferences(t, []reference{
		{"15a", "OHM (P)", person(3), 0.45 * mJ, 0.01},
		{"15b", "OHM, printed 1.3 (P)", person(5), 1.3 * mJ, 0.04},
		{"15b exact", "OHM (P)", person(5), 1.25 * mJ, 0.01},
		{"15c", "OHM (P)", person(10), 5 * mJ, 0.01},
		{"26a", "NFPA 77 A.3.1.5 + B.1 benzene (F)", critical(0.2, 100), 2000, 0.001},
		{"26b", "NFPA 77 A.3.1.5 + B.1 benzene (F)", critical(0.2, 500), 894.4, 0.001},
		{"26c", "NFPA 77 A.3.1.5 + B.1 benzene (F)", critical(0.2, 1000), 632.5, 0.001},
		{"27 energy", "NFPA 77 B.1 acetylene (F)", critical(0.017, 1000), 184.4, 0.001},
		{"27", "NFPA 77 + ELS (F): the sparking threshold governs", Ignites(at(0.017 * mJ)).Voltage(at(1000 * pF)), 330, 0},
	})
}

func TestReferenceResistance(t *testing.T) {
	limits := func(ampere, farad, joule float64) CriticalResistance {
		return ResistanceLimits(at(ampere), at(farad), Ignites(at(joule)))
	}
	runReferences(t, []reference{
		{"19 V", "ELS 6.2 (P)", HeldVoltage(at(1e-4), at(1e6)), 100, 0},
		{"19 R", "ELS A.12 (P)", limits(1e-4, nF, mJ).Design, 1e6, 0},
		{"20", "ELS (P)", HeldVoltage(at(1*uA), at(1e8)), 100, 0},
		{"21 2018", "IEC 61340-4-4 + ELS (F)", HeldVoltage(at(3*uA), at(1e8)), 300, 0},
		{"21 2012", "IEC 61340-4-4 + ELS (F)", HeldVoltage(at(3*uA), at(1e7)), 30, 0},
		{"22 V", "NBS (F)", HeldVoltage(at(6*uA), at(1e7)), 60, 0},
		{"22 R", "NBS (F): 30 kV at 6 uA", at(30e3).Div(at(6 * uA)), 5e9, 0},
		{"23", "ELS A.11, NFPA 77 values (F)", limits(1e-4, 1000*pF, 0.2*mJ).Energy, 6.32e6, 0.001},
		{"24", "ELS A.11 (F)", limits(1e-4, 100*pF, 0.25*mJ).Energy, 2.24e7, 0.002},
		{"330 V form", "ELS 330 V (F): 3 uA", limits(3*uA, nF, 0.14*mJ).Spark, 1.1e8, 0},
	})
	// Case 48: Fire Code FC 5706.5.7 (P), exact and >=.
	required, mixed := RailBondRequired(at(24.9))
	assert.False(t, required || mixed)
	required, mixed = RailBondRequired(at(25.0))
	assert.True(t, required)
	assert.False(t, mixed)
	required, mixed = RailBondRequired(interval.Between(20, 30))
	assert.True(t, required && mixed)
}

func TestReferenceCharging(t *testing.T) {
	isolated := func(ampere, farad float64) Conductor { return must(t, at(ampere), NoLeak(), at(farad)) }
	leaky := must(t, at(1*uA), at(1e9), at(1*nF))
	wait := func(ohm, farad float64) interval.Interval {
		w := WaitFor(at(10e3), at(330), at(ohm), at(farad))
		time, ok := w.Time()
		require.True(t, ok, w.Why)
		return time
	}
	formula := "formula of ELS A.5 (F); no published worked example"
	runReferences(t, []reference{
		{"28 V", formula, isolated(1*uA, 1000*pF).TimeToIncendive(toVoltage(at(330))), 0.330, 0.001},
		{"28 W", formula, isolated(1*uA, 1000*pF).TimeToIncendive(toEnergy(at(0.2 * mJ))), 0.632, 0.001},
		{"29", formula, isolated(1*uA, 100*pF).TimeToIncendive(toEnergy(at(0.2 * mJ))), 0.200, 0.001},
		{"30", formula, isolated(1e-4, 1000*pF).TimeToIncendive(toEnergy(at(0.2 * mJ))), 6.32e-3, 0.001},
		{"31", formula, leaky.TimeToIncendive(toVoltage(at(632.1205588))), 1, 0.001},
		{"32", formula, leaky.TimeToIncendive(toVoltage(at(632.456))), 1.0009, 0.001},
		{"35a", formula, wait(1e8, 1*nF), 0.341, 0.001},
		{"35b", formula + "; minutes, compare BG RCI 7.10", wait(1e12, 100*pF), 341, 0.001},
		{"35c", formula + "; 57 min by hand", wait(1e12, 1*nF).Scale(1.0 / 60), 57, 0.005},
	})
	assert.True(t, math.IsInf(leaky.TimeToIncendive(toVoltage(at(1000.1))).Lo, 1), "case 31 ends at 1000 V")
	never := must(t, at(1*uA), at(1e9), at(100*pF)).TimeToIncendive(toEnergy(at(0.25 * mJ)))
	assert.True(t, math.IsInf(never.Lo, 1), "case 33 (F): 2236 V is never reached at 1000 V")
}

func TestReferenceStreaming(t *testing.T) {
	tau := at(17.708)
	pipe := PipeFlow{Velocity: at(1), Diameter: at(0.1), Length: at(20), Relaxation: tau}
	schoen := LongPipe(at(5), at(0.1))

	hose := interval.Point(20 * 0.3048)
	inch := 0.0254
	nozzleTau := RelaxationTime(at(25.7), at(1e-6)) // 1e-8 mho/cm
	gallon := 3.785411784e-3 / 60                   // 1 gpm in m³/s
	flowing := func(gpm float64) PipeFlow {
		return PipeFlow{Velocity: VelocityOf(at(gpm*gallon), at(2*inch)), Diameter: at(2 * inch), Length: hose, Relaxation: nozzleTau}
	}
	resistance := ColumnResistance(hose, at(2*inch), at(1e-6))
	slow, fast := flowing(1).Current(CrowlLouvar.Value), flowing(150).Current(CrowlLouvar.Value)
	book := "Crowl & Louvar ch. 7 example, from memory, fits"
	runReferences(t, []reference{
		{"36", "Crowl & Louvar (F)", pipe.Current(CrowlLouvar.Value), 6.77e-8, 0.002},
		{"36 long", "Crowl & Louvar (F)", LongPipe(at(1), at(0.1)).Current(CrowlLouvar.Value), 1.0e-7, 0},
		{"37 I", "Schoen, from memory (F)", schoen.Current(Schoen.Value), 9.375e-7, 0.001},
		{"37 rho", "Schoen, from memory (F)", schoen.Density(Schoen.Value), 23.87 * uC, 0.001},
		{"37 rule", "5 uC/m3 per m/s, from memory", schoen.Density(Schoen.Value), 25 * uC, 0.05},
		{"38 R", book, resistance, 3.01e9, 0.02},
		{"38 tau", book, nozzleTau, 2.28e-4, 0.02},
		{"38 u", book, flowing(1).Velocity, 0.0311, 0.02},
		{"38 I", book, slow, 2.50e-11, 0.02},
		{"38 V", book, HeldVoltage(slow, resistance), 0.0752, 0.02},
		{"39 I", book, fast, 5.63e-7, 0.02},
		{"39 V", book, HeldVoltage(fast, resistance), 1692, 0.02},
		{"39 V book", book + ", printed about 1695", HeldVoltage(fast, resistance), 1695, 0.02},
		{"39 W", book, SparkEnergy(at(4*math.Pi*25.7*Permittivity*inch), HeldVoltage(fast, resistance)), 0.104 * mJ, 0.02},
	})
}

func TestReferenceVelocity(t *testing.T) {
	litres := func(s SpeedLimit, d float64) interval.Interval { return at(s.Flow(d) * 60e3) }
	low := RoadTanker(0.1, true, interval.Interval{}, false)
	n77 := "NFPA 77 Table 7.6 (F)"
	runReferences(t, []reference{
		{"40a", n77, at(TankTruck(0.05).Speed), 7, 0}, {"40a flow", n77, litres(TankTruck(0.05), 0.05), 825, 0.001},
		{"40b", n77, at(TankTruck(0.1).Speed), 5, 0}, {"40b flow", n77, litres(TankTruck(0.1), 0.1), 2356, 0.001},
		{"40c", n77, at(TankTruck(0.2).Speed), 2.5, 0}, {"40c flow", n77, litres(TankTruck(0.2), 0.2), 4712, 0.001},
		{"41", "ELS (F)", at(low.Speed), 2.5, 0}, {"41 flow", "ELS (F)", litres(low, 0.1), 1178, 0.001},
	})
}

func TestReferencePowderAndRunDown(t *testing.T) {
	pouring, known := PowderCharge("pouring")
	require.True(t, known)
	micronising, _ := PowderCharge("micronising")
	kilogram := at(1)
	current := StreamCurrent(at(pouring.Value.Hi), kilogram)
	drum := must(t, current, NoLeak(), at(100*pF))
	closing := RunDown{Shape: Linear, Law: CurrentAsSquare, Travel: at(30)}
	runReferences(t, []reference{
		{"45a", "CLC TR 50404 family, Table 5 (F)", current, 1e-7, 0},
		{"45b", "CLC TR 50404 family, Table 5 (F)", StreamCurrent(at(micronising.Value.Hi), kilogram), 1e-4, 0},
		{"46 V", "Table 5 + OHM + NFPA 77 (F)", Criterion{Energy: at(10 * mJ)}.Voltage(at(100 * pF)), 14.14e3, 0.001},
		{"46 t", "Table 5 + OHM + NFPA 77 (F)", drum.TimeToIncendive(toEnergy(at(10 * mJ))), 14.14, 0.001},
		{"47 Q", "33 CFR 154.550, 30 s (F)", closing.Delivered(at(1 * uA)), 1.0e-5, 0.001},
		{"47 V", "33 CFR 154.550, 30 s (F)", closing.Delivered(at(1 * uA)).Div(at(1 * nF)), 10e3, 0.001},
	})
	unknown, known := PowderCharge("juggling")
	assert.False(t, known)
	assert.Equal(t, interval.Between(1e-7, 1e-3), unknown.Value, "0.1..1000 uC/kg")
	pair := CapCurrent(at(1e-3))
	assert.Equal(t, 1e-3, pair.Uncapped.Hi)
	assert.Equal(t, 1e-4, pair.Capped.Hi)
}

// The interior minimum: I 1 µA, R 1e9, W 0.25 mJ: 100 pF never,
// 977 pF 1.228 s, 1500 pF 1.292 s; corners alone would say "never..1.29".
func TestInteriorMinimum(t *testing.T) {
	time := func(c interval.Interval) interval.Interval {
		return must(t, at(1*uA), at(1e9), c).TimeToIncendive(toEnergy(at(0.25 * mJ)))
	}
	assert.True(t, math.IsInf(time(at(100*pF)).Lo, 1))
	assert.InDelta(t, 1.228, time(at(977*pF)).Middle(), 0.0005)
	assert.InDelta(t, 1.292, time(at(1500*pF)).Middle(), 0.0005)

	over := time(interval.Between(100*pF, 1500*pF))
	assert.InDelta(t, 1.2277, over.Lo, 0.0001, "the minimum inside, not the corner 1.292")
	assert.True(t, math.IsInf(over.Hi, 1))

	// t_min = 4.911 W/(I² R) at V_crit = 0.7153 I R: the ideal case, found again by
	// golden section on the closed form.
	assert.InEpsilon(t, 4.911*0.25*mJ/(1e-12*1e9), over.Lo, 1e-4)
	place, least := interval.Minimum(func(c float64) float64 { return timeTo(1*uA, 1e9, c, math.Sqrt(2*0.25*mJ/c)).Hi },
		interval.Between(501*pF, 5000*pF))
	assert.InEpsilon(t, least, over.Lo, 1e-10)
	assert.InEpsilon(t, 0.7153*1000, math.Sqrt(2*0.25*mJ/place), 1e-4)
	assert.InEpsilon(t, voltageShare*1000, math.Sqrt(2*0.25*mJ/place), 1e-6)

	// "Never" holds only while C <= 2W/(IR)² = 500 pF.
	assert.True(t, math.IsInf(time(at(499.99*pF)).Lo, 1))
	assert.False(t, math.IsInf(time(at(500.01*pF)).Hi, 1))
}

// The energy at a given time has its maximum over capacitance inside too, at the
// same voltage; the loss must find it between the corners.
func TestInteriorMaximumOfEnergy(t *testing.T) {
	c := interval.Between(10*pF, 100e3*pF)
	want := 2 * 1e-12 * 1e9 / 4.910814964568256 // t I² R / 4.911
	loss := Loss{Current: at(1 * uA), Leak: at(1e9), Capacitance: c, Ignition: Ignites(at(0.25 * mJ)), RunDown: RunDown{Delay: at(2)}}
	out, err := loss.Evaluate()
	require.NoError(t, err)
	assert.InEpsilon(t, want, out.Energy.Hi, 3e-3)
	assert.GreaterOrEqual(t, out.Energy.Hi, want, "an enclosure never is below")
}

func TestFilterAndSources(t *testing.T) {
	pipe := at(20 * uC)
	assert.Equal(t, pipe, Strainer.OutletDensity(pipe))
	assert.Equal(t, FineFilterDensity.Value, FineFilter.OutletDensity(pipe))
	assert.True(t, FilterUnknown.OutletDensity(at(1*uC)).Encloses(FineFilterDensity.Value))
	assert.True(t, FilterUnknown.OutletDensity(at(1*uC)).Contains(1*uC))
	assert.Contains(t, FineFilterDensity.Cite(), "from memory, unsure")
	assert.Contains(t, Schoen.Cite(), "from memory")
	assert.Contains(t, CrowlLouvar.Cite(), "second-hand")

	// Above 2 pS/m a fine filter slows relaxation 3 to 4 times (CCPS).
	tau := RelaxationTime(at(2), at(10*pS)).Middle()
	left := FineFilter.Residual(at(1), at(tau), at(2), at(10*pS))
	assert.InEpsilon(t, math.Exp(-1.0/3), left.Lo, 1e-9)
	assert.InEpsilon(t, math.Exp(-1.0/4), left.Hi, 1e-9)
	// Below, hyperbolic and ohmic laws are both inside.
	low := FineFilter.Residual(at(340*uC), at(100), at(2), at(0.01*pS))
	assert.True(t, low.Encloses(Hyperbolic(at(340*uC), at(100), at(2))))
	assert.Greater(t, low.Hi, 340*uC*0.9)
	// A conductivity on both sides of 2 pS/m spans both regimes.
	both := FineFilter.Residual(at(340*uC), at(30), at(2), interval.Between(1*pS, 10*pS))
	assert.True(t, both.Encloses(FineFilter.Residual(at(340*uC), at(30), at(2), at(5*pS))))
	assert.True(t, both.Encloses(FineFilter.Residual(at(340*uC), at(30), at(2), at(1.5*pS))))
}

// Every tabulated number names its source; what is from memory says so.
func TestTablesNameTheirSources(t *testing.T) {
	facts := append(Capacitances(), PowderCharges()...)
	facts = append(facts, EarthingLimits()...)
	facts = append(facts, GaugingDelays()...)
	facts = append(facts, GroupEnergies()...)
	facts = append(facts, Schoen, CrowlLouvar, StreamingConstant(), FineFilterDensity, FilterResidence, HyperbolicMobility,
		BagCurrent, IndustrialCurrent, PersonCurrent, FilterPipeCurrent, UnknownCurrent, SparkVoltage, DesignVoltage,
		FlashoverVoltage, ConeDischarge, LargestDustGrain)
	require.Greater(t, len(facts), 50)
	for _, f := range facts {
		assert.NotEmpty(t, f.Source, f.Name)
		assert.NotEmpty(t, f.Unit, f.Name)
		assert.True(t, f.Value.Valid() && f.Value.Lo >= 0, f.Name)
		assert.Equal(t, f.Confidence.IsFromMemory(), len(f.Cite()) > 0 && containsMemory(f.Cite()), f.Name)
	}
	for _, row := range Ignitions() {
		assert.NotEmpty(t, row.Source, row.Substance)
		assert.Greater(t, row.Energy.Lo, 0.0, row.Substance)
	}
}

func containsMemory(s string) bool {
	for i := 0; i+11 <= len(s); i++ {
		if s[i:i+11] == "from memory" {
			return true
		}
	}
	return false
}

func TestDefaultsFromTables(t *testing.T) {
	car, ok := CapacitanceDefault("rail tank car")
	require.True(t, ok)
	assert.Equal(t, interval.Between(500*pF, 2000*pF), car.Value)
	assert.Contains(t, car.Note, "common practice")
	film, ok := CapacitanceDefault("drum on plastic film")
	require.True(t, ok)
	assert.InEpsilon(t, 35*nF, film.Value.Hi, 1e-12)
	_, ok = CapacitanceDefault("airship")
	assert.False(t, ok)

	hydrogen, ok := IgnitionEnergy("Hydrogen")
	require.True(t, ok)
	assert.InEpsilon(t, 0.016*mJ, hydrogen.Value.Lo, 1e-12, "lowest listed governs")
	assert.InEpsilon(t, 0.019*mJ, hydrogen.Value.Hi, 1e-12)
	assert.Equal(t, FromMemory, hydrogen.Confidence, "the confidence is that of the lowest row")
	_, ok = IgnitionEnergy("IIB")
	assert.True(t, ok)
	_, ok = IgnitionEnergy("phlogiston")
	assert.False(t, ok)
	assert.Equal(t, "low", ResistivityClass(1e6))
	assert.Equal(t, "medium", ResistivityClass(1e8))
	assert.Equal(t, "high", ResistivityClass(1e10))
}

func TestVelocityRules(t *testing.T) {
	sigma := func(pico float64) interval.Interval { return at(pico * pS) }
	assert.Equal(t, 5.0, RoadTanker(0.1, false, sigma(11), true).Speed)
	assert.Equal(t, 3.8, RoadTanker(0.1, false, sigma(10), true).Speed)
	assert.Equal(t, 5.0, RoadTanker(0.1, true, sigma(51), true).Speed)
	assert.Equal(t, 3.8, RoadTanker(0.1, true, sigma(50), true).Speed)
	assert.Equal(t, 2.5, RoadTanker(0.1, true, sigma(10), true).Speed)
	assert.Equal(t, 2.5, RoadTanker(0.1, true, interval.Between(1*pS, 100*pS), true).Speed, "the lowest conductivity counts")
	assert.Equal(t, 7.0, RailTankCar(0.1).Speed)
	assert.InEpsilon(t, 4.0, RailTankCar(0.2).Speed, 1e-12)
	assert.Equal(t, FromMemory, RailTankCar(0.2).Confidence)
	assert.InEpsilon(t, 5.0, FixedRoof(0.1, 1.9, true).Speed, 1e-12)
	assert.InEpsilon(t, 3.8*math.Sqrt2, FixedRoof(0.1, 4, false).Speed, 1e-12)
	assert.Equal(t, 7.0, FixedRoof(0.1, 5, true).Speed)
	ok := MediumTank(0.1, 4, 3, RelaxationTime(at(2), sigma(3)))
	assert.InEpsilon(t, 0.7*math.Sqrt(40), ok.Speed, 1e-12)
	assert.Empty(t, ok.Unmet)
	assert.Len(t, MediumTank(0.1, 1.3, 0.5, RelaxationTime(at(2), sigma(2))).Unmet, 3)
	for _, s := range []SpeedLimit{SlowStart(), SinglePhase(), TwoPhase(), FloatingRoof()} {
		assert.Equal(t, 1.0, s.Speed)
		assert.NotEmpty(t, s.Source)
	}
	assert.Equal(t, 7.0, AnyLiquid().Speed)
	assert.InEpsilon(t, 42.0, RelaxationLength(at(2), at(7)).Middle(), 1e-12)
}
