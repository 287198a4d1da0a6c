package joint

import (
	"slices"

	"github.com/dalzilio/rudd"

	"ohmgate/monitor"
)

// losing lets the named channels lose what keeps the output running, in the scan.
func (e *Engine) losing(names []string, others func(*channel) rudd.Node) func(*channel) rudd.Node {
	return func(c *channel) rudd.Node {
		if slices.Contains(names, c.Name) {
			return e.b.all(c.step, c.held, e.b.Not(c.kept))
		}
		return others(c)
	}
}

// Together says whether all of the named channels can be lost in one and the
// same scan while the output runs: their order is then unknown to first-out.
// Composition can only bound this.
func (e *Engine) Together(names []string) (can bool, err error) {
	defer e.full("looking for losses in one scan", &err)
	moved := e.moved(e.b.And(e.reached, e.running), scan{news: e.losing(names, e.free().news)})
	return !e.b.empty(moved), nil
}

// Lost is a run to where all of the named channels are lost in one scan: from
// where all is well, with the others good; Scans is 0 where that cannot be.
func (e *Engine) Lost(names []string) (found Response, err error) {
	defer e.full("looking for losses in one scan", &err)
	can, err := e.Together(names)
	at, ok := e.joint.Settled()
	if err != nil || !can || !ok {
		return found, err
	}
	found.Scans = 1
	lively := scan{e.mixed(names, allNews, e.well.news), e.well.guards}
	leads := e.leads(at, lively)
	from := leads[len(leads)-1]
	for i := range e.channels {
		if c := &e.channels[i]; slices.Contains(names, c.Name) {
			from = e.b.And(from, e.b.AndExist(c.nextSet, e.b.And(c.step, c.held), e.b.Not(c.kept)))
		}
	}
	if e.b.full() || e.b.empty(from) {
		return found, nil
	}
	last := e.chosen(e.b.one(from))
	lead := leads[:1+slices.IndexFunc(leads, func(set rudd.Node) bool { return e.meets(set, e.cube(last)) })]
	found.Lead = e.heard(e.backwards(lead, last, lively), nil)
	news := make([]monitor.Class, len(e.channels))
	for i := range e.channels {
		c := &e.channels[i]
		news[i] = c.Reads
		if slices.Contains(names, c.Name) {
			news[i] = c.lostBy(last.channels[i])
		}
	}
	found.Bad = [][]monitor.Class{news}
	return found, nil
}

// lostBy is news by which a channel is no longer fit to keep.
func (c *channel) lostBy(at uint32) (news monitor.Class) {
	c.Table.EachFrom(at, func(to uint32, class monitor.Class) {
		if !c.Table.States[to].Phase.MayKeep() {
			news = class
		}
	})
	return news
}
