package analyse

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/modbus"
	"ohmgate/interlock/page"
)

// capturePath is a real recording of a 16-output module at 19200 8E1; source: the sigrok project's public example
// captures (uart/modbus_rtu). It is used where it lies and is not part of this project.
const capturePath = "../../../shared/data/modbus-rtu-16-outputs.csv"

func openCapture(t *testing.T) []Byte {
	file, err := os.Open(capturePath)
	if os.IsNotExist(err) {
		t.Skip("the recording ../shared/data/modbus-rtu-16-outputs.csv is not there")
	}
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	bytes, err := ReadBytes("modbus-rtu-16-outputs.csv", file)
	require.NoError(t, err)
	return bytes
}

// TestRealCapture: every byte belongs to a frame, every frame's check sum is right, every question is answered.
func TestRealCapture(t *testing.T) {
	bytes := openCapture(t)
	frames := Cut(bytes, 19200)
	total := 0
	for _, frame := range frames {
		require.NoError(t, frame.Err, "% X", frame.Bytes)
		require.False(t, frame.Broken)
		require.Equal(t, byte(1), frame.Unit)
		total += len(frame.Bytes)
	}
	require.Equal(t, len(bytes), total)
	exchanges, odd := Pair(frames, "master")
	require.Empty(t, odd)
	require.Len(t, exchanges, len(frames)/2)
	functions := map[modbus.Function]int{}
	for _, exchange := range exchanges {
		require.True(t, exchange.Answered)
		require.Zero(t, exchange.Reply.Exception)
		functions[exchange.Request.Function]++
	}
	require.Len(t, functions, len(modbus.Functions), "all eight functions occur")
	require.True(t, exchanges[4].Request.Bits[0], "the first write closes the relay that it then reads back")
	require.True(t, exchanges[8].Reply.Bits[0])
}

// TestTimingOfTheRealCapture reproduces what was measured on that bus, in ms: request 4.46, turnaround 2.21-2.27, reply
// 3.3-4.4, gap before the next 3.3-4.0; write coil 11.1 and poll inputs 10.0 from request to the end of the reply.
func TestTimingOfTheRealCapture(t *testing.T) {
	exchanges, _ := Pair(Cut(openCapture(t), 19200), "master")
	rows := Table(exchanges)
	all := rows[len(rows)-1]
	inMilliseconds := func(d time.Duration) float64 { return d.Seconds() * 1000 }
	require.InDelta(t, 4.46, inMilliseconds(all.Request.Median), 0.005)
	require.InDelta(t, 2.21, inMilliseconds(all.Turnaround.Least), 0.005)
	require.InDelta(t, 2.27, inMilliseconds(all.Turnaround.Most), 0.005)
	require.InDelta(t, 3.3, inMilliseconds(all.Reply.Least), 0.05)
	require.InDelta(t, 4.4, inMilliseconds(all.Reply.Most), 0.05)
	require.InDelta(t, 3.3, inMilliseconds(all.Gap.Least), 0.05)
	require.Equal(t, 15, all.Questions)
	require.Zero(t, all.Unanswered)
	for _, row := range rows {
		switch row.Function {
		case modbus.WriteCoil:
			require.InDelta(t, 11.1, inMilliseconds(row.Whole.Median), 0.05)
		case modbus.ReadInputs:
			require.InDelta(t, 10.0, inMilliseconds(row.Whole.Median), 0.05)
		case modbus.WriteRegisters:
			continue // followed by the 54 ms pause before the second round
		case 0:
			continue
		}
		require.LessOrEqual(t, inMilliseconds(row.Gap.Most), 4.05, row.Function.String())
	}
	var text strings.Builder
	WriteTable(page.On(&text), rows)
	t.Log("\n" + text.String())
	for _, line := range strings.Split(text.String(), "\n") {
		require.LessOrEqual(t, len(line), 80)
	}
}

// TestOneLineTap: the same recording as a tap on a two-wire bus would show it, where questions and answers share a line.
func TestOneLineTap(t *testing.T) {
	bytes := openCapture(t)
	apart, _ := Pair(Cut(bytes, 19200), "master")
	for index := range bytes {
		bytes[index].Line = "bus"
	}
	together, odd := Pair(Cut(bytes, 19200), "")
	require.Empty(t, odd)
	require.Len(t, together, len(apart))
	for index := range together {
		require.True(t, together[index].Answered)
		require.Equal(t, apart[index].Reply, together[index].Reply)
		require.Equal(t, apart[index].Turnaround, together[index].Turnaround)
	}
}

// TestDamagedCapture: a flipped bit, a missing byte and a late byte each cost exactly their frame.
func TestDamagedCapture(t *testing.T) {
	for name, damage := range map[string]func([]Byte) []Byte{
		"flipped bit":  func(b []Byte) []Byte { b[9].Value ^= 4; return b },
		"missing byte": func(b []Byte) []Byte { return append(b[:9:9], b[10:]...) },
		"late byte":    func(b []Byte) []Byte { b[13].Start += 2_200_000; b[13].End += 2_200_000; return b },
	} {
		exchanges, odd := Pair(Cut(damage(openCapture(t)), 19200), "master")
		require.NotEmpty(t, odd, name)
		require.Len(t, exchanges, 15, name)
		require.False(t, exchanges[0].Answered, name)
		require.True(t, exchanges[1].Answered, name)
	}
	slow := openCapture(t)
	slow[13].Start += 1_000_000
	slow[13].End += 1_000_000
	frames := Cut(slow, 19200)
	require.True(t, frames[1].Broken, "a gap above t1.5 inside a frame")
	require.NoError(t, frames[1].Err)
}

func TestCaptureErrorsNameThePlace(t *testing.T) {
	const head = "start_us,end_us,line,byte\n"
	for _, row := range []struct{ text, want string }{
		{"", "x.csv:1:1: empty"},
		{head, "x.csv:2:1: no bytes"},
		{"start_us,end_us,line\n1,2,03\n", `x.csv:1:1: no column "byte"`},
		{"end_us,byte\n1,03\n", `x.csv:1:1: no column "start"`},
		{"start,end,byte\n1,2,03\n", "says no unit"},
		{"s\x00t\x00", "export as UTF-8"},
		{head + "1,2,m,01\n3,x,m,01\n", "x.csv:3:3: time"},
		{head + "1,2,m,01\n1e99,4,m,01\n", "x.csv:3:1: time"},
		{head + "1,2,m,01\n1/3,4,m,01\n", "x.csv:3:1: time"},
		{head + "5,2,m,01\n", "x.csv:2:3: end 2 is before start 5"},
		{head + "1,2,,01\n", "x.csv:2:5: line has no name"},
		{head + "1,2,m,0A\n1,2,m,1\n", "x.csv:2:7: byte \"0A\": decimal or hexadecimal?"},
		{head + "1,2,m,7\n1,2,m,256\n", "x.csv:2:7: byte \"7\": decimal or"},
		{"start_us,byte_dec\n1,256\n", "x.csv:2:3: byte"},
		{"start_us,bytes hex\n1,01 03\n", "x.csv:2:3: several bytes"},
		{head + "1,2,m,0102\n", "x.csv:2:7: byte"},
		{head + "1,2,m\n", "wrong number of fields"},
	} {
		_, err := ReadBytes("x.csv", strings.NewReader(row.text))
		require.ErrorContains(t, err, row.want, "%q", row.text)
	}
	bytes, err := ReadBytes("x.csv", strings.NewReader("\ufeffbyte,line,remark,end_us,start_us\n0x1f,m,hello,2.5,1.25\n"))
	require.NoError(t, err)
	require.Equal(t, []Byte{{Start: 1250, End: 2500, Line: "m", Value: 0x1F}}, bytes)
}

func FuzzReadBytes(f *testing.F) {
	f.Add("start_us,end_us,line,byte\n31179,31597,master,01\n31756.5,32174,master,03\n")
	f.Fuzz(func(t *testing.T, text string) {
		bytes, err := ReadBytes("x", strings.NewReader(text))
		if err == nil && len(bytes) == 0 {
			t.Fatal("neither bytes nor an error")
		}
		for _, master := range []string{"", "master"} {
			exchanges, odd := Pair(Cut(bytes, 19200), master)
			if len(exchanges)+len(odd) > len(bytes) {
				t.Fatal("more frames than bytes")
			}
		}
	})
}
