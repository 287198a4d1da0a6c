package sim

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
)

// The benchmarks split the cost of one scan of the eight-car site in operation:
// everything bonded, every valve open, noise on every reading. ns/op is one
// scan; at 10 ms a scan, 1000 ns are 10,000 times real time.

func benchPlant(b testing.TB) (*Plant, *loop.Loop) {
	s, problems := site.Read("../testdata/sites/kestrel_siding.yaml")
	require.Nil(b, problems)
	logic, problems := s.Logic()
	require.Nil(b, problems)
	n := newNames(s)
	p := NewPlant(s, logic, 1, never)
	sc := &Scenario{Begin: Running, With: []string{"pump_ready"}}
	zero := p.prelude(sc, n)
	p.start()
	l := loop.New(logic)
	l.Skim = true
	for range zero {
		_, err := l.Once(p)
		require.NoError(b, err)
	}
	require.EqualValues(b, 0x3ff, l.Decision.Coils, "everything runs")
	return p, l
}

func BenchmarkScanPhysicsAndNoise(b *testing.B) {
	p, l := benchPlant(b)
	in := interlock.NewInputs(l.Config)
	scan := uint64(20_000)
	b.ReportAllocs()
	for b.Loop() {
		_, _ = p.Next(scan, l.Decision.Coils, in)
		scan++
	}
}

func BenchmarkScanPhysicsWithoutNoise(b *testing.B) {
	p, l := benchPlant(b)
	for i := range p.channels {
		p.channels[i].deviation = 0
	}
	in := interlock.NewInputs(l.Config)
	scan := uint64(20_000)
	b.ReportAllocs()
	for b.Loop() {
		_, _ = p.Next(scan, l.Decision.Coils, in)
		scan++
	}
}

func BenchmarkScanLogic(b *testing.B) {
	p, l := benchPlant(b)
	in := interlock.NewInputs(l.Config)
	_, err := p.Next(20_000, l.Decision.Coils, in)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		for i := range in.Readings {
			in.Readings[i].Stamp++
		}
		interlock.Step(l.Config, l.State, in, l.Decision)
	}
}

func BenchmarkScanWhole(b *testing.B) {
	p, l := benchPlant(b)
	sc := &Scenario{Begin: Running}
	w := newWatch(p.Site, sc, p, newNames(p.Site), 0, never)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := l.Once(p, w); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkScanLoop(b *testing.B) {
	p, l := benchPlant(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := l.Once(p); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNormalNumber(b *testing.B) {
	s := NewStream(1, "x")
	at, sum := uint64(0), 0.0
	for b.Loop() {
		sum += s.Normal(at)
		at++
	}
	_ = sum
}

// BenchmarkDay is simulate itself, without output: 24 hours of the eight-car
// site at 10 ms a scan, with noise on every reading. One op is the whole day.
func BenchmarkDay(b *testing.B) {
	s, problems := site.Read("../testdata/sites/kestrel_siding.yaml")
	require.Nil(b, problems)
	sc, problems := ParseScenario("day.yaml", []byte("scenario: day\nbegin: running\nwith: [pump_ready]\nlasts: 24 h\nexpect:\n  - {never: valve_1 is tripped}\n"), s)
	require.Nil(b, problems)
	for b.Loop() {
		result, err := Run(s, sc, Options{})
		require.NoError(b, err)
		require.Equal(b, verdict.Shown, result.Verdict())
	}
	b.ReportMetric(24*3600/(b.Elapsed().Seconds()/float64(b.N)), "x-real-time")
}

// BenchmarkDayEveryScan is the same with the whole site stepped in every scan.
func BenchmarkDayEveryScan(b *testing.B) {
	s, problems := site.Read("../testdata/sites/kestrel_siding.yaml")
	require.Nil(b, problems)
	sc, problems := ParseScenario("hour.yaml", []byte("scenario: hour\nbegin: running\nwith: [pump_ready]\nlasts: 1 h\nexpect:\n  - {never: valve_1 is tripped}\n"), s)
	require.Nil(b, problems)
	for b.Loop() {
		_, err := Run(s, sc, Options{EveryScan: true})
		require.NoError(b, err)
	}
	b.ReportMetric(3600/(b.Elapsed().Seconds()/float64(b.N)), "x-real-time")
}

func TestAScanAllocatesNothing(t *testing.T) {
	p, l := benchPlant(t)
	w := newWatch(p.Site, &Scenario{Begin: Running}, p, newNames(p.Site), 0, never)
	require.Zero(t, testing.AllocsPerRun(2000, func() {
		if _, err := l.Once(p, w); err != nil {
			t.Error(err)
		}
	}))
}
