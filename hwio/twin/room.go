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

// Module is one Modbus device. Its memory belongs to the room once opened: touch it only from within.
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

// World is what hangs behind the terminals. Its methods are called by the room's one goroutine: they must not block, and
// may use every method of Stage.
type World interface {
	// CoilMoved is called after a coil changed, by order or because it fell.
	CoilMoved(stage *Stage, line string, unit byte, coil int, on bool)
	// RegisterWritten is called after a holding register was written, changed or not.
	RegisterWritten(stage *Stage, line string, unit byte, register int, value uint16)
}

// Config is a room to be opened.
type Config struct {
	// Directory is where the lines appear under their names; empty: a new temporary directory, removed at the end.
	Directory string
	Lines     []Line
	World     World // may be nil
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

// Room is a running twin.
type Room struct {
	directory string
	ownsIt    bool
	lines     map[string]*line
	world     World
	stage     *Stage

	calls   chan func()
	ending  chan struct{}
	workers sync.WaitGroup
	once    sync.Once

	plan    planned // what is due when; only the stage manager touches it
	order   int
	history []Change
}

// line is a Line in use.
type line struct {
	Line
	dice     dice
	terminal *pseudo.Terminal // nil: unplugged
	gate     chan struct{}
	stalled  bool
	heard    []byte
	heardAt  port.Stamp
	busyTill port.Stamp
}

// historyLimit bounds the history of a long run; the oldest half goes first.
const historyLimit = 1 << 17

// Open opens the room and plugs in all lines.
func Open(config Config) (*Room, error) {
	room := &Room{
		directory: config.Directory, lines: map[string]*line{}, world: config.World,
		calls: make(chan func()), ending: make(chan struct{}),
	}
	room.stage = &Stage{room: room}
	if room.directory == "" {
		directory, err := os.MkdirTemp("", "ohmgate-twin-")
		if err != nil {
			return nil, err
		}
		room.directory, room.ownsIt = directory, true
	}
	for _, wanted := range config.Lines {
		if err := room.add(wanted); err != nil {
			room.clear()
			close(room.ending)
			room.workers.Wait()
			return nil, err
		}
	}
	room.workers.Add(1)
	go room.manage()
	return room, nil
}

func (r *Room) add(wanted Line) error {
	if wanted.Name == "" || r.lines[wanted.Name] != nil || filepath.Base(wanted.Name) != wanted.Name {
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
		r.watchSilence(wanted.Name, module)
	}
	l := &line{Line: wanted, dice: newDice(wanted.Behaviour.Seed, wanted.Name), gate: make(chan struct{}, 1)}
	r.lines[wanted.Name] = l
	return r.plugIn(l)
}

// Path is the name under which a client opens a line; it stays the same when the line is unplugged and plugged in again.
func (r *Room) Path(name string) string { return filepath.Join(r.directory, name) }

// plugIn makes a new pseudo-terminal and puts its name in place.
func (r *Room) plugIn(l *line) error {
	if l.terminal != nil {
		return nil
	}
	fresh, err := pseudo.Open()
	if err != nil {
		return err
	}
	path := r.Path(l.Name)
	beside := path + ".new"
	_ = os.Remove(beside)
	if err = os.Symlink(fresh.Device(), beside); err == nil {
		err = os.Rename(beside, path)
	}
	if err != nil {
		fresh.Unplug()
		return err
	}
	l.terminal, l.heard = fresh, nil
	r.workers.Add(1)
	go r.listen(l, fresh)
	return nil
}

// listen reads one terminal until it is unplugged.
func (r *Room) listen(l *line, from *pseudo.Terminal) {
	defer r.workers.Done()
	into := make([]byte, 1024)
	for {
		// The gate is closed (its token taken) while the line is stalled.
		select {
		case l.gate <- struct{}{}:
			<-l.gate
		case <-r.ending:
			return
		}
		count, err := from.Read(into)
		if err != nil {
			return
		}
		at := port.Now()
		data := append([]byte(nil), into[:count]...)
		if !r.call(func() { r.arrived(l, from, at, data) }) {
			return
		}
	}
}

// call has the stage manager do something next, and does not wait for it. False: the room is closed.
func (r *Room) call(what func()) bool {
	select {
	case r.calls <- what:
		return true
	case <-r.ending:
		return false
	}
}

// Within runs a function on the stage, between two events, and waits for it.
func (r *Room) Within(what func(*Stage)) error {
	done := make(chan struct{})
	if !r.call(func() { what(r.stage); close(done) }) {
		return errors.New("twin: the room is closed")
	}
	select {
	case <-done:
		return nil
	case <-r.ending:
		return errors.New("twin: the room is closed")
	}
}

// Unplug pulls a line's plug. Its devices live on, without hearing anything.
func (r *Room) Unplug(name string) error {
	return r.withLine(name, func(l *line) error {
		l.stall(false)
		r.pull(l)
		return nil
	})
}

// Plug puts the plug back in.
func (r *Room) Plug(name string) error { return r.withLine(name, r.plugIn) }

// Stall stops taking bytes from a line, so that its sender's buffer fills up; or goes on.
func (r *Room) Stall(name string, stalled bool) error {
	return r.withLine(name, func(l *line) error { l.stall(stalled); return nil })
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
func (r *Room) Behave(name string, behaviour Behaviour) error {
	return r.withLine(name, func(l *line) error { l.Behaviour = behaviour; return nil })
}

func (r *Room) withLine(name string, what func(*line) error) (err error) {
	outer := r.Within(func(*Stage) {
		l := r.lines[name]
		if l == nil {
			err = fmt.Errorf("twin: no line %q", name)
			return
		}
		err = what(l)
	})
	return errors.Join(outer, err)
}

// History is everything that moved so far.
func (r *Room) History() []Change {
	var copied []Change
	_ = r.Within(func(*Stage) { copied = append(copied, r.history...) })
	return copied
}

// pull hangs up one line.
func (r *Room) pull(l *line) {
	if l.terminal != nil {
		l.terminal.Unplug()
		l.terminal = nil
		_ = os.Remove(r.Path(l.Name))
	}
}

// Close ends the play and gives everything back.
func (r *Room) Close() error {
	r.once.Do(func() {
		_ = r.Within(func(*Stage) { r.clear() })
		close(r.ending)
		r.workers.Wait()
	})
	return nil
}

// clear unplugs everything; on the stage, or before the play began.
func (r *Room) clear() {
	for _, l := range r.lines {
		r.pull(l)
	}
	if r.ownsIt {
		_ = os.Remove(r.directory)
	}
}

// manage is the stage manager: everything that happens, happens here, in order of time.
func (r *Room) manage() {
	defer r.workers.Done()
	const fine = 3 * time.Millisecond // Go's timers are up to a millisecond late
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		wait := time.Hour
		if len(r.plan) > 0 {
			wait = r.plan[0].at.Sub(port.Now())
		}
		switch {
		case wait <= 0:
			heap.Pop(&r.plan).(*event).what()
			continue
		case wait <= fine:
			port.Pause(wait)
			continue
		}
		timer.Reset(wait - fine/2)
		select {
		case what := <-r.calls:
			what()
		case <-timer.C:
		case <-r.ending:
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
func (r *Room) due(at port.Stamp, what func()) {
	r.order++
	heap.Push(&r.plan, &event{at: at, order: r.order, what: what})
}
