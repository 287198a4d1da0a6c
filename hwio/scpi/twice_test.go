package scpi_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/internal/hwtest"
	"ohmgate/hwio/port"
	"ohmgate/hwio/scpi"
)

// TestAnswerThatComesTwice: a moment later the second one would be taken for the next answer. It costs one reading, and the
// dialogue finds back into step. What a device says when it is switched on costs nothing.
func TestAnswerThatComesTwice(t *testing.T) {
	hwtest.OnFakeClock(t, func(t *testing.T) {
		terminal := port.NewFar("meter")
		defer terminal.Unplug()
		go func() {
			into, readings := make([]byte, 256), 0
			for {
				count, err := terminal.Read(into)
				if err != nil {
					return
				}
				switch asked := string(into[:count]); {
				case strings.Contains(asked, "*IDN?"):
					terminal.Write([]byte(demoIdentity.String() + "\n"))
				case strings.Contains(asked, "MEAS"):
					terminal.Write([]byte("5.0\n"))
					if readings++; readings == 1 {
						time.Sleep(20 * time.Millisecond)
						terminal.Write([]byte("5.0\n"))
					}
				}
			}
		}()
		line, err := terminal.Open(port.Settings{})
		require.NoError(t, err)
		defer func() { require.NoError(t, line.Halt()) }()
		terminal.Write([]byte("READY\n"))
		time.Sleep(50 * time.Millisecond)
		template := decade
		template.Start, template.ErrorQuestion = nil, "-"
		device, err := scpi.NewDevice(line, template, brisk)
		require.NoError(t, err)
		_, err = device.Begin()
		require.NoError(t, err)
		_, _, err = device.Measure()
		require.NoError(t, err)
		time.Sleep(150 * time.Millisecond)
		_, _, err = device.Measure()
		require.ErrorIs(t, err, scpi.ErrUnexpected)
		require.ErrorContains(t, err, "when nothing was due")
		measured, _, err := device.Measure()
		require.NoError(t, err)
		require.Equal(t, int64(5_000_000), measured.Microohms)
		require.Equal(t, 2, device.Counts().Resyncs)
	})
}
