package rig_test

import (
	"context"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/bench"
	"ohmgate/hwio/sheet"
)

// overTCP is the independent bench's unit behind a Modbus TCP server that is not ours: pymodbus, Debian package python3-pymodbus.
const overTCP = `
import logging, sys, threading, time
logging.disable(logging.CRITICAL)
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusSlaveContext, ModbusServerContext
from pymodbus.server import StartTcpServer
class Bench:
    def __init__(s):
        s.coils,s.contacts,s.moves,s.unit,s.told,s.lock=[False]*8,[False]*8,[],Unit(),time.monotonic(),threading.RLock()
    def tick(s):
        while True:
            with s.lock:
                now=time.monotonic()
                for m in [m for m in s.moves if m[0]<=now]: s.contacts[m[1]]=m[2]; s.moves.remove(m)
                if now-s.told>0.6 and any(s.coils): s.relays(0,[False]*8)
                s.unit.tick(now,s.contacts)
            time.sleep(0.002)
    def relays(s,first,wanted):
        for i,on in enumerate(wanted):
            if on!=s.coils[first+i]: s.coils[first+i]=on; s.moves.append((time.monotonic()+0.005,first+i,on))
b=Bench()
class Coils(ModbusSequentialDataBlock):
    def getValues(s,a,count=1):
        with b.lock: b.told=time.monotonic(); return b.coils[a:a+count]
    def setValues(s,a,v):
        with b.lock: b.told=time.monotonic(); b.relays(a,[bool(x) for x in v])
class Inputs(ModbusSequentialDataBlock):
    def getValues(s,a,count=1):
        with b.lock: c=b.contacts; return ([b.unit.on,c[3],c[5],c[0]]+[False]*4)[a:a+count]
z=lambda n:ModbusSequentialDataBlock(0,[0]*n)
r=ModbusSlaveContext(co=Coils(0,[0]*8),di=z(8),hr=z(8),ir=z(8),zero_mode=True)
i=ModbusSlaveContext(co=z(8),di=Inputs(0,[0]*8),hr=z(8),ir=z(8),zero_mode=True)
threading.Thread(target=b.tick,daemon=True).start()
StartTcpServer(context=ModbusServerContext(slaves={1:r,2:i},single=False),address=("127.0.0.1",int(sys.argv[1])))
`

// atTCP is the quick bench at a pymodbus server, and how to end that.
func atTCP(t *hwtest.Trial) (*trial, func()) {
	if err := exec.Command(python, "-c", "import pymodbus.server").Run(); err != nil {
		require.NotEqual(t, "true", os.Getenv("CI"), "pymodbus is missing: install it")
		t.Skip("pymodbus (Debian package python3-pymodbus) is missing: this test needs it as an independent peer")
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := listener.Addr().String()
	require.NoError(t, listener.Close())
	unit, _, _ := strings.Cut(peerBench, "class Bench")
	command := exec.Command(python, "-c", unit+overTCP, address[strings.LastIndex(address, ":")+1:])
	command.Stderr = os.Stderr
	require.NoError(t, command.Start())
	end := func() { _ = command.Process.Kill() }
	t.Cleanup(func() {
		end()
		_ = command.Wait()
	})
	require.Eventually(t, func() bool {
		connection, err := net.Dial("tcp", address)
		if err == nil {
			_ = connection.Close()
		}
		return err == nil
	}, 2*time.Minute, 50*time.Millisecond)
	b := quickBench(t)
	b.order.Settings = bench.Settings{Devices: map[string]string{"bus": "tcp://" + address}}
	return b, end
}

// TestModbusTCP: the same bench over Modbus TCP, its server independent.
func TestModbusTCP(t *testing.T) {
	t.Parallel()
	hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
		b, _ := atTCP(t)
		report := rig.Perform(context.Background(), b.order, b.book)
		require.EqualValues(t, 3, report.Exit, "%s %v", report.Trouble, report.Runs) // sixteen edges are too few for a verdict
		require.Equal(t, sheet.StateOpen, report.RigState)
		require.Len(t, report.Runs[0].Steps, 4, texts(report.Runs[0].Steps))
		require.NotContains(t, texts(report.Runs[0].Steps), sheet.Violated)
	})
}

// TestModbusTCPServerDies in the middle: there is no way back, and it is said.
func TestModbusTCPServerDies(t *testing.T) {
	t.Parallel()
	hwtest.Repeat(t, tolerated, func(t *hwtest.Trial) {
		b, end := atTCP(t)
		b.atScan(100, end)
		report := rig.Perform(context.Background(), b.order, b.book)
		require.EqualValues(t, 5, report.Exit)
		require.Equal(t, sheet.StateUnknown, report.RigState)
	})
}
