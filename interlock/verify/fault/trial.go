package fault

import (
	"fmt"
	"strings"

	"ohmgate/interlock"
	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/tell"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// outcome is what became of one look, or of two.
type outcome struct {
	found   Found
	scans   model.Scans
	rule    string
	effect  string
	defeats bool
}

func (o outcome) worseThan(other outcome) bool {
	if o.defeats != other.defeats {
		return o.defeats
	}
	if a, b := foundRank[o.found], foundRank[other.found]; a != b {
		return a > b
	}
	return o.scans > other.scans
}

// precedence is the order in which a trial comes to its outcome.
func (o outcome) precedence() int {
	switch {
	case o.found == Withheld:
		return 0
	case o.effect == latchedLater:
		return 1
	case o.found == Announced:
		return 2
	case o.found == KeptOut:
		return 3
	}
	return 4
}

const latchedLater = "latched when withheld"

// trial lets an injection act on the running output: first while it runs, then while
// it is stopped by another cause and people try to start it again.
type trial struct {
	*campaign
	does    injection
	d       *runs.Driver
	record  *runs.Recorder
	at      model.Scans // scans since the injection began
	told    string      // what people were told first, and when
	toldAt  model.Scans
	healthy bool             // nothing acts: what is told then is usual
	mark    *interlock.State // of some scan before, to see whether the scans repeat
}

func (x *campaign) trial(does injection) *trial {
	return &trial{campaign: x, does: does, d: x.s.Driver.CopyOf(), mark: interlock.NewState(x.Model.Config)}
}

// scan is one scan with the injection in it.
func (x *trial) scan(overrun bool) {
	x.d.Healthy()
	x.d.In.Overrun = overrun
	x.does.do(x.d, x.at)
	if x.record != nil {
		x.record.Turn(x.d)
	} else {
		x.d.Turn()
	}
	x.at++
	if x.told == "" {
		if x.told = x.hear(); x.told != "" {
			x.toldAt = x.at
		}
	}
}

// hear is what people are told of now that a healthy plant would not tell.
func (x *trial) hear() string {
	for i := range x.d.Decision.Events {
		e := &x.d.Decision.Events[i]
		key := interlock.Event{Kind: e.Kind, Subject: e.Subject}
		if e.Kind == interlock.PhaseChanged {
			key.To = e.To
		}
		if x.healthy {
			x.usual[key] = true
		} else if tell.Wrong(e) && !x.usual[key] {
			return x.Model.Names.Brief(e)
		}
	}
	return ""
}

// limit is longer than any rule takes.
func (x *campaign) limit() model.Scans { return x.detect + x.travel + x.slowestInput() + 3 }

// travelOf is the longest travel time of the actuators around an output.
func travelOf(c *interlock.Config, output int) model.Scans {
	most := c.Outputs[output].Travel
	for _, st := range c.StreamsOf(output) {
		for _, o := range c.Streams[st].Through {
			most = max(most, c.Outputs[o].Travel)
		}
	}
	return most
}

// running lets the injection act until the output is withheld or every rule had its
// time.
func (x *trial) running() (o outcome) {
	if x.let(x.limit(), false, x.stopped); x.stopped() {
		o = outcome{found: Withheld, scans: x.at, rule: x.ruleOf(x.d, x.output), effect: x.d.State.Outputs[x.output].Mode.String()}
	}
	return o
}

func (x *trial) stopped() bool { return !x.d.Enabled() }

// lasts gives every actuator the time to be noticed, and to call its backup.
func (x *trial) lasts() { x.let(x.travel+2, false, never) }

func never() bool { return false }

func someStuck(looks []look) bool {
	for i := range looks {
		if looks[i].stuck != none {
			return true
		}
	}
	return false
}

// flows says that a stream through the output flows: every actuator on its way
// is energised or truly stays open. Without streams the output itself counts.
func (x *campaign) flows(looks []look, coils interlock.CoilSet) bool {
	c := x.Model.Config
	for i := range looks {
		if looks[i].stuck != none {
			coils |= 1 << looks[i].stuck
		}
	}
	open := func(output int) bool { return coils>>output&1 != 0 }
	streams := c.StreamsOf(x.output)
	if len(streams) == 0 {
		return open(x.output)
	}
	for _, st := range streams {
		all := true
		for _, o := range c.Streams[st].Through {
			all = all && open(o)
		}
		if all {
			return true
		}
	}
	return false
}

// truly is whether the permissive holds for what is true behind the looks: bonds
// that are gone are gone, whatever is read.
func (x *campaign) truly(looks []look) bool {
	channels := len(x.Model.Config.Channels)
	return interlock.True == model.Evaluate(x.Model.Config.Outputs[x.output].Permissive, func(cause int) interlock.Truth {
		for i := range looks {
			if looks[i].gone == cause {
				return interlock.False
			}
		}
		if cause < channels {
			return interlock.True
		}
		return x.s.Driver.Provided(cause - channels)
	})
}

// run is the whole trial: what comes of it, but for whether it defeats, and
// the coils after every rule had its time.
func (x *trial) run() (outcome, interlock.CoilSet) {
	o := x.running()
	coils := x.d.Decision.Coils
	if o.found == "" {
		o = x.unseen()
	}
	return o, coils
}

// unseen is what comes of an injection that does not stop the output.
func (x *trial) unseen() outcome {
	name := x.Model.Names.Outputs[x.output]
	later, latched := x.nextStop()
	switch {
	case latched:
		later.rule, later.effect = "travel time: "+name+" unconfirmed", latchedLater
	case x.told != "":
		return outcome{Announced, x.toldAt, x.told, "announced; runs on, the permissive holds", false}
	case later.found == "":
		return outcome{NotDetected, 0, "no rule", "runs on", false}
	}
	return later
}

// nextStop lets overrun scans stop the output, as any other trip would, for
// longer than its actuator may take to report, and then lets people start it
// again. (Whoever resets sooner asks for it again before it is late.)
func (x *trial) nextStop() (o outcome, latched bool) {
	late := func() bool { return x.d.State.Outputs[x.output].Unconfirmed != 0 }
	took := x.let(x.travel+3, true, late)
	switch {
	case late():
		return outcome{found: KeptOut, scans: took}, true
	case x.told != "":
		return o, false
	case !x.d.Enabled():
		x.let(2*x.restart+x.limit(), false, x.d.Enabled)
	}
	if !x.d.Enabled() && x.told == "" {
		o = outcome{found: KeptOut, scans: x.travel + 2, rule: "start refused: " + x.ruleOf(x.d, x.output), effect: "kept out after the next stop"}
	}
	return o, false
}

// healthyRestart is how long a healthy plant takes to run again after such a
// stop, and hears what people are told meanwhile.
func (x *campaign) healthyRestart() model.Scans {
	h := x.trial(injection{})
	h.healthy = true
	h.let(h.limit(), false, never)
	h.let(h.travel+3, true, never)
	return h.let(model.Scans(runs.PatienceOf(x.Model.Config)), false, h.d.Enabled)
}

// ruleOf names what withholds an output now, and the channels behind it.
func (p placer) ruleOf(d *runs.Driver, output int) string {
	var texts []string
	d.Decision.Reasons[output].Each(func(one interlock.Reason) { texts = append(texts, one.String()) })
	for _, ch := range p.Model.ChannelsOf(output, -1) {
		if phase := d.State.Channels[ch].Phase; !phase.MayKeep() {
			texts = append(texts, p.Model.Names.Channels[ch]+" "+phase.String())
		}
	}
	return strings.Join(texts, ", ")
}

// set lists one fault, or two, in alphabetical order.
func set(a, b *placed) []At {
	if b == nil {
		return []At{a.At}
	}
	if b.String() < a.String() {
		a, b = b, a
	}
	return []At{a.At, b.At}
}

// excused says that where it is a fault lets a loss look good by its nature.
func (p placer) excused(at *placed) bool {
	if at.Fault.Hides == catalogue.HidesUnsaid {
		return false
	}
	return at.Fault.On != catalogue.OnChannel && at.Fault.Hides != catalogue.HidesNothing || at.Fault.On == catalogue.OnChannel && at.Fault.HidesOn(p.channel(at.target))
}

// defeat is a set that defeats the interlock.
func (x *campaign) defeat(a, b *placed, looks []look, o outcome) *Defeat {
	d := &Defeat{Output: x.Model.Names.Outputs[x.output], Faults: set(a, b), Seen: o.found != NotDetected, Hidden: x.excused(a) && (b == nil || x.excused(b))}
	d.Says = "runs on although the bond is gone"
	if o.found == Withheld {
		d.Says = "withheld, and product flows on although the bond is gone"
	} else if o.found == Announced {
		d.Says = "runs on although the bond is gone; told: " + o.rule
	}
	d.replay = func() *runs.Run { return x.runOf(a, b, looks, d.Says) }
	return d
}

// runOf replays looks with a recorder. What the run claims is written as an
// expectation that it does not meet, so that whoever replays it sees the same.
func (x *campaign) runOf(a, b *placed, looks []look, says string) *runs.Run {
	r := x.trial(injectionOf(looks))
	r.record = x.s.Record.CopyOf()
	from := r.record.Scans
	o := r.running()
	if o.found == Withheld && someStuck(looks) && !x.truly(looks) {
		r.lasts()
	}
	faults, output := a.String(), x.Model.Names.Outputs[x.output]
	list := set(a, b)
	if len(list) == 2 {
		faults = list[0].String() + " with " + list[1].String()
	}
	run := r.record.Finish(fmt.Sprintf("%s: %s %s", faults, output, says), len(list))
	run.Property, run.Output = "fault table", output
	claim := output + " is not enabled"
	if o.found == Withheld { // it flows on: nothing else in the stream may run
		claim = output + " is unconfirmed"
		for _, st := range x.Model.Config.StreamsOf(x.output) {
			for _, other := range x.Model.Config.Streams[st].Through {
				if other != x.output && r.d.State.Outputs[other].Mode == interlock.Enabled {
					claim = x.Model.Names.Outputs[other] + " is not enabled"
				}
			}
		}
	}
	run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s}", r.record.Scans-from-1, from, claim)
	if o.found == Withheld && r.d.State.Outputs[x.output].Unconfirmed != 0 {
		run.Expect = fmt.Sprintf("{never: %s is unconfirmed, from: %d scans, to: %d scans}", output, from, r.record.Scans)
	}
	return run
}
