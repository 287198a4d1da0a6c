package twin_test

import (
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/pseudo"
	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/scpi"
	"ohmgate/hwio/twin"
)

var quick = modbus.Settings{Line: port.Line{Baud: 115200, DataBits: 8, Parity: port.EvenParity, StopBits: 1}, Turnaround: 150 * time.Millisecond, Late: 20 * time.Millisecond}

func open(t *testing.T, config twin.Config) *twin.Room {
	room, err := twin.Open(config)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, room.Close()) })
	return room
}

func connect(t *testing.T, room *twin.Room, name string) port.Port {
	line, err := port.Open(room.Path(name), port.Settings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	t.Cleanup(func() { _ = line.Halt() })
	return line
}

// wires is a World of plain wires: each named coil moves an input after its relay's operate or release time.
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
func (w wires) CoilMoved(stage *twin.Stage, line string, unit byte, coil int, on bool) {
	for _, leads := range w {
		if leads.FromLine != line || leads.FromUnit != unit || leads.Coil != coil {
			continue
		}
		wait := leads.Release
		if on {
			wait = leads.Operate
		}
		stage.After(wait, func(later *twin.Stage) {
			later.SetInput(leads.ToLine, leads.ToUnit, leads.Input, on)
		})
	}
}

// RegisterWritten does nothing: wires carry no numbers.
func (w wires) RegisterWritten(*twin.Stage, string, byte, int, uint16) {}

// rig is a relay module and an input module on one bus, relay k wired to input k.
func rig(silence time.Duration) twin.Config {
	wiring := wires{}
	for k := range 8 {
		wiring = append(wiring, wire{FromLine: "bus", FromUnit: 1, Coil: k, ToLine: "bus", ToUnit: 2, Input: k, Operate: 7 * time.Millisecond, Release: 4 * time.Millisecond})
	}
	return twin.Config{
		World: wiring,
		Lines: []twin.Line{{Name: "bus", Modules: []*twin.Module{
			{Unit: 1, Memory: modbus.NewImage(8, 0, 0, 0), Silence: silence},
			{Unit: 2, Memory: modbus.NewImage(0, 8, 0, 0)},
		}}},
	}
}

func TestWiredRelayMovesItsInputAndNothingElse(t *testing.T) {
	room := open(t, rig(0))
	client := modbus.NewClient(connect(t, room, "bus"), quick)
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
	history := room.History()
	require.Len(t, history, 32)
	for index := 0; index < len(history); index += 2 {
		require.Equal(t, "coil", history[index].Kind)
		require.Equal(t, "input", history[index+1].Kind)
		due := 7 * time.Millisecond
		if !history[index].On {
			due = 4 * time.Millisecond
		}
		took := history[index+1].At.Sub(history[index].At)
		require.GreaterOrEqual(t, took, due)
		require.Less(t, took, due+50*time.Millisecond) // the machine may be busy
	}
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

// TestHonestIntervalsHoldTheTruth: with wire times and jitter, what the client can say about a stimulus and a response
// encloses what really happened in the twin.
func TestHonestIntervalsHoldTheTruth(t *testing.T) {
	config := rig(0)
	config.Lines[0].Behaviour = twin.Behaviour{Line: port.DefaultLine, Turnaround: time.Millisecond, Jitter: 2 * time.Millisecond, Seed: 3}
	room := open(t, config)
	client := modbus.NewClient(connect(t, room, "bus"), modbus.Settings{RefuseEarly: true})
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
		history := room.History()
		coil, input := history[len(history)-2], history[len(history)-1]
		require.Equal(t, []string{"coil", "input"}, []string{coil.Kind, input.Kind})
		require.GreaterOrEqual(t, coil.At, stimulus.Times.RequestEnd)
		require.LessOrEqual(t, coil.At, stimulus.Times.ReplyStart)
		require.GreaterOrEqual(t, input.At, before.Times.RequestEnd)
		require.LessOrEqual(t, input.At, after.Times.ReplyStart)
	}
}

func TestRelaysFallWhenNobodySpeaks(t *testing.T) {
	for _, silence := range []time.Duration{250 * time.Millisecond, 0} {
		room := open(t, rig(silence))
		client := modbus.NewClient(connect(t, room, "bus"), quick)
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
}

func TestUnpluggedModulesGoSilentAndComeBack(t *testing.T) {
	room := open(t, rig(50*time.Millisecond))
	line := connect(t, room, "bus")
	client := modbus.NewClient(line, quick)
	_, err := client.WriteCoil(1, 0, true)
	require.NoError(t, err)
	require.NoError(t, room.Unplug("bus"))
	_, err = client.WriteCoil(1, 0, false)
	require.ErrorIs(t, err, port.ErrLost)
	require.NoError(t, line.Halt())
	_, err = os.Stat(room.Path("bus"))
	require.ErrorIs(t, err, os.ErrNotExist)
	time.Sleep(80 * time.Millisecond)
	require.NoError(t, room.Plug("bus"))
	client = modbus.NewClient(connect(t, room, "bus"), quick)
	coils, _, err := client.ReadCoils(1, 0, 1)
	require.NoError(t, err)
	require.False(t, coils[0], "it fell while the plug was out")
	require.Error(t, room.Unplug("nonesuch"))
}

func TestStalledLineHearsLater(t *testing.T) {
	room := open(t, rig(0))
	client := modbus.NewClient(connect(t, room, "bus"), quick)
	_, _, err := client.ReadCoils(1, 0, 1)
	require.NoError(t, err)
	require.NoError(t, room.Stall("bus", true))
	// The listener may take one lump more.
	_, _ = client.WriteCoil(1, 0, false)
	_, err = client.WriteCoil(1, 0, true)
	require.ErrorIs(t, err, port.ErrSilent)
	require.NoError(t, room.Stall("bus", false))
	coils, _, err := client.ReadCoils(1, 0, 1)
	require.NoError(t, err)
	require.True(t, coils[0])
}

// recordingWorld notes what it is told.
type recordingWorld struct{ registers []uint16 }

func (w *recordingWorld) CoilMoved(*twin.Stage, string, byte, int, bool) {}
func (w *recordingWorld) RegisterWritten(stage *twin.Stage, line string, unit byte, register int, value uint16) {
	w.registers = append(w.registers, value)
	stage.SetReadings(line, unit, register, value+1)
}

func TestWorldIsTold(t *testing.T) {
	world := &recordingWorld{}
	room := open(t, twin.Config{World: world, Lines: []twin.Line{{Name: "bus", Modules: []*twin.Module{{Unit: 5, Memory: modbus.NewImage(0, 0, 4, 4)}}}}})
	client := modbus.NewClient(connect(t, room, "bus"), quick)
	_, err := client.WriteRegisters(5, 1, []uint16{10, 20})
	require.NoError(t, err)
	_, err = client.WriteRegister(5, 9, 1)
	require.Error(t, err)
	words, _, err := client.ReadInputRegisters(5, 0, 4)
	require.NoError(t, err)
	require.Equal(t, []uint16{0, 11, 21, 0}, words)
	require.NoError(t, room.Within(func(stage *twin.Stage) {
		require.Equal(t, []uint16{10, 20}, world.registers)
		require.False(t, stage.SetReadings("bus", 5, 3, 1, 2))
		require.False(t, stage.SetInput("bus", 5, 0, true))
		require.False(t, stage.Coil("nowhere", 5, 0))
	}))
}

func TestInstrumentAndModulesShareOneWorld(t *testing.T) {
	config := rig(0)
	var room *twin.Room
	// Relay 0 in series with the decade: open contact, open circuit.
	meter := scpi.NewInstrument(scpi.Identity{Maker: "Quarry Road works", Model: "meter", Serial: "0", Firmware: "1"}, scpi.DefaultLimits,
		func() scpi.Resistance { return scpi.Resistance{Class: scpi.OverRange} }, nil)
	decade := scpi.NewInstrument(scpi.Identity{Maker: "Quarry Road works", Model: "decade", Serial: "0", Firmware: "1"}, scpi.DefaultLimits, nil, nil)
	config.Lines = append(config.Lines, twin.Line{Name: "meter", Instrument: meter}, twin.Line{Name: "decade", Instrument: decade})
	room = open(t, config)
	device, err := scpi.NewDevice(connect(t, room, "meter"), scpi.Meter("meter"), scpi.Settings{})
	require.NoError(t, err)
	_, err = device.Begin()
	require.NoError(t, err)
	measured, _, err := device.Measure()
	require.NoError(t, err)
	require.Equal(t, scpi.OverRange, measured.Class)
	template := scpi.Template{Name: "decade", Identity: ".*decade.*", Set: scpi.Command{Send: "RES {ohms}"}}
	setter, err := scpi.NewDevice(connect(t, room, "decade"), template, scpi.Settings{})
	require.NoError(t, err)
	_, err = setter.Set(9_500_000)
	require.NoError(t, err)
	require.NoError(t, room.Within(func(*twin.Stage) { require.Equal(t, int64(9_500_000), decade.Setting()) }))
}

func TestRoomsThatCannotBe(t *testing.T) {
	goroutines, descriptors := pseudo.Usage()
	module := func(unit byte) *twin.Module {
		return &twin.Module{Unit: unit, Memory: modbus.NewImage(1, 1, 1, 1)}
	}
	for _, lines := range [][]twin.Line{
		{{Name: "a"}}, {{Name: "", Modules: []*twin.Module{module(1)}}}, {{Name: "a/b", Modules: []*twin.Module{module(1)}}},
		{{Name: "a", Modules: []*twin.Module{module(1), module(1)}}}, {{Name: "a", Modules: []*twin.Module{module(0)}}},
		{{Name: "a", Modules: []*twin.Module{module(1)}}, {Name: "a", Modules: []*twin.Module{module(1)}}},
	} {
		_, err := twin.Open(twin.Config{Lines: lines})
		require.Error(t, err)
	}
	require.NoError(t, pseudo.Settled(goroutines, descriptors))
}

// TestSameSeedSameFaults: two rooms with one seed lose and spoil the same answers.
func TestSameSeedSameFaults(t *testing.T) {
	outcome := func(seed uint64) string {
		config := rig(0)
		config.Lines[0].Behaviour = twin.Behaviour{Seed: seed, LoseQuestion: 200, LoseAnswer: 200, FlipBit: 200, Noise: 200}
		room, err := twin.Open(config)
		require.NoError(t, err)
		defer func() { require.NoError(t, room.Close()) }()
		settings := quick
		settings.Turnaround, settings.Late = 50*time.Millisecond, 5*time.Millisecond
		client := modbus.NewClient(connect(t, room, "bus"), settings)
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
}

// TestTwinSurvivesAnything: wild bytes, half frames, unplugging and plugging in, in any order; then it still answers.
func TestTwinSurvivesAnything(t *testing.T) {
	goroutines, descriptors := pseudo.Usage()
	room, err := twin.Open(rig(10 * time.Millisecond))
	require.NoError(t, err)
	dice := rand.New(rand.NewPCG(5, 6))
	for range 120 {
		line, err := port.Open(room.Path("bus"), port.Settings{Poll: 5 * time.Millisecond})
		require.NoError(t, err)
		wild := make([]byte, 1+dice.IntN(300))
		for index := range wild {
			wild[index] = byte(dice.IntN(256))
		}
		_, err = line.Exchange(port.Ask{Request: wild, Wait: time.Millisecond})
		require.NoError(t, err)
		if dice.IntN(2) == 0 {
			require.NoError(t, room.Unplug("bus"))
			require.NoError(t, room.Plug("bus"))
		}
		require.NoError(t, line.Halt())
	}
	time.Sleep(40 * time.Millisecond)
	line, err := port.Open(room.Path("bus"), port.Settings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	_, _, err = modbus.NewClient(line, quick).ReadCoils(1, 0, 8)
	require.NoError(t, err)
	require.NoError(t, line.Halt())
	require.NoError(t, room.Close())
	require.NoError(t, pseudo.Settled(goroutines, descriptors))
}
