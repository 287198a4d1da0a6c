package graph

import (
	"testing"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// contacts is a bench of relays and a decade.
func contacts(m *model.Model) *Environment {
	e := &Environment{Shows: make([][monitor.Classes]bool, len(m.Config.Channels)), Drives: make([]bool, len(m.Config.Inputs)), Supply: true}
	for i := range e.Shows {
		e.Shows[i] = [monitor.Classes]bool{monitor.Open: true, monitor.High: true, monitor.Between: true, monitor.Good: true}
	}
	for i := range e.Drives {
		e.Drives[i] = true
	}
	return e
}

// A bench of contacts and a decade finds its way to nearly all that it can do,
// and its paths do what they say.
func TestPathsOfABench(t *testing.T) {
	m, g := demoGraph(t, "rig/bench_siding")
	beyond := Transition{Kind: interlock.PhaseChanged, Before: monitor.Bonded, News: monitor.Missing, After: monitor.Doubtful} // needs an instrument that falls silent
	goals := map[Transition]bool{beyond: true}
	for _, one := range g.Transitions {
		silent := one.Group() == OfChannel && (one.News == monitor.Missing || one.News == monitor.Invalid || one.Before == monitor.Unreadable)
		if one.Group() != OfFault && !silent {
			goals[one] = true
		}
	}
	found, complete := Paths(m, m.Names.Outputs, contacts(m), goals)
	if complete {
		t.Error("one thing cannot be found, and the search was cut short all the same")
	}
	named := texts(t, m, g)
	for _, name := range []string{
		"bond_1: doubtful -> bonded (good)", "valve_1: kept out -> enabled (reset)", "valve_1: tripped -> enabled (reset)", "valve_1: enabled -> tripped (permissive lost: bond_1)",
		"valve_1: actuator unconfirmed (stayed open)", "valve_1: actuator unconfirmed (stayed shut)", "valve_1: actuator reported again", "car_1: acknowledged", "car_1: released",
	} {
		if _, ok := found[named[name]]; !ok {
			t.Errorf("no path to %s", name)
		}
	}
	if _, ok := found[beyond]; ok {
		t.Errorf("a path to %s", beyond.Text(m))
	}
	for to, path := range found {
		if path.To != to {
			t.Errorf("the path to %s passes through %s", to.Text(m), path.To.Text(m))
		}
	}
	if n := found[named["bond_1: settling -> bonded (good)"]].Scans; n != uint64(m.Config.Channels[0].SettleScans) {
		t.Errorf("the shortest way to a bond takes %d scans, not as long as it has to settle", n)
	}
	if n := found[named["bond_1: unconnected -> settling (good)"]].Scans; n != 1 {
		t.Errorf("a good reading is news after %d scans", n)
	}
}

// What a bench cannot do, no path does.
func TestPathsStayWithinTheBench(t *testing.T) {
	m, g := demoGraph(t, "rig/bench_siding")
	e := contacts(m)
	e.Shows[0][monitor.High], e.Supply = false, false
	lost := texts(t, m, g)["valve_1: enabled -> tripped (permissive lost: bond_1)"]
	found, _ := Paths(m, m.Names.Outputs, e, map[Transition]bool{lost: true})
	actions := found[lost].Actions
	if len(actions) < 4 {
		t.Errorf("a clamp, evidence, a press and a loss are %d actions", len(actions))
	}
	for _, action := range actions {
		if action.Act == Restart || action.Class == monitor.High {
			t.Errorf("this bench cannot do %+v", action)
		}
	}
}
