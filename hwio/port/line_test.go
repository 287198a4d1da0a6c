package port

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestLineTextIsReadBack(t *testing.T) {
	for text, bits := range map[string]int{"19200 8E1": 11, "9600 8N2": 11, "115200 8N1": 10, "1200 7O1": 10} {
		line, err := ParseLine(text)
		require.NoError(t, err, text)
		require.Equal(t, text, line.String())
		require.Equal(t, bits, line.Bits(), text)
	}
	for _, text := range []string{"", "19200", "8E1", "19200 8X1", "19200 9E1", "x 8E1", "19200 8E3", "0 8N1", "19200 8E1 "[:8]} {
		_, err := ParseLine(text)
		require.Error(t, err, "%q", text)
	}
}

func TestWireTimeOfOneCharacter(t *testing.T) {
	// Character times of eleven bits: start, eight, parity, stop.
	for baud, want := range map[int]time.Duration{1200: 9166666, 9600: 1145833, 19200: 572916, 38400: 286458, 115200: 95486} {
		line := Line{Baud: baud, DataBits: 8, Parity: EvenParity, StopBits: 1}
		require.Equal(t, want, line.WireTime(1), baud)
	}
}

func TestPauseIsNeverShort(t *testing.T) {
	for _, wish := range []time.Duration{0, -1, 100 * time.Microsecond, 1750 * time.Microsecond, 4 * time.Millisecond} {
		begun := time.Now()
		Pause(wish)
		took := time.Since(begun)
		require.GreaterOrEqual(t, took, wish)
		t.Logf("asked %v, took %v", wish, took)
	}
}
