package stimulus

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/monitor"
)

func TestPlayReading(t *testing.T) {
	m := demoMap(t)
	logic, problems := m.Site.Logic()
	require.Nil(t, problems)
	c := &logic.Channels[0].Config
	valid := func(v monitor.Microohm) monitor.Reading { return monitor.Reading{Quality: monitor.Valid, Value: v} }
	good := Value{Ohms: 300_000}
	for _, one := range []struct {
		now     Value
		reading monitor.Reading
		next    Value
		keep    bool
		why     string
	}{
		{good, monitor.Reading{}, good, true, ""},
		{good, monitor.Reading{Quality: monitor.OverRange}, Value{Broken: true}, false, ""},
		{good, valid(2_000_000_000), Value{Broken: true}, false, ""},
		{good, monitor.Reading{Quality: monitor.Bad}, good, true, "bad quality"},
		{good, valid(-1), good, true, "negative"},
		{good, valid(310_000), good, true, ""},
		{good, valid(9_500_000), Value{Ohms: 9_500_000}, false, ""},
		{Value{Broken: true}, valid(195_001), Value{Ohms: 196_000}, false, ""},
		{Value{Ohms: 9_999_000}, valid(10_000_001), Value{Ohms: 10_001_000}, false, ""},
	} {
		next, keep, why := playReading(m, 0, c, one.reading, one.now)
		require.Equal(t, one.next, next)
		require.Equal(t, one.keep, keep)
		require.Contains(t, why, one.why)
	}
	resistors := []wiring.Resistor{{Relay: wiring.Terminal{Point: 1}, Value: 300_000}, {Relay: wiring.Terminal{Point: 2}, Value: 9_500_000}}
	value, ok := nearestResistor(resistors, c, 8_000_000)
	require.True(t, ok)
	require.Equal(t, monitor.Microohm(300_000), value, "the nearest of its own class, not the nearest of all")
	_, ok = nearestResistor(resistors, c, 12_000_000)
	require.False(t, ok)
}
