package wiring

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// Kinds of modules in the site file.
const (
	KindRelays     = "relays"
	KindInputs     = "inputs"
	KindResistance = "resistance"
	KindDecade     = "scpi-decade"
	KindMeter      = "scpi-meter"
)

// Uses of points in the site file.
const (
	useDrives   = "drives"
	useReads    = "reads"
	useBreak    = "series-break"
	useShort    = "short"
	useBridge   = "bridge"
	useLoopback = "loopback"
)

// Where the site file is silent.
const (
	assumedTurnaround = 5 * time.Millisecond
	assumedOperate    = 20 * time.Millisecond
	assumedBreak      = 20 * time.Millisecond // how long a decade may glitch
)

// Terminal is one relay, input or register: a module's number and a point on it.
type Terminal struct {
	Module, Point int
}

// Resistor is a fixed resistor behind a relay.
type Resistor struct {
	Relay Terminal
	Value monitor.Microohm
}

// ChannelWires is how one channel of the unit is played, or read.
type ChannelWires struct {
	Break, Short *Terminal
	Bridge       *Terminal // holds BridgeValue across the terminals while the decade is stepped
	BridgeValue  monitor.Microohm
	Resistors    []Resistor // in rising order
	Decade       int        // module, -1: none
	Reads        *Terminal  // stand-in: register of a transmitter, or a meter
	ReadUnit     monitor.Microohm
}

// Loop is a relay whose second contact is wired to an input.
type Loop struct {
	Name         string // what the relay drives
	Relay, Input Terminal
	Harmless     bool // it drives an input of the unit, not a clamp
}

// Map is a site's rig section, resolved.
type Map struct {
	Site     *site.Site
	Channels []ChannelWires
	Drives   []*Terminal // per input of the site: relay that plays it
	Hears    []*Terminal // per input of the site: input that reads it (stand-in)
	Moves    []*Terminal // per output: relay that this logic moves (stand-in)
	Contacts []*Terminal // per output: input that reads the unit's contact
	Loops    []Loop
	Supply   *Terminal
	Cal      *Calibration // nil: none
}

// reader gathers what is wrong with a rig section.
type mapReader struct {
	made     *Map
	problems site.Problems
}

func (r *mapReader) complain(path, text, instead string) {
	at := r.made.Site.ValueAt(path)
	r.problems = append(r.problems, site.Problem{File: r.made.Site.File, Line: at.Line, Column: at.Column, Text: text, Instead: instead})
}

// Read resolves a site's rig section. The calibration file, where one is named, is read too.
func Read(s *site.Site) (*Map, site.Problems) {
	r := &mapReader{made: &Map{
		Site: s, Channels: make([]ChannelWires, len(s.Channels)), Drives: make([]*Terminal, len(s.Inputs)),
		Hears: make([]*Terminal, len(s.Inputs)), Moves: make([]*Terminal, len(s.Outputs)), Contacts: make([]*Terminal, len(s.Outputs)),
	}}
	for index := range r.made.Channels {
		r.made.Channels[index].Decade = -1
	}
	if !s.Rig.Set || len(s.Rig.Modules) == 0 || len(s.Rig.Points) == 0 {
		r.complain("rig", "the site has no rig map", "add a section rig: with ports, modules and points (ohmgate schema site)")
		return nil, r.problems
	}
	r.checkModules()
	for index := range s.Rig.Points {
		r.point(index)
	}
	r.supply()
	r.loops()
	r.inOneQuestion()
	r.calibration()
	if len(r.problems) > 0 {
		return nil, r.problems.Sorted()
	}
	for index := range r.made.Channels {
		slices.SortFunc(r.made.Channels[index].Resistors, func(a, b Resistor) int { return int(min(max(a.Value-b.Value, -1), 1)) })
	}
	return r.made, nil
}

// checkModules refuses modules that cannot be spoken to.
func (r *mapReader) checkModules() {
	taken := map[string]string{}
	for _, m := range r.made.Site.Rig.Modules {
		path := "rig.modules." + m.Name
		if _, err := time.Parse(time.DateOnly, m.CalDue); err != nil && m.CalDue != "" {
			r.complain(path+".calibration_due", fmt.Sprintf("%q is not a date", m.CalDue), "write it as 2027-03-31")
		}
		switch m.Kind {
		case KindDecade, KindMeter:
			if _, wrong := Template(&m); wrong != "" {
				r.complain(path+".commands", wrong, "use the keys "+strings.Join(commandKeys, ", "))
			}
			for _, other := range r.made.Site.Rig.Modules {
				if other.Name != m.Name && other.Port == m.Port {
					r.complain(path+".port", fmt.Sprintf("%q is on this port too, and an instrument shares with nobody", other.Name), "give it a port of its own")
					break
				}
			}
			continue
		}
		if m.Address == 0 {
			r.complain(path, "a module on a bus needs an address", "write address: 1 (1 to 247, as set on the module)")
		}
		where := fmt.Sprintf("%s/%d", m.Port, m.Address)
		if first := taken[where]; first != "" {
			r.complain(path+".address", fmt.Sprintf("%q has address %d on this port already", first, m.Address), "give each module its own address")
		}
		taken[where] = m.Name
		if m.Kind == KindRelays && m.TimeOut == 0 {
			r.complain(path, "nothing lets these relays fall when the program goes silent", "switch the module's communications time-out on and write time_out: 1 s")
		}
	}
	for _, p := range r.made.Site.Rig.Ports {
		if _, err := LineOf(&p); err != nil {
			r.complain("rig.ports."+p.Name+".frame", err.Error(), "write what the modules are set to, such as 8E1")
		}
	}
}

// LineOf is the speed and character of a port.
func LineOf(p *site.RigPort) (port.Line, error) {
	return port.ParseLine(fmt.Sprintf("%d %s", p.Baud, p.Frame))
}

// module is the number of a module.
func (m *Map) module(name string) int {
	return slices.IndexFunc(m.Site.Rig.Modules, func(one site.RigModule) bool { return one.Name == name })
}

// Kind is the kind of a module.
func (m *Map) Kind(module int) string { return m.Site.Rig.Modules[module].Kind }

// TerminalName is a terminal for people.
func (m *Map) TerminalName(t Terminal) string {
	word := map[string]string{KindRelays: "relay", KindInputs: "input", KindResistance: "register"}[m.Kind(t.Module)]
	if word == "" {
		return m.Site.Rig.Modules[t.Module].Name
	}
	return fmt.Sprintf("%s %d of %s", word, t.Point, m.Site.Rig.Modules[t.Module].Name)
}

// Turnaround is how long a module of this bus may think before it answers.
func (m *Map) Turnaround(module int) time.Duration {
	if t := m.Site.Rig.Modules[module].Turnaround; t > 0 {
		return t
	}
	return assumedTurnaround
}

// OperateMax is how long a relay of this module takes from command to contact at the most.
func (m *Map) OperateMax(module int) time.Duration {
	if t := m.Site.Rig.Modules[module].OperateMax; t > 0 {
		return t
	}
	return assumedOperate
}

// BreakTime is how long a step of a decade may open or short the terminals; break_time: 0 ms declares one that does not.
func (m *Map) BreakTime(module int) time.Duration {
	one := &m.Site.Rig.Modules[module]
	if one.BreakTime > 0 || m.Site.Has("rig.modules."+one.Name+".break_time") {
		return one.BreakTime
	}
	return assumedBreak
}

// IsInput says whether an error is a mistake in the files.
func IsInput(err error) bool {
	var problems site.Problems
	return errors.As(err, &problems)
}
