package sim

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
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
