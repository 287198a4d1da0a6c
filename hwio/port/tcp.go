package port

import (
	"errors"
	"net"
	"os"
	"syscall"
	"time"
)

// NetSettings is how a TCP connection is opened.
type NetSettings struct {
	// ConnectLimit is how long connecting may take; default 3 s.
	ConnectLimit time.Duration
	// WriteLimit is how long a write may take before the line counts as lost; default 1 s.
	WriteLimit time.Duration
	// Poll is how often the reader looks whether it should end; default 20 ms.
	Poll time.Duration
	// Tap is told every byte.
	Tap Tap
}

// Dial opens a TCP connection, address as "host:port" (Modbus TCP: port 502, raw SCPI: port 5025 by custom).
func Dial(address string, settings NetSettings) (Port, error) {
	if settings.ConnectLimit <= 0 {
		settings.ConnectLimit = 3 * time.Second
	}
	if settings.WriteLimit <= 0 {
		settings.WriteLimit = defaultWriteLimit
	}
	if settings.Poll <= 0 {
		settings.Poll = defaultPoll
	}
	if _, _, err := net.SplitHostPort(address); err != nil {
		return nil, &Fault{Port: address, Kind: ErrCannotOpen, Note: "write host and port, like 192.0.2.7:502", Cause: err}
	}
	connection, err := net.DialTimeout("tcp", address, settings.ConnectLimit)
	if err != nil {
		return nil, &Fault{Port: address, Kind: ErrCannotOpen, Note: "no connection: check address, cable and supply", Cause: err}
	}
	w := &netWire{connection: connection, poll: settings.Poll, limit: settings.WriteLimit}
	return newLink(address, w, settings.Tap, settings.WriteLimit+settings.Poll), nil
}

// netWire is a TCP connection; here the operating system does keep deadlines.
type netWire struct {
	connection  net.Conn
	poll, limit time.Duration
}

func (w *netWire) read(into []byte) (int, error) {
	if err := w.connection.SetReadDeadline(time.Now().Add(w.poll)); err != nil {
		return 0, err
	}
	count, err := w.connection.Read(into)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return count, nil
	}
	return count, err
}

func (w *netWire) write(data []byte) (int, error) {
	if err := w.connection.SetWriteDeadline(time.Now().Add(w.limit)); err != nil {
		return 0, err
	}
	return w.connection.Write(data)
}

func (w *netWire) waiting() (count int) {
	raw, ok := w.connection.(syscall.Conn)
	if !ok {
		return 0
	}
	control, err := raw.SyscallConn()
	if err != nil {
		return 0
	}
	_ = control.Control(func(number uintptr) { count, _ = unreadOn(int(number)) })
	return count
}

func (w *netWire) release() { _ = w.connection.SetWriteDeadline(time.Now()) }

func (w *netWire) close() error { return w.connection.Close() }
