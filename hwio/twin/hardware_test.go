package twin_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/scpi"
	"ohmgate/hwio/twin"
)

var quick = modbus.Settings{Line: port.Line{Baud: 115200, DataBits: 8, Parity: port.EvenParity, StopBits: 1}, Turnaround: 150 * time.Millisecond, Late: 20 * time.Millisecond}

func open(t *testing.T, config twin.Config) *twin.Hardware {
	hardware, err := twin.Open(config)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, hardware.Close()) })
	return hardware
}

// openInMemory is for tests on a fake clock.
func openInMemory(t *testing.T, config twin.Config) *twin.Hardware {
	config.InMemory = true
	return open(t, config)
}

func connect(t *testing.T, hardware *twin.Hardware, name string) port.Port {
	line, err := hardware.Open(name, port.Settings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	t.Cleanup(func() { _ = line.Halt() })
	return line
}

// wires is an Environment of plain wires: each named coil moves an input after its relay's operate or release time.
type wires []wire

// wire leads from one coil to one input.
type wire struct {
	FromLine         string
	FromUnit         byte
	Coil             int
	ToLine           string
	ToUnit           byte
	Input            int
	Operate, Release time.Duration
}

// CoilMoved moves the inputs wired to this coil.
func (w wires) CoilMoved(devices *twin.Devices, line string, unit byte, coil int, on bool) {
	for _, leads := range w {
		if leads.FromLine != line || leads.FromUnit != unit || leads.Coil != coil {
			continue
		}
		wait := leads.Release
		if on {
			wait = leads.Operate
		}
		devices.After(wait, func(later *twin.Devices) {
			later.SetInput(leads.ToLine, leads.ToUnit, leads.Input, on)
		})
	}
}

// RegisterWritten does nothing: wires carry no numbers.
func (w wires) RegisterWritten(*twin.Devices, string, byte, int, uint16) {}

// rig is a relay module and an input module on one bus, relay k wired to input k.
func rig(silence time.Duration) twin.Config {
	wiring := wires{}
	for k := range 8 {
		wiring = append(wiring, wire{FromLine: "bus", FromUnit: 1, Coil: k, ToLine: "bus", ToUnit: 2, Input: k, Operate: 7 * time.Millisecond, Release: 4 * time.Millisecond})
	}
	return twin.Config{
		Environment: wiring,
		Lines: []twin.Line{{Name: "bus", Modules: []*twin.Module{
			{Unit: 1, Memory: modbus.NewImage(8, 0, 0, 0), Silence: silence},
			{Unit: 2, Memory: modbus.NewImage(0, 8, 0, 0)},
		}}},
	}
}

func TestWiredRelayMovesItsInputAndNothingElse(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware := openInMemory(t, rig(0))
		client := modbus.NewClient(connect(t, hardware, "bus"), quick)
		for k := range uint16(8) {
			_, err := client.WriteCoil(1, k, true)
			require.NoError(t, err)
			inputs := waitForInput(t, client, k, true)
			for index, on := range inputs {
				require.Equal(t, index == int(k), on)
			}
			_, err = client.WriteCoil(1, k, false)
			require.NoError(t, err)
			waitForInput(t, client, k, false)
		}
		history := hardware.History()
		require.Len(t, history, 32)
		for index := 0; index < len(history); index += 2 {
			require.Equal(t, "coil", history[index].Kind)
			require.Equal(t, "input", history[index+1].Kind)
			due := 7 * time.Millisecond
			if !history[index].On {
				due = 4 * time.Millisecond
			}
			require.Equal(t, due, history[index+1].At.Sub(history[index].At))
		}
	})
}

// waitForInput polls until an input is as it should be, and returns all eight.
func waitForInput(t *testing.T, client *modbus.Client, input uint16, on bool) []bool {
	for deadline := time.Now().Add(2 * time.Second); ; {
		inputs, _, err := client.ReadInputs(2, 0, 8)
		require.NoError(t, err)
		if inputs[input] == on {
			return inputs
		}
		require.True(t, time.Now().Before(deadline), "input %d never moved", input)
	}
}

// TestHonestIntervalsHoldTheTruth: with wire times and jitter, what the client can say about a stimulus and a response encloses
// what really happened in the twin.
func TestHonestIntervalsHoldTheTruth(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) { holdTheTruth(t, openInMemory(t, jittering()), modbus.Settings{RefuseEarly: true}) })
}

func jittering() twin.Config {
	config := rig(0)
	config.Lines[0].Behaviour = twin.Behaviour{Line: port.DefaultLine, Turnaround: time.Millisecond, Jitter: 2 * time.Millisecond, Seed: 3}
	return config
}

func holdTheTruth(t *testing.T, hardware *twin.Hardware, settings modbus.Settings) {
	client := modbus.NewClient(connect(t, hardware, "bus"), settings)
	for run := range 15 {
		on := run%2 == 0
		stimulus, err := client.WriteCoil(1, 0, on)
		require.NoError(t, err)
		var before, after modbus.Result
		for {
			inputs, result, err := client.ReadInputs(2, 0, 8)
			require.NoError(t, err)
			require.False(t, result.Doubt)
			if inputs[0] == on {
				after = result
				break
			}
			before = result
		}
		history := hardware.History()
		coil, input := history[len(history)-2], history[len(history)-1]
		require.Equal(t, []string{"coil", "input"}, []string{coil.Kind, input.Kind})
		require.GreaterOrEqual(t, coil.At, stimulus.Times.RequestEnd)
		require.LessOrEqual(t, coil.At, stimulus.Times.ReplyStart)
		require.GreaterOrEqual(t, input.At, before.Times.RequestEnd)
		require.LessOrEqual(t, input.At, after.Times.ReplyStart)
	}
}

func TestRelaysFallWhenNobodySpeaks(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		for _, silence := range []time.Duration{250 * time.Millisecond, 0} {
			hardware := openInMemory(t, rig(silence))
			client := modbus.NewClient(connect(t, hardware, "bus"), quick)
			_, err := client.WriteCoils(1, 0, []bool{true, true})
			require.NoError(t, err)
			for range 4 { // spoken to, they stay
				time.Sleep(80 * time.Millisecond)
				coils, _, err := client.ReadCoils(1, 0, 2)
				require.NoError(t, err)
				require.Equal(t, []bool{true, true}, coils)
			}
			for range 4 { // speaking to the neighbour does not count
				time.Sleep(80 * time.Millisecond)
				_, _, err = client.ReadInputs(2, 0, 2)
				require.NoError(t, err)
			}
			coils, _, err := client.ReadCoils(1, 0, 2)
			require.NoError(t, err)
			stay := silence == 0 // a module without a time-out is what the proof has to catch
			require.Equal(t, []bool{stay, stay}, coils)
		}
	})
}

func TestUnpluggedModulesGoSilentAndComeBack(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware := openInMemory(t, rig(50*time.Millisecond))
		line := connect(t, hardware, "bus")
		client := modbus.NewClient(line, quick)
		_, err := client.WriteCoil(1, 0, true)
		require.NoError(t, err)
		require.NoError(t, hardware.Unplug("bus"))
		_, err = client.WriteCoil(1, 0, false)
		require.ErrorIs(t, err, port.ErrLost)
		require.NoError(t, line.Halt())
		_, err = hardware.Open("bus", port.Settings{})
		require.ErrorIs(t, err, os.ErrNotExist)
		time.Sleep(80 * time.Millisecond)
		require.NoError(t, hardware.Plug("bus"))
		client = modbus.NewClient(connect(t, hardware, "bus"), quick)
		coils, _, err := client.ReadCoils(1, 0, 1)
		require.NoError(t, err)
		require.False(t, coils[0], "it fell while the plug was out")
		require.Error(t, hardware.Unplug("nonesuch"))
	})
}

func TestStalledLineHearsLater(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware := openInMemory(t, rig(0))
		client := modbus.NewClient(connect(t, hardware, "bus"), quick)
		_, _, err := client.ReadCoils(1, 0, 1)
		require.NoError(t, err)
		require.NoError(t, hardware.Stall("bus", true))
		// The listener may take one lump more.
		_, _ = client.WriteCoil(1, 0, false)
		_, err = client.WriteCoil(1, 0, true)
		require.ErrorIs(t, err, port.ErrSilent)
		require.NoError(t, hardware.Stall("bus", false))
		coils, _, err := client.ReadCoils(1, 0, 1)
		require.NoError(t, err)
		require.True(t, coils[0])
	})
}

// recordingEnvironment notes what it is told.
type recordingEnvironment struct{ registers []uint16 }

func (w *recordingEnvironment) CoilMoved(*twin.Devices, string, byte, int, bool) {}
func (w *recordingEnvironment) RegisterWritten(devices *twin.Devices, line string, unit byte, register int, value uint16) {
	w.registers = append(w.registers, value)
	devices.SetReadings(line, unit, register, value+1)
}

func TestEnvironmentIsTold(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		environment := &recordingEnvironment{}
		hardware := openInMemory(t, twin.Config{Environment: environment, Lines: []twin.Line{{Name: "bus", Modules: []*twin.Module{{Unit: 5, Memory: modbus.NewImage(0, 0, 4, 4)}}}}})
		client := modbus.NewClient(connect(t, hardware, "bus"), quick)
		_, err := client.WriteRegisters(5, 1, []uint16{10, 20})
		require.NoError(t, err)
		_, err = client.WriteRegister(5, 9, 1)
		require.Error(t, err)
		words, _, err := client.ReadInputRegisters(5, 0, 4)
		require.NoError(t, err)
		require.Equal(t, []uint16{0, 11, 21, 0}, words)
		require.NoError(t, hardware.Within(func(devices *twin.Devices) {
			require.Equal(t, []uint16{10, 20}, environment.registers)
			require.False(t, devices.SetReadings("bus", 5, 3, 1, 2))
			require.False(t, devices.SetInput("bus", 5, 0, true))
			require.False(t, devices.Coil("nowhere", 5, 0))
		}))
	})
}

func TestInstrumentAndModulesShareOneEnvironment(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		config := rig(0)
		var hardware *twin.Hardware
		// Relay 0 in series with the decade: open contact, open circuit.
		meter := scpi.NewInstrument(scpi.Identity{Maker: "Quarry Road works", Model: "meter", Serial: "0", Firmware: "1"}, scpi.DefaultLimits,
			func() scpi.Resistance { return scpi.Resistance{Class: scpi.OverRange} }, nil)
		decade := scpi.NewInstrument(scpi.Identity{Maker: "Quarry Road works", Model: "decade", Serial: "0", Firmware: "1"}, scpi.DefaultLimits, nil, nil)
		config.Lines = append(config.Lines, twin.Line{Name: "meter", Instrument: meter}, twin.Line{Name: "decade", Instrument: decade})
		hardware = openInMemory(t, config)
		device, err := scpi.NewDevice(connect(t, hardware, "meter"), scpi.Meter("meter"), scpi.Settings{})
		require.NoError(t, err)
		_, err = device.Begin()
		require.NoError(t, err)
		measured, _, err := device.Measure()
		require.NoError(t, err)
		require.Equal(t, scpi.OverRange, measured.Class)
		template := scpi.Template{Name: "decade", Identity: ".*decade.*", Set: scpi.Command{Send: "RES {ohms}"}}
		setter, err := scpi.NewDevice(connect(t, hardware, "decade"), template, scpi.Settings{})
		require.NoError(t, err)
		_, err = setter.Set(9_500_000)
		require.NoError(t, err)
		require.NoError(t, hardware.Within(func(*twin.Devices) { require.Equal(t, int64(9_500_000), decade.Setting()) }))
	})
}

// TestSameSeedSameFaults: two twins with one seed lose and spoil the same answers.
func TestSameSeedSameFaults(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		outcome := func(seed uint64) string {
			config := rig(0)
			config.Lines[0].Behaviour = twin.Behaviour{Seed: seed, LoseQuestion: 200, LoseAnswer: 200, FlipBit: 200, Noise: 200}
			hardware := openInMemory(t, config)
			settings := quick
			settings.Turnaround, settings.Late = 50*time.Millisecond, 5*time.Millisecond
			client := modbus.NewClient(connect(t, hardware, "bus"), settings)
			text := ""
			for range 25 {
				if _, _, err := client.ReadCoils(1, 0, 8); err != nil {
					text += "-"
				} else {
					text += "+"
				}
			}
			return text
		}
		first := outcome(1)
		require.Contains(t, first, "+")
		require.Contains(t, first, "-")
		require.Equal(t, first, outcome(1))
		require.NotEqual(t, first, outcome(2))
	})
}
