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
		t, err := v.channelTable(c)
		if err != nil {
			return &Result{Verdict: NotShown, Says: err.Error()}
		}
		pairs, said, done := t.worseReadings(v.options.memory())
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

// worseReadings walks two copies of a channel side by side: one reads as it is,
// the other has any of its good readings replaced by missing or invalid ones. The
// second must never be fit where the first is not.
func (t *ChannelTable) worseReadings(memory uint64) (pairs uint64, said string, done bool) {
	type pair struct{ is, worse uint32 }
	seen := map[pair]bool{{}: true}
	queue := []pair{{}}
	for len(queue) > 0 {
		now := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		if a, b := t.phase(now.is), t.phase(now.worse); b.MayKeep() && !a.MayKeep() || b.MayStart() && !a.MayStart() {
			return uint64(len(seen)), fmt.Sprintf("with good readings withheld it is %s where it would be %s", b, a), true
		}
		if t.fitToKeep(now.is) && !t.fitToKeep(now.worse) {
			continue
		}
		if uint64(len(seen))*40 > memory || len(seen) > maxPairs {
			return uint64(len(seen)), "", false
		}
		for news := monitor.Class(0); news < monitor.Classes; news++ {
			instead := []monitor.Class{news}
			if news == monitor.Good {
				instead = append(instead, monitor.Missing, monitor.Invalid)
			}
			for _, e := range t.from(now.is, news) {
				for _, other := range instead {
					for _, f := range t.from(now.worse, other) {
						next := pair{e.next, f.next}
						if !seen[next] {
							seen[next] = true
							queue = append(queue, next)
						}
					}
				}
			}
		}
	}
	return uint64(len(seen)), "", true
}

// maxPairs bounds the walk of two channels side by side.
const maxPairs = 3 << 20
