package csv

import (
	"bytes"
	"errors"
	"fmt"
	"io"
)

// longestLine bounds what is kept in memory for one line.
const longestLine = 1 << 20

// lines cuts a stream into lines without copying them. Each line is handed out
// with a separator in place of its end, so that every field ends in one.
type lines struct {
	from       io.Reader
	buffer     []byte
	start, end int
	number     int // of the line last handed out, from 1
	begin      int // where that line begins in the buffer
	ended      bool
	failure    error // what ended the stream, if it was not its end
}

func newLines(from io.Reader) *lines { return &lines{from: from, buffer: make([]byte, 256<<10)} }

// next hands out the next line, valid until the call after. whole is false for a
// last line without an end. At the end of the stream line is nil.
func (l *lines) next(separator byte) (line []byte, whole bool, err error) {
	searched := 0
	for {
		if i := bytes.IndexByte(l.buffer[l.start+searched:l.end], '\n'); i >= 0 {
			line := l.buffer[l.start : l.start+searched+i+1]
			l.begin = l.start
			l.start += len(line)
			l.number++
			if n := len(line); n > 1 && line[n-2] == '\r' {
				line = line[:n-1]
			}
			line[len(line)-1] = separator
			return line, true, nil
		}
		searched = l.end - l.start
		if l.ended {
			return l.rest(separator)
		}
		if err := l.fill(); err != nil {
			return nil, false, err
		}
	}
}

// back puts the line that was just handed out back, so that it is handed out
// again.
func (l *lines) back(line []byte) {
	if l.begin+len(line) < l.start {
		line[len(line)-1] = '\r'
	} else {
		line[len(line)-1] = '\n'
	}
	l.start = l.begin
	l.number--
}

// rest is what stands after the last line end.
func (l *lines) rest(separator byte) ([]byte, bool, error) {
	if l.start == l.end {
		return nil, true, nil
	}
	line := append(l.buffer[l.start:l.end:l.end], separator)
	l.start = l.end
	l.number++
	return line, false, nil
}

// fill reads more behind the unfinished line.
func (l *lines) fill() error {
	if l.start > 0 {
		copy(l.buffer, l.buffer[l.start:l.end])
		l.end -= l.start
		l.start = 0
	}
	if l.end == len(l.buffer) {
		if l.end >= longestLine {
			return fmt.Errorf("line %d is longer than %d bytes; is this a table of text?", l.number+1, longestLine)
		}
		l.buffer = append(l.buffer, make([]byte, len(l.buffer))...)
	}
	n, err := l.from.Read(l.buffer[l.end:])
	l.end += n
	if err != nil {
		l.ended = true
		if !errors.Is(err, io.EOF) {
			l.failure = err
		}
	}
	return nil
}

// field is the end of the field that begins at from: the place of the separator
// after it, and its text without quotes.
func field(line []byte, from int, separator byte) (text []byte, end int) {
	if line[from] != '"' {
		end = from + bytes.IndexByte(line[from:], separator)
		return line[from:end], end
	}
	var out []byte
	at := from + 1
	for at < len(line)-1 {
		if line[at] == '"' {
			if line[at+1] != '"' {
				break
			}
			at++
		}
		out = append(out, line[at])
		at++
	}
	end = at + bytes.IndexByte(line[at:], separator)
	return out, end
}

// split cuts a whole line into its fields, each in its own memory.
func split(line []byte, separator byte) []string {
	var fields []string
	for at := 0; at < len(line); {
		text, end := field(line, at, separator)
		fields = append(fields, string(text))
		at = end + 1
	}
	return fields
}

// checkText refuses what is no text, before anybody reads numbers from it.
func checkText(line []byte, number int) error {
	if bytes.HasPrefix(line, []byte("\xff\xfe")) || bytes.HasPrefix(line, []byte("\xfe\xff")) {
		return errors.New("line 1: this is UTF-16 text; save it as UTF-8")
	}
	if i := bytes.IndexByte(line, 0); i >= 0 {
		return fmt.Errorf("line %d: byte %d is zero, so this is no text; is the file compressed? name it .gz or .zst then", number, i+1)
	}
	return nil
}
