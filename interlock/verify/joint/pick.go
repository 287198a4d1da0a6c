package joint

import "github.com/dalzilio/rudd"

// state is one joint state, as the rows of the parts.
type state struct {
	output   uint32
	channels []uint32
}

// chosen is the state of an assignment.
func (e *Engine) chosen(yes map[int]bool) state {
	s := state{output: e.output.row(yes)}
	for i := range e.channels {
		s.channels = append(s.channels, e.channels[i].row(yes))
	}
	return s
}

func (b *block) row(yes map[int]bool) uint32 {
	var word uint64
	for i, bit := range b.code {
		if yes[b.now[i]] {
			word |= 1 << bit
		}
	}
	row, ok := b.rows[word]
	if !ok {
		panic("joint: a set holds a state that its part does not have")
	}
	return row
}

// cubeOf is one state of one part.
func (e *Engine) cubeOf(b *block, row uint32) rudd.Node {
	set := e.b.True()
	for i := len(b.now) - 1; i >= 0; i-- {
		if b.words[row]>>b.code[i]&1 == 1 {
			set = e.b.And(set, e.b.Ithvar(b.now[i]))
		} else {
			set = e.b.And(set, e.b.NIthvar(b.now[i]))
		}
	}
	return set
}

// cube is one joint state.
func (e *Engine) cube(s state) rudd.Node {
	set := e.b.True()
	for i := len(e.channels) - 1; i >= 0; i-- {
		set = e.b.And(set, e.cubeOf(&e.channels[i].block, s.channels[i]))
	}
	return e.b.And(set, e.cubeOf(&e.output, s.output))
}

// backwards picks a run that ends in a state of the last set: one state of each.
func (e *Engine) backwards(sets []rudd.Node, last state, s scan) []state {
	run := make([]state, len(sets))
	run[len(run)-1] = last
	for k := len(run) - 2; k >= 0; k-- {
		run[k] = e.chosen(e.b.one(e.b.And(sets[k], e.before(e.cube(run[k+1]), s))))
	}
	return run
}
