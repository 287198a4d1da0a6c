package verify

import (
	"fmt"
	"sort"
	"strings"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// outcome is what became of one look, or of two.
type outcome struct {
	found   Found
	scans   Scans
	rule    string
	effect  string
	defeats bool
}

func (o outcome) worseThan(other outcome) bool {
	if a, b := foundRank[o.found], foundRank[other.found]; a != b {
		return a > b
	}
	return o.scans > other.scans
}

// precedence is the order in which an ordeal comes to its outcome.
func (o outcome) precedence() int {
	switch {
	case o.found == FoundWithheld:
		return 0
	case o.effect == latchedLater:
		return 1
	case o.found == FoundAnnounced:
		return 2
	case o.found == FoundKeptOut:
		return 3
	}
	return 4
}

const latchedLater = "latched when withheld"

// ordeal lets looks act on the running output: first while it runs, then while
// it is stopped by another cause and people try to start it again.
type ordeal struct {
	*trial
	looks   []look
	d       *driver
	record  *recorder
	at      Scans  // scans since the looks began
	told    string // what people were told first, and when
	toldAt  Scans
	healthy bool // nothing acts: what is told then is usual
}

// scan is one scan with all looks in it.
func (x *ordeal) scan(overrun bool) {
	x.d.healthy()
	x.d.in.Overrun = overrun
	for i := range x.looks {
		x.looks[i].apply(x.d, x.at)
	}
	if x.record != nil {
		x.record.turn(x.d)
	} else {
		x.d.turn()
	}
	x.at++
	if x.told == "" {
		if x.told = x.hear(); x.told != "" {
			x.toldAt = x.at
		}
	}
}

// hear is what people are told of now that a healthy plant would not tell.
func (x *ordeal) hear() string {
	for i := range x.d.decision.Events {
		e := &x.d.decision.Events[i]
		key := interlock.Event{Kind: e.Kind, Subject: e.Subject}
		if e.Kind == interlock.PhaseChanged {
			key.To = e.To
		}
		if x.healthy {
			x.usual[key] = true
		} else if alarms(e) && !x.usual[key] {
			return x.v.eventText(e)
		}
	}
	return ""
}

// alarms says that an event tells of something wrong, not of something done.
func alarms(e *interlock.Event) bool {
	switch e.Kind {
	case interlock.PhaseChanged:
		return monitor.Phase(e.To) != monitor.Bonded && monitor.Phase(e.To) != monitor.Settling
	case interlock.PowerUp, interlock.Overrun, interlock.AboveAccept, interlock.SettlingAgain, interlock.ReconnectedEarly,
		interlock.AcknowledgeIgnored, interlock.ReleasedTooSoon, interlock.OutputTripped, interlock.OutputStopped, interlock.ResetIgnored,
		interlock.StartIgnored, interlock.ActuatorUnconfirmed, interlock.BypassBegan, interlock.BypassEnding, interlock.BypassIgnored:
		return true
	}
	return false
}

// eventText is an event as people read it.
func (v *verification) eventText(e *interlock.Event) string {
	n := v.model.Names
	switch {
	case e.Kind == interlock.PhaseChanged:
		return n.Channels[e.Subject] + " " + monitor.Phase(e.To).String()
	case e.Kind < interlock.PhaseChanged:
		return e.Kind.String()
	case e.Kind < interlock.MayBeCharged:
		return n.Channels[e.Subject] + " " + e.Kind.String()
	case e.Kind < interlock.OutputEnabled:
		return n.Vessels[e.Subject] + " " + e.Kind.String()
	case e.Kind < interlock.BypassBegan:
		return n.Outputs[e.Subject] + " " + e.Kind.String()
	}
	return n.Bypasses[e.Subject] + " " + e.Kind.String()
}

// limit is longer than any rule takes.
func (x *ordeal) limit() Scans {
	return x.v.detectAll() + x.travel() + x.v.slowestInput() + 3
}

// travel is the longest travel time of the actuators around the output.
func (x *ordeal) travel() Scans {
	c := x.v.model.Config
	most := c.Outputs[x.output].Travel
	for _, st := range c.StreamsOf(x.output) {
		for _, o := range c.Streams[st].Through {
			most = max(most, c.Outputs[o].Travel)
		}
	}
	return most
}

// running lets the looks act until the output is withheld or every rule had its
// time, and says whether product still flows then with the bond gone.
func (x *ordeal) running() (o outcome) {
	x.d = x.s.driver.copyOf()
	for limit := x.limit(); x.at < limit; {
		if x.scan(false); !x.d.enabled() {
			o = outcome{found: FoundWithheld, scans: x.at, rule: x.v.ruleOf(x.d, x.output), effect: x.d.state.Outputs[x.output].Mode.String()}
			break
		}
	}
	if o.found != "" && x.someStuck() && !x.truly() {
		for n := x.travel() + 2; n > 0; n-- { // time to notice, and to call the backup
			x.scan(false)
		}
	}
	o.defeats = x.flows() && !x.truly()
	return o
}

func (x *ordeal) someStuck() bool {
	for i := range x.looks {
		if x.looks[i].stuck != none {
			return true
		}
	}
	return false
}

// flows says that a stream through the output flows: every actuator on its way
// is energised or truly stays open. Without streams the output itself counts.
func (x *ordeal) flows() bool {
	c := x.v.model.Config
	open := func(output int) bool {
		for i := range x.looks {
			if x.looks[i].stuck == output {
				return true
			}
		}
		return x.d.state.Outputs[output].Mode == interlock.Enabled
	}
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
func (x *ordeal) truly() bool {
	channels := len(x.v.model.Config.Channels)
	return interlock.True == evaluate(x.v.model.Config.Outputs[x.output].Permissive, func(cause int) interlock.Truth {
		for i := range x.looks {
			if x.looks[i].gone == cause {
				return interlock.False
			}
		}
		if cause < channels {
			return interlock.True
		}
		return x.s.driver.provided(cause - channels)
	})
}

func (x *ordeal) undergo() outcome {
	o := x.running()
	if o.found != "" {
		return o
	}
	name := x.v.model.Names.Outputs[x.output]
	later, latched := x.nextStop()
	switch {
	case latched:
		later.rule, later.effect = "travel time: "+name+" unconfirmed", latchedLater
	case x.told != "":
		return outcome{FoundAnnounced, x.toldAt, x.told, "announced; runs on, the permissive holds", o.defeats}
	case later.found == "":
		return outcome{FoundNothing, 0, "no rule", "runs on", o.defeats}
	}
	later.defeats = o.defeats
	return later
}

// nextStop lets overrun scans stop the output, as any other trip would, for
// longer than its actuator may take to report, and then lets people start it
// again. (Whoever resets sooner asks for it again before it is late.)
func (x *ordeal) nextStop() (o outcome, latched bool) {
	began := x.at
	for n := Scans(0); n <= x.travel()+2; n++ {
		x.scan(true)
		if x.d.state.Outputs[x.output].Unconfirmed != 0 {
			return outcome{found: FoundKeptOut, scans: x.at - began}, true
		}
	}
	if x.told != "" {
		return o, false
	}
	for n := Scans(0); n < 2*x.restart+x.limit() && !x.d.enabled(); n++ {
		x.scan(false)
	}
	if !x.d.enabled() && x.told == "" {
		o = outcome{found: FoundKeptOut, scans: x.travel() + 2, rule: "start refused: " + x.v.ruleOf(x.d, x.output), effect: "kept out after the next stop"}
	}
	return o, false
}

// healthyRestart is how long a healthy plant takes to run again after such a
// stop, and hears what people are told meanwhile.
func (x *trial) healthyRestart() Scans {
	h := &ordeal{trial: x, d: x.s.driver.copyOf(), healthy: true}
	for n := Scans(0); n < h.limit(); n++ {
		h.scan(false)
	}
	for n := Scans(0); n <= h.travel()+2; n++ {
		h.scan(true)
	}
	n := Scans(0)
	for ; !h.d.enabled() && uint64(n) < patienceOf(x.v.model.Config); n++ {
		h.scan(false)
	}
	return n
}

// ruleOf names what withholds an output now, and the channels behind it.
func (v *verification) ruleOf(d *driver, output int) string {
	var texts []string
	d.decision.Reasons[output].Each(func(text string) { texts = append(texts, text) })
	for _, ch := range v.channelsOf(output, -1) {
		if p := d.state.Channels[ch].Phase; !p.MayKeep() {
			texts = append(texts, v.model.Names.Channels[ch]+" "+p.String())
		}
	}
	return strings.Join(texts, ", ")
}

// names lists one fault, or two, in alphabetical order.
func namesOf(a, b *placed) []string {
	names := []string{a.name()}
	if b != nil {
		names = append(names, b.name())
		sort.Strings(names)
	}
	return names
}

// defeat is a set that defeats the interlock.
func (x *trial) defeat(a, b *placed, looks []look, o outcome) *Defeat {
	names := namesOf(a, b)
	d := &Defeat{Output: x.v.model.Names.Outputs[x.output], Faults: names, Seen: o.found != FoundNothing, Hidden: a.fault.Hides && (b == nil || b.fault.Hides)}
	d.Says = "runs on although the bond is gone"
	if o.found == FoundWithheld {
		d.Says = "withheld, and product flows on although the bond is gone"
	} else if o.found == FoundAnnounced {
		d.Says = "runs on although the bond is gone; told: " + o.rule
	}
	d.replay = func() *Run { return x.runOf(a, b, looks, d.Says) }
	return d
}

// runOf replays looks with a recorder. What the run claims is written as an
// expectation that it does not meet, so that whoever replays it sees the same.
func (x *trial) runOf(a, b *placed, looks []look, says string) *Run {
	r := &ordeal{trial: x, looks: looks, record: x.s.record.copyOf()}
	from := r.record.scans
	o := r.running()
	names, output := namesOf(a, b), x.v.model.Names.Outputs[x.output]
	run := r.record.finish(fmt.Sprintf("%s: %s %s", strings.Join(names, " with "), output, says), len(names))
	run.Property, run.Output = "fault table", output
	claim := output + " is not enabled"
	if o.found == FoundWithheld { // it flows on: nothing else in the stream may run
		claim = output + " is unconfirmed"
		for _, st := range x.v.model.Config.StreamsOf(x.output) {
			for _, other := range x.v.model.Config.Streams[st].Through {
				if other != x.output && r.d.state.Outputs[other].Mode == interlock.Enabled {
					claim = x.v.model.Names.Outputs[other] + " is not enabled"
				}
			}
		}
	}
	run.Expect = fmt.Sprintf("{within: %d scans, of: %d scans, that: %s}", r.record.scans-from-1, from, claim)
	if o.found == FoundWithheld && r.d.state.Outputs[x.output].Unconfirmed != 0 {
		run.Expect = fmt.Sprintf("{never: %s is unconfirmed, from: %d scans, to: %d scans}", output, from, r.record.scans)
	}
	return run
}
