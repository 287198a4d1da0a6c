package modbus_test

import (
	"errors"
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
)

// tcpServer answers Modbus TCP from a memory, and misbehaves as told.
func tcpServer(t *testing.T, spoil func(number int, frame []byte) [][]byte) string {
	server, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = server.Close() })
	go func() {
		connection, err := server.Accept()
		if err != nil {
			return
		}
		defer func() { _ = connection.Close() }()
		memory := modbus.NewImage(16, 16, 8, 8)
		var stream []byte
		into := make([]byte, 512)
		for number := 0; ; {
			count, err := connection.Read(into)
			if err != nil {
				return
			}
			stream = append(stream, into[:count]...)
			frame, rest, err := modbus.TakeTCP(stream)
			if err != nil || frame == nil {
				continue
			}
			answer := modbus.EncodeTCP(frame.Transaction, frame.Unit, modbus.Serve(memory, frame.PDU))
			stream = append([]byte(nil), rest...)
			for _, part := range spoil(number, answer) {
				if _, err := connection.Write(part); err != nil {
					return
				}
			}
			number++
		}
	}()
	return server.Addr().String()
}

func TestTCPPassesOverLateAnswers(t *testing.T) {
	var held []byte
	address := tcpServer(t, func(number int, frame []byte) [][]byte {
		switch number {
		case 0:
			held = frame // too late: sent in front of the next one
			return nil
		case 1:
			return [][]byte{held, frame[:5], frame[5:]}
		}
		return [][]byte{frame}
	})
	line, err := port.Dial(address, port.NetSettings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	defer func() { require.NoError(t, line.Halt()) }()
	client := modbus.NewClient(line, modbus.Settings{Framing: modbus.TCP, Turnaround: 2 * time.Second})
	_, _, err = client.ReadCoils(unit, 0, 8)
	require.ErrorIs(t, err, port.ErrSilent)
	_, err = client.WriteCoil(unit, 0, true)
	require.NoError(t, err)
	coils, result, err := client.ReadCoils(unit, 0, 8)
	require.NoError(t, err)
	require.True(t, coils[0])
	require.False(t, result.Doubt)
}

func TestTCPOutOfStepIsLost(t *testing.T) {
	address := tcpServer(t, func(int, []byte) [][]byte { return [][]byte{[]byte("HTTP/1.1 400 Bad Request\r\n")} })
	line, err := port.Dial(address, port.NetSettings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	client := modbus.NewClient(line, modbus.Settings{Framing: modbus.TCP, Turnaround: 2 * time.Second})
	_, _, err = client.ReadCoils(unit, 0, 8)
	require.ErrorIs(t, err, port.ErrLost)
	_, _, err = client.ReadCoils(unit, 0, 8)
	require.True(t, errors.Is(err, port.ErrHalted) || errors.Is(err, io.EOF), "%v", err)
}
