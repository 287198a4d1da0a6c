package wiring

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/monitor"
)

// Part is what a name of the site stands for, as far as a bench has wires for it.
type Part uint8

// The zero Part is wired to nothing.
const (
	NoPart Part = iota
	Channel
	Input
	Output
)

// String is the part for people.
func (p Part) String() string { return [...]string{"nothing", "channel", "input", "output"}[p] }

// wire is one use of a point for one part.
type wire struct {
	part Part
	use  string
}

// fits says which kinds of module a wire needs.
var fits = map[wire][]string{
	{Channel, useDrives}: {KindRelays, KindDecade}, {Channel, useBreak}: {KindRelays}, {Channel, useShort}: {KindRelays},
	{Channel, useBridge}: {KindRelays}, {Channel, useReads}: {KindResistance, KindMeter}, {Channel, useLoopback}: {KindInputs},
	{Input, useDrives}: {KindRelays}, {Input, useReads}: {KindInputs}, {Input, useLoopback}: {KindInputs},
	{Output, useDrives}: {KindRelays}, {Output, useReads}: {KindInputs}, {Output, useLoopback}: {KindInputs},
}

// point puts one point in its place.
func (r *mapReader) point(index int) {
	m, s := r.made, r.made.Site
	p := &s.Rig.Points[index]
	path := fmt.Sprintf("rig.points.%d", index)
	part, number := Find(s, p.Name)
	module := m.module(p.Module)
	allowed, known := fits[wire{part, p.Use}]
	if !known {
		r.complain(path+".use", fmt.Sprintf("%s %q cannot be wired as %s", part, p.Name, p.Use), "use drives, reads or loopback; series-break, short and bridge are for channels")
		return
	}
	if !slices.Contains(allowed, m.Kind(module)) {
		r.complain(path+".module", fmt.Sprintf("%q is of kind %s, and %q as %s needs %s", p.Module, m.Kind(module), p.Name, p.Use, strings.Join(allowed, " or ")), "name such a module")
		return
	}
	if p.Resistor != 0 && (part != Channel || p.Use != useDrives && p.Use != useBridge || m.Kind(module) != KindRelays) {
		r.complain(path+".resistor", "only a relay that drives or bridges a channel switches a resistor", "leave it out, or write use: drives on a channel")
		return
	}
	if p.Use == useBridge && p.Resistor == 0 {
		r.complain(path, "a bridge holds a resistor across the terminals, and none is named", "write resistor: 0.3 Ω, a value that is good")
		return
	}
	if part == Channel && p.Use == useReads {
		r.readUnit(path, number, p.Unit)
		if m.Kind(module) == KindMeter && s.Channels[number].Stamped {
			r.complain(path+".module", fmt.Sprintf("a meter's answer does not count its measurements, and the site says device_stamp: yes for %q", p.Name), "write device_stamp: no, and a measure command that takes a new reading (READ?, not FETCh?)")
		}
	}
	if problem := r.place(part, number, p, Terminal{module, p.Point}); problem != "" {
		r.complain(path+".use", problem, "keep one of the two")
	}
}

// readUnit is what one count of a transmitter's register stands for.
func (r *mapReader) readUnit(path string, channel int, text string) {
	if text == "" {
		text = "1 mΩ"
	}
	exact, wrong := quantity.Single(text, quantity.Resistance)
	if wrong != nil {
		r.complain(path+".unit", wrong.Text, wrong.Instead)
		return
	}
	micro, whole := quantity.Int(exact, 1e6)
	if !whole || micro <= 0 {
		r.complain(path+".unit", fmt.Sprintf("%q is no whole number of uΩ", text), "write what one count stands for, such as 1 mΩ")
	}
	r.made.Channels[channel].ReadUnit = monitor.Microohm(micro)
}

// Find finds a name of the site.
func Find(s *site.Site, name string) (part Part, number int) {
	if i := s.ChannelIndex(name); i >= 0 {
		return Channel, i
	}
	if i := s.InputIndex(name); i >= 0 {
		return Input, i
	}
	if i := s.OutputIndex(name); i >= 0 {
		return Output, i
	}
	return NoPart, -1
}

// place notes what a terminal is for; the answer is what is wrong with it.
func (r *mapReader) place(part Part, number int, p *site.RigPoint, t Terminal) string {
	m := r.made
	var slot **Terminal
	switch (wire{part, p.Use}) {
	case wire{Channel, useDrives}:
		return r.placeValue(&m.Channels[number], p, t)
	case wire{Channel, useBreak}:
		slot = &m.Channels[number].Break
	case wire{Channel, useShort}:
		slot = &m.Channels[number].Short
	case wire{Channel, useBridge}:
		slot, m.Channels[number].BridgeValue = &m.Channels[number].Bridge, p.Resistor
	case wire{Channel, useReads}:
		slot = &m.Channels[number].Reads
	case wire{Input, useDrives}:
		slot = &m.Drives[number]
	case wire{Input, useReads}:
		slot = &m.Hears[number]
	case wire{Output, useDrives}:
		slot = &m.Moves[number]
	case wire{Output, useReads}:
		slot = &m.Contacts[number]
	default: // loopback: placed when all relays are known
		return ""
	}
	if *slot != nil {
		return fmt.Sprintf("%q as %s is wired to %s already", p.Name, p.Use, m.TerminalName(**slot))
	}
	*slot = &t
	return ""
}

// placeValue is a decade or a switched resistor.
func (r *mapReader) placeValue(c *ChannelWires, p *site.RigPoint, t Terminal) string {
	if r.made.Kind(t.Module) == KindDecade {
		if c.Decade >= 0 {
			return fmt.Sprintf("%q has a decade already", p.Name)
		}
		c.Decade = t.Module
		return ""
	}
	if p.Resistor == 0 {
		return fmt.Sprintf("relay %d drives the channel %q, but no resistor is named: write resistor: 0.3 Ω, or use: series-break", p.Point, p.Name)
	}
	c.Resistors = append(c.Resistors, Resistor{t, p.Resistor})
	return ""
}

// mostAsked is how many points of a module one question can be about (specification, limits of 01, 02, 04 and 0F).
var mostAsked = map[string]int{KindRelays: 1968, KindInputs: 2000, KindResistance: 125}

// inOneQuestion refuses modules that one question cannot cover: all points of one are asked together.
func (r *mapReader) inOneQuestion() {
	for module, size := range r.made.Sizes() {
		one := &r.made.Site.Rig.Modules[module]
		if most := mostAsked[one.Kind]; most > 0 && size > most {
			r.complain("rig.modules."+one.Name, fmt.Sprintf("points up to %d of %q are in use, and one question reaches %d", size-1, one.Name, most), fmt.Sprintf("use points below %d", most))
		}
	}
}

func (r *mapReader) supply() {
	supply := r.made.Site.Rig.Supply
	if supply.Module == "" {
		return
	}
	module := r.made.module(supply.Module)
	if r.made.Kind(module) != KindRelays {
		r.complain("rig.supply.module", fmt.Sprintf("%q has no relays", supply.Module), "name a module of kind relays")
		return
	}
	r.made.Supply = &Terminal{module, supply.Point}
	for _, used := range r.made.Relays() {
		if used.Terminal == *r.made.Supply && used.Name != "supply" {
			r.complain("rig.supply.point", fmt.Sprintf("this relay drives %q already", used.Name), "give the supply a relay of its own")
		}
	}
}

// loops pairs each loopback input with the relay that drives its name.
func (r *mapReader) loops() {
	m := r.made
	for index := range m.Site.Rig.Points {
		p := &m.Site.Rig.Points[index]
		if p.Use != useLoopback {
			continue
		}
		part, number := Find(m.Site, p.Name)
		relay := m.relayBehind(part, number)
		if relay == nil {
			r.complain(fmt.Sprintf("rig.points.%d.name", index), fmt.Sprintf("no relay drives %q, so nothing loops back", p.Name), "add a point with use: drives (a channel: series-break)")
			continue
		}
		m.Loops = append(m.Loops, Loop{p.Name, *relay, Terminal{m.module(p.Module), p.Point}, part == Input})
	}
}

func (m *Map) relayBehind(part Part, number int) *Terminal {
	switch part {
	case Channel:
		return m.Channels[number].Break
	case Input:
		return m.Drives[number]
	}
	return m.Moves[number]
}

// UsedRelay is a relay with the name that it plays.
type UsedRelay struct {
	Terminal
	Name string
}

// Relays lists every relay in use, in order.
func (m *Map) Relays() (list []UsedRelay) {
	add := func(t *Terminal, name string) {
		if t != nil {
			list = append(list, UsedRelay{*t, name})
		}
	}
	for i := range m.Channels {
		c, name := &m.Channels[i], m.Site.Channels[i].Name
		add(c.Break, name)
		add(c.Short, name+" short")
		add(c.Bridge, name+" bridge")
		for k := range c.Resistors {
			add(&c.Resistors[k].Relay, fmt.Sprintf("%s %s", name, Ohms(c.Resistors[k].Value)))
		}
	}
	for i, t := range m.Drives {
		add(t, m.Site.Inputs[i].Name)
	}
	for i, t := range m.Moves {
		add(t, m.Site.Outputs[i].Name)
	}
	add(m.Supply, "supply")
	slices.SortStableFunc(list, func(a, b UsedRelay) int {
		return cmp.Or(cmp.Compare(a.Module, b.Module), cmp.Compare(a.Point, b.Point))
	})
	return list
}

// Inputs lists every input in use.
func (m *Map) Inputs() (list []UsedRelay) {
	for i, t := range m.Contacts {
		if t != nil {
			list = append(list, UsedRelay{*t, m.Site.Outputs[i].Name})
		}
	}
	for i, t := range m.Hears {
		if t != nil {
			list = append(list, UsedRelay{*t, m.Site.Inputs[i].Name})
		}
	}
	for _, l := range m.Loops {
		list = append(list, UsedRelay{l.Input, "loop of " + l.Name})
	}
	return list
}

// Sizes is how many points of each module are in use: the highest, plus one.
func (m *Map) Sizes() []int {
	size := make([]int, len(m.Site.Rig.Modules))
	for _, list := range [][]UsedRelay{m.Relays(), m.Inputs()} {
		for _, t := range list {
			size[t.Module] = max(size[t.Module], t.Point+1)
		}
	}
	for i := range m.Channels {
		if t := m.Channels[i].Reads; t != nil {
			size[t.Module] = max(size[t.Module], t.Point+registersOf(&m.Site.Channels[i]))
		}
	}
	return size
}

// registersOf is how many registers of a transmitter hold one channel: two for the value, high word first, and a third with
// the device's own count of measurements where the channel is stamped.
func registersOf(c *site.Channel) int {
	if c.Stamped {
		return 3
	}
	return 2
}

// Plays says whether a channel of the unit is played at all.
func (m *Map) Plays(channel int) bool {
	c := &m.Channels[channel]
	return c.Break != nil || c.Short != nil || c.Decade >= 0 || len(c.Resistors) > 0
}

// CanPlay says which inputs relays drive, and whether the unit's supply is on one.
func (m *Map) CanPlay() (inputs []bool, supply bool) {
	for _, t := range m.Drives {
		inputs = append(inputs, t != nil)
	}
	return inputs, m.Supply != nil
}

// Judged lists the outputs whose contacts are read or that this logic moves.
func (m *Map) Judged() (names []string) {
	for i := range m.Contacts {
		if m.Contacts[i] != nil || m.Moves[i] != nil {
			names = append(names, m.Site.Outputs[i].Name)
		}
	}
	return names
}

// ModulesOfChannel are the modules that play a channel.
func (m *Map) ModulesOfChannel(channel int) (list []int) {
	c := &m.Channels[channel]
	if c.Decade >= 0 {
		list = append(list, c.Decade)
	}
	for _, t := range []*Terminal{c.Break, c.Short} {
		if t != nil {
			list = append(list, t.Module)
		}
	}
	for k := range c.Resistors {
		list = append(list, c.Resistors[k].Relay.Module)
	}
	return list
}
