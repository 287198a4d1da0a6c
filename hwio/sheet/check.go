package sheet

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
)

// Problem is the first thing that does not fit in a line of a record.
type Problem struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Column  int    `json:"column"`
	Text    string `json:"text"`
	Instead string `json:"instead"`
}

// Error says where, what and what to do.
func (p Problem) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s; %s", p.File, p.Line, p.Column, p.Text, p.Instead)
}

// Report is what a check of a record found.
type Report struct {
	Entries  int       `json:"entries"`
	Head     string    `json:"last_hash"`
	Sheets   []Sheet   `json:"sheets"`
	Problems []Problem `json:"problems"`
	// BrokenOff is how many bytes stand behind the last whole entry: the beginning of a line that was never finished.
	BrokenOff int `json:"broken_off_bytes"`
}

// Unended is how many runs break off without their end.
func (r *Report) Unended() int {
	count := 0
	for index := range r.Sheets {
		if r.Sheets[index].End == nil {
			count++
		}
	}
	return count
}

// Unfollowed is how many runs of a series were played to a good end, and the next one is not there although the series has
// more: the program was ended between two runs, or entries were cut off.
func (r *Report) Unfollowed() int {
	count := 0
	for index := range r.Sheets {
		s := &r.Sheets[index]
		next := index+1 < len(r.Sheets) && r.Sheets[index+1].Head.Run == s.Head.Run+1
		if s.End != nil && s.Head.Run < s.Head.Runs && s.End.RigState != StateUnknown && s.End.Played && !next {
			count++
		}
	}
	return count
}

const askAround = "compare with a copy, and with the hash on the signed page"

// Check reads a whole record. It stops at the first line that does not fit: nothing behind that can be trusted.
func Check(file string, text []byte) Report {
	report := Report{Head: origin, Problems: []Problem{}}
	reader := reader{report: &report}
	for line := 1; len(text) > 0; line++ {
		end := bytes.IndexByte(text, '\n') + 1
		if end == 0 && reader.unfinished(text) {
			report.BrokenOff = len(text)
			return report
		}
		if end == 0 {
			report.Problems = append(report.Problems, Problem{file, line, 1, "no line of a test record, and it breaks off", askAround})
			return report
		}
		if column, wrong := reader.take(text[:end]); wrong != "" {
			report.Problems = append(report.Problems, Problem{file, line, column, wrong, askAround})
			return report
		}
		text = text[end:]
	}
	if report.Entries == 0 {
		report.Problems = append(report.Problems, Problem{file, 1, 1, "the record is empty", "name a record that a run has written"})
	}
	return report
}

// reader gathers sheets while it checks.
type reader struct{ report *Report }

// unfinished says whether text can be the beginning of a line, as a lost supply leaves it. A whole line whose line feed has
// become something else is none.
func (r *reader) unfinished(text []byte) bool {
	start := min(len(text), len(lineStart))
	hash := min(len(text), len(lineStart)+hashLength)
	middle := min(len(text), hash+len(lineMiddle))
	if string(text[:start]) != lineStart[:start] || string(text[hash:middle]) != lineMiddle[:middle-hash] {
		return false
	}
	for _, digit := range text[start:hash] {
		if !strings.ContainsRune("0123456789abcdef", rune(digit)) {
			return false
		}
	}
	scratch := reader{report: &Report{Head: r.report.Head, Entries: r.report.Entries, Sheets: []Sheet{{}}}}
	_, wrong := scratch.take(append(bytes.Clone(text[:len(text)-1]), '\n'))
	return wrong != ""
}

// hashLength is how many digits a hash has.
const hashLength = 64

// take checks one line with its line feed.
func (r *reader) take(line []byte) (column int, wrong string) {
	shortest := len(lineStart) + hashLength + len(lineMiddle) + len(lineEnd)
	switch {
	case len(line) < shortest || !bytes.HasPrefix(line, []byte(lineStart)):
		return 1, "no line of a test record"
	case string(line[len(lineStart)+hashLength:][:len(lineMiddle)]) != lineMiddle:
		return len(lineStart) + hashLength + 1, "no line of a test record"
	case !bytes.HasSuffix(line, []byte(lineEnd)):
		return len(line) - 1, "no line of a test record"
	}
	hash := string(line[len(lineStart) : len(lineStart)+hashLength])
	raw := line[shortest-len(lineEnd) : len(line)-len(lineEnd)]
	if chained(r.report.Head, raw) != hash {
		return len(lineStart) + 1, "the hash does not fit: this line was changed, or a line before it was taken out or put in"
	}
	var entry Entry
	if err := json.Unmarshal(raw, &entry); err != nil {
		return shortest - len(lineEnd) + 1, "the hash fits, but the entry cannot be read: " + err.Error()
	}
	if entry.Number != r.report.Entries+1 {
		return shortest - len(lineEnd) + 1, fmt.Sprintf("entry %d stands where entry %d should", entry.Number, r.report.Entries+1)
	}
	r.report.Head, r.report.Entries = hash, entry.Number
	if err := r.gather(&entry, hash); err != nil {
		return shortest - len(lineEnd) + 1, err.Error()
	}
	return 0, ""
}

// gather puts an entry into its sheet.
func (r *reader) gather(entry *Entry, hash string) error {
	if entry.Kind == KindHead {
		r.report.Sheets = append(r.report.Sheets, Sheet{Begun: entry.At, HeadHash: hash})
	}
	if len(r.report.Sheets) == 0 {
		return fmt.Errorf("an entry %q stands before any run", entry.Kind)
	}
	sheet := &r.report.Sheets[len(r.report.Sheets)-1]
	if sheet.End != nil {
		return fmt.Errorf("an entry %q stands behind the end of its run", entry.Kind)
	}
	sheet.HeadHash = hash
	switch entry.Kind {
	case KindHead:
		return json.Unmarshal(entry.Body, &sheet.Head)
	case KindFound:
		sheet.Head.Instruments = nil
		return json.Unmarshal(entry.Body, &sheet.Head.Instruments)
	case KindCheck:
		return appended(entry.Body, &sheet.Checks)
	case KindStep:
		return appended(entry.Body, &sheet.Steps)
	case KindEnd:
		sheet.End, sheet.Ended = &End{}, entry.At
		return json.Unmarshal(entry.Body, sheet.End)
	}
	return fmt.Errorf("an entry of the unknown kind %q", entry.Kind)
}

func appended[T any](body json.RawMessage, list *[]T) error {
	var one T
	if err := json.Unmarshal(body, &one); err != nil {
		return err
	}
	*list = append(*list, one)
	return nil
}
