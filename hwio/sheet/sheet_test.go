package sheet

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/port"
	"ohmgate/interlock/verdict"
)

// twoRuns writes a record with two runs, the second one without its end.
func twoRuns(t *testing.T) string {
	path := filepath.Join(t.TempDir(), "record")
	book, before, err := Open(path)
	require.NoError(t, err)
	require.Empty(t, before)
	require.NoError(t, book.Add(KindHead, Head{Site: "s", Scenario: "one <&> 9 Ω", Run: 1, Runs: 2, Tester: "A. Tester", Instruments: []Instrument{{Name: "relays", Kind: "relays"}}, Notes: []string{"note"}}))
	require.NoError(t, book.Add(KindCheck, Inspection{Name: "self-test", Verdict: verdict.Shown, Text: "7 relays"}))
	require.NoError(t, book.Add(KindStep, Step{Output: "valve", Change: "withheld", At: 3.4, Stimulus: "bond -> open", Measured: &Millis{Least: 5, Most: 30}, Bound: &Millis{Most: 125}, Verdict: Consistent, Text: "within"}))
	require.NoError(t, book.Add(KindStep, Step{Output: "valve", Change: "energised", Verdict: Violated, Text: "too slow"}))
	require.NoError(t, book.Add(KindStep, Step{Output: "valve", Change: "energised", Verdict: CannotTell, Measured: &Millis{Least: 7, Open: true}}))
	require.NoError(t, book.Add(KindEnd, End{RigState: StateOpen, Reason: "played to the end", Verdict: verdict.Violated, Exit: 1, Steps: 3}))
	require.NoError(t, book.Close())
	again, before, err := Open(path) // append-only: the second run is added behind the first
	require.NoError(t, err)
	require.Len(t, before, 1)
	require.NoError(t, again.Add(KindHead, Head{Site: "s", Scenario: "one <&> 9 Ω", Run: 2, Runs: 2}))
	require.NoError(t, again.Close())
	return path
}

func TestRecordReadsBack(t *testing.T) {
	path := twoRuns(t)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	report := Check(path, text)
	require.Empty(t, report.Problems)
	require.Equal(t, 7, report.Entries)
	require.Len(t, report.Sheets, 2)
	require.Equal(t, 1, report.Unended())
	first, second := &report.Sheets[0], &report.Sheets[1]
	require.Equal(t, verdict.Violated, first.Verdict())
	require.Equal(t, StateOpen, first.State())
	require.Len(t, first.Steps, 3)
	require.Equal(t, "one <&> 9 Ω", first.Head.Scenario)
	require.Equal(t, verdict.NotShown, second.Verdict())
	require.Equal(t, StateUnknown, second.State(), "a run without an end left the rig nobody knows how")
}

// TestAnyChangedByteIsFound flips every byte of a record, once in its lowest and once in a higher bit.
func TestAnyChangedByteIsFound(t *testing.T) {
	text, err := os.ReadFile(twoRuns(t))
	require.NoError(t, err)
	require.Greater(t, len(text), 1000)
	for index := range text {
		for _, bit := range []byte{1, 32} {
			changed := bytes.Clone(text)
			changed[index] ^= bit
			report := Check("r", changed)
			require.NotEmpty(t, report.Problems, "byte %d, %q became %q", index, text[index], changed[index])
			require.Less(t, report.Entries, 7)
		}
	}
}

func TestLinesTakenOutPutInOrCutOffAreFound(t *testing.T) {
	text, err := os.ReadFile(twoRuns(t))
	require.NoError(t, err)
	lines := bytes.SplitAfter(text, []byte("\n"))
	lines = lines[:len(lines)-1]
	join := func(list ...[]byte) []byte { return bytes.Join(list, nil) }
	for index := range lines {
		without := append(append([][]byte{}, lines[:index]...), lines[index+1:]...)
		if index < len(lines)-1 {
			require.NotEmpty(t, Check("r", join(without...)).Problems, "without line %d", index+1)
		}
		twice := append(append([][]byte{}, lines[:index+1]...), lines[index:]...)
		require.NotEmpty(t, Check("r", join(twice...)).Problems, "line %d twice", index+1)
	}
	for cut := 1; cut < len(lines[6]); cut++ {
		report := Check("r", text[:len(text)-cut])
		require.Empty(t, report.Problems, "the beginning of a line, as a lost supply leaves it")
		require.Equal(t, len(lines[6])-cut, report.BrokenOff)
		require.Equal(t, 6, report.Entries)
	}
	for _, tail := range []string{"x", lineStart + "g", lineStart + strings.Repeat("a", 64) + "!", string(lines[6][:len(lines[6])-1]) + " "} {
		require.NotEmpty(t, Check("r", append(join(lines[:6]...), tail...)).Problems, "no beginning of a line: %q", tail)
	}
	// A whole entry cut off at the end shows against the hash that was signed.
	shorter := Check("r", join(lines[:6]...))
	require.Empty(t, shorter.Problems)
	require.NotEqual(t, Check("r", text).Head, shorter.Head)
	require.NotEmpty(t, Check("r", nil).Problems)
}

func TestNothingIsAddedToABrokenRecord(t *testing.T) {
	path := twoRuns(t)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	text[200] ^= 1
	require.NoError(t, os.WriteFile(path, text, 0o600))
	_, _, err = Open(path)
	require.ErrorContains(t, err, "nothing is added")
	now, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, text, now)
}

// fullDisk takes so many bytes and no more.
type fullDisk struct {
	bytes.Buffer
	left int
}

func (d *fullDisk) Write(data []byte) (int, error) {
	if d.left -= len(data); d.left < 0 {
		return 0, errors.New("no space left on device")
	}
	return d.Buffer.Write(data)
}

func (d *fullDisk) Close() error { return nil }

func TestTwoProgramsCannotAddToOneRecord(t *testing.T) {
	path := twoRuns(t)
	book, _, err := Open(path)
	require.NoError(t, err)
	_, _, err = Open(path)
	require.ErrorIs(t, err, port.ErrInUse)
	require.NoError(t, book.Close())
	book, _, err = Open(path)
	require.NoError(t, err)
	require.NoError(t, book.Close())
}

// halfWriter writes half of what it is given, as a disk that becomes full does.
type halfWriter struct{ *os.File }

func (w halfWriter) Write(data []byte) (int, error) {
	count, _ := w.File.Write(data[:len(data)/2])
	return count, errors.New("no space left on device")
}

// TestHalfALineIsTakenBack: the record stays one that checks and that may be added to.
func TestHalfALineIsTakenBack(t *testing.T) {
	path := twoRuns(t)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	book, _, err := Open(path)
	require.NoError(t, err)
	book.to = halfWriter{book.to.(*os.File)}
	require.ErrorContains(t, book.Add(KindCheck, Inspection{Name: "b"}), "no space left")
	require.Error(t, book.Close())
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(before), string(after))
}

func TestNothingIsAddedBehindHalfALine(t *testing.T) {
	path := twoRuns(t)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, text[:len(text)-9], 0o600))
	_, _, err = Open(path)
	require.ErrorContains(t, err, "breaks off")
}

// TestSeriesThatStops: the first of two runs was played well, and there is no second.
func TestSeriesThatStops(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	book, _, err := Open(path)
	require.NoError(t, err)
	for run := 1; run <= 2; run++ {
		require.NoError(t, book.Add(KindHead, Head{Scenario: "s", Run: run, Runs: 3}))
		require.NoError(t, book.Add(KindEnd, End{RigState: StateOpen, Verdict: verdict.Shown, Played: true}))
	}
	check := func() Report {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		return Check(path, text)
	}
	report := check()
	require.Equal(t, 1, report.Unfollowed())
	require.NoError(t, book.Add(KindHead, Head{Scenario: "s", Run: 3, Runs: 3}))
	require.NoError(t, book.Add(KindEnd, End{RigState: StateUnknown, Verdict: verdict.NotShown}))
	report = check()
	require.Zero(t, report.Unfollowed())
	require.NoError(t, book.Close())
}

func TestFullDiskEndsTheWriting(t *testing.T) {
	disk := &fullDisk{left: 500}
	book := NewBook(disk)
	require.NoError(t, book.Add(KindCheck, Inspection{Name: "a"}))
	require.Error(t, book.Add(KindCheck, Inspection{Name: strings.Repeat("b", 600)}))
	disk.left = 10_000 // somebody made room: a page with a gap before it would not check
	require.Error(t, book.Add(KindCheck, Inspection{Name: "c"}))
	require.Error(t, book.Close())
	if _, err := os.Stat("/dev/full"); err == nil {
		full, _, err := Open("/dev/full")
		require.NoError(t, err)
		require.ErrorContains(t, full.Add(KindHead, Head{}), "no space left")
	}
}

func TestExports(t *testing.T) {
	path := twoRuns(t)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	report := Check(path, text)

	var out bytes.Buffer
	require.NoError(t, WriteCSV(&out, report.Sheets))
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+5+1)
	require.Equal(t, "5.0", rows[2][14])
	require.Empty(t, rows[4][15], "an interval without an upper end")

	out.Reset()
	require.NoError(t, WriteJUnit(&out, report.Sheets))
	var read suites
	require.NoError(t, xml.Unmarshal(out.Bytes(), &read))
	require.Equal(t, 7, read.Tests)
	require.Equal(t, 1, read.Failures)
	require.Equal(t, 3, read.Errors, "cannot tell, a run without steps, a rig in an unknown state")

	out.Reset()
	require.NoError(t, WritePage(&out, path, &report))
	page := out.String()
	for _, wanted := range []string{report.Head, "one &lt;&amp;&gt; 9 Ω", "A. Tester", "no certificate", "the record breaks off", "5..30 ms", "Witness, date"} {
		require.Contains(t, page, wanted)
	}
	require.NotContains(t, page, "<script")
	require.NotContains(t, page, "http")
}

// A run that was broken off is an error in JUnit, with the reason, also if every step so far was consistent.
func TestJUnitOfARunThatWasBrokenOff(t *testing.T) {
	for _, steps := range [][]Step{nil, {{Output: "valve_1", Verdict: Consistent}}} {
		var out bytes.Buffer
		require.NoError(t, WriteJUnit(&out, []Sheet{{Steps: steps, End: &End{RigState: StateOpen, Reason: "interrupted by signal terminated", Verdict: verdict.NotShown}}}))
		require.Contains(t, out.String(), `errors="1"`)
		require.Regexp(t, `<error message="[^"]*interrupted by signal`, out.String())
	}
}
