package joint

import "github.com/dalzilio/rudd"

// Recovery is the number of scans with all well after which every channel is
// bonded, or off where it must be, from every joint state that can be reached, and
// whether the output can then be brought to run, from every state that it can itself
// be in. -1 scans is never.
func (e *Engine) Recovery() (scans int, runs bool, err error) {
	defer e.full("searching for the way back", &err)
	bonded := e.b.True()
	for i := len(e.channels) - 1; i >= 0; i-- {
		c := &e.channels[i]
		bonded = e.b.And(bonded, e.some(&c.block, c.words, 0, func(s int) bool { return c.settled(&c.Table.States[s]) }))
	}
	outputs := e.reached
	for i := range e.channels {
		outputs = e.b.Exist(outputs, e.channels[i].nowSet)
	}
	set, scans, err := e.settle(bonded)
	if err != nil || scans < 0 {
		return scans, false, err
	}
	// Every state of the output beside every such state of the channels: more
	// than can be, never less.
	wanted, can := e.b.And(set, outputs), e.running
	for !e.b.full() {
		more := e.b.Or(can, e.before(can, e.well))
		if e.b.empty(e.b.And(wanted, e.b.Not(more))) {
			return scans, true, nil
		}
		if e.b.Equal(more, can) {
			break
		}
		can = more
		e.b.release()
	}
	return scans, false, nil
}

// settle gives every channel what it reads where all is well until all are bonded. Where every
// state of one channel goes with every state of the others, each can settle by
// itself, and the slowest counts.
func (e *Engine) settle(bonded rudd.Node) (set rudd.Node, scans int, err error) {
	set = e.b.Exist(e.reached, e.output.nowSet)
	product, each := e.b.True(), make([]rudd.Node, len(e.channels))
	for i := len(e.channels) - 1; i >= 0; i-- {
		each[i] = set
		for k := range e.channels {
			if k != i {
				each[i] = e.b.Exist(each[i], e.channels[k].nowSet)
			}
		}
		product = e.b.And(product, each[i])
	}
	if !e.b.Equal(product, set) {
		return e.settleAll(set, bonded, e.channels)
	}
	set = e.b.True()
	for i := len(e.channels) - 1; i >= 0; i-- {
		one, n, err := e.settleAll(each[i], bonded, e.channels[i:i+1])
		if err != nil || n < 0 {
			return nil, n, err
		}
		set, scans = e.b.And(set, one), max(scans, n)
	}
	return set, scans, nil
}

// settleAll does so for some channels; -1 is never.
func (e *Engine) settleAll(set, bonded rudd.Node, channels []channel) (rudd.Node, int, error) {
	for k := range e.channels {
		if len(channels) == 1 && e.channels[k].Name != channels[0].Name {
			bonded = e.b.Exist(bonded, e.channels[k].nowSet)
		}
	}
	for scans := 0; ; scans++ {
		if e.b.empty(e.b.And(set, e.b.Not(bonded))) {
			return set, scans, nil
		}
		later := set
		for i := range channels {
			later = e.b.AndExist(channels[i].nowSet, later, channels[i].under[channels[i].Reads])
		}
		later = e.b.Replace(later, e.back)
		switch {
		case e.b.full():
			return set, scans, errFull // the deferred call says how far it came
		case e.b.Equal(later, set):
			return set, -1, nil
		}
		set = later
	}
}
