package modbus_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
)

// These tests hold the client and the pure server against an independent one: pymodbus, Debian package python3-pymodbus,
// over a pair of pseudo-terminals made by socat, and over TCP.

const (
	answerLimit = 5 * time.Second
	// tolerated is how late the machine may be while a peer cuts frames by silence: it waits for five milliseconds of that.
	tolerated = 5 * time.Millisecond
)

const python = "/usr/bin/python3" // Debian's own, which sees Debian's packages

// peerServer is run by pymodbus: 100 of each item, coils and inputs alternating, registers counting up.
const peerServer = `
import logging, sys
logging.disable(logging.CRITICAL)
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusSlaveContext, ModbusServerContext
from pymodbus.server import StartSerialServer, StartTcpServer
from pymodbus.transaction import ModbusRtuFramer
store = ModbusSlaveContext(
    co=ModbusSequentialDataBlock(0, [bool(i % 2) for i in range(100)]),
    di=ModbusSequentialDataBlock(0, [i % 3 == 0 for i in range(100)]),
    hr=ModbusSequentialDataBlock(0, [1000 + i for i in range(100)]),
    ir=ModbusSequentialDataBlock(0, [2000 + i for i in range(100)]),
    zero_mode=True)
context = ModbusServerContext(slaves={17: store}, single=False)
if sys.argv[1] == "tcp":
    StartTcpServer(context=context, address=("127.0.0.1", int(sys.argv[2])))
else:
    StartSerialServer(context=context, framer=ModbusRtuFramer, port=sys.argv[2], baudrate=19200, timeout=0.005)
`

// missing skips a test for want of a peer, unless on the build server, where peers are not optional.
func missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing: install it", what)
	}
	t.Skipf("%s is missing: this test needs it as an independent peer", what)
}

func needPeer(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath("socat"); err != nil {
		missing(t, "socat (Debian package socat)")
	}
	if err := exec.Command(python, "-c", "import pymodbus.server, serial").Run(); err != nil {
		missing(t, "pymodbus (Debian package python3-pymodbus)")
	}
}

// background starts a program that is ended with the test.
func background(t testing.TB, name string, arguments ...string) *bytes.Buffer {
	t.Helper()
	during, stop := context.WithCancel(context.Background())
	command := exec.CommandContext(during, name, arguments...)
	output := &bytes.Buffer{}
	command.Stderr = output
	require.NoError(t, command.Start())
	t.Cleanup(func() {
		stop()
		_ = command.Wait()
	})
	return output
}

func eventually(t testing.TB, what string, is func() bool) {
	t.Helper()
	for deadline := time.Now().Add(2 * time.Minute); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s did not come up", what)
		}
	}
}

// peerImage is the same memory as the peer's.
func peerImage() *modbus.Image {
	image := modbus.NewImage(100, 100, 100, 100)
	for index := range 100 {
		image.CoilTable[index] = index%2 != 0
		image.InputTable[index] = index%3 == 0
		image.HoldingTable[index] = uint16(1000 + index)
		image.ReadingTable[index] = uint16(2000 + index)
	}
	return image
}

func serialPeer(t testing.TB) port.Port {
	needPeer(t)
	directory := t.TempDir()
	ours, theirs := filepath.Join(directory, "ours"), filepath.Join(directory, "theirs")
	background(t, "socat", "pty,raw,echo=0,link="+ours, "pty,raw,echo=0,link="+theirs)
	eventually(t, "socat", func() bool {
		_, one := os.Stat(ours)
		_, other := os.Stat(theirs)
		return one == nil && other == nil
	})
	background(t, python, "-c", peerServer, "serial", theirs)
	line, err := port.Open(ours, port.Settings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	t.Cleanup(func() { _ = line.Halt() })
	client := modbus.NewClient(line, modbus.Settings{Turnaround: 200 * time.Millisecond, Late: 20 * time.Millisecond})
	eventually(t, "pymodbus", func() bool {
		_, _, err := client.ReadCoils(unit, 0, 1)
		return err == nil
	})
	return line
}

func tcpPeer(t testing.TB) port.Port {
	needPeer(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	number := listener.Addr().(*net.TCPAddr).Port
	require.NoError(t, listener.Close())
	background(t, python, "-c", peerServer, "tcp", fmt.Sprint(number))
	var line port.Port
	eventually(t, "pymodbus", func() bool {
		line, err = port.Dial(fmt.Sprintf("127.0.0.1:%d", number), port.NetSettings{Poll: 5 * time.Millisecond})
		return err == nil
	})
	t.Cleanup(func() { _ = line.Halt() })
	return line
}

func TestClientAgainstIndependentServer(t *testing.T) {
	t.Run("RTU over socat", func(t *testing.T) {
		hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
			allFunctions(t, modbus.NewClient(serialPeer(t), modbus.Settings{Turnaround: answerLimit}))
		})
	})
	t.Run("TCP", func(t *testing.T) {
		hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
			allFunctions(t, modbus.NewClient(tcpPeer(t), modbus.Settings{Framing: modbus.TCP, Turnaround: answerLimit}))
		})
	})
}

// allFunctions puts every function and the exceptions that a well-formed client can cause.
func allFunctions(t testing.TB, client *modbus.Client) {
	image := peerImage()
	coils, _, err := client.ReadCoils(unit, 3, 37)
	require.NoError(t, err)
	require.Equal(t, image.CoilTable[3:40], coils)
	inputs, _, err := client.ReadInputs(unit, 0, 100)
	require.NoError(t, err)
	require.Equal(t, image.InputTable, inputs)
	words, _, err := client.ReadHoldingRegisters(unit, 1, 99)
	require.NoError(t, err)
	require.Equal(t, image.HoldingTable[1:], words)
	words, _, err = client.ReadInputRegisters(unit, 0, 100)
	require.NoError(t, err)
	require.Equal(t, image.ReadingTable, words)

	for _, on := range []bool{true, false} {
		_, err = client.WriteCoil(unit, 8, on)
		require.NoError(t, err)
		coils, _, err = client.ReadCoils(unit, 8, 1)
		require.NoError(t, err)
		require.Equal(t, []bool{on}, coils)
	}
	pattern := []bool{true, true, false, true, false, false, true, true, false, true, true}
	_, err = client.WriteCoils(unit, 50, pattern)
	require.NoError(t, err)
	coils, _, err = client.ReadCoils(unit, 50, uint16(len(pattern)))
	require.NoError(t, err)
	require.Equal(t, pattern, coils)
	_, err = client.WriteRegister(unit, 7, 0xBEEF)
	require.NoError(t, err)
	_, err = client.WriteRegisters(unit, 8, []uint16{0, 0xFFFF, 0x0102})
	require.NoError(t, err)
	words, _, err = client.ReadHoldingRegisters(unit, 7, 4)
	require.NoError(t, err)
	require.Equal(t, []uint16{0xBEEF, 0, 0xFFFF, 0x0102}, words)

	for _, request := range []modbus.Request{
		{Function: modbus.ReadCoils, First: 100, Count: 1}, {Function: modbus.ReadInputs, First: 99, Count: 2},
		{Function: modbus.ReadHoldingRegisters, First: 5000, Count: 1}, {Function: modbus.ReadInputRegisters, First: 0, Count: 101},
		{Function: modbus.WriteCoil, First: 100, Bits: []bool{true}}, {Function: modbus.WriteRegister, First: 100, Words: []uint16{1}},
		{Function: modbus.WriteCoils, First: 99, Count: 2, Bits: []bool{true, true}}, {Function: modbus.WriteRegisters, First: 99, Count: 2, Words: []uint16{1, 2}},
	} {
		_, err := client.Do(unit, request)
		code, refused := modbus.IsRefusal(err)
		require.True(t, refused, "%v: %v", request.Function, err)
		require.Equal(t, modbus.IllegalAddress, code, request.Function.String())
	}
	counts := client.Counts()
	require.Equal(t, 8, counts.Exceptions)
	require.Zero(t, counts.Silent+counts.Garbled+counts.StrayBytes, "%+v", counts)
}

// TestServeAgreesWithIndependentServer puts the same PDUs to the peer and to our pure server, with the same memory:
// random well-formed requests, some out of range, and malformed ones of which both must make exception 03. An unknown
// function is asked over TCP only: on a serial line this peer, which cannot know the frame's length, stays silent.
func TestServeAgreesWithIndependentServer(t *testing.T) {
	malformed := [][]byte{
		{0x01, 0, 0, 0, 0}, {0x02, 0, 0, 0x07, 0xD1}, {0x03, 0, 0, 0, 0}, {0x04, 0, 0, 0, 0x7E}, {0x03, 0xFF, 0xFF, 0, 0},
	}
	t.Run("RTU over socat", func(t *testing.T) {
		hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
			agree(t, serialPeer(t), malformed, func(pdu []byte) []byte { return modbus.EncodeRTU(unit, pdu) })
		})
	})
	t.Run("TCP", func(t *testing.T) {
		hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
			agree(t, tcpPeer(t), append(malformed, []byte{0x41, 0, 0, 0, 0}), func(pdu []byte) []byte { return modbus.EncodeTCP(77, unit, pdu) })
		})
	})
}

func agree(t testing.TB, line port.Port, pdus [][]byte, frame func([]byte) []byte) {
	image := peerImage()
	dice := rand.New(rand.NewPCG(9, 1))
	for range 150 {
		pdus = append(pdus, randomRequest(t, dice))
	}
	refused := 0
	for _, pdu := range pdus {
		served := modbus.Serve(image, pdu)
		want := frame(served)
		answer, err := line.Exchange(port.Ask{
			Request: frame(pdu), Quiet: 3 * time.Millisecond, Wait: answerLimit, Rest: answerLimit,
			Complete: func(heard []byte) bool { return len(heard) >= len(want) },
		})
		require.NoError(t, err, "% X", pdu)
		require.Equal(t, want, answer.Heard, "question % X", pdu)
		if served[0]&0x80 != 0 {
			refused++
		}
	}
	t.Logf("%d PDUs answered alike, %d of them refused", len(pdus), refused)
	require.Greater(t, refused, 15)
}

func randomRequest(t testing.TB, dice *rand.Rand) []byte {
	request := modbus.Request{Function: modbus.Functions[dice.IntN(len(modbus.Functions))], First: uint16(dice.IntN(110))}
	count := 1 + dice.IntN(12)
	switch request.Function {
	case modbus.WriteCoil:
		request.Bits = []bool{dice.IntN(2) == 0}
	case modbus.WriteRegister:
		request.Words = []uint16{uint16(dice.IntN(65536))}
	default:
		request.Count = uint16(count)
		for range count {
			switch request.Function {
			case modbus.WriteCoils:
				request.Bits = append(request.Bits, dice.IntN(2) == 0)
			case modbus.WriteRegisters:
				request.Words = append(request.Words, uint16(dice.IntN(65536)))
			}
		}
	}
	pdu, err := request.Encode()
	require.NoError(t, err)
	return pdu
}
