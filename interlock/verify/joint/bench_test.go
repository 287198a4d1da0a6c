package joint

import (
	"fmt"
	"os"
	"testing"
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verify"
)

// BenchmarkEightCars takes all eight clamps of the demo siding in full detail,
// under the lamp that reads every one of them. The aim is two minutes.
func BenchmarkEightCars(b *testing.B) {
	s, problems := site.Read("../../../testdata/sites/kestrel_siding.yaml")
	if problems != nil {
		b.Fatal(problems)
	}
	m, err := verify.FromSite(s)
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

func lamp(b *testing.B, m *verify.Model) (*Engine, int) {
	b.Helper()
	for i, name := range m.Names.Outputs {
		if name != "rack_lamp" {
			continue
		}
		j, err := verify.JointOf(m, verify.Options{}, i)
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
