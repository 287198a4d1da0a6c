package twin_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/twin"
)

// These tests let independent clients speak to the twin: libmodbus (Debian package libmodbus-dev, compiled here with gcc)
// and pymodbus (Debian package python3-pymodbus).

const python = "/usr/bin/python3" // Debian's own, which sees Debian's packages

// missing skips a test for want of a peer, unless on the build server, where peers are not optional.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing: install it", what)
	}
	t.Skipf("%s is missing: this test needs it as an independent peer", what)
}

// clientInC exercises all eight functions and two exceptions; its exit code is the line of the first disappointment.
const clientInC = `
#include <errno.h>
#include <modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#define MUST(what) do { if (!(what)) { fprintf(stderr, "line %d: %s: %s\n", __LINE__, #what, modbus_strerror(errno)); return 1; } } while (0)
int main(int argc, char **argv) {
    uint8_t bits[16]; uint16_t words[8];
    uint8_t pattern[3] = {1, 0, 1}; uint16_t values[2] = {0x0102, 0xFFFE};
    modbus_t *bus = modbus_new_rtu(argv[1], 19200, 'N', 8, 1);
    MUST(argc == 2 && bus && modbus_set_slave(bus, 17) == 0 && modbus_connect(bus) == 0);
    MUST(modbus_set_response_timeout(bus, 30, 0) == 0 && modbus_set_byte_timeout(bus, 30, 0) == 0);
    MUST(modbus_write_bit(bus, 2, 1) == 1);
    MUST(modbus_write_bits(bus, 8, 3, pattern) == 3);
    MUST(modbus_read_bits(bus, 0, 16, bits) == 16);
    for (int i = 0; i < 16; i++) MUST(bits[i] == (i == 2 || i == 8 || i == 10));
    MUST(modbus_read_input_bits(bus, 0, 16, bits) == 16);
    for (int i = 0; i < 16; i++) MUST(bits[i] == (i == 5));
    MUST(modbus_write_register(bus, 0, 777) == 1);
    MUST(modbus_write_registers(bus, 1, 2, values) == 2);
    MUST(modbus_read_registers(bus, 0, 4, words) == 4);
    MUST(words[0] == 777 && words[1] == 0x0102 && words[2] == 0xFFFE && words[3] == 0);
    MUST(modbus_read_input_registers(bus, 6, 2, words) == 2);
    MUST(words[0] == 0x0012 && words[1] == 0xD687);
    MUST(modbus_read_bits(bus, 16, 1, bits) == -1 && errno == EMBXILADD);
    MUST(modbus_write_register(bus, 8, 1) == -1 && errno == EMBXILADD);
    uint8_t unknown[6] = {17, 0x44, 0, 0, 0, 0}, none[6] = {17, 0x01, 0, 0, 0, 0}, reply[MODBUS_RTU_MAX_ADU_LENGTH];
    MUST(modbus_send_raw_request(bus, unknown, 6) > 0);
    MUST(modbus_receive_confirmation(bus, reply) == 5 && reply[1] == 0xC4 && reply[2] == 1);
    MUST(modbus_send_raw_request(bus, none, 6) > 0);
    MUST(modbus_receive_confirmation(bus, reply) == 5 && reply[1] == 0x81 && reply[2] == 3);
    modbus_close(bus);
    modbus_free(bus);
    puts("all as it should be");
    return 0;
}
`

const clientInPython = `
import sys
from pymodbus.client import ModbusSerialClient
client = ModbusSerialClient(port=sys.argv[1], baudrate=19200, timeout=30)
assert client.connect()
def good(reply):
    assert not reply.isError(), reply
    return reply
good(client.write_coil(2, True, slave=17))
good(client.write_coils(8, [True, False, True], slave=17))
assert good(client.read_coils(0, 16, slave=17)).bits == [i in (2, 8, 10) for i in range(16)]
assert good(client.read_discrete_inputs(0, 16, slave=17)).bits == [i == 5 for i in range(16)]
good(client.write_register(0, 777, slave=17))
good(client.write_registers(1, [0x0102, 0xFFFE], slave=17))
assert good(client.read_holding_registers(0, 4, slave=17)).registers == [777, 0x0102, 0xFFFE, 0]
assert good(client.read_input_registers(6, 2, slave=17)).registers == [0x0012, 0xD687]
refused = client.read_coils(16, 1, slave=17)
assert refused.isError() and refused.exception_code == 2, refused
refused = client.write_register(8, 1, slave=17)
assert refused.isError() and refused.exception_code == 2, refused
client.close()
print("all as it should be")
`

// peerHardware is what both clients expect to find.
func peerHardware(t *testing.T, behaviour twin.Behaviour) *twin.Hardware {
	module := &twin.Module{Unit: 17, Memory: modbus.NewImage(16, 16, 8, 8)}
	hardware := open(t, twin.Config{Lines: []twin.Line{{Name: "bus", Behaviour: behaviour, Modules: []*twin.Module{module}}}})
	require.NoError(t, hardware.Within(func(devices *twin.Devices) {
		require.True(t, devices.SetInput("bus", 17, 5, true))
		require.True(t, devices.SetReadings("bus", 17, 6, 0x0012, 0xD687)) // 1234567 micro-ohms in two registers
	}))
	return hardware
}

func runPeer(t *testing.T, name string, arguments ...string) {
	t.Helper()
	limited, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	output, err := exec.CommandContext(limited, name, arguments...).CombinedOutput()
	require.NoError(t, err, "%s", output)
	require.Contains(t, string(output), "all as it should be")
}

// behaviours that a client must be able to live with.
var behaviours = map[string]twin.Behaviour{
	"at once":         {},
	"19200 baud":      {Line: port.DefaultLine, Turnaround: 2 * time.Millisecond, Jitter: time.Millisecond, Seed: 1},
	"answer in parts": {Turnaround: time.Millisecond, Pieces: 3, PieceGap: time.Millisecond},
}

func TestIndependentClientInC(t *testing.T) {
	if _, err := exec.LookPath("gcc"); err != nil {
		missing(t, "gcc")
	}
	directory := t.TempDir()
	source, program := filepath.Join(directory, "client.c"), filepath.Join(directory, "client")
	require.NoError(t, os.WriteFile(source, []byte(clientInC), 0o600))
	probe := exec.Command("gcc", "-E", "-include", "modbus/modbus.h", "-x", "c", os.DevNull, "-o", os.DevNull)
	if err := probe.Run(); err != nil {
		missing(t, "libmodbus (Debian package libmodbus-dev)")
	}
	output, err := exec.Command("gcc", "-Wall", "-o", program, source, "-I/usr/include/modbus", "-lmodbus").CombinedOutput()
	require.NoError(t, err, "%s", output)
	for name, behaviour := range behaviours {
		t.Run(name, func(t *testing.T) { runPeer(t, program, peerHardware(t, behaviour).Path("bus")) })
	}
}

func TestIndependentClientInPython(t *testing.T) {
	if err := exec.Command(python, "-c", "import pymodbus.server, serial").Run(); err != nil {
		missing(t, "pymodbus (Debian package python3-pymodbus)")
	}
	for name, behaviour := range behaviours {
		if behaviour.Pieces > 0 {
			continue // this client takes a gap above t1.5 for the end of the frame, which is its right
		}
		t.Run(name, func(t *testing.T) { runPeer(t, python, "-c", clientInPython, peerHardware(t, behaviour).Path("bus")) })
	}
}
