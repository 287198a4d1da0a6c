package interlock

import (
	"errors"
	"fmt"

	"ohmgate/monitor"
)

// Compile derives what Step needs from the declared parts and refuses what
// could not be trusted. Site files are checked with positions before; this is
// the last gate, for callers that build a Config by hand.
func (c *Config) Compile() error {
	c.order = nil // without an order Step evaluates nothing and kicks no watchdog
	if err := c.checkSizes(); err != nil {
		return err
	}
	err := errors.Join(c.checkChannels(), c.checkStreams(), c.checkVessels(), c.checkOutputs(), c.checkBypasses())
	if err != nil {
		return err
	}
	c.link()
	order, err := c.sortBackups()
	if err := errors.Join(err, c.checkRestart()); err != nil {
		return err
	}
	c.order = order
	return nil
}

func (c *Config) checkSizes() error {
	switch {
	case len(c.Channels) > MaxChannels:
		return fmt.Errorf("interlock: %d channels, at most %d", len(c.Channels), MaxChannels)
	case len(c.Inputs) > MaxInputs:
		return fmt.Errorf("interlock: %d inputs, at most %d", len(c.Inputs), MaxInputs)
	case len(c.Outputs) > MaxOutputs:
		return fmt.Errorf("interlock: %d outputs, at most %d", len(c.Outputs), MaxOutputs)
	}
	return nil
}

// refusals collects errors under one heading.
type refusals struct {
	heading string
	errs    []error
}

func (r *refusals) when(bad bool, text string) {
	if bad {
		r.errs = append(r.errs, fmt.Errorf("interlock: %s: %s", r.heading, text))
	}
}

func (r *refusals) join() error { return errors.Join(r.errs...) }

func (c *Config) known(r Ref) bool { return int(r) <= len(c.Inputs) }

func allBelow(list []int, limit int) bool {
	for _, i := range list {
		if i < 0 || i >= limit {
			return false
		}
	}
	return true
}

// below reports whether a permissive reads only causes with smaller numbers,
// and whether its nodes are whole and come in evaluation order. An AND of
// nothing, or a vote that needs nothing, would be true.
func (p Permissive) below(limit int) bool {
	for at := range p {
		if n := &p[at]; !n.whole(limit) || !allBelow(n.Args, at) {
			return false
		}
	}
	return true
}

func (n *Node) whole(limit int) bool {
	switch n.Op {
	case OpCause:
		return n.Cause >= 0 && n.Cause < limit
	case OpNot:
		return len(n.Args) == 1
	case OpXor:
		return len(n.Args) == 2
	case OpAnd, OpOr:
		return len(n.Args) > 0
	}
	return n.Op == OpVote && n.M >= 1 && n.M <= len(n.Args)
}

// inverts reports whether a cause that gets worse can make the permissive true.
func (p Permissive) inverts() bool {
	for i := range p {
		if p[i].Op == OpNot || p[i].Op == OpXor {
			return true
		}
	}
	return false
}

func (c *Config) checkChannels() error {
	var all []error
	for i := range c.Channels {
		r := refusals{heading: fmt.Sprintf("channel %d", i)}
		r.when(!c.known(c.Channels[i].Evidence), "evidence names no input")
		all = append(all, c.Channels[i].Validate(), r.join())
	}
	return errors.Join(all...)
}

func (c *Config) checkStreams() error {
	var all []error
	for i, s := range c.Streams {
		r := refusals{heading: fmt.Sprintf("stream %d", i)}
		r.when(len(s.Through) == 0, "flows through no output, so nothing could stop it")
		r.when(!allBelow(s.Through, len(c.Outputs)), "flows through an unknown output")
		r.when(!allBelow(s.Charges, len(c.Vessels)), "charges an unknown vessel")
		r.when(!c.known(s.Flow), "flow names no input")
		all = append(all, r.join())
	}
	return errors.Join(all...)
}

func (c *Config) checkVessels() error {
	var all []error
	for i, v := range c.Vessels {
		r := refusals{heading: fmt.Sprintf("vessel %d", i)}
		r.when(len(v.BondedBy) == 0, "no channel shows its bond")
		r.when(!v.BondedBy.below(len(c.Channels)), "bonded-by reads something that is not a channel, or is not whole")
		r.when(v.BondedBy.inverts(), "bonded-by uses NOT or XOR: a connection that is gone would show a bond")
		r.when(!c.known(v.Acknowledge), "acknowledge names no input")
		r.when(v.Acknowledge == 0 && v.Wait > 0, "has a wait but no acknowledge input: an early reconnection could never be cleared")
		r.when(v.Acknowledge != 0 && !v.Press.valid(), "a press of acknowledge could never count")
		all = append(all, r.join())
	}
	return errors.Join(all...)
}

func (p Press) valid() bool { return p.Min >= 1 && p.Max >= p.Min }

func (c *Config) checkOutputs() error {
	var all []error
	for i, o := range c.Outputs {
		r := refusals{heading: fmt.Sprintf("output %d", i)}
		r.when(!o.Permissive.below(len(c.Channels)+len(c.Inputs)), "the permissive reads an unknown cause, or is not whole")
		r.when(!c.known(o.Reset) || !c.known(o.Start) || !c.known(o.Stop) || !c.known(o.Closed) || !c.known(o.Opened), "names an unknown input")
		r.when(o.Reset == 0 && !o.Automatic, "restarts on reset but names no reset input")
		r.when(o.Reset == 0 && o.confirmable(), "has a confirmation but no reset input to clear an unconfirmed actuator")
		r.when(o.Reset != 0 && !o.Press.valid(), "a press of reset could never count")
		r.when(o.confirmable() && o.Travel == 0, "has a confirmation but no travel time")
		r.when(!allBelow(o.Backup, len(c.Outputs)), "names an unknown backup")
		r.when(len(o.Backup) > 0 && !o.AtOnce && !o.confirmable(), "could never call its backup: no confirmation, and not at once")
		all = append(all, r.join())
	}
	return errors.Join(all...)
}

func (c *Config) checkBypasses() error {
	var all []error
	taken := make([]bool, len(c.Channels))
	for i, b := range c.Bypasses {
		r := refusals{heading: fmt.Sprintf("bypass %d", i)}
		r.when(b.Input == 0 || !c.known(b.Input), "names no input")
		known := b.Channel >= 0 && b.Channel < len(c.Channels)
		r.when(!known, "names no channel")
		r.when(known && taken[b.Channel], "the channel has a bypass already")
		r.when(b.For == 0, "lasts no time")
		r.when(b.For == monitor.ScansMax, "lasts for longer than can be counted")
		r.when(b.Warn == 0, "gives no warning before it ends")
		r.when(b.Warn >= b.For, "warns before it begins")
		r.when(c.sharesVessel(i), "a vessel that its channel bonds has a bypass already")
		if known {
			taken[b.Channel] = true
		}
		all = append(all, r.join())
	}
	return errors.Join(all...)
}

// sharesVessel reports whether an earlier bypass covers another channel of a
// vessel that bypass i covers: together they could hide every bond it has.
func (c *Config) sharesVessel(i int) bool {
	for v := range c.Vessels {
		if !c.Vessels[v].BondedBy.below(len(c.Channels)) {
			continue // refused elsewhere
		}
		own := c.Vessels[v].BondedBy.Causes()
		for k := 0; k < i; k++ {
			first, second := c.Bypasses[k].Channel, c.Bypasses[i].Channel
			if first != second && own.has(first) && own.has(second) {
				return true
			}
		}
	}
	return false
}

// link derives who charges what through what.
func (c *Config) link() {
	for i := range c.Vessels {
		c.Vessels[i].chargedBy, c.Vessels[i].channels = nil, c.Vessels[i].BondedBy.Causes()
	}
	for i := range c.Outputs {
		c.Outputs[i].streams, c.Outputs[i].vessels, c.Outputs[i].calls = nil, nil, nil
	}
	for i := range c.Streams {
		s := &c.Streams[i]
		s.confirmable = false
		for _, v := range s.Charges {
			c.Vessels[v].chargedBy = appendNew(c.Vessels[v].chargedBy, i)
		}
		for _, o := range s.Through {
			out := &c.Outputs[o]
			s.confirmable = s.confirmable || out.confirmable()
			out.streams = appendNew(out.streams, i)
			for _, v := range s.Charges {
				out.vessels = appendNew(out.vessels, v)
			}
		}
	}
	for i := range c.Outputs {
		for _, b := range c.Outputs[i].Backup {
			c.Outputs[b].calls = appendNew(c.Outputs[b].calls, i)
		}
	}
}

func appendNew(list []int, n int) []int {
	for _, have := range list {
		if have == n {
			return list
		}
	}
	return append(list, n)
}

// sortBackups puts every output after all that call it as their backup, so that
// a call takes effect in the same scan. A cycle has no such order.
func (c *Config) sortBackups() ([]int, error) {
	order := make([]int, 0, len(c.Outputs))
	done := make([]bool, len(c.Outputs))
	for len(order) < len(c.Outputs) {
		before := len(order)
		for i := range c.Outputs {
			if !done[i] && allDone(c.Outputs[i].calls, done) {
				done[i] = true
				order = append(order, i)
			}
		}
		if len(order) == before {
			return nil, errors.New("interlock: backups call each other in a circle")
		}
	}
	return order, nil
}

func allDone(list []int, done []bool) bool {
	for _, i := range list {
		if !done[i] {
			return false
		}
	}
	return true
}

func (c *Config) checkRestart() error {
	var all []error
	for i := range c.Outputs {
		r := refusals{heading: fmt.Sprintf("output %d", i)}
		for _, v := range c.Outputs[i].vessels {
			r.when(c.Outputs[i].Automatic && c.Vessels[v].Wait > 0, fmt.Sprintf("restarts by itself but charges vessel %d, which has a wait", v))
		}
		all = append(all, r.join())
	}
	return errors.Join(all...)
}

// Order is the outputs in the order in which Step decides them.
func (c *Config) Order() []int { return append([]int(nil), c.order...) }

// VesselsOf, StreamsOf and CallersOf tell how output i is linked: the vessels
// that are charged through it, the streams, and the outputs that call it as
// their backup.
func (c *Config) VesselsOf(i int) []int { return c.Outputs[i].vessels }

// StreamsOf lists the streams that flow through output i.
func (c *Config) StreamsOf(i int) []int { return c.Outputs[i].streams }

// CallersOf lists the outputs that call output i as their backup.
func (c *Config) CallersOf(i int) []int { return c.Outputs[i].calls }

// ChargedBy lists the streams that charge vessel v.
func (c *Config) ChargedBy(v int) []int { return c.Vessels[v].chargedBy }
