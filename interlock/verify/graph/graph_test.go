package graph

import (
	"math/rand/v2"
	"testing"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

func graphModel(t *testing.T, file string) *model.Model {
	t.Helper()
	s, problems := site.Read("../../../testdata/" + file + ".yaml")
	if problems != nil {
		t.Fatal(problems)
	}
	m, err := model.FromSite(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// texts are the transitions of a graph by what records call them.
func texts(t *testing.T, m *model.Model, g *Graph) map[string]Transition {
	t.Helper()
	list := map[string]Transition{}
	for _, one := range g.Transitions {
		if _, twice := list[one.Text(m)]; twice {
			t.Errorf("two transitions are called %q", one.Text(m))
		}
		list[one.Text(m)] = one
	}
	return list
}

func graphOf(t *testing.T, m *model.Model) *Graph {
	t.Helper()
	g, err := Make(m, model.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return g
}

type modelled struct {
	model *model.Model
	graph *Graph
}

var demoGraphs = map[string]modelled{}

// demoGraph is the graph of a demo site, made once for all tests; nobody changes it.
func demoGraph(t *testing.T, file string) (*model.Model, *Graph) {
	t.Helper()
	made, ok := demoGraphs[file]
	if !ok {
		m := graphModel(t, file)
		made = modelled{m, graphOf(t, m)}
		demoGraphs[file] = made
	}
	return made.model, made.graph
}

// Whatever a whole site does under random disturbances stands in the graph.
func TestNothingHappensOutsideTheGraph(t *testing.T) {
	for _, file := range demoSites {
		m, g := demoGraph(t, file)
		o := NewObserver(m)
		disturbSite(m, o, 40_000)
		inGraph := 0
		for one := range o.Seen() {
			if g.Has(one) {
				inGraph++
			} else {
				t.Errorf("%s: the logic did what is not in the graph: %s", file, one.Text(m))
			}
		}
		without := 0 // faults are not seen by the logic: who plays them says so
		for i := range g.Transitions {
			without += model.Int(g.Transitions[i].Group() != OfFault)
		}
		t.Logf("%s: %d in the graph without faults, %d seen at random", file, without, inGraph)
		if inGraph < without/3 {
			t.Errorf("%s: the walk saw %d of %d and shows little", file, inGraph, without)
		}
	}
}

// disturbSite drives a healthy plant and spoils it at random.
func disturbSite(m *model.Model, o *Observer, scans int) {
	random := rand.New(rand.NewPCG(6, 4))
	d := runs.NewDriver(model.Real(), m.Config, 0)
	signals, news := make([]interlock.Signal, len(d.In.Signals)), make([]monitor.Class, len(d.In.Readings))
	held := make([]int, len(signals)+len(news))
	for range scans {
		if random.IntN(400) == 0 {
			d.Target = random.IntN(len(m.Config.Outputs))
		}
		d.Healthy()
		for i := range held {
			if held[i]--; held[i] < 0 && random.IntN(60*len(held)) == 0 {
				held[i] = 1 + random.IntN(1+random.IntN(300))
				if i < len(signals) {
					signals[i] = interlock.Signal(random.IntN(4))
				} else {
					news[i-len(signals)] = monitor.Class(random.IntN(monitor.Classes))
				}
			}
			switch {
			case held[i] <= 0:
			case i < len(signals):
				d.In.Signals[i] = signals[i]
			default:
				channel := i - len(signals)
				d.In.Readings[channel] = table.ReadingOf(&m.Config.Channels[channel].Config, news[channel], d.Stamp)
			}
		}
		d.In.Overrun = random.IntN(3000) == 0
		d.Supply = random.IntN(20_000) == 0
		d.Turn()
		_ = o.Watch(&loop.Turn{In: d.In, State: d.State, Decision: d.Decision})
	}
}

// What settings make impossible is not in the graph, and comes with them.
func TestTheGraphKnowsTheSettings(t *testing.T) {
	m := graphModel(t, "rig/bench_siding")
	has := texts(t, m, graphOf(t, m))
	for _, name := range []string{
		"bond_1: bonded -> lost (open)", "bond_1: doubtful -> lost (high)", "bond_1: lost -> lost (between)",
		"valve_1: kept out -> enabled (reset)", "valve_1: tripped -> enabled (reset)", "valve_1: enabled -> tripped (permissive lost: bond_1)",
		"valve_1: enabled -> tripped (actuator unconfirmed)", "valve_1: reset refused (too short for a deliberate press)",
		"valve_1: actuator unconfirmed (stayed open)", "car_1: wait over", "car_1: reconnected early", "car_1: released before rest",
		"clamp_removed on bond_1", "stuck_valve on valve_1",
	} {
		if _, ok := has[name]; !ok {
			t.Errorf("%q is not in the graph", name)
		}
	}
	for _, name := range []string{
		"bond_1: bonded -> doubtful (open)", "valve_1: enabled -> kept out (stop asked for)", "valve_1: start refused",
		"valve_1: kept out -> enabled (automatic)", "bond_1: unconnected -> bonded (good)", "valve_1: enabled -> tripped (backup called)",
	} {
		if _, ok := has[name]; ok {
			t.Errorf("%q is in the graph, and this site cannot do it", name)
		}
	}
	patient, lost := Transition{Kind: interlock.PhaseChanged, Before: monitor.Bonded, News: monitor.High, After: monitor.Doubtful}, Transition{Kind: interlock.PhaseChanged, Before: monitor.Bonded, News: monitor.High, After: monitor.Lost}
	if g := graphOf(t, m); !g.Has(patient) || g.Has(lost) {
		t.Error("a high reading has patience")
	}
	m.Config.Channels[0].Cost[monitor.High] = m.Config.Channels[0].Full
	if g := graphOf(t, m); g.Has(patient) || !g.Has(lost) {
		t.Error("without patience a high reading is lost at once")
	}
}
