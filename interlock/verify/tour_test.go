package verify

import (
	"testing"
	"time"

	"ohmgate/monitor"
)

// A bench of contacts and a decade finds its way to nearly all that it can do.
func TestToursOfABench(t *testing.T) {
	m := graphModel(t, "rig/bench_siding")
	g := graphOf(t, m)
	a := &Ability{Shows: make([][monitor.Classes]bool, 1), Drives: []bool{true, true, true, true, true}, Supply: true}
	for _, class := range []monitor.Class{monitor.Open, monitor.High, monitor.Between, monitor.Good} {
		a.Shows[0][class] = true
	}
	wanted := map[string]bool{}
	for _, one := range g.Transitions {
		if one.Kind != KindFault && one.Why != "missing" && one.Why != "invalid" && one.From != "unreadable" {
			wanted[one.String()] = true
		}
	}
	began := time.Now()
	found, full := Tours(m, m.Names.Outputs, a, wanted)
	t.Log(len(found), len(wanted), full, time.Since(began))
	for name := range wanted {
		if tour, ok := found[name]; ok {
			t.Log(tour.Scans, len(tour.Deeds), name)
		} else {
			t.Log("NOT", name)
		}
	}
}
