package record

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"ohmgate/hwio/port"
)

// version is that of the lines below; readers refuse others.
const version = 1

// head is the first line of a record.
type head struct {
	Version int    `json:"ohmgate_line_record"`
	Wall    string `json:"wall_at_zero"` // calendar time of stamp zero, RFC 3339
	Clock   string `json:"clock"`
}

// entry is one line after it.
type entry struct {
	At   int64  `json:"at_ns"`
	Done int64  `json:"done_ns,omitempty"`
	Port string `json:"port"`
	Way  string `json:"way"`
	Hex  string `json:"bytes,omitempty"`
	Note string `json:"note,omitempty"`
}

// Recorder writes what passes on any number of ports. It keeps nothing in memory, so that a killed program has lost at
// most the line it was writing. The first write error is kept and ends the recording: ask Err.
type Recorder struct {
	guard sync.Mutex
	to    io.Writer
	err   error
}

// NewRecorder writes the head of a record.
func NewRecorder(to io.Writer) *Recorder {
	r := &Recorder{to: to}
	r.write(head{Version: version, Wall: port.WallStart().Format(time.RFC3339Nano), Clock: "monotonic, ns since program start"})
	return r
}

// Tap is what to give to a port.
func (r *Recorder) Tap(event port.Event) {
	line := entry{At: int64(event.At), Port: event.Port, Way: event.Way.String(), Hex: hex.EncodeToString(event.Data), Note: event.Note}
	if event.Done != event.At {
		line.Done = int64(event.Done)
	}
	r.write(line)
}

func (r *Recorder) write(value any) {
	r.guard.Lock()
	defer r.guard.Unlock()
	if r.err != nil {
		return
	}
	text, err := json.Marshal(value)
	if err == nil {
		_, err = r.to.Write(append(text, '\n'))
	}
	if err != nil {
		r.err = fmt.Errorf("line record: %w", err)
	}
}

// Err is why the recording ended early, if it did.
func (r *Recorder) Err() error {
	r.guard.Lock()
	defer r.guard.Unlock()
	return r.err
}

// ErrBrokenOff: the record ends in the middle of a line. What was read before it is good.
var ErrBrokenOff = errors.New("record breaks off in the middle of a line")

// entryLimit bounds one line of a record.
const entryLimit = 1 << 20

// Read reads a record. With ErrBrokenOff the events are those of all whole lines.
func Read(name string, from io.Reader) (wall time.Time, events []port.Event, err error) {
	lines := bufio.NewReaderSize(from, 64*1024)
	for number := 1; ; number++ {
		text, readErr := lines.ReadBytes('\n')
		if readErr != nil && !errors.Is(readErr, io.EOF) {
			return wall, events, fmt.Errorf("%s:%d: %w", name, number, readErr)
		}
		if readErr != nil && len(text) == 0 {
			if number == 1 {
				return wall, nil, fmt.Errorf("%s:1: empty: a line record starts with {\"ohmgate_line_record\":%d", name, version)
			}
			return wall, events, nil
		}
		if readErr != nil {
			return wall, events, fmt.Errorf("%s:%d: %w", name, number, ErrBrokenOff)
		}
		if len(text) > entryLimit {
			return wall, events, fmt.Errorf("%s:%d: line of %d bytes: not a line record", name, number, len(text))
		}
		if number == 1 {
			if wall, err = readHead(text); err != nil {
				return wall, nil, fmt.Errorf("%s:1: %w", name, err)
			}
			continue
		}
		event, err := readEntry(text)
		if err != nil {
			return wall, events, fmt.Errorf("%s:%d: %w", name, number, err)
		}
		events = append(events, event)
	}
}

// strict decodes one line, refusing fields that this version does not know.
func strict(text []byte, into any) error {
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(into); err != nil {
		return err
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return errors.New("more than one value on the line")
	}
	return nil
}

func readHead(text []byte) (time.Time, error) {
	var first head
	if err := strict(text, &first); err != nil || first.Version != version {
		return time.Time{}, fmt.Errorf("not a line record of version %d", version)
	}
	return time.Parse(time.RFC3339Nano, first.Wall)
}

func readEntry(text []byte) (port.Event, error) {
	var line entry
	if err := strict(text, &line); err != nil {
		return port.Event{}, err
	}
	event := port.Event{Port: line.Port, At: port.Stamp(line.At), Done: port.Stamp(line.Done), Note: line.Note}
	if line.Done == 0 {
		event.Done = event.At
	}
	for _, way := range []port.Way{port.Sent, port.Heard, port.Lost} {
		if way.String() == line.Way {
			event.Way = way
		}
	}
	if event.Way == 0 {
		return port.Event{}, fmt.Errorf("way %q: must be sent, heard or lost", line.Way)
	}
	var err error
	if event.Data, err = hex.DecodeString(line.Hex); err != nil {
		return port.Event{}, fmt.Errorf("bytes: %w", err)
	}
	return event, nil
}
