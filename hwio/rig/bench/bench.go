package bench

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/scpi"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// Errors of a bench. Test with errors.Is.
var (
	// ErrRig: a line, a module or an instrument is gone, or does not do what it is told. The run is over.
	ErrRig = errors.New("rig lost")
	// ErrInDoubt: an answer came that may be the answer to an older question; nothing is concluded from it.
	ErrInDoubt = errors.New("answer in doubt")
	// ErrTwice: an answer came when none was due, so that nobody knows to which question the next one belongs.
	ErrTwice = errors.New("a second answer came, that nobody waited for: two devices have one address, the adapter repeats what it hears, or a device answers far too late")
)

// Patience of the bench with its own devices.
const (
	turnaroundGrace = 100 * time.Millisecond // adapters hold bytes back for up to 16 ms, machines are busy
	lateAnswers     = 60 * time.Millisecond
	silentLimit     = 6 // exchanges in a row without an answer: the line is lost
)

// Settings of a bench.
type Settings struct {
	// Devices gives other devices than the site's, by the port's name.
	Devices map[string]string
	// Lines opens lines that are no devices, by the port's name.
	Lines map[string]func(port.Settings) (port.Port, error)
	// Tap is told every byte with its time.
	Tap port.Tap
}

// Bench is an opened rig. It is not safe for several goroutines.
type Bench struct {
	Map      *wiring.Map
	settings Settings
	lines    []port.Port // per port of the site; nil: not in use
	clients  []*modbus.Client
	devices  []*scpi.Device // per module
	sizes    []int
	unseen   []string // relays whose contacts the self-test could not see

	coils       [][]bool           // per module: as commanded last
	spoken      []port.Stamp       // per module: when it was last asked
	set         []monitor.Microohm // per module: what the decade was set to last; -1: nothing
	moved       bool               // something was commanded since the bench was opened
	foundClosed bool               // some relay, when the bench was opened
	ended       bool
	readers     sync.WaitGroup
	letting     bool // go of: every answer is welcome, each is read back
	Unclear     int  // exchanges of a run that had to be put again, or told nothing
}

// Open opens every line that a point needs, and finds every module and instrument there. With an error the bench is nil, or
// what there is of it: the caller lets go of that too.
func Open(m *wiring.Map, settings Settings) (*Bench, []sheet.Instrument, error) {
	count := len(m.Site.Rig.Modules)
	b := &Bench{
		Map: m, settings: settings, lines: make([]port.Port, len(m.Site.Rig.Ports)), clients: make([]*modbus.Client, len(m.Site.Rig.Ports)),
		devices: make([]*scpi.Device, count), sizes: m.Sizes(), coils: make([][]bool, count), spoken: make([]port.Stamp, count),
		set: make([]monitor.Microohm, count),
	}
	for index := range m.Site.Rig.Modules {
		b.coils[index], b.set[index] = make([]bool, b.sizes[index]), -1
	}
	for index := range m.Site.Rig.Ports {
		if err := b.openLine(index); err != nil {
			_ = b.Close()
			return nil, nil, Lost(err)
		}
	}
	found, err := b.identify()
	return b, found, err
}

// Lost marks an error as the end of the rig.
func Lost(err error) error {
	if err == nil || errors.Is(err, ErrRig) {
		return err
	}
	return fmt.Errorf("%w: %w", ErrRig, err)
}

// used says whether a module has a point in use.
func (b *Bench) used(module int) bool {
	if b.sizes[module] > 0 {
		return true
	}
	for i := range b.Map.Channels {
		c := &b.Map.Channels[i]
		if c.Decade == module || c.Reads != nil && c.Reads.Module == module {
			return true
		}
	}
	return false
}

// portOf is the number of a module's port.
func (b *Bench) portOf(module int) int {
	for index := range b.Map.Site.Rig.Ports {
		if b.Map.Site.Rig.Ports[index].Name == b.Map.Site.Rig.Modules[module].Port {
			return index
		}
	}
	return -1
}

// openLine opens one port, if a module on it is in use.
func (b *Bench) openLine(index int) error {
	p := &b.Map.Site.Rig.Ports[index]
	needed, turnaround := false, time.Duration(0)
	for module := range b.Map.Site.Rig.Modules {
		if b.portOf(module) == index && b.used(module) {
			needed, turnaround = true, max(turnaround, b.Map.Turnaround(module))
		}
	}
	if !needed {
		return nil
	}
	settings, err := wiring.LineOf(p)
	if err != nil {
		return err
	}
	device := p.Device
	if other := b.settings.Devices[p.Name]; other != "" {
		device = other
	}
	framing, onWire := modbus.RTU, true
	var line port.Port
	address, isNet := strings.CutPrefix(device, "tcp://")
	switch open := b.settings.Lines[p.Name]; {
	case open != nil:
		line, err = open(port.Settings{Line: settings, Tap: b.settings.Tap})
	case isNet:
		framing, onWire = modbus.TCP, false
		line, err = port.Dial(address, port.NetSettings{Tap: b.settings.Tap})
	default:
		line, err = port.Open(device, port.Settings{Line: settings, Tap: b.settings.Tap})
	}
	if err != nil {
		return err
	}
	b.lines[index] = port.WithHeartbeat(line, silentLimit)
	b.clients[index] = modbus.NewClient(b.lines[index], modbus.Settings{
		Framing: framing, Line: settings, Turnaround: turnaround + turnaroundGrace, Late: lateAnswers, RefuseEarly: onWire,
	})
	return nil
}

// identify finds every module. A relay or input module has no name of its own in the eight functions that they share: it is
// taken to be there when it answers for all its points. An instrument must give the expected identification.
func (b *Bench) identify() (found []sheet.Instrument, err error) {
	for module := range b.Map.Site.Rig.Modules {
		if !b.used(module) {
			continue
		}
		m := &b.Map.Site.Rig.Modules[module]
		one := sheet.Instrument{Name: m.Name, Kind: m.Kind, Serial: m.Serial, CalibrationDue: m.CalDue, Where: b.lines[b.portOf(module)].String()}
		switch m.Kind {
		case wiring.KindDecade, wiring.KindMeter:
			one.Identity, err = b.beginInstrument(module)
		case wiring.KindRelays:
			one.Identity, err = b.findRelays(module)
		case wiring.KindInputs:
			err = b.patiently(func() error { _, _, err := b.ReadInputs(module); return err })
			one.Identity = fmt.Sprintf("address %d, inputs 0..%d answer", m.Address, b.sizes[module]-1)
		case wiring.KindResistance:
			err = b.patiently(func() error { _, _, err := b.ReadRegisters(module); return err })
			one.Identity = fmt.Sprintf("address %d, registers 0..%d answer", m.Address, b.sizes[module]-1)
		}
		if err != nil {
			return nil, Lost(fmt.Errorf("%s: %w", m.Name, err))
		}
		found = append(found, one)
	}
	return found, nil
}

// findRelays asks a relay module where its relays are. A program that was killed has left them as they were, until the module
// itself lets go.
func (b *Bench) findRelays(module int) (string, error) {
	var positions []bool
	err := b.patiently(func() (err error) {
		positions, _, err = b.readRelays(module)
		return err
	})
	text := fmt.Sprintf("address %d, relays 0..%d answer", b.Module(module).Address, b.sizes[module]-1)
	var closed []string
	for point, on := range positions {
		if on {
			closed = append(closed, fmt.Sprint(point))
		}
	}
	if len(closed) > 0 {
		b.foundClosed = true
		text += ", found closed, as another program left them: " + strings.Join(closed, ", ")
	}
	return text, err
}

// patiently asks again where no time is measured. What was asked in vain is counted.
func (b *Bench) patiently(ask func() error) (err error) {
	for range attempts {
		if err = ask(); err == nil || Fatal(err) {
			return err
		}
		b.Unclear++
	}
	return err
}

func (b *Bench) beginInstrument(module int) (string, error) {
	m := &b.Map.Site.Rig.Modules[module]
	spoken, wrong := wiring.Template(m)
	if wrong != "" {
		return "", errors.New(wrong)
	}
	device, err := scpi.NewDevice(b.lines[b.portOf(module)], spoken, scpi.Settings{})
	if err != nil {
		return "", err
	}
	identity, err := device.Begin()
	if err != nil {
		return "", err
	}
	b.devices[module] = device
	return identity.String(), nil
}

// ask puts one Modbus question to a module and notes when.
func (b *Bench) ask(module int, request modbus.Request) (modbus.Result, error) {
	client := b.clients[b.portOf(module)]
	result, err := client.Do(byte(b.Map.Site.Rig.Modules[module].Address), request)
	b.spoken[module] = port.Now()
	if twice := client.Counts().Twice; twice > 0 && !b.letting {
		return result, Lost(ErrTwice)
	}
	if err == nil && result.Doubt {
		return result, ErrInDoubt
	}
	return result, err
}

// ReadInputs reads all inputs of a module.
func (b *Bench) ReadInputs(module int) ([]bool, modbus.Times, error) {
	result, err := b.ask(module, modbus.Request{Function: modbus.ReadInputs, Count: uint16(b.sizes[module])})
	return result.Reply.Bits, result.Times, err
}

func (b *Bench) readRelays(module int) ([]bool, modbus.Times, error) {
	result, err := b.ask(module, modbus.Request{Function: modbus.ReadCoils, Count: uint16(b.sizes[module])})
	return result.Reply.Bits, result.Times, err
}

func (b *Bench) ReadRegisters(module int) ([]uint16, modbus.Times, error) {
	result, err := b.ask(module, modbus.Request{Function: modbus.ReadInputRegisters, Count: uint16(b.sizes[module])})
	return result.Reply.Words, result.Times, err
}

// Counts is what passed on all Modbus lines.
func (b *Bench) Counts() (total modbus.Counts) {
	for _, client := range b.clients {
		if client == nil {
			continue
		}
		c := client.Counts()
		total.Questions += c.Questions
		total.Answers += c.Answers
		total.Exceptions += c.Exceptions
		total.Silent += c.Silent
		total.Garbled += c.Garbled
		total.Retries += c.Retries
		total.StrayBytes += c.StrayBytes
		total.Late += c.Late
		total.Twice += c.Twice
		total.Doubtful += c.Doubtful
	}
	return total
}

// Close lets go of all lines. It moves nothing: call Release first.
func (b *Bench) Close() error {
	var errs []error
	for _, line := range b.lines {
		if line != nil {
			errs = append(errs, line.Halt())
		}
	}
	b.readers.Wait()
	return errors.Join(errs...)
}

// ModulesOf lists the modules of a kind in use.
func (b *Bench) ModulesOf(kind string) (list []int) {
	for module := range b.Map.Site.Rig.Modules {
		if b.Map.Kind(module) == kind && b.sizes[module] > 0 {
			list = append(list, module)
		}
	}
	return list
}

// Module is a module's entry in the site file.
func (b *Bench) Module(module int) *site.RigModule { return &b.Map.Site.Rig.Modules[module] }

// HasInstrument says that a module is an instrument that was opened.
func (b *Bench) HasInstrument(module int) bool { return b.devices[module] != nil }

// Sizes is how many points of each module are in use.
func (b *Bench) Sizes() []int { return b.sizes }

// Commanded are the relays of a module as they were commanded last.
func (b *Bench) Commanded(module int) []bool { return b.coils[module] }

// Setting is what a decade was set to last; -1: nothing.
func (b *Bench) Setting(module int) monitor.Microohm { return b.set[module] }

// Moved says that something was commanded since the bench was opened.
func (b *Bench) Moved() bool { return b.moved }

// FoundClosed says that some relay was closed when the bench was opened.
func (b *Bench) FoundClosed() bool { return b.foundClosed }

// Unseen are the relays whose contacts the self-test could not see.
func (b *Bench) Unseen() []string { return b.unseen }

// Settled is how long relays need before their contacts are believed.
func (b *Bench) Settled() time.Duration { return b.longestOperate() + settleContact }
