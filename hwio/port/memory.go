package port

import (
	"errors"
	"os"
	"sync"
	"time"
)

// Far is the device's end of a line in memory, for devices that are played by a program where there are no pseudo-terminals,
// and for tests whose clock only moves when everybody waits. It can be unplugged once, for good.
type Far struct {
	name     string
	toDevice chan []byte
	toClient chan []byte
	pulled   chan struct{}
	pulling  sync.Once

	guard sync.Mutex
	taken bool // by a Port
}

// What a line holds that nobody reads, in pieces as they were written. Then a client's write hangs, as on a real line, and
// what a device says falls on the floor.
const lineHolds = 64

// NewFar is a line in memory, nobody at its near end yet.
func NewFar(name string) *Far {
	return &Far{name: name, toDevice: make(chan []byte, lineHolds), toClient: make(chan []byte, lineHolds), pulled: make(chan struct{})}
}

// Read waits for bytes from the client, at most 256 at once; it ends with an error when the line is unplugged.
func (f *Far) Read(into []byte) (int, error) {
	select {
	case data := <-f.toDevice:
		return copy(into, data), nil
	case <-f.pulled:
		return 0, os.ErrClosed
	}
}

// Write says something to the client.
func (f *Far) Write(data []byte) {
	select {
	case f.toClient <- append([]byte(nil), data...):
	default:
	}
}

// Unplug hangs up: the client sees a dead line.
func (f *Far) Unplug() { f.pulling.Do(func() { close(f.pulled) }) }

// Open is the near end, for one client at a time. Of the settings the speed means nothing here.
func (f *Far) Open(settings Settings) (Port, error) {
	settings = settings.withDefaults()
	f.guard.Lock()
	defer f.guard.Unlock()
	select {
	case <-f.pulled:
		return nil, &Fault{Port: f.name, Kind: ErrCannotOpen, Note: "not there: check the plug and the name", Cause: os.ErrNotExist}
	default:
	}
	if f.taken {
		return nil, &Fault{Port: f.name, Kind: ErrInUse, Note: "another part of this program holds it"}
	}
	f.taken = true
	l := makeLink(f.name, &memoryWire{far: f, poll: settings.Poll}, settings.Tap, settings.WriteLimit)
	l.pause = time.Sleep // nothing in memory is finer than Go's own timers
	l.start()
	return l, nil
}

// memoryWire is a line in memory as a link reads and writes it.
type memoryWire struct {
	far  *Far
	poll time.Duration
	rest []byte // of a piece that was longer than a read
}

var errPulled = errors.New("unplugged")

func (w *memoryWire) read(into []byte) (int, error) {
	if len(w.rest) == 0 {
		poll := time.NewTimer(w.poll)
		defer poll.Stop()
		select {
		case w.rest = <-w.far.toClient:
		case <-poll.C:
			return 0, nil
		case <-w.far.pulled:
			return 0, errPulled
		}
	}
	count := copy(into, w.rest)
	w.rest = w.rest[count:]
	return count, nil
}

// writeSize is the longest piece that a device is handed; Far.Read says so.
const writeSize = 256

func (w *memoryWire) write(data []byte) (int, error) {
	data = data[:min(len(data), writeSize)]
	select {
	case w.far.toDevice <- append([]byte(nil), data...):
		return len(data), nil
	case <-w.far.pulled:
		return 0, errPulled
	}
}

func (w *memoryWire) waiting() int { return len(w.far.toClient) }

// release frees nothing: as with some drivers, a write that hangs is let go only by the plug.
func (w *memoryWire) release() {}

func (w *memoryWire) close() error {
	w.far.guard.Lock()
	defer w.far.guard.Unlock()
	w.far.taken = false
	return nil
}
