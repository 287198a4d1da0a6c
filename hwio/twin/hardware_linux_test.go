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
	"ohmgate/hwio/twin"
)

// patient is for terminals of this system: however busy it is, an answer comes before this.
var patient = modbus.Settings{Turnaround: 30 * time.Second, RefuseEarly: true}

// TestHonestIntervalsOnTerminals: the law does not ask how busy the machine is.
func TestHonestIntervalsOnTerminals(t *testing.T) {
	holdTheTruth(t, open(t, jittering()), patient)
}

// TestPlugOfATerminal: its name goes and comes back with the plug.
func TestPlugOfATerminal(t *testing.T) {
	hardware := open(t, rig(0))
	line := connect(t, hardware, "bus")
	require.NoError(t, hardware.Unplug("bus"))
	_, err := line.Exchange(port.Ask{Request: []byte("x"), Wait: 30 * time.Second})
	require.ErrorIs(t, err, port.ErrLost)
	require.NoError(t, line.Halt())
	_, err = os.Stat(hardware.Path("bus"))
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = hardware.Open("bus", port.Settings{})
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NoError(t, hardware.Plug("bus"))
	_, _, err = modbus.NewClient(connect(t, hardware, "bus"), modbus.Settings{Turnaround: 30 * time.Second}).ReadCoils(1, 0, 1)
	require.NoError(t, err)
}

func TestHardwareThatCannotBe(t *testing.T) {
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

// TestTwinSurvivesAnything: wild bytes, half frames, unplugging and plugging in, in any order; then it still answers.
func TestTwinSurvivesAnything(t *testing.T) {
	goroutines, descriptors := pseudo.Usage()
	hardware, err := twin.Open(rig(10 * time.Millisecond))
	require.NoError(t, err)
	dice := rand.New(rand.NewPCG(5, 6))
	for range 120 {
		line, err := port.Open(hardware.Path("bus"), port.Settings{Poll: 5 * time.Millisecond})
		require.NoError(t, err)
		wild := make([]byte, 1+dice.IntN(300))
		for index := range wild {
			wild[index] = byte(dice.IntN(256))
		}
		_, err = line.Exchange(port.Ask{Request: wild, Wait: time.Millisecond})
		require.NoError(t, err)
		if dice.IntN(2) == 0 {
			require.NoError(t, hardware.Unplug("bus"))
			require.NoError(t, hardware.Plug("bus"))
		}
		require.NoError(t, line.Halt())
	}
	time.Sleep(40 * time.Millisecond)
	line, err := port.Open(hardware.Path("bus"), port.Settings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	_, _, err = modbus.NewClient(line, modbus.Settings{Turnaround: 30 * time.Second}).ReadCoils(1, 0, 8)
	require.NoError(t, err)
	require.NoError(t, line.Halt())
	require.NoError(t, hardware.Close())
	require.NoError(t, pseudo.Settled(goroutines, descriptors))
}
