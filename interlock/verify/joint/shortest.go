package joint

import (
	"slices"

	"github.com/dalzilio/rudd"

	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
)

// Shortest is a shortest joint run from power-up that breaks a property. The
// search keeps no parents: it runs once more, keeps what was reached within each
// scan, and the run is read backwards from there.
func (e *Engine) Shortest(property model.Property) (run Run, err error) {
	defer e.full("rebuilding a run", &err)
	broken := e.broken(property)
	any := e.b.Or(broken[0], e.b.Or(broken[1], broken[2]))
	from := e.b.Exist(any, e.output.nextSet)
	for i := range e.channels {
		c := &e.channels[i]
		from = e.b.AndExist(c.nextSet, from, c.step)
	}
	set, free := e.start(), e.free()
	rings := []rudd.Node{set}
	for !e.meets(set, from) && !e.b.full() {
		more := e.b.Or(set, e.image(set, free))
		if e.b.Equal(more, set) {
			return run, nil // not from power-up
		}
		set = more
		rings = append(rings, set)
	}
	last := e.chosen(e.b.one(e.b.And(set, from)))
	states := e.backwards(rings, last, free)
	end := e.b.one(e.b.Replace(e.b.Exist(e.b.And(e.moved(e.cube(last), free), any), e.output.nowSet), e.back))
	states = append(states, e.chosen(end))
	run.News = e.heard(states, nil)
	for _, s := range states[1:] {
		run.Words = append(run.Words, e.output.words[s.output])
	}
	return run, nil
}

// heard is what every channel hears along a run: good where that leads on, and
// the named ones nothing but bad.
func (e *Engine) heard(run []state, named []string) [][]monitor.Class {
	var list [][]monitor.Class
	for k := 1; k < len(run); k++ {
		news := make([]monitor.Class, len(e.channels))
		for i := range e.channels {
			c := &e.channels[i]
			can := c.Table.Leads(run[k-1].channels[i], run[k].channels[i])
			news[i] = preferred(can, slices.Contains(named, c.Name))
		}
		list = append(list, news)
	}
	return list
}

// preferred is the news to choose where several lead to the same.
func preferred(can []monitor.Class, bad bool) monitor.Class {
	if bad {
		return can[slices.IndexFunc(can, func(n monitor.Class) bool { return slices.Contains(badNews, n) })]
	}
	return slices.Max(can)
}
