package joint

import (
	"github.com/dalzilio/rudd"

	"ohmgate/interlock/verdict"
)

// timer is a bypass beside the channels, its key free.
type timer struct {
	block
	step    rudd.Node
	overdue rudd.Node // steps that break the words of the bypass
	on      rudd.Node // next
}

func (e *Engine) timerSteps() {
	t, of := e.timer, e.joint.Timer
	if t == nil {
		return
	}
	t.nowSet = e.b.Makeset(t.now)
	var all, bad []pattern
	for _, s := range of.Steps {
		row := t.code.row(of.Words[s.From], of.Words[s.To])
		if all = append(all, row); s.Bad {
			bad = append(bad, row)
		}
	}
	t.step, t.overdue = shapeOf(all, 2*len(t.code)).put(e.b, t.rowPlace), shapeOf(bad, 2*len(t.code)).put(e.b, t.rowPlace)
	t.on = e.some(&t.block, of.Words, 1, func(i int) bool { return of.On(of.Words[i]) })
}

// Bypassed says of the bypass whose timer stands beside the channels whether it
// keeps to its words, and lets the output run without the bond only while it is on
// and covers what the channel is. Nothing is that it never did.
func (e *Engine) Bypassed() (said verdict.Verdict, err error) {
	said = verdict.NotShown
	defer e.full("judging a bypass jointly", &err)
	var c *channel
	for i := range e.channels {
		if e.channels[i].Name == e.joint.Timer.Channel {
			c = &e.channels[i]
		}
	}
	moved := e.reachedMoved()
	bare := e.b.Not(e.b.Ite(e.running, c.kept, c.ready))
	hit, bad := false, e.meets(e.reached, e.timer.overdue)
	for v := range e.steps {
		without := e.b.all(moved, e.guards[v], e.steps[v], e.runs, bare)
		hit = hit || e.meets(without, c.cover)
		bad = bad || c.Cut && e.meets(without, e.b.Not(c.cover))
	}
	return e.verdict(hit, bad), nil
}

// Bypass searches the timer of a bypass beside the channels, in a search of its own.
func Bypass(j *Problem, memory uint64, progress Progress) (said verdict.Verdict, states string, err error) {
	return aside(j, memory, progress, (*Engine).Bypassed)
}
