package twinbench

import (
	"fmt"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/scpi"
	"ohmgate/hwio/twin"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
)

// Options of a twin bench. The zero value is a good unit on good lines.
type Options struct {
	Directory string               // where the lines appear; empty: a new temporary directory
	InMemory  bool                 // lines that only this program can open, where there are no pseudo-terminals
	Wrong     string               // name of a wrong unit
	Behaviour twin.Behaviour       // of every line: jitter, lost and spoilt frames; wire times are those of the map
	Plant     loop.Source          // a plant in the place of the unit
	Prepare   func(*twin.Hardware) // told before anything moves; may be nil
	Deaf      bool                 // relay modules whose time-out is switched off, which the silence proof must find
	Crossed   bool                 // the first two loop-back inputs are swapped, which the self-test must find
	Identity  string               // of every instrument; empty: what the map expects, if it is a plain text
}

// Twin is a running twin bench.
type Twin struct {
	Hardware    *twin.Hardware
	Devices     map[string]string                                 // by port, for bench.Settings
	Lines       map[string]func(port.Settings) (port.Port, error) // the same, in memory
	environment *environment
}

// turnaround is how long the twin's modules think: a tenth of a millisecond less than the map allows, at most 1 ms.
const turnaround = time.Millisecond

// Open opens hardware wired as the map says.
func Open(m *wiring.Map, options Options) (*Twin, error) {
	w := newEnvironment(m, options)
	var err error
	if options.Plant != nil {
		w.ticker, err = newPlant(w, options.Plant)
	} else {
		w.ticker, err = newUnit(w, options.Wrong)
	}
	if err != nil {
		return nil, err
	}
	config := twin.Config{Directory: options.Directory, InMemory: options.InMemory, Environment: w}
	for index := range m.Site.Rig.Ports {
		if line, used := w.line(&m.Site.Rig.Ports[index]); used {
			config.Lines = append(config.Lines, line)
		}
	}
	hardware, err := twin.Open(config)
	if err != nil {
		return nil, err
	}
	if options.Prepare != nil {
		options.Prepare(hardware)
	}
	made := &Twin{Hardware: hardware, Devices: map[string]string{}, Lines: map[string]func(port.Settings) (port.Port, error){}, environment: w}
	for _, line := range config.Lines {
		if options.InMemory {
			made.Lines[line.Name] = func(settings port.Settings) (port.Port, error) { return hardware.Open(line.Name, settings) }
		} else {
			made.Devices[line.Name] = hardware.Path(line.Name)
		}
	}
	return made, hardware.Within(func(devices *twin.Devices) { w.begin(devices) })
}

// Terminals says whether this system has pseudo-terminals, which other programs can open too.
func Terminals() bool { return twin.Terminals() }

// Close ends it.
func (t *Twin) Close() error { return t.Hardware.Close() }

// Closed says how many contacts of relays are closed: the truth, whatever the bench believes.
func (t *Twin) Closed() (count int) {
	_ = t.Hardware.Within(func(*twin.Devices) {
		for _, on := range t.environment.contacts {
			if on {
				count++
			}
		}
	})
	return count
}

// environment is what hangs behind the terminals; the twin's event loop alone calls it.
type environment struct {
	m        *wiring.Map
	options  Options
	contacts map[wiring.Terminal]bool // of relays, after their operate time
	decades  map[int]*scpi.Instrument
	meters   map[int]scpi.Resistance // what hangs at a meter's terminals
	glitch   map[int]port.Stamp      // until when a decade that is being stepped is open
	loops    []wiring.Loop
	ticker   ticker
	next     port.Stamp
}

// ticker is a unit or a plant: what happens once a scan.
type ticker interface {
	tick(devices *twin.Devices)
}

func newEnvironment(m *wiring.Map, options Options) *environment {
	w := &environment{m: m, options: options, contacts: map[wiring.Terminal]bool{}, decades: map[int]*scpi.Instrument{}, meters: map[int]scpi.Resistance{}, glitch: map[int]port.Stamp{}, loops: append([]wiring.Loop(nil), m.Loops...)}
	if options.Crossed && len(w.loops) > 1 {
		w.loops[0].Input, w.loops[1].Input = w.loops[1].Input, w.loops[0].Input
	}
	return w
}

// tableSize is how many points each module of the twin has.
const tableSize = 64

// line is one port of the map with its modules; used is false where nobody is on it.
func (w *environment) line(p *site.RigPort) (made twin.Line, used bool) {
	settings, err := port.ParseLine(fmt.Sprintf("%d %s", p.Baud, p.Frame))
	if err != nil {
		return made, false
	}
	made = twin.Line{Name: p.Name, Behaviour: w.options.Behaviour}
	made.Behaviour.Line = settings
	if made.Behaviour.Turnaround == 0 {
		made.Behaviour.Turnaround = turnaround
	}
	for index := range w.m.Site.Rig.Modules {
		module := &w.m.Site.Rig.Modules[index]
		if module.Port != p.Name {
			continue
		}
		if module.Kind == wiring.KindDecade || module.Kind == wiring.KindMeter {
			w.decades[index] = w.instrument(index, module)
			made.Instrument = w.decades[index]
			continue
		}
		one := &twin.Module{Unit: byte(module.Address), Memory: modbus.NewImage(tableSize, tableSize, tableSize, tableSize), Silence: module.TimeOut}
		if w.options.Deaf {
			one.Silence = 0
		}
		made.Modules = append(made.Modules, one)
	}
	return made, made.Instrument != nil || len(made.Modules) > 0
}

func (w *environment) instrument(index int, module *site.RigModule) *scpi.Instrument {
	model := w.options.Identity
	if model == "" {
		model = module.Name
	}
	identity := scpi.Identity{Maker: "Quarry Road works", Model: model, Serial: module.Serial, Firmware: "twin"}
	if identity.Serial == "" {
		identity.Serial = "0"
	}
	var measured func() scpi.Resistance // of a decade: itself
	if module.Kind == wiring.KindMeter {
		measured = func() scpi.Resistance { return w.meters[index] }
	}
	// The twin's decade opens for nearly as long as the map declares.
	stepped := func(int64) { w.glitch[index] = port.Now().Add(module.BreakTime * 9 / 10) }
	return scpi.NewInstrument(identity, scpi.DefaultLimits, measured, stepped)
}

// begin starts the ticking.
func (w *environment) begin(devices *twin.Devices) {
	w.next = devices.Now()
	w.again(devices)
}

// again ticks once and plans the next tick on the grid of scans, however late this one is.
func (w *environment) again(devices *twin.Devices) {
	w.ticker.tick(devices)
	w.next = w.next.Add(w.m.Site.Period.Max)
	devices.After(max(w.next.Sub(devices.Now()), 0), w.again)
}

// module is the number of a module by its line and address.
func (w *environment) module(line string, unit byte) int {
	for index := range w.m.Site.Rig.Modules {
		if m := &w.m.Site.Rig.Modules[index]; m.Port == line && m.Address == int(unit) {
			return index
		}
	}
	return -1
}

// operate is how long the twin's relays take: a third of the longest that the map allows.
func (w *environment) operate(module int) time.Duration {
	if limit := w.m.Site.Rig.Modules[module].OperateMax; limit > 0 {
		return limit / 3
	}
	return 3 * time.Millisecond
}

// CoilMoved moves the contact after its time, and what is wired to it.
func (w *environment) CoilMoved(devices *twin.Devices, line string, unit byte, coil int, on bool) {
	module := w.module(line, unit)
	if module < 0 {
		return
	}
	relay := wiring.Terminal{Module: module, Point: coil}
	devices.After(w.operate(module), func(later *twin.Devices) {
		w.contacts[relay] = on
		for _, loop := range w.loops {
			if loop.Relay == relay {
				w.setInput(later, loop.Input, on)
			}
		}
	})
}

// RegisterWritten does nothing: no module of the map is written registers.
func (w *environment) RegisterWritten(*twin.Devices, string, byte, int, uint16) {}

func (w *environment) setInput(devices *twin.Devices, t wiring.Terminal, on bool) {
	m := &w.m.Site.Rig.Modules[t.Module]
	devices.SetInput(m.Port, byte(m.Address), t.Point, on)
}

// closed says whether a relay's contact is closed; a relay that is not wired is not.
func (w *environment) closed(t *wiring.Terminal) bool { return t != nil && w.contacts[*t] }
