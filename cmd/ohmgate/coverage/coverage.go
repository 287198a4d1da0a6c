package coverage

import (
	"fmt"
	"slices"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verify/graph"
	"ohmgate/interlock/verify/model"
)

// Over says in words what a coverage is a share of.
const Over = "the verified graph: what each part can do with its neighbours free, and every fault in the cones of the outputs that the bench judges"

// Bench is a site on a bench of wires.
type Bench struct {
	Site  *site.Site
	Logic *interlock.Config
	Wires *wiring.Map
	model *model.Model
}

// NewBench is an error where the site is more than can be verified.
func NewBench(s *site.Site, logic *interlock.Config, wires *wiring.Map) (*Bench, error) {
	m, err := model.FromSite(s)
	return &Bench{s, logic, wires, m}, err
}

// Observer watches a run, and then lists what of the graph it has passed through,
// as records keep it.
func (b *Bench) Observer() (watcher loop.Watcher, texts func() []string) {
	o := graph.NewObserver(b.model)
	return o, o.Texts
}

// plays says that the bench plays anything to a unit; else it reads the plant, and
// people move that by hand.
func (b *Bench) plays() bool {
	return slices.ContainsFunc(b.Wires.Contacts, func(t *wiring.Terminal) bool { return t != nil })
}

// Verified is the graph of the outputs that a bench judges.
type Verified struct {
	*Bench
	Goals []stimulus.Goal // its transitions and faults, in the order of the graph
	graph *graph.Graph
	named map[string]graph.Transition // by what records call them
}

// Verified tabulates the parts of the site. Without an output to judge nothing is
// verified.
func (b *Bench) Verified() (*Verified, error) {
	v := &Verified{Bench: b, graph: &graph.Graph{}, named: map[string]graph.Transition{}}
	if judged := b.Wires.Judged(); len(judged) > 0 {
		made, err := graph.Make(b.model, model.Options{Outputs: judged})
		if err != nil {
			return nil, fmt.Errorf("the verified graph of %s: %w", b.Site.Name, err)
		}
		v.graph = made
	}
	for _, t := range v.graph.Transitions {
		one := goal(b.model, t)
		v.Goals = append(v.Goals, one)
		v.named[one.Text] = t
	}
	return v, nil
}

// Covered sorts the goals by what was seen, by their texts.
func (v *Verified) Covered(seen map[string]bool) stimulus.Coverage {
	return stimulus.Covered(v.Wires, v.Logic, v.Goals, seen, v.refuses)
}
