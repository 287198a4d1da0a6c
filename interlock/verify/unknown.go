package verify

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// unknown: putting unknown in place of a value makes no permissive true that was
// not; putting a missing or invalid reading in place of a good one makes no
// channel fit that was not; and a reading that stays away in place of a bad one
// delays a loss by no more than stale-after.
func (v *verification) unknown(output int) *Result {
	r := &Result{Verdict: Shown}
	p := v.model.Config.Outputs[output].Permissive
	if len(p) == 0 {
		return &Result{Verdict: Nothing, Says: "an empty permissive allows nothing"}
	}
	for at := range p {
		if said := v.informed(&p[at]); said != "" {
			return &Result{Verdict: Violated, Says: said}
		}
	}
	for _, ch := range v.channelsOf(output, -1) {
		c := &v.model.Config.Channels[ch].Config
		pairs, said, done, err := v.pairsOf(c)
		if err != nil {
			return &Result{Verdict: NotShown, Says: err.Error()}
		}
		r.States += pairs
		switch {
		case said != "":
			r.Verdict, r.Says = Violated, v.model.Names.Channels[ch]+": "+said
			return r
		case !done:
			r.Verdict, r.Says = NotShown, fmt.Sprintf("%s: %d pairs of states, then the memory limit", v.model.Names.Channels[ch], pairs)
			return r
		}
		f, _ := v.factsOf(ch)
		alone := max(f.DetectOf[monitor.High], f.DetectOf[monitor.Open], f.DetectOf[monitor.Invalid], f.DetectOf[monitor.Missing])
		if f.Detect > alone+c.StaleAfter {
			r.Verdict, r.Says = Violated, fmt.Sprintf("%s: gaps delay a loss from %d to %d scans, by more than stale-after (%d)", v.model.Names.Channels[ch], alone, f.Detect, c.StaleAfter)
			return r
		}
	}
	r.Says = fmt.Sprintf("every node of the permissive, %d pairs of channel states", r.States)
	return r
}

// walk is what a walk of two copies of a channel found.
type walk struct {
	met  uint64
	said string
	done bool
	err  error
}

// pairsOf walks each different setting of a channel once.
func (v *verification) pairsOf(c *monitor.Config) (met uint64, said string, done bool, err error) {
	known, ok := v.walked[*c]
	if !ok {
		t, err := withoutEnd(v.logic, c, v.options.memory())
		if err == nil {
			known.met, known.said, known.done = t.worseReadings(v.options.memory())
		}
		known.err = err
		v.walked[*c] = known
	}
	return known.met, known.said, known.done, known.err
}

// informed says what is wrong with a node that an unknown argument helps.
func (v *verification) informed(n *interlock.Node) string {
	if n.Op == interlock.OpCause {
		return ""
	}
	arity := len(n.Args)
	wide := arity > 6 && n.Op != interlock.OpVote
	if wide {
		arity = 3 // AND and OR of many are those of few, one after the other
	}
	small := make(interlock.Permissive, arity+1)
	args := make([]int, arity)
	for i := range args {
		small[i], args[i] = interlock.Node{Op: interlock.OpCause, Cause: i}, i
	}
	small[arity] = interlock.Node{Op: n.Op, M: n.M, Args: args}
	value := make([]interlock.Truth, arity)
	said := ""
	var walk func(i int)
	walk = func(i int) {
		if i < arity {
			for _, t := range truths {
				value[i] = t
				walk(i + 1)
			}
			return
		}
		with := v.logic.Eval(small, value)
		if mine := evaluate(small, func(c int) interlock.Truth { return value[c] }); mine != with {
			said = fmt.Sprintf("a node of the permissive says %s of %v, by its words it is %s", with, value, mine)
		}
		for k, was := range value {
			if was != interlock.Unknown {
				value[k] = interlock.Unknown
				if v.logic.Eval(small, value) == interlock.True && with != interlock.True {
					said = "an unknown argument makes a node of the permissive true"
				}
				value[k] = was
			}
		}
	}
	walk(0)
	return said
}

// worseReadings walks two copies of a bonded channel side by side: one reads as
// it is, the other has any of its good readings replaced by missing or invalid
// ones. The second must never stay fit where the first does not, nor be without
// doubt where the first is doubtful. A pair is followed until the second is lost:
// from then on it must settle anew, and that every bond takes its whole settle
// time, whatever came before, is property 1. (While settling the two cannot be
// compared: a settling that began later, with fewer pauses, may well be the one
// that ends in a bond.)
//
// The table is one whose doubtful never ends by its longest stay. That loses
// nothing: the walk also shows that the second is never bonded while the first is
// doubtful, so the second has been doubtful for at least as long, and its stay
// ends no later.
func (t *ChannelTable) worseReadings(memory uint64) (pairs uint64, said string, done bool) {
	n := uint64(len(t.States))
	if n*n/8 > memory {
		return 0, "", false
	}
	w := sideBySide{t: t, n: n, seen: make([]uint64, (n*n+63)/64)}
	for s := uint64(0); s < n; s++ {
		if t.fitToKeep(uint32(s)) {
			w.add(uint32(s), uint32(s))
		}
	}
	for len(w.stack) > 0 && w.said == "" {
		now := w.stack[len(w.stack)-1]
		w.stack = w.stack[:len(w.stack)-1]
		w.expand(uint32(now/n), uint32(now%n))
	}
	return w.pairs, w.said, true
}

// sideBySide is the set of pairs that were met.
type sideBySide struct {
	t     *ChannelTable
	n     uint64
	seen  []uint64
	stack []uint64
	pairs uint64
	said  string
}

func (w *sideBySide) add(is, worse uint32) {
	at := uint64(is)*w.n + uint64(worse)
	if w.seen[at>>6]>>(at&63)&1 == 1 {
		return
	}
	w.seen[at>>6] |= 1 << (at & 63)
	w.pairs++
	a, b := w.t.phase(is), w.t.phase(worse)
	switch {
	case b.MayKeep() && !a.MayKeep() || b.MayStart() && !a.MayStart():
		w.said = fmt.Sprintf("with good readings withheld it is %s where it would be %s", b, a)
	case b.MayKeep():
		w.stack = append(w.stack, at)
	}
}

func (w *sideBySide) expand(is, worse uint32) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		for _, e := range w.t.from(is, news) {
			for _, f := range w.t.from(worse, news) {
				w.add(e.next, f.next)
			}
			if news == monitor.Good {
				for _, instead := range [...]monitor.Class{monitor.Missing, monitor.Invalid} {
					for _, f := range w.t.from(worse, instead) {
						w.add(e.next, f.next)
					}
				}
			}
		}
	}
}
