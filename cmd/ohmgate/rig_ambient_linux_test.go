package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestTheAirAtABenchIsAQuantity: it stands on the sheet, so it is read before anything moves.
func TestTheAirAtABenchIsAQuantity(t *testing.T) {
	for _, c := range []struct{ flag, text, said string }{
		{"--temperature", "21", "has no unit"}, {"--temperature", "-500 °C", "cannot be at a bench"}, {"--temperature", "warm", "is not a temperature"},
		{"--temperature", "21 %", "is a share, but a temperature is asked for"}, {"--temperature", "20..22 °C", "write one value"},
		{"--humidity", "145 %", "cannot be at a bench"}, {"--humidity", "-5 %", "is negative"}, {"--humidity", "45", "has no unit"},
	} {
		text, code := rigSays(t, "--twin", c.flag, c.text, benchSite, benchPulled)
		require.Equal(t, exitInput, code, text)
		require.Contains(t, text, c.flag)
		require.Contains(t, text, c.said)
	}
	for _, o := range []rigOptions{{}, {temperature: "21 °C", humidity: "45 %"}, {temperature: "-40 °C", humidity: "100 %"}, {temperature: "60 degC", humidity: "0 %"}} {
		require.NoError(t, o.ambient())
	}
}
