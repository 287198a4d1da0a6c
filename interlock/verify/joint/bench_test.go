package joint_test

import (
	"fmt"
	"math/big"
	"os"
	"slices"
	"testing"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	. "ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// BenchmarkEightCars takes all eight clamps of the demo siding in full detail,
// under the lamp that reads every one of them. The aim is two minutes.
func BenchmarkEightCars(b *testing.B) {
	s, problems := site.Read("../../../testdata/sites/kestrel_siding.yaml")
	if problems != nil {
		b.Fatal(problems)
	}
	m, err := model.FromSite(s)
	if err != nil {
		b.Fatal(err)
	}
	for range b.N {
		began := time.Now()
		e, cars := lamp(b, m)
		if err := e.Run(nil); err != nil {
			b.Fatal(err)
		}
		took := time.Since(began)
		fmt.Fprintf(os.Stderr, "%d cars jointly: %s states, %d scans, %.0f s (aim 120)\n", cars, e.States(), e.Scans, took.Seconds())
		b.ReportMetric(took.Seconds(), "s/search")
	}
}

func lamp(b *testing.B, m *model.Model) (*Engine, int) {
	b.Helper()
	for i, name := range m.Names.Outputs {
		if name != "rack_lamp" {
			continue
		}
		j, err := Of(runs.NewBench(m, model.Options{}), i, ofTheOutput)
		if err != nil {
			b.Fatal(err)
		}
		e, err := New(j, 8<<30)
		if err != nil {
			b.Fatal(err)
		}
		return e, len(j.Channels)
	}
	b.Fatal("the site has no rack_lamp")
	return nil, 0
}

// BenchmarkGrowth takes one rail car, then two, up to eight, under one permissive
// that needs them all: what another channel in full detail costs.
func BenchmarkGrowth(b *testing.B) {
	s, problems := site.Read("../../../testdata/sites/kestrel_siding.yaml")
	if problems != nil {
		b.Fatal(problems)
	}
	m, err := model.FromSite(s)
	if err != nil {
		b.Fatal(err)
	}
	fmt.Fprintf(os.Stderr, "%8s %10s %9s %9s %9s %9s\n", "channels", "states", "scans", "search s", "judge s", "MB")
	for range b.N {
		for cars := 1; cars <= 8; cars++ {
			growth(b, m, cars)
		}
	}
}

func growth(b *testing.B, m *model.Model, cars int) {
	text := "bond_1"
	for i := 2; i <= cars; i++ {
		text += fmt.Sprintf(" AND bond_%d", i)
	}
	p, err := interlock.ParsePermissive(text, func(name string) (int, bool) {
		at := slices.Index(m.Names.Channels, name)
		return at, at >= 0
	})
	if err != nil {
		b.Fatal(err)
	}
	c := *m.Config
	lamp := slices.Index(m.Names.Outputs, "rack_lamp")
	c.Outputs = slices.Clone(c.Outputs)
	c.Outputs[lamp].Permissive = p
	if err := c.Compile(); err != nil {
		b.Fatal(err)
	}
	same := *m
	same.Config = &c
	began := time.Now()
	j, err := Of(runs.NewBench(&same, model.Options{}), lamp, ofTheOutput)
	if err != nil {
		b.Fatal(err)
	}
	e, err := New(j, 8<<30)
	if err != nil {
		b.Fatal(err)
	}
	most := uint64(0)
	if err := e.Run(func(_, _ int, bytes uint64) { most = bytes }); err != nil {
		b.Fatal(err)
	}
	searched := time.Since(began)
	if _, err := e.Found(); err != nil {
		b.Fatal(err)
	}
	states, _ := new(big.Float).SetInt(e.States()).Float64()
	fmt.Fprintf(os.Stderr, "%8d %10.1e %9d %9.1f %9.1f %9d\n", cars, states, e.Scans, searched.Seconds(), (time.Since(began) - searched).Seconds(), most>>20)
}
