package verify

import (
	"fmt"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// Lemma is one counter, checked alone for its real length: after how many scans
// it takes effect, and that every value inside a cell steps like the two that
// stand for it.
type Lemma struct {
	Counter  string      `json:"counter"`
	Of       string      `json:"of"`
	Expected model.Scans `json:"scans"`
	Found    model.Scans `json:"found"`
	Values   uint64      `json:"steps_compared"`
	Wrong    string      `json:"wrong,omitempty"`

	// Where the site shows the counter: its value, at which it steps wrongly, and
	// what must go wrong for it to count.
	counts func(s *interlock.State) model.Scans
	at     model.Scans
	needs  *deviation
}

// The counters, by what they count.
const (
	counterOnDelay     = "on-delay"
	counterTravel      = "travel time"
	counterPress       = "press"
	counterDoubt       = "longest doubt"
	counterInput       = "age of an input"
	counterBypass      = "bypass"
	counterWait        = "wait"
	counterRest        = "rest"
	counterAcknowledge = "acknowledge"
	counterFlow        = "end of flow"
	counterRunDown     = "run-down"
)

func (l *Lemma) holds() bool { return l.Wrong == "" }

func (l *Lemma) expect(found model.Scans) {
	l.Found = found
	if found != l.Expected {
		l.at = min(found, l.Expected) - min(found, l.Expected, 2)
		l.Wrong = fmt.Sprintf("takes effect after %d scans, must take %d", found, l.Expected)
	}
}

func (l *Lemma) refuse(format string, args ...any) {
	if l.Wrong == "" {
		l.Wrong = fmt.Sprintf(format, args...)
	}
}

// refuseAt is refuse for one value of the counter.
func (l *Lemma) refuseAt(at model.Scans, format string, args ...any) {
	if l.Wrong == "" {
		l.at = at
	}
	l.refuse(format, args...)
}

// lemmas checks the counters of everything in the cones of the wanted outputs.
func (v *verification) lemmas() {
	seen := map[string]bool{}
	add := func(key string, make func() Lemma, counts func(s *interlock.State) model.Scans) {
		if !seen[key] {
			seen[key] = true
			l := make()
			l.counts = counts
			v.report.Lemmas = append(v.report.Lemmas, l)
		}
	}
	c := v.Model.Config
	for _, o := range v.outputs {
		out, name := &c.Outputs[o], v.Model.Names.Outputs[o]
		add("output"+runs.OutputKey(out), func() Lemma { return v.onDelay(out, name) }, func(s *interlock.State) model.Scans { return s.Outputs[o].On })
		if out.Confirmable() {
			add("travel"+runs.OutputKey(out), func() Lemma { return v.travel(o) }, func(s *interlock.State) model.Scans { return s.Outputs[o].Disagree })
		}
		if out.Reset != 0 {
			add(fmt.Sprint("press", out.Press), func() Lemma { return v.buttonLemma(out.Press, name) }, nil)
		}
		for _, i := range c.VesselsOf(o) {
			v.vesselLemmas(i, add)
		}
		for _, ch := range v.Model.ChannelsOf(o, -1) {
			add(fmt.Sprint("stay", c.Channels[ch].Config), func() Lemma { return v.stay(&c.Channels[ch].Config, v.Model.Names.Channels[ch]) }, nil)
		}
	}
	for i := range c.Inputs {
		in := &c.Inputs[i]
		add(fmt.Sprint("input", *in), func() Lemma { return v.inputLemma(in, v.Model.Names.Inputs[i]) }, nil)
	}
	for i := range c.Bypasses {
		b := &c.Bypasses[i]
		add(fmt.Sprint("bypass", b.For, b.Gap, b.Warn), func() Lemma { return v.bypassLemma(b, v.Model.Names.Bypasses[i]) }, nil)
	}
}

// vesselLemmas adds the counters of one vessel and of the streams that charge it.
func (v *verification) vesselLemmas(i int, add func(key string, make func() Lemma, counts func(s *interlock.State) model.Scans)) {
	c := v.Model.Config
	vessel, name := &c.Vessels[i], v.Model.Names.Vessels[i]
	add(fmt.Sprint("wait", vessel.Wait, vessel.Rest, vessel.Press), func() Lemma { return v.wait(vessel, name) }, func(s *interlock.State) model.Scans { return s.Vessels[i].Waited })
	add(fmt.Sprint("rest", vessel.Rest), func() Lemma { return v.restLemma(vessel, name) }, func(s *interlock.State) model.Scans { return s.Vessels[i].Rested })
	if vessel.Acknowledge != 0 {
		add(fmt.Sprint("acknowledge", vessel.Press), func() Lemma { return v.acknowledgeLemma(vessel, name) }, nil)
	}
	for _, st := range c.ChargedBy(i) {
		add(fmt.Sprint("flow", c.Streams[st].Through, c.Streams[st].Flow), func() Lemma { return v.flowLemma(st) }, nil)
		add(fmt.Sprint("rundown", c.Streams[st].RunDown), func() Lemma { return v.runDown(&c.Streams[st], v.Model.Names.Streams[st]) }, func(s *interlock.State) model.Scans { return s.Streams[st].Stopped })
	}
}

// wait: the charge memory clears after more than the wait in still scans, never
// sooner, and anything else than a still scan starts it again.
func (v *verification) wait(c *interlock.Vessel, name string) Lemma {
	l := Lemma{Counter: counterWait, Of: name, Expected: c.Wait.Next()}
	still := interlock.VesselScan{Bonded: interlock.False, Still: true}
	n := model.Scans(0)
	for s := (interlock.VesselState{}); !s.Clear && n <= l.Expected+1; n++ {
		s, _ = v.Logic.Vessel(c, s, still)
	}
	l.expect(n)
	t := table.TabulateVessel(v.Logic, c)
	for _, k := range t.States {
		if t.Waited.Last(k.Waited) <= t.Waited.First[k.Waited]+1 {
			continue
		}
		for number := 0; number < table.VesselScans; number++ {
			letter := table.VesselScanOf(number)
			in := interlock.VesselScan{Bonded: letter.Bonded, Still: letter.Still, FlowSeen: letter.FlowSeen, Reconnected: letter.Reconnected, Acknowledge: interlock.False, AcknowledgeFresh: true}
			like := interlock.VesselState{Clear: k.Clear, Held: k.Held, Early: k.Early, Waited: t.Waited.First[k.Waited], Ack: interlock.Button{Phase: interlock.Idle}}
			first, _ := v.Logic.Vessel(c, like, in)
			for at := like.Waited; at < t.Waited.Last(k.Waited); at++ {
				like.Waited = at
				next, _ := v.Logic.Vessel(c, like, in)
				l.Values++
				if next.Waited != 0 && next.Waited != at+1 || next.Clear != first.Clear || next.Early != first.Early || next.Held != first.Held || (next.Waited == 0) != (first.Waited == 0) {
					l.refuseAt(at, "at %d scans waited it steps as at no other", at)
				}
			}
		}
	}
	return l
}

// restLemma: an earth that is taken off before more than the rest has passed in
// still scans is told to be taken off too soon, and later it is not.
func (v *verification) restLemma(c *interlock.Vessel, name string) Lemma {
	l := Lemma{Counter: counterRest, Of: name, Expected: c.Rest.Next()}
	off := interlock.VesselScan{Bonded: interlock.False, Still: true}
	on := interlock.VesselScan{Bonded: interlock.True, Still: true}
	n, soon := model.Scans(0), true
	for s := (interlock.VesselState{Clear: true, Held: true}); soon && n <= l.Expected+1; n++ {
		_, told := v.Logic.Vessel(c, s, off)
		if soon = told.TooSoon; !told.Released {
			l.refuseAt(n, "at %d scans of rest nobody is told that the earth is taken off", n)
		}
		if flows, _ := v.Logic.Vessel(c, s, interlock.VesselScan{Bonded: interlock.True}); flows.Rested != 0 {
			l.refuseAt(n, "at %d scans of rest flow does not start it again", n)
		}
		s, _ = v.Logic.Vessel(c, s, on)
		l.Values += 3
	}
	l.expect(n)
	return l
}

// acknowledgeLemma runs the acknowledge button of a vessel beside the words of
// the property, over every input, with and without an early reconnection: what
// counts is one whole press begun while it stood, and with no other one since.
func (v *verification) acknowledgeLemma(c *interlock.Vessel, name string) Lemma {
	l := Lemma{Counter: counterAcknowledge, Of: name}
	type pair struct {
		logic  interlock.VesselState
		words  vesselMemory
		memory uint8
	}
	everyPair(func(now pair, to func(pair)) {
		for number, r := range table.Levels {
			for _, again := range [...]bool{false, true} {
				if !r.Follows(now.memory) {
					continue
				}
				in := interlock.VesselScan{Reconnected: again, Acknowledge: r.Value, AcknowledgeFresh: r.Fresh}
				next, told := v.Logic.Vessel(c, now.logic, in)
				words, given := now.words.see(c, in, uint8(number))
				l.Values++
				if told.Acknowledged != given || next.Early != words.early {
					l.refuse("a press of %d scans counts where it must not, or does not where it must", now.words.pressed)
				}
				if l.holds() {
					to(pair{next, words, table.ButtonOf(r.Value)})
				}
			}
		}
	})
	return l
}

// everyPair calls step once with everything that steps lead to from power-up.
func everyPair[T comparable](step func(now T, to func(T))) {
	queue := make([]T, 1)
	seen := map[T]bool{queue[0]: true}
	for len(queue) > 0 {
		now := queue[0]
		queue = queue[1:]
		step(now, func(next T) {
			if !seen[next] {
				seen[next] = true
				queue = append(queue, next)
			}
		})
	}
}

func (v *verification) runDown(c *interlock.Stream, name string) Lemma {
	l := Lemma{Counter: counterRunDown, Of: name, Expected: c.RunDown.Next()}
	s, n := interlock.StreamState{}, model.Scans(0)
	for ; !s.Still(c) && n <= l.Expected+1; n++ {
		if flows := v.Logic.Stream(c, s, false); flows.Stopped != 0 {
			l.refuseAt(n, "flow does not start the run-down again at %d", n)
		}
		s = v.Logic.Stream(c, s, true)
		l.Values += 2
	}
	l.expect(n)
	return l
}

// travel: withheld and never reported stopped is unconfirmed after travel plus
// one scan, whatever the value of the count was before.
func (v *verification) travel(output int) Lemma {
	c := &v.Model.Config.Outputs[output]
	l := Lemma{Counter: counterTravel, Of: v.Model.Names.Outputs[output], Expected: c.Travel.Next(),
		needs: v.stuckAway(output)}
	s, n := interlock.OutputControl{}, model.Scans(0)
	silent := interlock.OutputScan{Keep: interlock.True, Start: interlock.True, Reset: interlock.False, Begin: interlock.False}
	for ; s.Unconfirmed == 0 && n <= l.Expected+1; n++ {
		s, _ = v.Logic.Output(c, s, silent)
	}
	l.expect(n)
	if !table.MayBeOpen(s.Unconfirmed) {
		l.refuse("an actuator that stays open does not call its backup")
	}
	v.runsAgainst(c, &l)
	for at := model.Scans(0); at < c.Travel; at++ {
		off := interlock.OutputScan{Keep: interlock.False, Reset: interlock.False, Begin: interlock.False}
		if next, _ := v.Logic.Output(c, interlock.OutputControl{Mode: interlock.Enabled, Disagree: at}, off); next.Disagree != 0 {
			l.refuseAt(at, "withheld after %d scans without a report, it does not count anew", at)
		}
		l.Values++
	}
	h := table.ShapeOf(c, true)
	for _, mode := range [...]interlock.Mode{interlock.KeptOut, interlock.Tripped, interlock.Enabled} {
		for number := range h.Ends {
			letter := table.OutputScan{Perm: interlock.True, Ends: uint8(number)}
			in := letter.Arm(h)
			for at := model.Scans(1); at < c.Travel; at++ {
				next, _ := v.Logic.Output(c, interlock.OutputControl{Mode: mode, Disagree: at}, in)
				l.Values++
				if next.Disagree != 0 && next.Disagree != at+1 || next.Unconfirmed != 0 {
					l.refuseAt(at, "at %d scans without a report it steps as at no other", at)
				}
			}
		}
	}
	return l
}

// runsAgainst: enabled and never reported running is unconfirmed, and withheld,
// just as late.
func (v *verification) runsAgainst(c *interlock.Output, l *Lemma) {
	s, n := interlock.OutputControl{Mode: interlock.Enabled}, model.Scans(0)
	silent := interlock.OutputScan{Keep: interlock.True, Home: true, Reset: interlock.False, Begin: interlock.False}
	for ; s.Unconfirmed == 0 && s.Mode == interlock.Enabled && n <= l.Expected+1; n++ {
		s, _ = v.Logic.Output(c, s, silent)
	}
	switch {
	case n != l.Expected:
		l.refuse("an actuator that does not run is noticed after %d scans, must be after %d", n, l.Expected)
	case s.Mode == interlock.Enabled:
		l.refuse("an actuator that does not run stays enabled")
	}
}

// onDelay: enabled only when the permissive has been true for more than the
// on-delay; anything else starts it again.
func (v *verification) onDelay(c *interlock.Output, name string) Lemma {
	l := Lemma{Counter: counterOnDelay, Of: name, Expected: c.OnDelay.Next()}
	ready := interlock.OutputScan{Keep: interlock.True, Start: interlock.True, Home: true, Away: !c.Confirmable(), Reset: interlock.False, Begin: interlock.False}
	s, n := interlock.OutputControl{Armed: true}, model.Scans(0)
	for n = 1; n <= l.Expected+1; n++ {
		var told interlock.OutputTold
		s, told = v.Logic.Output(c, s, ready)
		if told.Reasons&interlock.ReasonDelay == 0 {
			break
		}
	}
	l.expect(n)
	for _, perm := range model.Truths {
		in := ready
		in.Keep, in.Start = perm, perm
		for at := model.Scans(0); at <= c.OnDelay; at++ {
			next, _ := v.Logic.Output(c, interlock.OutputControl{On: at}, in)
			l.Values++
			want := at + 1
			if perm != interlock.True || next.Mode == interlock.Enabled {
				want = 0
			}
			if next.On != want {
				l.refuseAt(at, "at %d scans of on-delay it counts to %d", at, next.On)
			}
		}
	}
	return l
}

// stay: doubtful ends after its longest stay whatever is read in between.
func (v *verification) stay(c *monitor.Config, name string) Lemma {
	l := Lemma{Counter: counterDoubt, Of: name, Expected: c.LongestStay}
	s, n := monitor.Control{Phase: monitor.Doubtful, Doubt: 1, Class: monitor.High}, model.Scans(0)
	for ; s.Phase == monitor.Doubtful && n <= l.Expected+1; n++ {
		s = v.Logic.Advance(c, s, monitor.Between)
		l.Values++
	}
	l.expect(n)
	for news := monitor.Class(0); news < monitor.Classes; news++ {
		like := v.Logic.Advance(c, monitor.Control{Phase: monitor.Doubtful, Doubt: 1, Class: monitor.High, Stay: 1}, news)
		for at := model.Scans(1); at+1 < c.LongestStay; at++ {
			next := v.Logic.Advance(c, monitor.Control{Phase: monitor.Doubtful, Doubt: 1, Class: monitor.High, Stay: at}, news)
			l.Values++
			if next.Phase != like.Phase && at+2 < c.LongestStay || next.Phase == monitor.Doubtful && next.Stay != at+1 {
				l.refuse("at %d scans of doubt it steps as at no other", at)
			}
		}
	}
	return l
}

// buttonLemma runs the button with its real count beside the words of the
// property with a count of their own, over every input and condition.
func (v *verification) buttonLemma(p interlock.Press, name string) Lemma {
	l := Lemma{Counter: counterPress, Of: name}
	type pair struct {
		b             interlock.Button
		press, memory uint8
		held          model.Scans
		was           bool
	}
	everyPair(func(now pair, to func(pair)) {
		for number, r := range table.Levels {
			if !r.Follows(now.memory) {
				continue
			}
			for _, ready := range [...]bool{false, true} {
				b, _ := v.Logic.Button(p, now.b, r.Value, r.Fresh, now.was, ready)
				press, held, given := wordsOfPress(p, now.press, now.held, uint8(number), now.was, ready)
				l.Values++
				if given != (b.Phase == interlock.Given) {
					l.refuse("a press of %d scans counts where it must not, or does not where it must", now.held)
				}
				if l.holds() {
					to(pair{b, press, table.ButtonOf(r.Value), held, ready})
				}
			}
		}
	})
	return l
}

// wordsOfPress is the rule of a press with a count of its own.
func wordsOfPress(p interlock.Press, press uint8, held model.Scans, number uint8, was, ready bool) (uint8, model.Scans, bool) {
	r := table.Levels[number]
	low, high := r.Value == interlock.False, r.Value == interlock.True
	switch {
	case press == table.PressSpoiled:
		if low && r.Fresh {
			return table.PressIdle, 0, false
		}
		return table.PressSpoiled, 0, false
	case r.Value == interlock.Unknown:
		return table.PressSpoiled, 0, false
	case press == table.PressIdle:
		if high && r.Fresh {
			if was && ready {
				return table.PressDown, 1, false
			}
			return table.PressSpoiled, 0, false
		}
		return table.PressIdle, 0, false
	case !ready:
		return table.PressSpoiled, 0, false
	case high:
		if press == table.PressUp || held+1 > p.Max {
			return table.PressSpoiled, 0, false
		}
		return table.PressDown, held + 1, false
	case !r.Fresh:
		return press, held, false
	case held < p.Min:
		return table.PressSpoiled, 0, false
	case press == table.PressUp:
		return table.PressIdle, 0, true
	}
	return table.PressUp, held, false
}

// bypassLemma runs a bypass beside the words of the property for its real time,
// over every value of its key in every scan: it begins with a new press after its
// gap, ends by time alone, and cannot be renewed.
func (v *verification) bypassLemma(c *interlock.Bypass, name string) Lemma {
	l := Lemma{Counter: counterBypass, Of: name}
	type pair struct {
		logic  interlock.BypassState
		key    table.KeyMemory
		on     model.Scans
		memory uint8
	}
	everyPair(func(now pair, to func(pair)) {
		for _, r := range table.Levels {
			if !r.Follows(now.memory) {
				continue
			}
			next := pair{v.Logic.Bypass(c, now.logic, r.Value, r.Fresh), now.key, now.on, table.ButtonOf(r.Value)}
			switch {
			case now.on > 0:
				next.on = (now.on + 1) % c.For.Next()
			case r.Value == interlock.True && r.Fresh && now.key.Low && now.key.Gap > c.Gap:
				next.on = 1
			}
			next.key = now.key.See(r.Value, r.Fresh, now.on > 0, c.Gap)
			l.Values++
			if next.logic.Active != next.on {
				l.refuse("on for %d scans where it must be for %d (of %d, 0 is off), its key at 0 for %d scans before", next.logic.Active, next.on, c.For, now.key.Gap)
			}
			if l.holds() {
				to(next)
			}
		}
	})
	return l
}

// inputLemma runs an input beside the words of its age: a gap repeats the last
// value for stale-after scans and is no news; what is faulty is unknown at once.
func (v *verification) inputLemma(c *interlock.Input, name string) Lemma {
	l := Lemma{Counter: counterInput, Of: name}
	for _, level := range model.Truths {
		for age := model.Scans(0); age <= c.StaleAfter; age++ {
			for signal := interlock.NoSignal; signal <= interlock.High; signal++ {
				s := interlock.InputState{Level: level, Age: age}
				got, news := v.Logic.Input(c, s, signal)
				want, fresh := heard(c, s, signal)
				l.Values++
				if got != want || news != fresh {
					l.refuse("%s for %d scans, then %s: taken as %s, must be %s", levelText(level), age, [...]string{"nothing", "a fault", "0", "1"}[signal], levelText(got.Level), levelText(want.Level))
				}
			}
		}
	}
	return l
}

// maxWay is how many outputs on the way of a stream are tried in every way; more of
// them are at rest and report nothing.
const maxWay = 3

// flowLemma compares when a stream counts as stopped, and as seen to flow, with
// the words of it, for everything that the first outputs on its way can show.
func (v *verification) flowLemma(stream int) Lemma {
	l := Lemma{Counter: counterFlow, Of: v.Model.Names.Streams[stream]}
	c := v.Model.Config
	st, s := &c.Streams[stream], interlock.NewState(c)
	level := func(ref interlock.Ref) interlock.Truth {
		if ref == 0 {
			return interlock.Unknown
		}
		return s.Inputs[ref-1].Level
	}
	each := func(ref interlock.Ref, then func()) {
		if ref == 0 {
			then()
			return
		}
		for _, s.Inputs[ref-1].Level = range model.Truths {
			then()
		}
	}
	var try func(n int)
	try = func(n int) {
		if n == min(len(st.Through), maxWay) {
			each(st.Flow, func() {
				stopped, seen := v.Logic.Look(c, stream, s)
				mustStop, mustSee := flowOf(c, stream, level, s.Outputs)
				l.Values++
				if stopped != mustStop || seen != mustSee {
					l.refuse("taken as stopped: %v, seen to flow: %v; must be %v and %v", stopped, seen, mustStop, mustSee)
				}
			})
			return
		}
		o := &c.Outputs[st.Through[n]]
		for _, memory := range [...]interlock.OutputControl{{}, {Mode: interlock.Enabled}, {Unconfirmed: interlock.StayedOpen}} {
			s.Outputs[st.Through[n]].OutputControl = memory
			each(o.Closed, func() { each(o.Opened, func() { try(n + 1) }) })
		}
	}
	try(0)
	return l
}
