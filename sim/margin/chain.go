package margin

import (
	"fmt"
	"math"
	"strings"
	"time"

	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// Delay is one link of the chain from the loss to the end of flow.
type Delay struct {
	Name string            `json:"name"`
	Time interval.Interval `json:"time"` // s
	From string            `json:"from"`
	Why  string            `json:"why,omitempty"`

	drawn     string // its name in a picture of links that follow each other; empty: it is none
	afterStop bool   // the run-down after the confirmed stop
}

// Class is how fast one class of bad readings is caught by one channel.
type Class struct {
	Channel    string  `json:"channel"`
	Class      string  `json:"class"`
	Guaranteed float64 `json:"guaranteed"` // s, a shorter disturbance never trips
	Detection  float64 `json:"detection"`  // s, at the latest, aperture and poll included
}

// chain is every delay of one node's line.
type chain struct {
	delays  []Delay
	classes []Class
	runDown charge.RunDown
	// detection is from the loss to the scan of the trip, s.
	detection interval.Interval
	// quickest is the detection with no patience at all, s.
	quickest interval.Interval
	// afterTrip is from the decision to first movement, s.
	afterTrip interval.Interval
	stuck     *charge.RunDown // the first actuator stays open and its backup stops the flow
	stuckWho  string
}

func seconds(d time.Duration) float64 { return d.Seconds() }

// chain builds the delays for a node whose loss trips these outputs.
func (b *bench) chain(nd *node, f flow, stops []int, n *notes) chain {
	var c chain
	b.detect(nd, &c)
	turn := upTo(seconds(b.site.Period.Max))
	c.add("scan, until the output is written", "scan", turn, FromLogic, "one scan at most")
	c.afterTrip = b.actuate(stops, &c, n)
	travel := b.travel(nd, stops, f, &c, n)
	c.runDown.Delay = c.detection.Add(turn).Add(c.afterTrip)
	c.runDown.Law = f.law
	c.runDown.Travel = travel
	b.stuck(nd, stops, &c)
	return c
}

func (c *chain) add(name, drawn string, t interval.Interval, from, why string) {
	c.delays = append(c.delays, Delay{Name: name, Time: t, From: from, Why: why, drawn: drawn})
}

// detect is the first link: what the transmitter, the bus and the patience take.
func (b *bench) detect(nd *node, c *chain) {
	worst, response, base := 0.0, 0.0, 0.0
	var slowest Class
	for _, i := range nd.channels {
		ch := &b.site.Channels[i]
		response = max(response, seconds(ch.ResponseTime))
		poll := 0.0
		if b.site.Poll > b.site.Period.Max {
			poll = seconds(b.site.Poll)
		}
		base = max(base, seconds(ch.Aperture)+poll+seconds(b.site.Period.Max))
		for _, t := range b.timings[i].Patience {
			class := Class{ch.Name, className(t.Class), seconds(t.Guaranteed), seconds(t.Detection)}
			c.classes = append(c.classes, class)
			if class.Detection >= worst {
				worst, slowest = class.Detection, class
			}
		}
	}
	c.add("detection, slowest class ("+slowest.Class+")", "detection", upTo(worst), FromLogic, "aperture, poll, scan phase and patience; 0 when in doubt already")
	if response > 0 {
		c.add("response of the transmitter", "response of the transmitter", upTo(response), FromFile, "")
	}
	c.detection = upTo(worst + response)
	c.quickest = upTo(base + response)
}

func className(class monitor.Class) string { return class.String() }

// Delays of the last links where the file is silent, s (common practice).
var (
	outputDelayDefault = upTo(0.1)
	valveDeadDefault   = upTo(1)
	motorDeadDefault   = upTo(0.2)
)

// actuate is from the decision until the first of the tripped outputs moves.
func (b *bench) actuate(stops []int, c *chain, n *notes) interval.Interval {
	var contact, dead interval.Interval
	from := [2]string{FromFile, FromFile}
	for k, i := range stops {
		o := &b.site.Outputs[i]
		path := "outputs." + o.Name
		delay, still := of(o.OutputDelay), of(o.DeadTime)
		if !o.OutputDelay.Set {
			from[0] = FromDefault
			delay = n.assume("output delay of "+o.Name, outputDelayDefault, "s", path+".output_delay", "common practice: output module and contactor")
		}
		if !o.DeadTime.Set {
			from[1] = FromDefault
			still = motorDeadDefault
			if o.Actuator == "valve" {
				still = valveDeadDefault
			}
			still = n.assume("dead time of "+o.Name, still, "s", path+".confirm.dead_time", "common practice, until measured")
		}
		if k == 0 {
			contact, dead = delay, still
			continue
		}
		// Whichever stops first stops the stream.
		contact, dead = contact.Min(delay), dead.Min(still)
	}
	c.add("output contact", "output contact", contact, from[0], "")
	c.add("dead time of the actuator", "dead time of the actuator", dead, from[1], strings.Join(b.names(stops), ", "))
	return contact.Add(dead)
}

func (b *bench) names(outputs []int) []string {
	var list []string
	for _, i := range outputs {
		list = append(list, b.site.Outputs[i].Name)
	}
	return list
}

// legalStop is the longest time in which flow must legally have stopped, s: the
// default when nothing at all is known of the travel.
const legalStop = 60

// profiles are the words of the site file.
var profiles = map[string]charge.Shape{
	"full": charge.FullUntilConfirmed, "linear": charge.Linear, "first-order": charge.FirstOrder, "reciprocal": charge.Reciprocal,
}

// travel is the time in which the flow dies away, with its shape.
func (b *bench) travel(nd *node, stops []int, f flow, c *chain, n *notes) interval.Interval {
	s := nd.stream
	path := "streams." + s.Name
	c.runDown.Shape = profiles[s.Profile]
	if !b.site.Has(path + ".profile") {
		n.word("run-down profile", "full", path+".profile", "not known: the full current until the end of flow")
	}
	tail := upTo(0)
	if b.site.Confirmable(s) && s.RunDown > 0 {
		tail = upTo(seconds(s.RunDown))
	}
	whole, from, why := b.stopTime(nd, stops, n)
	if s.ProfileTime.Set {
		switch c.runDown.Shape {
		case charge.FullUntilConfirmed, charge.Linear:
			whole, from, why = of(s.ProfileTime), FromFile, path+".profile_time"
		default:
			c.runDown.TimeConstant = of(s.ProfileTime)
			c.add("time constant of the run-down", "", c.runDown.TimeConstant, FromFile, "")
			whole, why = tailEnd(whole, c.runDown.TimeConstant, tail, why)
		}
	} else if c.runDown.Shape == charge.FirstOrder || c.runDown.Shape == charge.Reciprocal {
		n.word("time of the profile", "none", path+".profile_time", "without a time constant the full current is counted until the end of flow")
		c.runDown.Shape = charge.FullUntilConfirmed
	}
	c.add("flow dies away, "+c.runDown.Shape.String(), "flow dies away", whole, from, why)
	if tail.Hi > 0 {
		c.add("run-down after the confirmed stop", "run-down", tail, FromFile, "the profile is stretched over it")
		c.delays[len(c.delays)-1].afterStop = true
	}
	return whole.Add(tail)
}

// tailConstants is after how many time constants a tail counts as ended; of an
// exponential one 0.7 % of the flow is left then.
const tailConstants = 5

// tailEnd is the end of a flow that dies away in a tail: where the file says
// that it ends while the tail still flows, the longer time counts. It may end as
// soon as the actuator has moved.
func tailEnd(whole, constant, rest interval.Interval, why string) (interval.Interval, string) {
	least := min(whole.Hi, tailConstants*constant.Lo)
	if tail := tailConstants * constant.Hi; tail > whole.Hi+rest.Hi {
		return interval.Interval{Lo: least, Hi: tail}, fmt.Sprintf("up to %d time constants: the tail still flows at the end that the file gives", tailConstants)
	}
	return interval.Interval{Lo: least, Hi: whole.Hi}, why
}

// stopTime is from first movement until no product flows, where the profile's
// own time does not say it.
func (b *bench) stopTime(nd *node, stops []int, n *notes) (t interval.Interval, from, why string) {
	s := nd.stream
	path := "streams." + s.Name
	best := math.Inf(1)
	who := ""
	for _, i := range stops {
		if o := &b.site.Outputs[i]; o.Travel > 0 && seconds(o.Travel) < best {
			best, who = seconds(o.Travel), o.Name
		}
	}
	bored := s.Bore.Set && s.Bore.Hi > 0
	switch {
	case who != "":
		return upTo(best), FromFile, "longest travel of " + who
	case s.LongestStop > 0:
		return upTo(seconds(s.LongestStop)), FromFile, path + ".longest_stop"
	case bored:
		rule := charge.TravelDefault(s.Bore.Hi)
		return n.fact("travel", rule, upTo(rule.Value.Hi), path+".profile_time"), FromDefault, rule.Note
	}
	return n.assume("travel", upTo(legalStop), "s", path+".profile_time", "33 CFR 154.550 (seen): older marine facilities must have stopped within it"), FromDefault, ""
}

// stuck is the case of a tripped actuator that does not move: its backup is
// called when the travel time is over.
func (b *bench) stuck(nd *node, stops []int, c *chain) {
	for _, i := range stops {
		o := &b.config.Outputs[i]
		for _, k := range o.Backup {
			backup := &b.site.Outputs[k]
			if !b.through(nd, k) || o.AtOnce {
				continue
			}
			until := interval.Interval{Lo: seconds(b.site.Clock().Shortest(o.Travel)), Hi: seconds(b.site.Clock().Longest(o.Travel.Next()))}
			delay := outputDelayDefault
			if backup.OutputDelay.Set {
				delay = of(backup.OutputDelay)
			}
			end := until.Add(delay).Add(of(backup.DeadTime))
			c.stuck = &charge.RunDown{Delay: c.detection.Add(end), Travel: upTo(seconds(backup.Travel))}
			c.stuckWho = fmt.Sprintf("%s stays open for %s, then %s stops", b.site.Outputs[i].Name, quantity.Duration(b.site.Outputs[i].Travel), backup.Name)
			return
		}
	}
}
