package port

import (
	"errors"
	"fmt"
	"sync"
	"time"
)

// wire is what a link needs of the operating system. A wire is closed only after its last read and its last write have
// returned: a late write on a closed descriptor would land in whatever file took its number.
type wire interface {
	// read waits a short time at most; 0 and nil mean that nothing came.
	read(into []byte) (int, error)
	// write may send less than all, and may hang.
	write(data []byte) (int, error)
	// waiting is how many bytes lie in the system that no read has fetched yet; 0 where it cannot tell.
	waiting() int
	// release tries to free a write that hangs.
	release()
	// close gives the descriptor back and lets go of the lock.
	close() error
}

const (
	// heardLimit bounds what is kept of a babbling line between two exchanges.
	heardLimit = 64 * 1024
	// readSize is one read. Never zero: an empty read is taken for a closed port by the library.
	readSize = 1024
)

// link turns a wire into a Port. Its life: open, then lost or halted (for good), then released by itself.
type link struct {
	name       string
	wire       wire
	tap        Tap
	writeLimit time.Duration
	pause      func(time.Duration)

	exchanging sync.Mutex // one exchange at a time; held for all of it
	tapping    sync.Mutex // events in order

	state     sync.Mutex // guards what follows
	heard     []Chunk
	heardSize int
	lastSound Stamp // last byte either way: the line was not silent before this
	fault     error // first fault, never cleared
	halted    bool

	news     chan struct{} // one token: something was heard
	down     chan struct{} // closed at the first fault or halt
	jobs     chan job
	workers  sync.WaitGroup
	released chan struct{} // closed when the wire is closed
	closing  error         // what closing the wire said; read after released
	leaving  sync.Once     // the wire is closed once, whether lost or halted
}

// job is one write; the answer comes on its own channel so that nobody can take another's.
type job struct {
	data []byte
	done chan error
}

func newLink(name string, w wire, tap Tap, writeLimit time.Duration) *link {
	l := makeLink(name, w, tap, writeLimit)
	l.start()
	return l
}

func makeLink(name string, w wire, tap Tap, writeLimit time.Duration) *link {
	return &link{
		name: name, wire: w, tap: tap, writeLimit: writeLimit, pause: Pause,
		lastSound: Now(),
		news:      make(chan struct{}, 1),
		down:      make(chan struct{}),
		jobs:      make(chan job),
		released:  make(chan struct{}),
	}
}

func (l *link) start() {
	l.workers.Add(2)
	go l.readLoop()
	go l.writeLoop()
}

// String names the line.
func (l *link) String() string { return l.name }

// readLoop is the only reader, from open to the end.
func (l *link) readLoop() {
	defer l.workers.Done()
	into := make([]byte, readSize)
	for !l.isDown() {
		count, err := guardedRead(l.wire, into)
		if count > 0 {
			l.keep(into[:count])
		}
		if err != nil {
			l.fail("the line is gone: check plug, adapter and supply", err)
			return
		}
	}
}

// guardedRead turns a panic of the library into an error: its select panics on descriptors of 1024 and above.
func guardedRead(w wire, into []byte) (count int, err error) {
	defer func() {
		if trouble := recover(); trouble != nil {
			count, err = 0, fmt.Errorf("reading is not possible on this descriptor: %v", trouble)
		}
	}()
	return w.read(into)
}

// keep stores what was heard with its time, and drops the oldest of a babbling line.
func (l *link) keep(data []byte) {
	chunk := Chunk{At: Now(), Data: append([]byte(nil), data...)}
	l.state.Lock()
	l.heard = append(l.heard, chunk)
	l.heardSize += len(data)
	for l.heardSize > heardLimit {
		l.heardSize -= len(l.heard[0].Data)
		l.heard = l.heard[1:]
	}
	l.lastSound = chunk.At
	l.state.Unlock()
	l.tell(Event{Way: Heard, At: chunk.At, Done: chunk.At, Data: append([]byte(nil), data...)})
	select {
	case l.news <- struct{}{}:
	default:
	}
}

// take empties the store.
func (l *link) take() []Chunk {
	l.state.Lock()
	defer l.state.Unlock()
	taken := l.heard
	l.heard, l.heardSize = nil, 0
	return taken
}

// writeLoop is the only writer, from open to the end. A write that hangs hangs here, where nobody waits for it for ever.
func (l *link) writeLoop() {
	defer l.workers.Done()
	for {
		select {
		case <-l.down:
			return
		case j := <-l.jobs:
			j.done <- l.writeAll(j.data)
		}
	}
}

// writeAll sends every byte, or stops at the first error or as soon as the port is down.
func (l *link) writeAll(data []byte) error {
	for len(data) > 0 {
		if l.isDown() {
			return l.trouble()
		}
		count, err := l.wire.write(data)
		if err != nil && !isInterrupted(err) {
			return err
		}
		if count == 0 && err == nil {
			return errors.New("the system took no byte")
		}
		data = data[count:]
	}
	return nil
}

// send hands the request to the writer and waits, but not longer than the watchdog allows. A stuck write is a lost line:
// nobody can say which of its bytes will still go out.
func (l *link) send(data []byte) (asked, sent Stamp, err error) {
	j := job{data: append([]byte(nil), data...), done: make(chan error, 1)}
	watchdog := time.NewTimer(l.writeLimit)
	defer watchdog.Stop()
	asked = Now()
	select {
	case l.jobs <- j:
	case <-l.down:
		return asked, asked, l.trouble()
	}
	select {
	case err = <-j.done:
		if err != nil {
			l.fail("writing failed", err)
			return asked, Now(), l.trouble()
		}
	case <-watchdog.C:
		l.fail(fmt.Sprintf("a write hung for %v; which of its bytes went out is unknown", l.writeLimit), nil)
		l.wire.release()
		return asked, Now(), l.trouble()
	case <-l.down:
		return asked, Now(), l.trouble()
	}
	sent = Now()
	l.state.Lock()
	l.lastSound = max(l.lastSound, sent)
	l.state.Unlock()
	l.tell(Event{Way: Sent, At: asked, Done: sent, Data: append([]byte(nil), data...)})
	return asked, sent, nil
}

// Exchange is one call: silence, request, answer.
func (l *link) Exchange(ask Ask) (answer Answer, err error) {
	l.exchanging.Lock()
	defer l.exchanging.Unlock()
	defer func() { answer.Ended = Now() }()
	if l.isDown() {
		return answer, l.trouble()
	}
	if len(ask.Request) == 0 {
		answer.Asked = Now()
		answer.Sent = answer.Asked
		return answer, l.gather(ask, &answer)
	}
	if err := l.awaitSilence(ask, &answer); err != nil {
		return answer, err
	}
	answer.Asked, answer.Sent, err = l.send(ask.Request)
	if err != nil {
		return answer, err
	}
	return answer, l.gather(ask, &answer)
}

// held is how long is waited for a reader that the machine has held up, before it is looked for again.
const held = time.Millisecond

// awaitSilence waits until neither side has spoken for ask.Quiet; what is heard meanwhile is stray. That nothing was read is
// not enough: on a busy machine the reader comes late, and what it fetches after the request was sent would be taken for the
// answer. So what lies in the system unread is sound too.
func (l *link) awaitSilence(ask Ask, answer *Answer) error {
	limit := ask.QuietLimit
	if limit == 0 {
		limit = ask.Quiet + time.Second
	}
	begun := Now()
	for {
		unread := l.wire.waiting() > 0 // asked first: what is fetched meanwhile is taken below
		answer.Stray = append(answer.Stray, l.take()...)
		l.state.Lock()
		silent := Now().Sub(l.lastSound)
		l.state.Unlock()
		if silent >= ask.Quiet && !unread {
			return nil
		}
		switch late := Now().Sub(begun) > limit; {
		case l.isDown():
			return l.trouble()
		case late && unread:
			return l.report(ErrNoisy, fmt.Sprintf("bytes lay unread for %v: the machine is too busy", limit))
		case late:
			return l.report(ErrNoisy, fmt.Sprintf("no %v of silence within %v: is another master on the bus, or A/B swapped?", ask.Quiet, limit))
		case unread:
			l.pause(held)
		default:
			l.pause(ask.Quiet - silent)
		}
	}
}

// gather collects the answer until it is complete or its time is over.
func (l *link) gather(ask Ask, answer *Answer) error {
	deadline := time.NewTimer(ask.Wait)
	defer deadline.Stop()
	extended := false
	for {
		for _, chunk := range l.take() {
			answer.Chunks = append(answer.Chunks, chunk)
			answer.Heard = append(answer.Heard, chunk.Data...)
		}
		if ask.Complete != nil && len(answer.Heard) > 0 && ask.Complete(answer.Heard) {
			return nil
		}
		if len(answer.Heard) > 0 && !extended && ask.Rest > 0 {
			extended = true
			deadline.Reset(max(ask.Wait-Now().Sub(answer.Sent), 0) + ask.Rest)
		}
		select {
		case <-l.news:
		case <-deadline.C:
			return l.timeUp(ask, answer)
		case <-l.down:
			if err := l.timeUp(ask, answer); err == nil && ask.Complete != nil {
				return nil // the whole answer had come before the line went
			}
			return l.trouble()
		}
	}
}

// timeUp looks a last time, for what came together with the deadline, and gives silence its type.
func (l *link) timeUp(ask Ask, answer *Answer) error {
	for _, chunk := range l.take() {
		answer.Chunks = append(answer.Chunks, chunk)
		answer.Heard = append(answer.Heard, chunk.Data...)
	}
	switch {
	case ask.Complete == nil:
		return nil
	case len(answer.Heard) == 0:
		return l.report(ErrSilent, fmt.Sprintf("nothing within %v", ask.Wait))
	case ask.Complete(answer.Heard):
		return nil
	}
	return l.report(ErrCut, fmt.Sprintf("%d bytes but no complete answer within %v", len(answer.Heard), ask.Wait+ask.Rest))
}

func (l *link) report(kind error, note string) error {
	return &Fault{Port: l.name, Kind: kind, Note: note}
}

// fail marks the line as lost; the first reason stands.
func (l *link) fail(note string, cause error) {
	l.state.Lock()
	if l.fault != nil || l.halted {
		l.state.Unlock()
		return
	}
	l.fault = &Fault{Port: l.name, Kind: ErrLost, Note: note, Cause: cause}
	text := l.fault.Error()
	close(l.down)
	l.state.Unlock()
	l.leave()
	at := Now()
	l.tell(Event{Way: Lost, At: at, Done: at, Note: text})
}

// leave gives descriptor and lock back as soon as the last read and write have returned. A lost line does not wait for
// Halt: as long as somebody holds a pulled adapter, the system gives it another name when it is plugged in again.
func (l *link) leave() {
	l.leaving.Do(func() {
		go func() {
			l.workers.Wait()
			l.closing = l.wire.close()
			close(l.released)
		}()
	})
}

func (l *link) isDown() bool {
	select {
	case <-l.down:
		return true
	default:
		return false
	}
}

// trouble is why the port is down.
func (l *link) trouble() error {
	l.state.Lock()
	defer l.state.Unlock()
	if l.fault != nil {
		return l.fault
	}
	return &Fault{Port: l.name, Kind: ErrHalted, Note: "this program closed it"}
}

// Halt makes the port inert. The descriptor is given back when the last read and write have returned; if a write still
// hangs in the system after the watchdog's time, Halt says so and the descriptor follows when the system lets go.
func (l *link) Halt() error {
	l.state.Lock()
	if !l.halted {
		l.halted = true
		if l.fault == nil {
			close(l.down)
		}
	}
	l.state.Unlock()
	l.leave()
	patience := time.NewTimer(l.writeLimit + time.Second)
	defer patience.Stop()
	select {
	case <-l.released:
		if l.closing != nil && !l.wasLost() {
			return &Fault{Port: l.name, Kind: ErrLost, Note: "closing failed", Cause: l.closing}
		}
		return nil
	case <-patience.C:
		return l.report(ErrLost, "a write still hangs in the operating system; pull the adapter or restart the program")
	}
}

func (l *link) wasLost() bool {
	l.state.Lock()
	defer l.state.Unlock()
	return l.fault != nil
}

func (l *link) tell(e Event) {
	if l.tap == nil {
		return
	}
	e.Port = l.name
	l.tapping.Lock()
	defer l.tapping.Unlock()
	l.tap(e)
}
