package site

import (
	"errors"
	"fmt"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// logic is one translation of a site into numbers and scans.
type logic struct {
	site     *Site
	clock    Clock
	config   interlock.Config
	problems Problems
}

// Logic is the site as the interlock runs it, compiled. Every rounding goes to
// the safe side: what must pass is counted in the shortest scans, what is
// granted in the longest. A site that was read from a file has no problems
// here; they are for sites built by hand.
func (s *Site) Logic() (*interlock.Config, Problems) {
	l := logic{site: s, clock: s.Clock()}
	if s.Period.Min <= 0 || s.Period.Max < s.Period.Min {
		l.complain("scan", "the scan period is not a time", "write scan: 10 ms")
		return nil, l.problems
	}
	l.config.PollScans = max(1, l.clock.AtLeast(s.Poll))
	for i := range s.Channels {
		l.config.Channels = append(l.config.Channels, l.channel(&s.Channels[i]))
	}
	for i := range s.Inputs {
		l.config.Inputs = append(l.config.Inputs, interlock.Input{Inverted: s.Inputs[i].Inverted, StaleAfter: l.clock.AtMost(s.Inputs[i].StaleAfter)})
	}
	for i := range s.Outputs {
		l.config.Outputs = append(l.config.Outputs, l.output(&s.Outputs[i]))
	}
	for i := range s.Vessels {
		l.config.Vessels = append(l.config.Vessels, l.vessel(&s.Vessels[i]))
	}
	for i := range s.Streams {
		l.config.Streams = append(l.config.Streams, l.stream(&s.Streams[i]))
	}
	for i := range s.Bypasses {
		l.config.Bypasses = append(l.config.Bypasses, l.bypass(&s.Bypasses[i]))
	}
	if len(l.problems) == 0 {
		l.compile()
	}
	if len(l.problems) > 0 {
		return nil, l.problems.sorted()
	}
	return &l.config, nil
}

// compile is the last gate. Whatever it refuses should have been refused with
// its place before.
func (l *logic) compile() {
	if err := l.config.Compile(); err != nil {
		l.complain("", "the logic refuses the site: "+err.Error(), "correct what it names")
	}
}

func (l *logic) complain(path, text, instead string) {
	at := l.site.ValueAt(path)
	l.problems = append(l.problems, Problem{l.site.File, at.Line, at.Column, text, instead})
}

// expression reads an expression that stands at a path.
func (l *logic) expression(path, text string, want thing) interlock.Permissive {
	p, err := interlock.ParsePermissive(text, l.site.finder(want))
	var syntax *interlock.SyntaxError
	if errors.As(err, &syntax) {
		l.complain(path, fmt.Sprintf("%s (column %d of %q)", syntax.Text, syntax.Column, cut(text)), syntax.Instead)
	}
	return p
}

// ref is an input by its name, which may be empty.
func (l *logic) ref(path, name string) interlock.Ref {
	r := l.site.Ref(name)
	if r == 0 && name != "" {
		l.complain(path, fmt.Sprintf("no input is called %q", name), "declare it, or correct the name")
	}
	return r
}

// numbers are things by their names.
func (l *logic) numbers(path string, names []string, find func(string) int, what thing) []int {
	var list []int
	for _, name := range names {
		n := find(name)
		if n < 0 {
			l.complain(path, fmt.Sprintf("no %s is called %q", what, name), "declare it, or correct the name")
		}
		list = append(list, n)
	}
	return list
}

func (l *logic) channel(c *Channel) interlock.Channel {
	path := "channels." + c.Name
	made := interlock.Channel{
		Config: monitor.Config{
			Accept: c.Accept, Reject: c.Reject, OpenAbove: c.OpenAbove, Floor: c.Floor, ValidMax: c.ValidMax,
			OverRangeIsOpen: c.OverRange == "open", Stamped: c.Stamped,
			StaleAfter:     l.clock.AtMost(c.StaleAfter),
			SettleScans:    max(l.clock.AtLeast(c.SettleTime).Next(), monitor.Scans(max(0, c.SettleReadings))),
			SettleReadings: monitor.Scans(max(0, c.SettleReadings)),
			SettlePause:    l.clock.AtMost(c.SettlePause),
			LongestStay:    l.clock.AtMost(c.LongestDoubt),
		},
		Evidence: l.ref(path+".object_evidence", c.Evidence),
	}
	doubt, ok := l.clock.budget(c)
	if !ok {
		key, instead := l.clock.rounder(c)
		l.complain(path+".patience."+key, "the patiences have no common measure that fits 32 bits", instead)
		return made
	}
	doubt.apply(&made.Config)
	return made
}

func (l *logic) output(o *Output) interlock.Output {
	path := "outputs." + o.Name
	return interlock.Output{
		Permissive: l.expression(path+".permissive", o.Permissive, aChannel|anInput),
		OnDelay:    l.clock.AtLeast(o.OnDelay),
		Automatic:  o.Restart == "automatic",
		Reset:      l.ref(path+".reset", o.Reset),
		Press:      l.clock.press(o.PressMin, o.PressMax),
		Start:      l.ref(path+".start", o.Start),
		Stop:       l.ref(path+".stop", o.Stop),
		Closed:     l.ref(path+".confirm.closed", o.Closed),
		Opened:     l.ref(path+".confirm.opened", o.Opened),
		Travel:     l.clock.AtLeast(o.Travel),
		Backup:     l.numbers(path+".backup", o.Backup, l.site.OutputIndex, anOutput),
		AtOnce:     o.BackupWhen == "at once",
	}
}

func (l *logic) vessel(v *Vessel) interlock.Vessel {
	path := "vessels." + v.Name
	return interlock.Vessel{
		BondedBy:    l.expression(path+".bonded_by", l.site.BondExpression(v), aChannel),
		Wait:        l.clock.AtLeast(v.Wait),
		Rest:        l.clock.AtLeast(v.Rest),
		Acknowledge: l.ref(path+".acknowledge", v.Acknowledge),
		Press:       l.clock.press(v.PressMin, v.PressMax),
	}
}

func (l *logic) stream(s *Stream) interlock.Stream {
	path := "streams." + s.Name
	runDown := s.LongestStop
	if l.site.Confirmable(s) {
		runDown = s.RunDown
	}
	return interlock.Stream{
		Through: l.numbers(path+".through", s.Through, l.site.OutputIndex, anOutput),
		Charges: l.numbers(path+".charges", s.Charges, l.site.VesselIndex, aVessel),
		Flow:    l.ref(path+".flow", s.Flow),
		RunDown: l.clock.AtLeast(runDown),
	}
}

// Confirmable reports that an end switch can show the stream stopped.
func (s *Site) Confirmable(stream *Stream) bool {
	for _, name := range stream.Through {
		if i := s.OutputIndex(name); i >= 0 && (s.Outputs[i].Closed != "" || s.Outputs[i].Opened != "") {
			return true
		}
	}
	return false
}

func (l *logic) bypass(b *Bypass) interlock.Bypass {
	path := "bypasses." + b.Name
	return interlock.Bypass{
		Input:      l.ref(path+".input", b.Input),
		Channel:    l.numbers(path+".channel", []string{b.Channel}, l.site.ChannelIndex, aChannel)[0],
		For:        l.clock.AtMost(b.For),
		Warn:       l.clock.AtLeast(b.Warn),
		Gap:        l.clock.AtLeast(b.Gap),
		CoversLost: b.Covers == "lost",
	}
}
