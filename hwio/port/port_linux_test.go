package port

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"ohmgate/hwio/internal/pseudo"
)

// far is the other end of a line in these tests: it hears and says raw bytes.
type far struct {
	terminal *pseudo.Terminal
	heard    chan []byte
	done     chan struct{}
}

func newFar(t testing.TB) *far {
	terminal, err := pseudo.Open()
	require.NoError(t, err)
	f := &far{terminal: terminal, heard: make(chan []byte, 64), done: make(chan struct{})}
	go func() {
		defer close(f.done)
		into := make([]byte, 4096)
		for {
			count, err := terminal.Read(into)
			if err != nil {
				return
			}
			select {
			case f.heard <- append([]byte(nil), into[:count]...):
			default:
			}
		}
	}()
	return f
}

// answer says something as soon as anything is heard.
func (f *far) answer(reply string) {
	go func() {
		select {
		case <-f.heard:
			f.terminal.Write([]byte(reply))
		case <-f.done:
		}
	}()
}

func (f *far) unplug() {
	f.terminal.Unplug()
	<-f.done
}

func openFar(t testing.TB, f *far, settings Settings) Port {
	if settings.Poll == 0 {
		settings.Poll = leastPoll
	}
	line, err := Open(f.terminal.Device(), settings)
	require.NoError(t, err)
	return line
}

// long is a limit that only a program that hangs reaches, however busy the machine is.
const long = 30 * time.Second

func untilLine(heard []byte) bool { return bytes.IndexByte(heard, '\n') >= 0 }

func TestExchangeAnswers(t *testing.T) {
	f := newFar(t)
	defer f.unplug()
	var events []Event
	var guard sync.Mutex
	line := openFar(t, f, Settings{Tap: func(e Event) { guard.Lock(); defer guard.Unlock(); events = append(events, e) }})
	f.answer("pong\n")
	answer, err := line.Exchange(Ask{Request: []byte("ping\n"), Wait: long, Complete: untilLine})
	require.NoError(t, err)
	require.Equal(t, "pong\n", string(answer.Heard))
	first, ok := answer.First()
	require.True(t, ok)
	require.LessOrEqual(t, answer.Asked, answer.Sent)
	require.LessOrEqual(t, answer.Asked, first)
	require.LessOrEqual(t, first, answer.Ended)
	require.NoError(t, line.Halt())
	guard.Lock()
	defer guard.Unlock()
	var said strings.Builder
	for _, e := range events {
		said.WriteString(e.Way.String() + " " + string(e.Data))
	}
	require.Contains(t, said.String(), "sent ping\n")
	require.Contains(t, said.String(), "heard pong\n")
}

// TestHeardBeforeTheQuestionIsStray on a terminal of this system, once its reader has it. That the reader may come late is
// what TestLateReaderMakesNoAnswer is about.
func TestHeardBeforeTheQuestionIsStray(t *testing.T) {
	f := newFar(t)
	defer f.unplug()
	heard := make(chan Event, 10)
	line := openFar(t, f, Settings{Tap: func(e Event) { heard <- e }})
	defer func() { require.NoError(t, line.Halt()) }()
	f.terminal.Write([]byte("stale\n"))
	for text := ""; text != "stale\n"; {
		select {
		case e := <-heard:
			text += string(e.Data)
		case <-time.After(long):
			t.Fatal("the reader never came")
		}
	}
	answer, err := line.Exchange(Ask{Request: []byte("ping\n"), Quiet: time.Millisecond, Wait: 20 * time.Millisecond, Complete: untilLine})
	require.ErrorIs(t, err, ErrSilent)
	require.Equal(t, "stale\n", string(answer.StrayBytes()))
}

// TestUnreadBytesAreSeen while nobody reads: on a terminal and on a connection.
func TestUnreadBytesAreSeen(t *testing.T) {
	terminal, err := pseudo.Open()
	require.NoError(t, err)
	defer terminal.Unplug()
	device := openBeside(terminal.Device())
	require.NotNil(t, device)
	defer device.close()
	require.Zero(t, device.waiting())
	require.False(t, device.hasLines(), "a terminal of this system has no modem lines")
	terminal.Write([]byte("stale\n"))
	require.Eventually(t, func() bool { return device.waiting() == 6 }, long, time.Millisecond)
	require.Nil(t, openBeside("/dev/ttyOhmgateNotThere"))
	require.Zero(t, openBeside("/dev/ttyOhmgateNotThere").waiting())

	server, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = server.Close() }()
	near, err := net.Dial("tcp", server.Addr().String())
	require.NoError(t, err)
	defer func() { _ = near.Close() }()
	peer, err := server.Accept()
	require.NoError(t, err)
	defer func() { _ = peer.Close() }()
	w := &netWire{connection: near}
	require.Zero(t, w.waiting())
	_, err = peer.Write([]byte("stale\n"))
	require.NoError(t, err)
	require.Eventually(t, func() bool { return w.waiting() == 6 }, long, time.Millisecond)
}

func TestUnplugIsOneErrorForGood(t *testing.T) {
	f := newFar(t)
	line := openFar(t, f, Settings{})
	go func() {
		time.Sleep(10 * time.Millisecond)
		f.unplug()
	}()
	begun := time.Now()
	_, err := line.Exchange(Ask{Request: []byte("ping\n"), Wait: 2 * long, Complete: untilLine})
	require.ErrorIs(t, err, ErrLost)
	require.Less(t, time.Since(begun), long, "a pulled plug is not waited out")
	_, err = line.Exchange(Ask{Request: []byte("ping\n"), Wait: time.Second, Complete: untilLine})
	require.ErrorIs(t, err, ErrLost)
	require.NoError(t, line.Halt())
	_, err = line.Exchange(Ask{Request: []byte("ping\n"), Wait: time.Second, Complete: untilLine})
	require.ErrorIs(t, err, ErrLost, "the first reason stands")
}

func TestUnplugIsNoticedWhileNobodyAsks(t *testing.T) {
	f := newFar(t)
	lost := make(chan Event, 1)
	line := openFar(t, f, Settings{Tap: func(e Event) {
		if e.Way == Lost {
			lost <- e
		}
	}})
	f.unplug()
	select {
	case e := <-lost:
		require.NotEmpty(t, e.Note)
	case <-time.After(long):
		t.Fatal("the pulled plug was not noticed")
	}
	require.NoError(t, line.Halt())
}

// TestLostLineLetsGoByItself: a pulled adapter whose descriptor is still held gets another name when it comes back.
func TestLostLineLetsGoByItself(t *testing.T) {
	goroutines, descriptors := pseudo.Usage()
	f := newFar(t)
	line := openFar(t, f, Settings{})
	f.unplug()
	require.NoError(t, pseudo.Settled(goroutines, descriptors))
	require.NoError(t, line.Halt())
}

func TestStuckWriteIsALostLine(t *testing.T) {
	goroutines, descriptors := pseudo.Usage()
	terminal, err := pseudo.Open() // nobody reads it
	require.NoError(t, err)
	line, err := Open(terminal.Device(), Settings{WriteLimit: 50 * time.Millisecond, Poll: leastPoll})
	require.NoError(t, err)
	begun := time.Now()
	_, err = line.Exchange(Ask{Request: make([]byte, 1<<20), Wait: 2 * long, Complete: untilLine})
	require.ErrorIs(t, err, ErrLost)
	require.Less(t, time.Since(begun), long)
	require.Contains(t, err.Error(), "hung")
	// The system still has the write: the descriptor must not be given back under it.
	require.Error(t, line.Halt())
	terminal.Unplug()
	require.NoError(t, line.Halt(), "once the system lets go, everything is given back")
	require.NoError(t, pseudo.Settled(goroutines, descriptors))
}

// TestNothingLandsElsewhere: after Halt the descriptor's number goes to another file; no exchange may write into it.
func TestNothingLandsElsewhere(t *testing.T) {
	for trial := range 50 {
		f := newFar(t)
		line := openFar(t, f, Settings{})
		var shouting sync.WaitGroup
		for range 4 {
			shouting.Add(1)
			go func() {
				defer shouting.Done()
				for range 20 {
					_, _ = line.Exchange(Ask{Request: []byte("relay on\n"), Wait: 0})
				}
			}()
		}
		time.Sleep(time.Duration(trial%5) * 200 * time.Microsecond)
		require.NoError(t, line.Halt())
		innocent, err := os.Create(filepath.Join(t.TempDir(), "innocent"))
		require.NoError(t, err)
		_, err = line.Exchange(Ask{Request: []byte("relay on\n"), Wait: 0})
		require.ErrorIs(t, err, ErrHalted)
		shouting.Wait()
		state, err := innocent.Stat()
		require.NoError(t, err)
		require.Zero(t, state.Size(), "bytes meant for relays landed in another file")
		require.NoError(t, innocent.Close())
		f.unplug()
	}
}

func TestHaltEndsARunningExchange(t *testing.T) {
	f := newFar(t)
	defer f.unplug()
	line := openFar(t, f, Settings{})
	go func() {
		time.Sleep(10 * time.Millisecond)
		_ = line.Halt()
	}()
	_, err := line.Exchange(Ask{Request: []byte("ping\n"), Wait: long, Complete: untilLine})
	require.ErrorIs(t, err, ErrHalted)
	require.NoError(t, line.Halt())
}

func TestSecondOpenIsRefusedByOurLock(t *testing.T) {
	f := newFar(t)
	defer f.unplug()
	line := openFar(t, f, Settings{})
	other := filepath.Join(t.TempDir(), "by-id") // another name for the same device
	require.NoError(t, os.Symlink(f.terminal.Device(), other))
	_, err := Open(other, Settings{})
	require.ErrorIs(t, err, ErrInUse)
	require.Contains(t, err.Error(), "process")
	require.NoError(t, line.Halt())
	again, err := Open(other, Settings{})
	require.NoError(t, err)
	require.NoError(t, again.Halt())
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	_, err := Open("/dev/ttyOhmgateNotThere", Settings{})
	require.ErrorIs(t, err, ErrCannotOpen)
	require.ErrorIs(t, err, os.ErrNotExist)
	require.Contains(t, err.Error(), "not there")
	plain := filepath.Join(t.TempDir(), "plain")
	require.NoError(t, os.WriteFile(plain, nil, 0o600))
	_, err = Open(plain, Settings{})
	require.ErrorIs(t, err, ErrCannotOpen)
	_, err = Open(plain, Settings{Line: Line{Baud: 7}})
	require.ErrorIs(t, err, ErrCannotOpen)
	_, err = Dial("nowhere", NetSettings{})
	require.ErrorIs(t, err, ErrCannotOpen)
}

func TestLargeDescriptorIsRefused(t *testing.T) {
	var limit unix.Rlimit
	require.NoError(t, unix.Getrlimit(unix.RLIMIT_NOFILE, &limit))
	if limit.Cur < 1200 {
		t.Skipf("this shell allows only %d open files", limit.Cur)
	}
	f := newFar(t)
	defer f.unplug()
	var crowd []*os.File
	defer func() {
		for _, file := range crowd {
			_ = file.Close()
		}
	}()
	for len(crowd) < 1100 {
		file, err := os.Open(os.DevNull)
		require.NoError(t, err)
		crowd = append(crowd, file)
	}
	_, err := Open(f.terminal.Device(), Settings{})
	require.ErrorIs(t, err, ErrCannotOpen)
	require.Contains(t, err.Error(), "descriptor")
	// The library's own panic, which the probe above prevents, is an error too.
	_, err = guardedRead(panickingWire{}, make([]byte, 1))
	require.ErrorContains(t, err, "descriptor")
}

type panickingWire struct{ wire }

func (panickingWire) read([]byte) (int, error) { panic("index out of range [16]") }

func TestHeartbeatCallsLongSilenceLost(t *testing.T) {
	f := newFar(t)
	defer f.unplug()
	line := WithHeartbeat(openFar(t, f, Settings{}), 3)
	defer func() { require.NoError(t, line.Halt()) }()
	ask := Ask{Request: []byte("ping\n"), Wait: 5 * time.Millisecond, Complete: untilLine}
	for range 2 {
		_, err := line.Exchange(ask)
		require.ErrorIs(t, err, ErrSilent)
		require.NotErrorIs(t, err, ErrLost)
	}
	for range 2 {
		_, err := line.Exchange(ask)
		require.ErrorIs(t, err, ErrLost)
	}
	require.Equal(t, f.terminal.Device(), line.String())
}

func TestTCPIsTheSamePort(t *testing.T) {
	goroutines, descriptors := pseudo.Usage()
	server, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	accepted := make(chan net.Conn, 1)
	go func() {
		connection, err := server.Accept()
		if err == nil {
			accepted <- connection
		}
	}()
	line, err := Dial(server.Addr().String(), NetSettings{Poll: leastPoll, WriteLimit: 100 * time.Millisecond})
	require.NoError(t, err)
	peer := <-accepted
	_, err = peer.Write([]byte("pong\n"))
	require.NoError(t, err)
	answer, err := line.Exchange(Ask{Wait: long, Complete: untilLine})
	require.NoError(t, err)
	require.Equal(t, "pong\n", string(answer.Heard))
	_, err = line.Exchange(Ask{Request: []byte("ping\n"), Wait: 20 * time.Millisecond, Complete: untilLine})
	require.ErrorIs(t, err, ErrSilent)
	_, err = line.Exchange(Ask{Request: make([]byte, 64<<20), Wait: time.Second, Complete: untilLine})
	require.ErrorIs(t, err, ErrLost, "a peer that reads nothing")
	require.NoError(t, line.Halt())
	require.NoError(t, peer.Close())
	require.NoError(t, server.Close())
	require.NoError(t, pseudo.Settled(goroutines, descriptors))
}

func TestTCPClosedByPeerIsLost(t *testing.T) {
	server, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = server.Close() }()
	go func() {
		if connection, err := server.Accept(); err == nil {
			_ = connection.Close()
		}
	}()
	line, err := Dial(server.Addr().String(), NetSettings{Poll: leastPoll})
	require.NoError(t, err)
	_, err = line.Exchange(Ask{Request: []byte("ping\n"), Wait: long, Complete: untilLine})
	require.ErrorIs(t, err, ErrLost)
	require.NoError(t, line.Halt())
}

// TestThousandCycles plugs, talks, stalls, babbles and unplugs a thousand times; nothing may stay behind.
func TestThousandCycles(t *testing.T) {
	goroutines, descriptors := pseudo.Usage()
	dice := rand.New(rand.NewPCG(20, 24))
	seen := map[string]int{}
	for cycle := range 1000 {
		kind := []string{"talk", "unplug asked", "unplug idle", "garbage", "stuck write", "silence"}[dice.IntN(6)]
		seen[kind]++
		oneCycle(t, kind, dice)
		if t.Failed() {
			t.Fatalf("cycle %d, %s", cycle, kind)
		}
	}
	require.Len(t, seen, 6)
	require.NoError(t, pseudo.Settled(goroutines, descriptors))
	t.Log(seen)
}

func oneCycle(t *testing.T, kind string, dice *rand.Rand) {
	if kind == "stuck write" {
		stuckCycle(t)
		return
	}
	f := newFar(t)
	line := openFar(t, f, Settings{})
	ask := Ask{Request: []byte("ping\n"), Wait: long, Complete: untilLine}
	var err error
	switch kind {
	case "talk":
		f.answer("pong\n")
		_, err = line.Exchange(ask)
		require.NoError(t, err)
	case "unplug asked":
		go f.terminal.Unplug()
		_, err = line.Exchange(ask)
		require.ErrorIs(t, err, ErrLost)
	case "unplug idle":
		f.terminal.Unplug()
		_, err = line.Exchange(ask)
		require.ErrorIs(t, err, ErrLost)
	case "garbage":
		wild := make([]byte, 1+dice.IntN(3000))
		for index := range wild {
			wild[index] = byte(dice.IntN(256)) | 0x80 // no line feed among them
		}
		f.answer(string(wild))
		ask.Wait = 3 * time.Millisecond
		_, err = line.Exchange(ask)
		require.True(t, errors.Is(err, ErrCut) || errors.Is(err, ErrSilent), "%v", err)
	case "silence":
		ask.Wait = time.Millisecond
		_, err = line.Exchange(ask)
		require.ErrorIs(t, err, ErrSilent)
	}
	require.NoError(t, line.Halt())
	f.terminal.Unplug()
	<-f.done
}

func stuckCycle(t *testing.T) {
	terminal, err := pseudo.Open()
	require.NoError(t, err)
	line, err := Open(terminal.Device(), Settings{WriteLimit: 5 * time.Millisecond, Poll: leastPoll})
	require.NoError(t, err)
	_, err = line.Exchange(Ask{Request: make([]byte, 1<<19), Wait: time.Second, Complete: untilLine})
	require.ErrorIs(t, err, ErrLost)
	terminal.Unplug()
	require.NoError(t, line.Halt())
}
