package twin

import (
	"container/heap"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"ohmgate/hwio/internal/pseudo"
	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/scpi"
)

// Module is one Modbus device. Its memory belongs to the event loop once opened: touch it only from within.
type Module struct {
	Unit   byte
	Memory *modbus.Image
	// Silence is the communications time-out: so long without a valid question to it, and its coils fall. Zero: never.
	Silence time.Duration

	lastHeard port.Stamp
}

// Line is one pseudo-terminal and who sits at it: modules, or one instrument.
type Line struct {
	Name       string
	Behaviour  Behaviour
	Modules    []*Module
	Instrument *scpi.Instrument
}

// Environment is what hangs behind the terminals. Only the event loop calls its methods: they must not block, and may
// use every method of Devices.
type Environment interface {
	// CoilMoved is called after a coil changed, by order or because it fell.
	CoilMoved(devices *Devices, line string, unit byte, coil int, on bool)
	// RegisterWritten is called after a holding register was written, changed or not.
	RegisterWritten(devices *Devices, line string, unit byte, register int, value uint16)
}

// Terminals says whether this system has pseudo-terminals.
func Terminals() bool { return pseudo.Available }

// Config is hardware to be opened.
type Config struct {
	// Directory is where the lines appear under their names; empty: a new temporary directory, removed at the end.
	Directory string
	// InMemory makes lines that only this program can open: no pseudo-terminals, no directory, no clock but Go's own.
	InMemory    bool
	Lines       []Line
	Environment Environment // may be nil
}

// Change is one thing that moved, and when: the truth.
type Change struct {
	At   port.Stamp
	Line string
	Unit byte
	Kind string // "coil" or "input"
	At0  int    // counted from zero
	On   bool
}

// Hardware is a running twin.
type Hardware struct {
	directory   string
	ownsIt      bool
	inMemory    bool
	lines       map[string]*line
	environment Environment
	devices     *Devices

	calls   chan func()
	ending  chan struct{}
	workers sync.WaitGroup
	once    sync.Once

	plan    planned // what is due when; only the event loop touches it
	order   int
	history []Change
}

// terminal is the devices' end of one line, until it is unplugged.
type terminal interface {
	Read(into []byte) (int, error)
	Write(data []byte)
	Unplug()
}

// line is a Line in use.
type line struct {
	Line
	dice     dice
	terminal terminal // nil: unplugged
	gate     chan struct{}
	stalled  bool
	heard    []byte
	heardAt  port.Stamp
	busyTill port.Stamp
}

// historyLimit bounds the history of a long run; the oldest half goes first.
const historyLimit = 1 << 17

// Open makes the hardware and plugs in all lines.
func Open(config Config) (*Hardware, error) {
	hardware := &Hardware{
		directory: config.Directory, lines: map[string]*line{}, environment: config.Environment,
		inMemory: config.InMemory, calls: make(chan func()), ending: make(chan struct{}),
	}
	hardware.devices = &Devices{hardware: hardware}
	if hardware.directory == "" && !config.InMemory {
		directory, err := os.MkdirTemp("", "ohmgate-twin-")
		if err != nil {
			return nil, err
		}
		hardware.directory, hardware.ownsIt = directory, true
	}
	for _, wanted := range config.Lines {
		if err := hardware.add(wanted); err != nil {
			hardware.clear()
			close(hardware.ending)
			hardware.workers.Wait()
			return nil, err
		}
	}
	hardware.workers.Add(1)
	go hardware.events()
	return hardware, nil
}

func (h *Hardware) add(wanted Line) error {
	if wanted.Name == "" || h.lines[wanted.Name] != nil || filepath.Base(wanted.Name) != wanted.Name {
		return fmt.Errorf("twin: line name %q: must be a new file name", wanted.Name)
	}
	if (wanted.Instrument == nil) == (len(wanted.Modules) == 0) {
		return fmt.Errorf("twin: line %q: give it modules or an instrument", wanted.Name)
	}
	seen := map[byte]bool{}
	for _, module := range wanted.Modules {
		if module.Unit < 1 || module.Unit > modbus.HighestUnit || seen[module.Unit] || module.Memory == nil {
			return fmt.Errorf("twin: line %q: unit %d: must be 1 to 247, once, with a memory", wanted.Name, module.Unit)
		}
		seen[module.Unit] = true
		module.lastHeard = port.Now()
		h.watchSilence(wanted.Name, module)
	}
	l := &line{Line: wanted, dice: newDice(wanted.Behaviour.Seed, wanted.Name), gate: make(chan struct{}, 1)}
	h.lines[wanted.Name] = l
	return h.plugIn(l)
}

// Path is the name under which any client opens a pseudo-terminal; it stays the same when the line is unplugged and plugged in again.
func (h *Hardware) Path(name string) string { return filepath.Join(h.directory, name) }

// Open opens a line as a client does, under the same name however often it was unplugged and plugged in again.
func (h *Hardware) Open(name string, settings port.Settings) (made port.Port, err error) {
	if !h.inMemory {
		return port.Open(h.Path(name), settings)
	}
	err = h.withLine(name, func(l *line) (err error) {
		far, plugged := l.terminal.(*port.Far)
		if !plugged {
			return &port.Fault{Port: name, Kind: port.ErrCannotOpen, Note: "it is unplugged", Cause: os.ErrNotExist}
		}
		made, err = far.Open(settings)
		return err
	})
	return made, err
}

// plugIn makes a new line and puts its name in place.
func (h *Hardware) plugIn(l *line) (err error) {
	if l.terminal != nil {
		return nil
	}
	if h.inMemory {
		l.terminal = port.NewFar(l.Name)
	} else if l.terminal, err = h.newTerminal(l.Name); err != nil {
		l.terminal = nil
		return err
	}
	l.heard = nil
	h.workers.Add(1)
	go h.listen(l, l.terminal)
	return nil
}

// newTerminal makes a pseudo-terminal under the name of a line.
func (h *Hardware) newTerminal(name string) (terminal, error) {
	fresh, err := pseudo.Open()
	if err != nil {
		return nil, err
	}
	path := h.Path(name)
	beside := path + ".new"
	_ = os.Remove(beside)
	if err = os.Symlink(fresh.Device(), beside); err == nil {
		err = os.Rename(beside, path)
	}
	if err != nil {
		fresh.Unplug()
		return nil, err
	}
	return fresh, nil
}

// listen reads one terminal until it is unplugged.
func (h *Hardware) listen(l *line, from terminal) {
	defer h.workers.Done()
	into := make([]byte, 1024)
	for {
		// The gate is closed (its token taken) while the line is stalled.
		select {
		case l.gate <- struct{}{}:
			<-l.gate
		case <-h.ending:
			return
		}
		count, err := from.Read(into)
		if err != nil {
			return
		}
		at := port.Now()
		data := append([]byte(nil), into[:count]...)
		if !h.call(func() { h.arrived(l, from, at, data) }) {
			return
		}
	}
}

// call has the event loop do something next, and does not wait for it. False: the hardware is closed.
func (h *Hardware) call(what func()) bool {
	select {
	case h.calls <- what:
		return true
	case <-h.ending:
		return false
	}
}

// Within runs a function in the event loop, between two events, and waits for it.
func (h *Hardware) Within(what func(*Devices)) error {
	done := make(chan struct{})
	if !h.call(func() { what(h.devices); close(done) }) {
		return errors.New("twin: the hardware is closed")
	}
	select {
	case <-done:
		return nil
	case <-h.ending:
		return errors.New("twin: the hardware is closed")
	}
}

// Unplug pulls a line's plug. Its devices live on, without hearing anything.
func (h *Hardware) Unplug(name string) error {
	return h.withLine(name, func(l *line) error {
		l.stall(false)
		h.pull(l)
		return nil
	})
}

// Plug puts the plug back in.
func (h *Hardware) Plug(name string) error { return h.withLine(name, h.plugIn) }

// Stall stops taking bytes from a line, so that its sender's buffer fills up; or goes on.
func (h *Hardware) Stall(name string, stalled bool) error {
	return h.withLine(name, func(l *line) error { l.stall(stalled); return nil })
}

// stall takes the listener's token away, or gives it back. The listener holds it for moments only.
func (l *line) stall(stalled bool) {
	switch {
	case stalled && !l.stalled:
		l.gate <- struct{}{}
	case !stalled && l.stalled:
		<-l.gate
	}
	l.stalled = stalled
}

// Behave changes how a line behaves; its dice go on where they are.
func (h *Hardware) Behave(name string, behaviour Behaviour) error {
	return h.withLine(name, func(l *line) error { l.Behaviour = behaviour; return nil })
}

func (h *Hardware) withLine(name string, what func(*line) error) (err error) {
	outer := h.Within(func(*Devices) {
		l := h.lines[name]
		if l == nil {
			err = fmt.Errorf("twin: no line %q", name)
			return
		}
		err = what(l)
	})
	return errors.Join(outer, err)
}

// History is everything that moved so far.
func (h *Hardware) History() []Change {
	var copied []Change
	_ = h.Within(func(*Devices) { copied = append(copied, h.history...) })
	return copied
}

// pull hangs up one line.
func (h *Hardware) pull(l *line) {
	if l.terminal != nil {
		l.terminal.Unplug()
		l.terminal = nil
		if !h.inMemory {
			_ = os.Remove(h.Path(l.Name))
		}
	}
}

// Close ends it and gives everything back.
func (h *Hardware) Close() error {
	h.once.Do(func() {
		_ = h.Within(func(*Devices) { h.clear() })
		close(h.ending)
		h.workers.Wait()
	})
	return nil
}

// clear unplugs everything; in the event loop, or before it began.
func (h *Hardware) clear() {
	for _, l := range h.lines {
		h.pull(l)
	}
	if h.ownsIt {
		_ = os.Remove(h.directory)
	}
}

// events is the event loop: everything that happens, happens here, in order of time.
func (h *Hardware) events() {
	defer h.workers.Done()
	fine := 3 * time.Millisecond // Go's timers are up to a millisecond late
	if h.inMemory {
		fine = 0
	}
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		wait := time.Hour
		if len(h.plan) > 0 {
			wait = h.plan[0].at.Sub(port.Now())
		}
		switch {
		case wait <= 0:
			heap.Pop(&h.plan).(*event).what()
			continue
		case wait <= fine:
			port.Pause(wait)
			continue
		}
		timer.Reset(wait - fine/2)
		select {
		case what := <-h.calls:
			what()
		case <-timer.C:
		case <-h.ending:
			return
		}
	}
}

// event is something due.
type event struct {
	at    port.Stamp
	order int // first planned, first done
	what  func()
}

// planned is a heap of events, earliest first.
type planned []*event

func (p planned) Len() int { return len(p) }
func (p planned) Less(a, b int) bool {
	return p[a].at < p[b].at || p[a].at == p[b].at && p[a].order < p[b].order
}
func (p planned) Swap(a, b int) { p[a], p[b] = p[b], p[a] }

// Push and Pop serve container/heap.
func (p *planned) Push(x any) { *p = append(*p, x.(*event)) }

// Pop takes the last one off.
func (p *planned) Pop() any {
	last := len(*p) - 1
	e := (*p)[last]
	*p = (*p)[:last]
	return e
}

// due plans something.
func (h *Hardware) due(at port.Stamp, what func()) {
	h.order++
	heap.Push(&h.plan, &event{at: at, order: h.order, what: what})
}
