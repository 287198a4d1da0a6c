package analyse

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
)

func someEvents() []port.Event {
	ask := modbus.EncodeRTU(1, []byte{2, 0, 0, 0, 8})
	answer := modbus.EncodeRTU(1, []byte{2, 1, 0x81})
	return []port.Event{
		{Port: "bus", Way: port.Sent, At: 1000, Done: 1500, Data: ask},
		{Port: "bus", Way: port.Heard, At: 9000, Done: 9000, Data: append([]byte{0xFF}, answer[:3]...)},
		{Port: "meter", Way: port.Heard, At: 9500, Done: 9500, Data: []byte("1.0\n")},
		{Port: "bus", Way: port.Heard, At: 30_000_000, Done: 30_000_000, Data: answer[3:]}, // an adapter that held it back
		{Port: "bus", Way: port.Sent, At: 40_000_000, Done: 40_000_100, Data: ask},
		{Port: "bus", Way: port.Lost, At: 50_000_000, Done: 50_000_000, Note: "unplugged"},
	}
}

func TestOwnRecordIsPaired(t *testing.T) {
	exchanges, odd := PairEvents(someEvents(), "bus")
	require.Len(t, exchanges, 2)
	require.True(t, exchanges[0].Answered, "held back by an adapter for longer than t3.5, and yet one answer")
	require.Equal(t, []bool{true, false, false, false, false, false, false, true}, exchanges[0].Reply.Bits)
	require.False(t, exchanges[1].Answered)
	require.Len(t, odd, 1)
	require.Equal(t, []byte{0xFF}, odd[0].Frame.Bytes)
}

func FuzzPairEvents(f *testing.F) {
	f.Add([]byte{1, 2, 3})
	f.Fuzz(func(t *testing.T, data []byte) {
		var events []port.Event
		for at, value := range data {
			one := someEvents()[int(value)%6]
			one.At, one.Done = port.Stamp(at), port.Stamp(at)
			if len(one.Data) > 0 {
				one.Data = one.Data[int(value/6)%len(one.Data):]
			}
			events = append(events, one)
		}
		exchanges, odd := PairEvents(events, "bus")
		if len(exchanges) > len(events) || len(odd) > 3*len(events) {
			t.Fatal("more exchanges than events")
		}
	})
}
