package joint

import (
	"slices"

	"github.com/dalzilio/rudd"

	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// badNews are the classes of news that are no good, and not merely between.
var badNews = []monitor.Class{monitor.Missing, monitor.Invalid, monitor.Open, monitor.High}

var allNews = append([]monitor.Class{monitor.Between, monitor.Good}, badNews...)

// Endless is a response without a bound.
const Endless = -1

// mixed gives the named channels news of some classes, and the others their own.
func (e *Engine) mixed(names []string, classes []monitor.Class, others func(*channel) rudd.Node) func(*channel) rudd.Node {
	some := map[string]rudd.Node{}
	for i := range e.channels {
		c := &e.channels[i]
		if !slices.Contains(names, c.Name) {
			continue
		}
		some[c.Name] = e.b.False()
		for _, class := range classes {
			some[c.Name] = e.b.Or(some[c.Name], c.under[class])
		}
	}
	return func(c *channel) rudd.Node {
		if step, ok := some[c.Name]; ok {
			return step
		}
		return others(c)
	}
}

// Response is the most scans that an enabled output runs on, the scan in which
// it is withheld counted, while every one of the named channels has bad news in
// every scan, in any mixture and after any history, all others free. 0 is never
// enabled. No bypass stands in meanwhile: how long one may is property 11. It is
// Endless where the search comes to a set of states that follows itself; past the
// limit it is cut off.
func (e *Engine) Response(names []string, limit int) (scans int, err error) {
	defer e.full("measuring the joint response", &err)
	free := e.free()
	sets, endless, err := e.runsOn(e.b.And(e.reached, e.running), scan{e.mixed(names, badNews, free.news), e.bare}, limit, false)
	if endless {
		return Endless, err
	}
	return len(sets), err
}

// runsOn lists the sets of states in which the output still runs, scan by scan,
// until it does no more. Only if asked for are they kept.
func (e *Engine) runsOn(set rudd.Node, s scan, limit int, keep bool) (sets []rudd.Node, endless bool, err error) {
	for !e.b.empty(set) {
		sets = append(sets, set)
		if len(sets) > limit {
			return sets, false, &table.CutOff{Where: "the joint response, which lasts longer than asked for", Limit: e.limit}
		}
		later := e.b.And(e.running, e.image(set, s))
		if e.b.full() {
			return sets, false, nil // the deferred call says why
		}
		if e.b.Equal(later, set) {
			return sets, true, nil
		}
		if !keep {
			sets[len(sets)-1] = nil
			e.b.release()
		}
		set = later
	}
	return sets, false, nil
}

// Attain measures a response and looks for a run that lasts as long: from where
// a healthy plant has brought the output to run, every input as it should be, all
// other channels good. Such a run may be shorter than the response; a replay tells.
func (e *Engine) Attain(names []string, limit int) (found Response, err error) {
	if found.Scans, err = e.Response(names, limit); err != nil || found.Scans <= 0 {
		return found, err
	}
	at, ok := e.joint.Settled()
	if !ok {
		return found, nil
	}
	defer e.full("rebuilding a run", &err)
	lively := scan{e.mixed(names, allNews, e.well.news), e.well.guards}
	bad := scan{e.mixed(names, badNews, e.well.news), e.well.guards}
	leads := e.leads(at, lively)
	sets, endless, err := e.runsOn(leads[len(leads)-1], bad, found.Scans, true)
	if err != nil || endless || len(sets) == 0 || e.b.full() {
		return found, err
	}
	run := e.backwards(sets, e.chosen(e.b.one(sets[len(sets)-1])), bad)
	lead := leads[:1+slices.IndexFunc(leads, func(set rudd.Node) bool { return e.meets(set, e.cube(run[0])) })]
	found.Lead = e.heard(e.backwards(lead, run[0], lively), nil)
	found.Bad = append(e.heard(run, names), e.last(run[len(run)-1], names))
	return found, nil
}

// leads is where the named channels can bring a running output without stopping
// it: within 0, 1, 2 scans and so on, until nothing is added.
func (e *Engine) leads(at []uint32, s scan) []rudd.Node {
	set := e.b.And(e.reached, e.running)
	for i := range e.channels {
		set = e.b.And(set, e.cubeOf(&e.channels[i].block, at[i]))
	}
	list := []rudd.Node{set}
	for !e.b.full() {
		more := e.b.Or(set, e.b.And(e.running, e.image(set, s)))
		if e.b.Equal(more, set) {
			break
		}
		set = more
		list = append(list, set)
	}
	return list
}

// last is the scan in which the output is withheld: any bad news will do.
func (e *Engine) last(at state, named []string) []monitor.Class {
	news := make([]monitor.Class, len(e.channels))
	for i := range e.channels {
		c := &e.channels[i]
		news[i] = c.Reads
		for _, class := range badNews {
			if slices.Contains(named, c.Name) && c.Table.Hears(at.channels[i], class) {
				news[i] = class
			}
		}
	}
	return news
}
