package record

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

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

func recorded(t *testing.T) []byte {
	var to bytes.Buffer
	recorder := NewRecorder(&to)
	for _, event := range someEvents() {
		recorder.Tap(event)
	}
	require.NoError(t, recorder.Err())
	require.Equal(t, 7, bytes.Count(to.Bytes(), []byte("\n")), "the head and six events")
	return to.Bytes()
}

func TestRecordIsReadBack(t *testing.T) {
	wall, events, err := Read("r.jsonl", bytes.NewReader(recorded(t)))
	require.NoError(t, err)
	require.WithinDuration(t, port.WallStart(), wall, time.Microsecond)
	want := someEvents()
	for index := range want {
		if want[index].Data == nil {
			want[index].Data = []byte{}
		}
	}
	require.Equal(t, want, events)
}

// TestRecordCutAnywhere: a record killed at any byte gives its whole lines and never a wrong event.
func TestRecordCutAnywhere(t *testing.T) {
	whole := recorded(t)
	_, all, err := Read("r.jsonl", bytes.NewReader(whole))
	require.NoError(t, err)
	for cut := range whole {
		_, events, err := Read("r.jsonl", bytes.NewReader(whole[:cut]))
		lines := bytes.Count(whole[:cut], []byte("\n"))
		if cut > 0 && whole[cut-1] == '\n' {
			require.NoError(t, err)
		} else if cut > 0 {
			require.ErrorIs(t, err, ErrBrokenOff)
		} else {
			require.Error(t, err)
		}
		require.Len(t, events, max(lines-1, 0))
		require.Equal(t, all[:len(events)], append([]port.Event{}, events...))
	}
}

func TestRecordErrorsNameTheLine(t *testing.T) {
	head := strings.SplitAfter(string(recorded(t)), "\n")[0]
	for _, row := range []struct{ text, want string }{
		{"", "r.jsonl:1: empty"},
		{"{}\n", "r.jsonl:1: not a line record of version 1"},
		{head + "{\"at_ns\":1,\"port\":\"a\",\"way\":\"shouted\"}\n", "r.jsonl:2: way"},
		{head + "{\"at_ns\":1,\"port\":\"a\",\"way\":\"sent\",\"bytes\":\"0g\"}\n", "r.jsonl:2: bytes"},
		{head + "{\"at_ns\":1,\"colour\":2}\n", "r.jsonl:2: json: unknown field"},
		{head + "{\"at_ns\":1,\"port\":\"a\",\"way\":\"sent\"}{}\n", "r.jsonl:2: more than one value"},
	} {
		_, _, err := Read("r.jsonl", strings.NewReader(row.text))
		require.ErrorContains(t, err, row.want)
	}
}

type fullDisk struct{ room, lines int }

func (d *fullDisk) Write(data []byte) (int, error) {
	if d.room -= len(data); d.room < 0 {
		return 0, errors.New("no space left on device")
	}
	d.lines++
	return len(data), nil
}

func TestFullDiskIsNotHidden(t *testing.T) {
	disk := &fullDisk{room: 300}
	recorder := NewRecorder(disk)
	for _, event := range someEvents() {
		recorder.Tap(event)
	}
	require.ErrorContains(t, recorder.Err(), "no space left")
	require.Positive(t, disk.lines)
	require.Less(t, disk.lines, 7)
}

func FuzzRead(f *testing.F) {
	f.Add("{\"ohmgate_line_record\":1,\"wall_at_zero\":\"2024-01-02T03:04:05Z\",\"clock\":\"m\"}\n{\"at_ns\":1,\"port\":\"a\",\"way\":\"sent\",\"bytes\":\"0102\"}\n")
	f.Fuzz(func(t *testing.T, text string) {
		wall, events, err := Read("x", strings.NewReader(text))
		if err == nil && wall.IsZero() && len(events) > 0 {
			t.Fatal("a record without a head")
		}
		for _, event := range events {
			if event.Way == 0 {
				t.Fatal("an event without a direction")
			}
		}
	})
}
