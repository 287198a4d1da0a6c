package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"ohmgate/hwio/port"
)

// Entry is one line of a book.
type Entry struct {
	Number int             `json:"number"` // from 1
	At     string          `json:"at"`     // UTC, RFC 3339
	Kind   string          `json:"kind"`
	Body   json.RawMessage `json:"body"`
}

// Every line is exactly `{"chain":"<64 hex digits>","entry":<JSON>}` and a line feed. The hash is over the hash of the line
// before (as text; the origin for the first) and the bytes of the entry as they stand.
const (
	lineStart  = `{"chain":"`
	lineMiddle = `","entry":`
	lineEnd    = "}\n"
	origin     = "ohmgate test record 1"
)

func chained(previous string, entry []byte) string {
	sum := sha256.New()
	_, _ = io.WriteString(sum, previous)
	_, _ = sum.Write(entry)
	return hex.EncodeToString(sum.Sum(nil))
}

// Book is a record open for adding. It is not safe for several goroutines.
type Book struct {
	to     io.WriteCloser
	sync   func() error
	cut    func(size int64) error // takes back what a failed write has left behind
	size   int64
	head   string
	number int
	broken error
	now    func() time.Time
}

// Open opens a record for adding, after checking what is there; a record that does not check is refused. Sheets holds what
// was in it before.
func Open(path string) (*Book, []Sheet, error) {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		return nil, nil, err
	}
	book, sheets, err := open(path, file)
	if err != nil {
		_ = file.Close()
	}
	return book, sheets, err
}

// open reads what is there and gets ready to add to it. Two programs that add to one record would break its chain.
func open(path string, file *os.File) (*Book, []Sheet, error) {
	book := NewBook(file)
	info, err := file.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return book, nil, err // a device has nothing to sync, and holds nothing
	}
	if err := port.HoldAlone(file); err != nil {
		return nil, nil, fmt.Errorf("no second program may add to this record: %w", err)
	}
	text, err := io.ReadAll(file)
	if err != nil {
		return nil, nil, err
	}
	book.sync, book.cut, book.size = file.Sync, file.Truncate, int64(len(text))
	if len(text) == 0 {
		return book, nil, nil
	}
	report := Check(path, text)
	if len(report.Problems) > 0 {
		return nil, nil, fmt.Errorf("%w; nothing is added to a record that does not check: keep it as it is and name a new one", report.Problems[0])
	}
	if report.BrokenOff > 0 {
		return nil, nil, fmt.Errorf("%s: %d entries, then a line that breaks off: program or disk failed in the middle of writing it; keep the record as it is and name a new one", path, report.Entries)
	}
	book.head, book.number = report.Head, report.Entries
	return book, report.Sheets, nil
}

// NewBook begins a record on any writer.
func NewBook(to io.WriteCloser) *Book { return &Book{to: to, head: origin, now: time.Now} }

// Add writes one entry, in one piece, and sees it to the disk. After the first failure nothing more is written: a page with
// a gap before it would not check.
func (b *Book) Add(kind string, body any) error {
	if b.broken != nil {
		return b.broken
	}
	entry, err := encode(b.number+1, kind, b.now(), body)
	if err != nil {
		return err
	}
	hash := chained(b.head, entry)
	line := append([]byte(lineStart+hash+lineMiddle), entry...)
	line = append(line, lineEnd...)
	if _, err = b.to.Write(line); err != nil && b.cut != nil {
		err = errors.Join(err, b.cut(b.size)) // half a line, of a disk that became full
	}
	if err == nil && b.sync != nil {
		err = b.sync()
	}
	if err != nil {
		b.broken = fmt.Errorf("the record cannot be written: %w", err)
		return b.broken
	}
	b.head, b.number, b.size = hash, b.number+1, b.size+int64(len(line))
	return nil
}

func encode(number int, kind string, at time.Time, body any) ([]byte, error) {
	text, err := plainJSON(body)
	if err != nil {
		return nil, err
	}
	return plainJSON(Entry{Number: number, At: at.UTC().Format("2006-01-02T15:04:05.000Z"), Kind: kind, Body: text})
}

// plainJSON leaves <, > and & readable.
func plainJSON(value any) ([]byte, error) {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(value); err != nil {
		return nil, err
	}
	return bytes.TrimRight(out.Bytes(), "\n"), nil
}

// Head is the hash of the last entry: print it on what people sign.
func (b *Book) Head() string { return b.head }

// Close ends the writing.
func (b *Book) Close() error {
	if err := b.to.Close(); err != nil {
		return err
	}
	return b.broken
}
