package replay

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/tracetest"
)

// Measured contacts (open dataset "Switch bouncing traces", gsuberland, public
// domain; values read from its plots by eye): a large push
// button reopens for the last time about 0.19 ms after the first touch and
// wanders until about 0.5 ms. So however a 10 ms scan falls, it meets at most one
// reading of the bounce, and the bond comes after the settle time and at most one
// scan more, without a second beginning.
const (
	lastReopening = 0.19e-3
	endOfWander   = 0.5e-3
)

func contactText(sinceTouch float64) string {
	switch {
	case sinceTouch < 0:
		return "OL"
	case sinceTouch < lastReopening && int(sinceTouch/20e-6)%2 == 1:
		return "OL" // open again, every other 20 µs
	case sinceTouch < endOfWander:
		return "9.5" // neither good nor bad
	}
	return "0.4"
}

func TestMeasuredBounceFitsIntoOneScan(t *testing.T) {
	const period, touch = 10e-3, 0.25
	c, h := tracetest.Config(1), tracetest.Header(1)
	mapping := "time: {column: t, format: seconds}\nchannels: {bond_1: {column: r}}\nstatus_words: {OL: over-range}\nbegin: power-up\n"
	m, problems := csv.ReadMapping("map", []byte(mapping), h)
	require.Nil(t, problems)
	met := 0
	for phase := 0.0; phase < period; phase += 25e-6 {
		var table strings.Builder
		table.WriteString("t,r\n")
		first := -1
		for k := 0; k < 120; k++ {
			at := phase + float64(k)*period
			text := contactText(at - touch)
			if text != "OL" && first < 0 {
				first = k
			}
			if at >= touch && text != "0.4" {
				met++
			}
			fmt.Fprintf(&table, "%.6f,%s\n", at, text)
		}
		reader, err := csv.NewMapped(strings.NewReader(table.String()), m, h, c)
		require.NoError(t, err)
		watch := &settling{}
		_, err = New(c, h, Options{Watch: watch}).Run(reader, &reader.Diary)
		require.NoError(t, err)
		bonded := int(c.Channels[0].SettleScans) - 1 // scans after the first good one
		require.GreaterOrEqual(t, watch.bonded, first+bonded)
		require.LessOrEqual(t, watch.bonded, first+bonded+1, "phase %v", phase)
		require.Equal(t, 1, watch.begun, "phase %v: settling began more than once", phase)
	}
	require.Positive(t, met, "no scan ever met the bounce")
}

// settling counts how often settling began, and when the bond came.
type settling struct{ begun, bonded int }

func (s *settling) Begin(*trace.Header) error { return nil }
func (s *settling) Close() error              { return nil }
func (s *settling) Write(r *trace.Row) error {
	for _, e := range r.Decision.Events {
		switch {
		case e.Kind == interlock.SettlingAgain:
			s.begun++
		case e.Kind != interlock.PhaseChanged:
		case e.To == uint32(monitor.Settling):
			s.begun++
		case e.To == uint32(monitor.Bonded):
			s.bonded = int(r.Scan)
		}
	}
	return nil
}
