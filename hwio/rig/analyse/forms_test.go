package analyse

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/modbus"
	"ohmgate/hwio/port"
)

// said is one frame of a talk, and the silence before it in microseconds.
type said struct {
	line    string
	frame   []byte
	silence int64
}

// talk is a master that asks two units, writes to all, and asks for too much. PDUs of the specification where it gives some.
func talk() (list []said) {
	ask := func(unit byte, pdu string) {
		list = append(list, said{"pc", modbus.EncodeRTU(unit, []byte(pdu)), 4000})
	}
	answer := func(unit byte, pdu string) {
		list = append(list, said{"modules", modbus.EncodeRTU(unit, []byte(pdu)), 2500})
	}
	for range 2 {
		ask(1, "\x03\x00\x6B\x00\x03")
		answer(1, "\x03\x06\x02\x2B\x00\x00\x00\x64")
		ask(2, "\x04\x00\x08\x00\x01")
		answer(2, "\x04\x02\x00\x0A")
		ask(2, "\x03\x00\x6B\x00\xC8") // 200 registers: too many
		answer(2, "\x83\x03")
		ask(0, "\x05\x00\xAC\xFF\x00") // to all
		ask(1, "\x06\x00\x01\x00\x03")
		answer(1, "\x06\x00\x01\x00\x03")
		ask(1, "\x10\x00\x01\x00\x02\x04\x00\x0A\x01\x02")
		answer(1, "\x10\x00\x01\x00\x02")
		ask(2, "\x0F\x00\x13\x00\x0A\x02\xCD\x01")
		answer(2, "\x0F\x00\x13\x00\x0A")
	}
	return list
}

// onWire is a talk as bytes with the times of their data bits, or of whole characters.
func onWire(list []said, line port.Line, whole bool) (made []Byte) {
	bits := func(count int) int64 { return int64(count) * 1e9 / int64(line.Baud) }
	now := int64(50_000_000)
	for _, one := range list {
		now += one.silence * 1000
		for _, value := range one.frame {
			b := Byte{Start: now + bits(1), End: now + bits(9), Line: one.line, Value: value}
			if whole {
				b.Start, b.End = now, now+bits(line.Bits())
			}
			made = append(made, b)
			now += bits(line.Bits())
		}
	}
	return made
}

func lineFrom(t *testing.T, text string) port.Line {
	line, err := port.ParseLine(text)
	require.NoError(t, err)
	return line
}

// checkTalk demands that nothing of the talk was lost and nothing added.
func checkTalk(t *testing.T, bytes []Byte, baud int) {
	frames := Cut(bytes, baud)
	master, err := Master(frames)
	require.NoError(t, err)
	exchanges, odd := Pair(frames, master)
	require.Empty(t, odd)
	require.Len(t, exchanges, 14)
	for index, e := range exchanges {
		require.Equal(t, index%7 != 3, e.Answered, "%d", index)
		require.Equal(t, index%7 == 3, e.Broadcast())
	}
	require.Equal(t, []uint16{555, 0, 100}, exchanges[0].Reply.Words)
	require.Equal(t, byte(2), exchanges[1].Question.Unit)
	require.Equal(t, modbus.IllegalValue, exchanges[2].Reply.Exception)
	rows := Table(exchanges)
	require.Zero(t, rows[len(rows)-1].Unanswered)
}

// TestFormsOfCaptures: the same talk as different instruments export it.
func TestFormsOfCaptures(t *testing.T) {
	for name, c := range map[string]struct {
		line  string
		whole bool
		head  string
		row   func(b Byte) string
	}{
		"seconds, semicolons, decimal comma, whole characters": {"9600 8N1", true, "Channel;Data;Start Time [s];Duration [s]\r\n", func(b Byte) string {
			return strings.ReplaceAll(fmt.Sprintf("%s;0x%02X;%.9f;%.9f\r\n", b.Line, b.Value, float64(b.Start)/1e9, float64(b.End-b.Start)/1e9), ".", ",")
		}},
		"milliseconds, decimal bytes, one line": {"19200 8E1", false, "time_ms,end_ms,decimal\n", func(b Byte) string {
			return fmt.Sprintf("%.4f,%.4f,%d\n", float64(b.Start)/1e6, float64(b.End)/1e6, b.Value)
		}},
		"nanoseconds, tabulators": {"115200 8E1", false, "start (ns)\tend (ns)\tline\thex\n", func(b Byte) string {
			return fmt.Sprintf("%d\t%d\t%s\t%02x\n", b.Start, b.End, b.Line, b.Value)
		}},
		"exponents, a byte order mark, further columns": {"38400 8O1", true, "\ufeffremark,byte,port,start_s,stop_s\n", func(b Byte) string {
			return fmt.Sprintf("\"a, b\",%02Xh,%s,%.9e,%.9e\n", b.Value, b.Line, float64(b.Start)/1e9, float64(b.End)/1e9)
		}},
		"before the trigger": {"19200 8N2", false, "start_us,end_us,line,byte\n", func(b Byte) string {
			return fmt.Sprintf("%.3f,%.3f,%s,%02X\n", float64(b.Start-90_000_000)/1e3, float64(b.End-90_000_000)/1e3, b.Line, b.Value)
		}},
	} {
		t.Run(name, func(t *testing.T) {
			line := lineFrom(t, c.line)
			text := c.head
			rows := onWire(talk(), line, c.whole)
			rand.New(rand.NewPCG(1, 1)).Shuffle(len(rows), func(a, b int) { rows[a], rows[b] = rows[b], rows[a] })
			for _, b := range rows {
				text += c.row(b)
			}
			bytes, err := ReadBytes("x.csv", strings.NewReader(text))
			require.NoError(t, err)
			baud, err := Speed(bytes)
			require.NoError(t, err)
			require.Equal(t, line.Baud, baud)
			checkTalk(t, bytes, baud)
		})
	}
}

// TestHastyDevices: answers that do not wait for the silence, on one line.
func TestHastyDevices(t *testing.T) {
	line := lineFrom(t, "19200 8E1")
	list := talk()
	for index := range list {
		if list[index].line == "modules" {
			list[index].silence = 600
		}
		list[index].line = "bus"
	}
	checkTalk(t, onWire(list, line, false), line.Baud)
}

// TestCutByTheRecording: what the recording cuts is one frame at each end.
func TestCutByTheRecording(t *testing.T) {
	all := onWire(talk(), port.DefaultLine, false)
	frames := Cut(all[3:len(all)-2], port.DefaultLine.Baud)
	exchanges, odd := Pair(frames, "pc")
	require.Len(t, exchanges, 13)
	require.Len(t, odd, 3, "half a question, its answer, half an answer")
	require.Equal(t, frames[0].Start, odd[0].Frame.Start)
	require.Equal(t, frames[len(frames)-1].Start, odd[2].Frame.Start)
}

// levelsOf is a talk as levels of each line.
func levelsOf(list []said, line port.Line, rest bool) (levels map[string][]Level, end int64) {
	levels = map[string][]Level{}
	now := int64(10_000_000)
	half := int64(1e9) / int64(2*line.Baud)
	for _, one := range list {
		now += one.silence * 1000
		for _, value := range one.frame {
			bits, ones := []bool{false}, 0
			for bit := range line.DataBits {
				on := value>>bit&1 != 0
				bits = append(bits, on)
				if on {
					ones++
				}
			}
			switch line.Parity {
			case port.EvenParity:
				bits = append(bits, ones%2 == 1)
			case port.OddParity:
				bits = append(bits, ones%2 == 0)
			}
			for range line.StopBits {
				bits = append(bits, true)
			}
			for _, on := range bits {
				high := on == rest
				before := rest
				if list := levels[one.line]; len(list) > 0 {
					before = list[len(list)-1].High
				}
				if high != before {
					levels[one.line] = append(levels[one.line], Level{now, high})
				}
				now += 2 * half
			}
		}
	}
	return levels, now + 5_000_000
}

// TestLevels: speed and character are found, at either polarity; a flipped bit is a wrong parity.
func TestLevels(t *testing.T) {
	for _, text := range []string{"19200 8E1", "9600 8N1", "115200 8O1", "57600 8E1"} {
		for _, rest := range []bool{true, false} {
			line := lineFrom(t, text)
			levels, end := levelsOf(talk(), line, rest)
			var all []Byte
			for name, list := range levels {
				found, err := FindLine(list, end)
				require.NoError(t, err)
				require.Equal(t, line, found, name)
				all = append(all, Characters(name, list, end, line)...)
			}
			want := onWire(talk(), line, false)
			require.Len(t, all, len(want))
			for _, b := range all {
				require.Empty(t, b.Fault)
			}
		}
	}
	levels, end := levelsOf(talk(), port.DefaultLine, true)
	spoilt := Characters("pc", levels["pc"], end, lineFrom(t, "19200 8O1"))
	require.Contains(t, spoilt[0].Fault, "parity")
	require.ErrorContains(t, Cut(spoilt, 19200)[0].Err, "byte 1 has wrong parity")
	_, err := FindLine([]Level{{1, true}, {2, false}}, 9)
	require.ErrorContains(t, err, "--line")
	_, err = Speed([]Byte{{Start: 0, End: 640_000}})
	require.ErrorContains(t, err, "--line")
	_, err = Speed([]Byte{{}})
	require.ErrorContains(t, err, "--line")
	require.Nil(t, Characters("x", nil, 9, port.DefaultLine))
}

func TestWhoAsksIsNotTold(t *testing.T) {
	all := onWire(talk(), port.DefaultLine, false)
	for index := range all {
		all[index].Line = []string{"a", "b", "c"}[index%3]
	}
	_, err := Master(Cut(all, 19200))
	require.ErrorContains(t, err, "--master")
}
