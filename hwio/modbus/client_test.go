package modbus_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/twin"
)

const unit = 17

// bench is one module on one line in memory, and a client on it.
func bench(t testing.TB, behaviour twin.Behaviour, settings modbus.Settings) (*twin.Hardware, *twin.Module, *modbus.Client, port.Port) {
	return benchOn(t, true, behaviour, settings)
}

func benchOn(t testing.TB, inMemory bool, behaviour twin.Behaviour, settings modbus.Settings) (*twin.Hardware, *twin.Module, *modbus.Client, port.Port) {
	module := &twin.Module{Unit: unit, Memory: modbus.NewImage(16, 16, 8, 8)}
	hardware, err := twin.Open(twin.Config{InMemory: inMemory, Lines: []twin.Line{{Name: "bus", Behaviour: behaviour, Modules: []*twin.Module{module}}}})
	require.NoError(t, err)
	line, err := hardware.Open("bus", port.Settings{Poll: 5 * time.Millisecond, Line: lineOf(settings)})
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, line.Halt())
		require.NoError(t, hardware.Close())
	})
	return hardware, module, modbus.NewClient(line, settings), line
}

func lineOf(settings modbus.Settings) port.Line {
	if settings.Line == (port.Line{}) {
		return port.DefaultLine
	}
	return settings.Line
}

// brisk settings for a twin without wire times.
var brisk = modbus.Settings{Line: port.Line{Baud: 115200, DataBits: 8, Parity: port.EvenParity, StopBits: 1}, Turnaround: 80 * time.Millisecond, Late: 160 * time.Millisecond}

func set(t *testing.T, hardware *twin.Hardware, input int, on bool) {
	require.NoError(t, hardware.Within(func(devices *twin.Devices) { require.True(t, devices.SetInput("bus", unit, input, on)) }))
}

func TestAllFunctionsOnATwin(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware, _, client, _ := bench(t, twin.Behaviour{}, brisk)
		set(t, hardware, 3, true)
		require.NoError(t, hardware.Within(func(devices *twin.Devices) { require.True(t, devices.SetReadings("bus", unit, 2, 0x0001, 0xE240)) }))
		_, err := client.WriteCoil(unit, 2, true)
		require.NoError(t, err)
		_, err = client.WriteCoils(unit, 8, []bool{true, false, true})
		require.NoError(t, err)
		coils, _, err := client.ReadCoils(unit, 0, 16)
		require.NoError(t, err)
		require.Equal(t, []bool{2: true, 8: true, 10: true, 15: false}, coils)
		inputs, _, err := client.ReadInputs(unit, 0, 4)
		require.NoError(t, err)
		require.Equal(t, []bool{false, false, false, true}, inputs)
		_, err = client.WriteRegister(unit, 0, 7)
		require.NoError(t, err)
		_, err = client.WriteRegisters(unit, 1, []uint16{8, 9})
		require.NoError(t, err)
		words, _, err := client.ReadHoldingRegisters(unit, 0, 3)
		require.NoError(t, err)
		require.Equal(t, []uint16{7, 8, 9}, words)
		words, result, err := client.ReadInputRegisters(unit, 2, 2)
		require.NoError(t, err)
		require.Equal(t, []uint16{1, 0xE240}, words)
		require.Equal(t, 1, result.Attempts)
		require.False(t, result.Doubt)
		require.Less(t, result.Times.Asked, result.Times.RequestEnd)
		_, _, err = client.ReadCoils(unit, 16, 1)
		code, refused := modbus.IsRefusal(err)
		require.True(t, refused)
		require.Equal(t, modbus.IllegalAddress, code)
		counts := client.Counts()
		require.Equal(t, modbus.Counts{Questions: 9, Answers: 9, Exceptions: 1}, counts)
	})
}

func TestBroadcastReachesAllAndIsNotAnswered(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		_, _, client, _ := bench(t, twin.Behaviour{}, modbus.Settings{Line: brisk.Line, Turnaround: brisk.Turnaround, BroadcastPause: 5 * time.Millisecond})
		_, err := client.WriteCoils(modbus.Broadcast, 0, []bool{true, true})
		require.NoError(t, err)
		coils, _, err := client.ReadCoils(unit, 0, 3)
		require.NoError(t, err)
		require.Equal(t, []bool{true, true, false}, coils)
		_, _, err = client.ReadCoils(modbus.Broadcast, 0, 1)
		require.ErrorContains(t, err, "only writes")
		_, _, err = client.ReadCoils(250, 0, 1)
		require.ErrorContains(t, err, "247")
	})
}

func TestSilentAndGarbledAreToldApart(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware, _, client, _ := bench(t, twin.Behaviour{LoseAnswer: 1000}, brisk)
		_, _, err := client.ReadInputs(unit, 0, 1)
		require.ErrorIs(t, err, port.ErrSilent)
		require.NoError(t, hardware.Behave("bus", twin.Behaviour{FlipBit: 1000}))
		_, _, err = client.ReadInputs(unit, 0, 8)
		require.ErrorIs(t, err, port.ErrCut)
		require.NoError(t, hardware.Behave("bus", twin.Behaviour{Noise: 1000}))
		_, _, err = client.ReadInputs(unit, 0, 8)
		require.NoError(t, err)
		counts := client.Counts()
		require.Equal(t, 1, counts.Silent)
		require.Equal(t, 1, counts.Garbled)
		require.Zero(t, counts.Retries, "no retry unless asked for")
	})
}

func TestRetriesAreCounted(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		settings := brisk
		settings.Retries = 5
		_, _, client, _ := bench(t, twin.Behaviour{LoseQuestion: 500, Seed: 7}, settings)
		attempts := 0
		for range 10 {
			result, err := client.WriteCoil(unit, 1, true)
			require.NoError(t, err)
			attempts += result.Attempts
		}
		require.Greater(t, attempts, 10)
		require.Equal(t, attempts-10, client.Counts().Retries)
		require.Equal(t, attempts, client.Counts().Questions)
	})
}

func TestAnswerInPieces(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		_, _, client, _ := bench(t, twin.Behaviour{Pieces: 2, PieceGap: 3 * time.Millisecond}, brisk)
		_, result, err := client.ReadHoldingRegisters(unit, 0, 8)
		require.NoError(t, err)
		require.Equal(t, 3*time.Millisecond, result.Times.WidestGap)
		require.Greater(t, result.Times.ReplyEnd, result.Times.ReplyStart)
	})
}

// TestLateAnswerIsNotTakenForTheNext: the input changes after the late answer was formed. The law:
// the old state never comes back as an answer without Doubt. Within Late there is no doubt either.
func TestLateAnswerIsNotTakenForTheNext(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		within, beyond := brisk.Turnaround+brisk.Late/2, brisk.Turnaround+brisk.Late+40*time.Millisecond
		for _, late := range []time.Duration{brisk.Turnaround + 10*time.Millisecond, within, beyond} {
			hardware, _, client, _ := bench(t, twin.Behaviour{LateAnswer: 1000, LateBy: late}, brisk)
			_, _, err := client.ReadInputs(unit, 0, 8) // all false, answered too late
			require.ErrorIs(t, err, port.ErrSilent)
			require.NoError(t, hardware.Behave("bus", twin.Behaviour{}))
			set(t, hardware, 0, true)
			undoubted := 0
			for range 4 {
				inputs, result, err := client.ReadInputs(unit, 0, 8)
				if err != nil {
					require.ErrorIs(t, err, port.ErrSilent)
					continue
				}
				if !result.Doubt {
					require.True(t, inputs[0], "late by %v: the old state was taken for the new one", late)
					undoubted++
				}
			}
			require.Positive(t, undoubted, "late by %v: doubt must end", late)
			t.Logf("late by %v: %d of 4 without doubt, %+v", late, undoubted, client.Counts())
		}
	})
}

// TestFenceEndsDoubt: an answer of another shape, which the lost question cannot have caused.
func TestFenceEndsDoubt(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware, _, client, _ := bench(t, twin.Behaviour{LoseAnswer: 1000}, brisk)
		_, _, err := client.ReadInputs(unit, 0, 8)
		require.ErrorIs(t, err, port.ErrSilent)
		require.NoError(t, hardware.Behave("bus", twin.Behaviour{}))
		_, fence, err := client.ReadCoils(unit, 0, 3)
		require.NoError(t, err)
		require.False(t, fence.Doubt)
		_, after, err := client.ReadInputs(unit, 0, 8)
		require.NoError(t, err)
		require.False(t, after.Doubt)
	})
}

// TestLostAnswerLeavesDoubtOnce: the answer never comes. The next one of the same shape could be it, as far as the line
// can tell; after another silent time the matter is closed.
func TestLostAnswerLeavesDoubtOnce(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware, _, client, _ := bench(t, twin.Behaviour{LoseAnswer: 1000}, brisk)
		_, _, err := client.ReadInputs(unit, 0, 8)
		require.ErrorIs(t, err, port.ErrSilent)
		require.NoError(t, hardware.Behave("bus", twin.Behaviour{}))
		begun := time.Now()
		_, first, err := client.ReadInputs(unit, 0, 8)
		require.NoError(t, err)
		require.True(t, first.Doubt)
		require.InDelta(t, brisk.Late, time.Since(begun), float64(5*time.Millisecond), "the late answer's time is waited out")
		_, second, err := client.ReadInputs(unit, 0, 8)
		require.NoError(t, err)
		require.False(t, second.Doubt)
		begun = time.Now()
		_, _, err = client.ReadInputs(unit, 0, 8)
		require.NoError(t, err)
		require.Less(t, time.Since(begun), 5*time.Millisecond, "and then it is over")
	})
}

func TestEchoingLine(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		settings := brisk
		_, _, plain, line := bench(t, twin.Behaviour{Echo: true, Turnaround: 2 * time.Millisecond}, settings)
		echoes, err := modbus.ProbeEcho(line, settings, unit)
		require.NoError(t, err)
		require.True(t, echoes)
		settings.Echo = true
		client := modbus.NewClient(line, settings)
		for range 3 {
			_, err = client.WriteCoil(unit, 3, true)
			require.NoError(t, err)
		}
		require.Zero(t, client.Counts().StrayBytes)
		_, err = client.WriteCoil(unit+1, 3, true)
		require.ErrorIs(t, err, port.ErrSilent, "nobody there: only the echo")
		// This is the trap that ProbeEcho is for: a client that does not know takes the echo for a confirmation.
		_, err = plain.WriteCoil(unit+1, 3, true)
		require.NoError(t, err)
	})
}

func TestLineThatShouldEchoAndDoesNot(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		settings := brisk
		settings.Echo = true
		_, _, client, line := bench(t, twin.Behaviour{}, settings)
		_, _, err := client.ReadCoils(unit, 0, 1)
		require.ErrorIs(t, err, modbus.ErrEcho)
		echoes, err := modbus.ProbeEcho(line, brisk, unit)
		require.NoError(t, err)
		require.False(t, echoes)
	})
}

func TestTooEarlyAnswerIsRefused(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		settings := modbus.Settings{Turnaround: 100 * time.Millisecond, Late: 10 * time.Millisecond, RefuseEarly: true}
		hardware, _, client, _ := bench(t, twin.Behaviour{}, settings) // no wire times: impossibly fast for 19200 baud
		_, _, err := client.ReadCoils(unit, 0, 1)
		require.ErrorIs(t, err, port.ErrCut)
		require.ErrorContains(t, err, "before the question had left")
		require.NoError(t, hardware.Behave("bus", twin.Behaviour{Line: port.DefaultLine, Turnaround: time.Millisecond}))
		_, _, err = client.ReadCoils(unit, 0, 1)
		require.NoError(t, err)
	})
}

func TestUnplugEndsTheClient(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware, _, client, _ := bench(t, twin.Behaviour{}, brisk)
		_, err := client.WriteCoil(unit, 0, true)
		require.NoError(t, err)
		require.NoError(t, hardware.Unplug("bus"))
		_, err = client.WriteCoil(unit, 0, false)
		require.ErrorIs(t, err, port.ErrLost)
	})
}

// A cycle of polling one device takes its minimum on the wire: bytes x 11 bits, turnaround and t3.5. How near a machine comes to
// that is measured by BenchmarkPollCycle.
func TestPollTakesTheTimeOfTheWire(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		const turnaround = 2 * time.Millisecond
		for _, baud := range []int{9600, 19200, 115200} {
			line := port.Line{Baud: baud, DataBits: 8, Parity: port.EvenParity, StopBits: 1}
			_, _, client, _ := bench(t, twin.Behaviour{Line: line, Turnaround: turnaround}, modbus.Settings{Line: line, RefuseEarly: true, Late: 5 * time.Second})
			request := modbus.Request{Function: modbus.ReadInputs, Count: 16}
			_, err := client.Do(unit, request)
			require.NoError(t, err)
			const polls = 12
			begun := time.Now()
			for range polls {
				_, err := client.Do(unit, request)
				require.NoError(t, err)
			}
			require.InDelta(t, modbus.WireTime(line, request, turnaround), time.Since(begun)/polls, float64(20*time.Microsecond))
		}
	})
}
