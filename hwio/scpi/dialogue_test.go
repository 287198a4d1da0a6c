package scpi_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/port"
	"ohmgate/hwio/scpi"
	"ohmgate/hwio/twin"
)

var demoIdentity = scpi.Identity{Maker: "Quarry Road works", Model: "decade and meter", Serial: "0", Firmware: "1.0"}

// decade is how the twin's instrument is spoken to.
var decade = scpi.Template{
	Name: "demo decade", Identity: `Quarry Road works,decade.*`,
	Start:   []scpi.Command{{Send: "*CLS"}, {Send: "*RST"}},
	Set:     scpi.Command{Send: "SOUR:RES {ohms}"},
	ReadSet: scpi.Command{Send: "SOUR:RES?", Expect: `[0-9.]+`},
	Measure: scpi.Command{Send: "MEAS:FRES?", Expect: `\S+`},
}

var brisk = scpi.Settings{Wait: 120 * time.Millisecond, Rest: 60 * time.Millisecond, Late: 120 * time.Millisecond}

func bench(t *testing.T, behaviour twin.Behaviour, measured func() scpi.Resistance, template scpi.Template) (*twin.Hardware, *scpi.Device, *scpi.Instrument) {
	instrument := scpi.NewInstrument(demoIdentity, scpi.DefaultLimits, measured, nil)
	hardware, err := twin.Open(twin.Config{InMemory: true, Lines: []twin.Line{{Name: "decade", Behaviour: behaviour, Instrument: instrument}}})
	require.NoError(t, err)
	line, err := hardware.Open("decade", port.Settings{Poll: 5 * time.Millisecond})
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, line.Halt())
		require.NoError(t, hardware.Close())
	})
	device, err := scpi.NewDevice(line, template, brisk)
	require.NoError(t, err)
	return hardware, device, instrument
}

func TestDialogueWithADecade(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		_, device, _ := bench(t, twin.Behaviour{Turnaround: 3 * time.Millisecond}, nil, decade)
		identity, err := device.Begin()
		require.NoError(t, err)
		require.Equal(t, demoIdentity, identity)
		times, err := device.Set(10_500_000)
		require.NoError(t, err)
		require.LessOrEqual(t, times.Asked, times.Sent)
		measured, times, err := device.Measure()
		require.NoError(t, err)
		require.Equal(t, scpi.Value, measured.Class)
		require.Equal(t, int64(10_500_000), measured.Microohms)
		require.Equal(t, 3*time.Millisecond, times.ReplyStart.Sub(times.Asked))
		_, err = device.Set(-1)
		require.Error(t, err)
		require.Zero(t, device.Counts().Garbled)
	})
}

func TestComplaintsAreCollectedAfterEachSet(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware, device, instrument := bench(t, twin.Behaviour{}, nil, decade)
		_, err := device.Begin()
		require.NoError(t, err)
		_, err = device.Set(5_000_000)
		require.NoError(t, err)
		_, err = device.Set(2_000_000_000_000) // 2 MΩ; the box ends at 1 MΩ
		var complaints *scpi.Complaints
		require.ErrorAs(t, err, &complaints)
		require.ErrorIs(t, err, scpi.ErrComplaint)
		require.Equal(t, []scpi.Complaint{{Code: -222, Text: "Data out of range"}}, complaints.List)
		require.Contains(t, err.Error(), "SOUR:RES 2000000")
		require.NoError(t, hardware.Within(func(*twin.Devices) { require.Equal(t, int64(5_000_000), instrument.Setting()) }))
		_, err = device.Set(6_000_000)
		require.NoError(t, err, "the queue is empty again")
	})
}

func TestWrongDeviceIsRefused(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		other := decade
		other.Identity = `Quarry Road works,thermometer.*`
		_, device, _ := bench(t, twin.Behaviour{}, nil, other)
		_, err := device.Begin()
		require.ErrorIs(t, err, scpi.ErrWrongDevice)
	})
}

func TestOverloadIsAClass(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		present := scpi.Resistance{Class: scpi.OverRange}
		_, device, _ := bench(t, twin.Behaviour{}, func() scpi.Resistance { return present }, decade)
		measured, _, err := device.Measure()
		require.NoError(t, err)
		require.Equal(t, scpi.OverRange, measured.Class)
		require.Zero(t, measured.Microohms)
	})
}

// TestLateAnswerIsNotTheNextReading: the answer to a question that was given up must not be taken for the next.
func TestLateAnswerIsNotTheNextReading(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		for _, late := range []time.Duration{brisk.Wait + 10*time.Millisecond, brisk.Wait + brisk.Late/2, brisk.Wait + brisk.Late + 30*time.Millisecond} {
			present := scpi.Resistance{Class: scpi.Value, Microohms: 1_000_000}
			hardware, device, _ := bench(t, twin.Behaviour{LateAnswer: 1000, LateBy: late}, func() scpi.Resistance { return present }, decade)
			_, _, err := device.Measure()
			require.ErrorIs(t, err, port.ErrSilent)
			require.NoError(t, hardware.Behave("decade", twin.Behaviour{}))
			require.NoError(t, hardware.Within(func(*twin.Devices) { present.Microohms = 9_000_000 }))
			measured, _, err := device.Measure()
			require.NoError(t, err, "late by %v", late)
			require.Equal(t, int64(9_000_000), measured.Microohms, "late by %v", late)
			require.Equal(t, 1, device.Counts().Resyncs)
		}
	})
}

func TestGarbledAnswerIsAnErrorAndThePlaceIsFoundAgain(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		hardware, device, _ := bench(t, twin.Behaviour{}, nil, decade)
		_, err := device.Begin()
		require.NoError(t, err)
		require.NoError(t, hardware.Behave("decade", twin.Behaviour{LoseAnswer: 1000}))
		_, err = device.Set(4_000_000)
		require.ErrorIs(t, err, port.ErrSilent)
		require.NoError(t, hardware.Behave("decade", twin.Behaviour{}))
		_, err = device.Set(4_000_000)
		require.NoError(t, err)
		require.NoError(t, hardware.Unplug("decade"))
		_, err = device.Set(4_000_000)
		require.ErrorIs(t, err, port.ErrLost)
	})
}

func TestTemplatesAreChecked(t *testing.T) {
	wrong := scpi.Template{Name: "x", Identity: "(", Set: scpi.Command{Send: "RES"}, Measure: scpi.Command{Send: "READ?"}, Start: []scpi.Command{{Send: "A\nB"}}, Overload: scpi.Overload{From: "much"}}
	require.Len(t, wrong.Check(), 5)
	require.Len(t, scpi.Template{}.Check(), 1)
	require.Empty(t, decade.Check())
	require.Empty(t, scpi.Meter("m").Check())
	_, err := scpi.NewDevice(nil, wrong, scpi.Settings{})
	require.Error(t, err)
}

func TestStandardMeterTemplate(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		_, device, _ := bench(t, twin.Behaviour{Line: port.Line{Baud: 9600, DataBits: 8, Parity: port.NoParity, StopBits: 1}}, nil, scpi.Meter("meter"))
		_, err := device.Begin()
		require.NoError(t, err)
		measured, _, err := device.Measure()
		require.NoError(t, err)
		require.Equal(t, scpi.Value, measured.Class)
	})
}
