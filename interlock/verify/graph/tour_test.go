package graph

import (
	"testing"

	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// contacts is a bench of relays and a decade.
func contacts(m *model.Model) *Ability {
	a := &Ability{Shows: make([][monitor.Classes]bool, len(m.Config.Channels)), Drives: make([]bool, len(m.Config.Inputs)), Supply: true}
	for i := range a.Shows {
		a.Shows[i] = [monitor.Classes]bool{monitor.Open: true, monitor.High: true, monitor.Between: true, monitor.Good: true}
	}
	for i := range a.Drives {
		a.Drives[i] = true
	}
	return a
}

// A bench of contacts and a decade finds its way to nearly all that it can do,
// and its tours do what they say.
func TestToursOfABench(t *testing.T) {
	m := graphModel(t, "rig/bench_siding")
	beyond := "bond_1: bonded -> doubtful (missing)" // needs an instrument that falls silent
	wanted := map[string]bool{beyond: true}
	for _, one := range graphOf(t, m).Transitions {
		if one.Kind != KindFault && one.Why != "missing" && one.Why != "invalid" && one.From != "unreadable" {
			wanted[one.String()] = true
		}
	}
	found, full := Tours(m, m.Names.Outputs, contacts(m), wanted)
	if full {
		t.Error("one thing cannot be found, and the search was cut short all the same")
	}
	for _, name := range []string{
		"bond_1: doubtful -> bonded (good)", "valve_1: kept out -> enabled (reset)", "valve_1: tripped -> enabled (reset)", "valve_1: enabled -> tripped (permissive lost: bond_1)",
		"valve_1: actuator unconfirmed (stayed open)", "valve_1: actuator unconfirmed (stayed shut)", "valve_1: actuator reported again", "car_1: acknowledged", "car_1: released",
	} {
		if _, ok := found[name]; !ok {
			t.Errorf("no tour to %s", name)
		}
	}
	if _, ok := found[beyond]; ok {
		t.Errorf("a tour to %s", beyond)
	}
	for name, tour := range found {
		if tour.Passes.String() != name {
			t.Errorf("the tour to %s passes through %v", name, tour.Passes)
		}
	}
	if n := found["bond_1: settling -> bonded (good)"].Scans; n != uint64(m.Config.Channels[0].SettleScans) {
		t.Errorf("the shortest way to a bond takes %d scans, not as long as it has to settle", n)
	}
	if n := found["bond_1: unconnected -> settling (good)"].Scans; n != 1 {
		t.Errorf("a good reading is news after %d scans", n)
	}
}

// What a bench cannot do, no tour does.
func TestToursStayWithinTheBench(t *testing.T) {
	m := graphModel(t, "rig/bench_siding")
	a := contacts(m)
	a.Shows[0][monitor.High], a.Supply = false, false
	found, _ := Tours(m, m.Names.Outputs, a, map[string]bool{"valve_1: enabled -> tripped (permissive lost: bond_1)": true})
	deeds := found["valve_1: enabled -> tripped (permissive lost: bond_1)"].Deeds
	if len(deeds) < 4 {
		t.Errorf("a clamp, evidence, a press and a loss are %d deeds", len(deeds))
	}
	for _, deed := range deeds {
		if deed.Act == ActRestart || deed.Class == monitor.High {
			t.Errorf("this bench cannot do %+v", deed)
		}
	}
}
