package record

import (
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Byte is one byte on a line with its times in nanoseconds. In a capture these are the times of its data bits: the start
// bit comes before Start, parity and stop bits after End.
type Byte struct {
	Start, End int64
	Line       string
	Value      byte
}

// columns of a capture, by name; their order and further columns do not matter.
var columns = []string{"start_us", "end_us", "line", "byte"}

// ReadCapture reads a CSV of bytes with the columns start_us, end_us, line and byte (hexadecimal).
func ReadCapture(name string, from io.Reader) ([]Byte, error) {
	reader := csv.NewReader(from)
	reader.ReuseRecord = true
	first, err := reader.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s:1: empty: the first line must name the columns %s", name, strings.Join(columns, ","))
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	places, err := findColumns(first)
	if err != nil {
		return nil, fmt.Errorf("%s:1: %w", name, err)
	}
	var all []Byte
	for {
		fields, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		b, column, err := readByte(fields, places)
		if err == nil && len(all) > 0 && b.Start < all[len(all)-1].Start {
			column, err = places[0], fmt.Errorf("%s is earlier than the line before: sort by start", fields[places[0]])
		}
		if err != nil {
			line, at := reader.FieldPos(column)
			return nil, fmt.Errorf("%s:%d:%d: %w", name, line, at, err)
		}
		all = append(all, b)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("%s:2: no bytes after the heading", name)
	}
	return all, nil
}

func findColumns(heading []string) (places [4]int, err error) {
	for index, wanted := range columns {
		places[index] = -1
		for at, title := range heading {
			if strings.TrimSpace(strings.TrimPrefix(title, "\ufeff")) == wanted {
				places[index] = at
			}
		}
		if places[index] < 0 {
			return places, fmt.Errorf("no column %q: the heading must name %s", wanted, strings.Join(columns, ","))
		}
	}
	return places, nil
}

// readByte reads one row; on error it names the column.
func readByte(fields []string, places [4]int) (b Byte, column int, err error) {
	if b.Start, err = microseconds(fields[places[0]]); err != nil {
		return b, places[0], err
	}
	if b.End, err = microseconds(fields[places[1]]); err != nil {
		return b, places[1], err
	}
	if b.End < b.Start {
		return b, places[1], fmt.Errorf("end %s is before start %s", fields[places[1]], fields[places[0]])
	}
	if b.Line = strings.TrimSpace(fields[places[2]]); b.Line == "" {
		return b, places[2], errors.New("line has no name")
	}
	text := strings.TrimPrefix(strings.TrimSpace(fields[places[3]]), "0x")
	value, err := hex.DecodeString(text)
	if err != nil || len(value) != 1 {
		return b, places[3], fmt.Errorf("byte %q: write two hexadecimal digits", fields[places[3]])
	}
	b.Value = value[0]
	return b, 0, nil
}

// microseconds reads a decimal number of microseconds as whole nanoseconds, without floats.
func microseconds(text string) (int64, error) {
	text = strings.TrimSpace(text)
	whole, part, _ := strings.Cut(text, ".")
	wrong := fmt.Errorf("time %q: write microseconds, like 31179 or 31179.25", text)
	if whole == "" || len(whole) > 15 || len(part) > 9 {
		return 0, wrong
	}
	var nanoseconds int64
	for _, c := range []byte(whole + (part + "000")[:3]) {
		if c < '0' || c > '9' {
			return 0, wrong
		}
		nanoseconds = nanoseconds*10 + int64(c-'0')
	}
	for _, c := range []byte(part) {
		if c < '0' || c > '9' {
			return 0, wrong
		}
	}
	return nanoseconds, nil
}
