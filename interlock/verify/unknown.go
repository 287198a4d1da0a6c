package verify

import (
	"fmt"
	"slices"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// unknown: putting unknown in place of a value makes no permissive true that was
// not; putting a missing or invalid reading in place of a good one makes no
// channel fit that was not; and a reading that stays away in place of a bad one
// delays a loss by no more than stale-after.
func (v *verification) unknown(output int) *Result {
	r := &Result{Verdict: Shown}
	p := v.Model.Config.Outputs[output].Permissive
	if len(p) == 0 {
		return &Result{Verdict: Nothing, Says: "an empty permissive allows nothing"}
	}
	for at := range p {
		if said := v.informed(&p[at]); said != "" {
			return &Result{Verdict: Violated, Says: said}
		}
	}
	for _, ch := range v.Model.ChannelsOf(output, -1) {
		c := &v.Model.Config.Channels[ch].Config
		if _, err := v.ChannelTable(c); err != nil {
			return &Result{Verdict: NotShown, Says: err.Error()}
		}
		known, ok := v.walked[*c]
		if !ok {
			known.compared, known.said = v.worseReadings(c)
			v.walked[*c] = known
		}
		r.Steps += known.compared
		if known.said != "" {
			r.Verdict, r.Says = Violated, v.Model.Names.Channels[ch]+": "+known.said
			return r
		}
		f, _ := v.FactsOf(ch)
		alone := max(f.DetectOf[monitor.High], f.DetectOf[monitor.Open], f.DetectOf[monitor.Invalid], f.DetectOf[monitor.Missing])
		if f.Detect > alone+c.StaleAfter {
			r.Verdict, r.Says = Violated, fmt.Sprintf("%s: gaps delay a loss from %d to %d scans, by more than stale-after (%d)", v.Model.Names.Channels[ch], alone, f.Detect, c.StaleAfter)
			return r
		}
	}
	r.Says = fmt.Sprintf("every node of the permissive, %d steps of channels side by side", r.Steps)
	return v.inverted(output, r)
}

// compared is what two channels side by side have shown.
type compared struct {
	compared uint64
	said     string
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
			for _, t := range model.Truths {
				value[i] = t
				walk(i + 1)
			}
			return
		}
		with := v.Logic.Eval(small, value)
		if mine := model.Evaluate(small, func(c int) interlock.Truth { return value[c] }); mine != with {
			said = fmt.Sprintf("a node of the permissive says %s of %v, by its words it is %s", with, value, mine)
		}
		for k, was := range value {
			if was != interlock.Unknown {
				value[k] = interlock.Unknown
				if v.Logic.Eval(small, value) == interlock.True && with != interlock.True {
					said = "an unknown argument makes a node of the permissive true"
				}
				value[k] = was
			}
		}
	}
	walk(0)
	return said
}

// worseReadings compares a bonded channel that reads as it is with one of which
// any good readings are replaced by missing or invalid ones. The second must
// never stay fit where the first does not, nor be without doubt where the first
// is doubtful, until it is lost; from then on it must settle anew, and that every
// bond takes its whole settle time, whatever came before, is property 1. (While
// settling the two cannot be compared: a settling that began later, with fewer
// pauses, may well be the one that ends in a bond.)
//
// The second is always at least as doubtful, hears no more than the first, and
// unless the first reads good both read the same. That this lasts is shown in two
// steps: from equal doubt, for every class, age and news; and that more doubt
// before never leads to less after. Doubtful never ends by its longest stay in
// this comparison; that loses nothing, because the second has been doubtful for
// at least as long.
func (v *verification) worseReadings(c *monitor.Config) (compared uint64, said string) {
	endless := *c
	endless.LongestStay = monitor.ScansMax
	w := sideBySide{v: v, c: &endless, can: table.Possible(c), doubts: v.doubts(c)}
	for class := monitor.Class(0); class < monitor.Classes && w.said == ""; class++ {
		for age := model.Scans(0); age <= c.StaleAfter.Next(); age++ {
			if (class == monitor.Missing) != (age > c.StaleAfter) || !w.can[class] {
				continue
			}
			w.moreDoubt(class, age)
			w.equalDoubt(class, age)
		}
	}
	return w.compared, w.said
}

// doubts lists the amounts of doubt that a channel can have, in rising order.
func (v *verification) doubts(c *monitor.Config) []monitor.Parts {
	t, err := v.ChannelTable(c)
	if err != nil {
		return nil
	}
	set := map[monitor.Parts]bool{0: true}
	for i := range t.States {
		set[t.States[i].Doubt] = true
	}
	list := make([]monitor.Parts, 0, len(set))
	for d := range set {
		list = append(list, d)
	}
	slices.Sort(list)
	return list
}

type sideBySide struct {
	v        *verification
	c        *monitor.Config
	can      [monitor.Classes]bool
	doubts   []monitor.Parts
	compared uint64
	said     string
}

// keeping is a channel that is fit to keep, with so much doubt.
func keeping(class monitor.Class, age model.Scans, doubt monitor.Parts) monitor.Control {
	s := monitor.Control{Phase: monitor.Bonded, Class: class, Age: age, Doubt: doubt}
	if doubt > 0 {
		s.Phase = monitor.Doubtful
	}
	return s
}

// doubtOf orders what a channel can be by how doubtful it is.
func doubtOf(s monitor.Control) uint64 {
	switch s.Phase {
	case monitor.Bonded:
		return 0
	case monitor.Doubtful:
		return 1 + uint64(s.Doubt)
	}
	return 1 << 40
}

func (w *sideBySide) step(s monitor.Control, news monitor.Class) monitor.Control {
	w.compared++
	return w.v.Logic.Advance(w.c, s, news)
}

// moreDoubt: more doubt before, everything else equal, is never less after.
func (w *sideBySide) moreDoubt(class monitor.Class, age model.Scans) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		if !w.can[news] {
			continue
		}
		less := w.step(keeping(class, age, w.doubts[0]), news)
		for _, doubt := range w.doubts[1:] {
			more := w.step(keeping(class, age, doubt), news)
			if doubtOf(more) < doubtOf(less) {
				w.said = fmt.Sprintf("with more doubt it is %s where it would be %s", more.Phase, less.Phase)
				return
			}
			less = more
		}
	}
}

// equalDoubt: the same doubt, one channel with a class and an age, the other one
// that may have heard less.
func (w *sideBySide) equalDoubt(class monitor.Class, age model.Scans) {
	for other := monitor.Class(0); other < monitor.Classes; other++ {
		for since := age; since <= w.c.StaleAfter.Next(); since++ {
			same := other == class && since == age
			if (other == monitor.Missing) != (since > w.c.StaleAfter) || !same && class != monitor.Good {
				continue
			}
			for _, doubt := range w.doubts {
				w.pair(keeping(class, age, doubt), keeping(other, since, doubt))
			}
		}
	}
}

func (w *sideBySide) pair(is, worse monitor.Control) {
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		if !w.can[news] {
			continue
		}
		a := w.step(is, news)
		for _, instead := range [...]monitor.Class{news, monitor.Missing, monitor.Invalid} {
			if instead != news && news != monitor.Good {
				continue
			}
			b := w.step(worse, instead)
			alike := a.Class == monitor.Good || a.Class == b.Class && a.Age == b.Age
			if b.Phase.MayKeep() && (doubtOf(b) < doubtOf(a) || b.Age < a.Age || !alike) {
				w.said = fmt.Sprintf("with good readings withheld it is %s (%s) where it would be %s (%s)", b.Phase, b.Class, a.Phase, a.Class)
			}
		}
	}
}
