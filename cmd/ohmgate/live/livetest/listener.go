package livetest

import (
	"context"
	"net"
	"sync"
)

// Listener is a listener in memory: what dials it meets who accepts, without a
// socket, so that both can stand on the fake clock of testing/synctest.
type Listener struct {
	met  chan net.Conn
	over chan struct{}
	once sync.Once
}

// Listen is a listener that nobody has dialled.
func Listen() *Listener { return &Listener{met: make(chan net.Conn), over: make(chan struct{})} }

// DialContext connects, whatever the address; it has the form of http.Transport's.
func (l *Listener) DialContext(ctx context.Context, _, _ string) (net.Conn, error) {
	here, there := net.Pipe()
	select {
	case l.met <- there:
		return here, nil
	case <-l.over:
		return nil, net.ErrClosed
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// Accept waits for somebody to dial.
func (l *Listener) Accept() (net.Conn, error) {
	select {
	case conn := <-l.met:
		return conn, nil
	case <-l.over:
		return nil, net.ErrClosed
	}
}

// Close ends it.
func (l *Listener) Close() error {
	l.once.Do(func() { close(l.over) })
	return nil
}

// Addr is that of loopback.
func (l *Listener) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)} }
