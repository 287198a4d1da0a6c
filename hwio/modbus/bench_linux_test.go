package modbus_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
	"ohmgate/hwio/twin"
)

// BenchmarkPollCycle polls one device as fast as it can: the mean cycle beside the wire's own minimum (both frames at eleven
// bits a character, turnaround, t3.5). Issue 6 asks for at most 10 per cent more.
func BenchmarkPollCycle(b *testing.B) {
	for _, baud := range []int{9600, 19200, 115200} {
		b.Run(fmt.Sprint(baud), func(b *testing.B) {
			line := port.Line{Baud: baud, DataBits: 8, Parity: port.EvenParity, StopBits: 1}
			const turnaround = 2 * time.Millisecond
			_, _, client, _ := benchOn(b, false, twin.Behaviour{Line: line, Turnaround: turnaround}, modbus.Settings{Line: line, RefuseEarly: true})
			request := modbus.Request{Function: modbus.ReadInputs, Count: 16}
			_, err := client.Do(unit, request)
			require.NoError(b, err)
			lost := 0
			for b.Loop() {
				if _, err := client.Do(unit, request); err != nil {
					lost++
				}
			}
			least := modbus.WireTime(line, request, turnaround)
			mean := b.Elapsed() / time.Duration(b.N)
			if b.N > 10 && lost == 0 && mean > least*110/100 {
				b.Errorf("%v a cycle is more than 10 %% over the wire's %v", mean, least)
			}
			b.ReportMetric(float64(least)/1e6, "ms-wire")
			b.ReportMetric(float64(mean)/1e6, "ms-cycle")
			b.ReportMetric(100*(float64(mean)/float64(least)-1), "%-over-wire")
			b.ReportMetric(float64(lost), "lost")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// BenchmarkIdleLoop asks once every 10 ms and does nothing else: how much of one processor that takes, the twin at the other
// end of the line included.
func BenchmarkIdleLoop(b *testing.B) {
	line := port.Line{Baud: 115200, DataBits: 8, Parity: port.EvenParity, StopBits: 1}
	_, _, client, _ := benchOn(b, false, twin.Behaviour{Line: line, Turnaround: time.Millisecond}, modbus.Settings{Line: line, RefuseEarly: true})
	request := modbus.Request{Function: modbus.ReadInputs, Count: 16}
	used := processorTime(b)
	next := time.Now()
	for b.Loop() {
		next = next.Add(10 * time.Millisecond)
		time.Sleep(time.Until(next))
		_, err := client.Do(unit, request)
		require.NoError(b, err)
	}
	b.ReportMetric(100*float64(processorTime(b)-used)/float64(b.Elapsed()), "%-processor")
	b.ReportMetric(0, "ns/op")
}

func processorTime(b *testing.B) time.Duration {
	var usage unix.Rusage
	require.NoError(b, unix.Getrusage(unix.RUSAGE_SELF, &usage))
	return time.Duration(usage.Utime.Nano() + usage.Stime.Nano())
}
