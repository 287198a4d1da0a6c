package replay

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verdict"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/tracetest"
)

// record plays the test works' story into our own table.
func record(t testing.TB, bays, scans int) []byte { return recordStory(t, bays, scans, tracetest.Run) }

func recordStory(t testing.TB, bays, scans int, story func(int, int, trace.Writer) error) []byte {
	var file bytes.Buffer
	w := csv.NewStream(&file)
	require.NoError(t, w.Begin(tracetest.Header(bays)))
	require.NoError(t, story(bays, scans, w))
	require.NoError(t, w.Close())
	return file.Bytes()
}

func replayOwn(t testing.TB, bays int, table []byte) (*Report, *csv.Reader) {
	c, h := tracetest.Config(bays), tracetest.Header(bays)
	reader, err := csv.NewReader(bytes.NewReader(table), h, c)
	require.NoError(t, err)
	report, err := New(c, h, Options{}).Run(reader, &reader.Diary)
	require.NoError(t, err)
	return report, reader
}

// A run's own table must replay to its last event, through power-up, overrun,
// gaps and bad readings; the story holds all of them.
func TestOwnRecordingReplaysWithoutDivergence(t *testing.T) {
	table := record(t, 3, 40000)
	for _, word := range []string{"overrun", "power-up", "reconnected early", "tripped", "bad", "faulty", "enabled", "over-range", "released"} {
		require.Contains(t, string(table), word, "the story does not hold what this test is about")
	}
	report, _ := replayOwn(t, 3, table)
	require.Nil(t, report.First)
	require.Equal(t, verdict.Shown, report.Verdict, report.Because)
	require.EqualValues(t, 40000, report.Scans)
	require.EqualValues(t, 40000*(3+4+3), report.Compared-eventsIn(report, table))
	require.Empty(t, report.Troubles)
}

// eventsIn is how many scans had events, each compared once.
func eventsIn(_ *Report, table []byte) uint64 {
	n := uint64(0)
	for _, line := range strings.Split(string(table), "\n") {
		if strings.HasPrefix(line, "#") || strings.HasPrefix(line, "time_s") || line == "" {
			continue
		}
		// events stand in field 4 + 3·3 + 9 + 3 + 4 + 3 (from 0)
		fields := strings.Split(line, ",")
		if fields[4+9+9+3+4+3] != "" {
			n++
		}
	}
	return n
}

// Each change of one field must be found, at its own line.
func TestChangedRecordingDiverges(t *testing.T) {
	table := string(record(t, 2, 9000))
	lines := strings.Split(table, "\n")
	for _, c := range []struct{ from, to, what, subject string }{
		{",bonded,", ",doubtful,", "phase", ""},
		{",enabled,", ",kept out,", "output", ""},
		{",clear,", ",may be charged,", "vessel", ""},
	} {
		t.Run(c.what, func(t *testing.T) {
			at := -1
			for i, line := range lines {
				if i > 2000 && strings.Contains(line, c.from) {
					at = i
					break
				}
			}
			require.Positive(t, at)
			changed := append([]string(nil), lines...)
			changed[at] = strings.Replace(changed[at], c.from, c.to, 1)
			report, _ := replayOwn(t, 2, []byte(strings.Join(changed, "\n")))
			require.Equal(t, verdict.Violated, report.Verdict)
			require.Equal(t, c.what, report.First.What)
			require.Equal(t, at+1, report.First.Line)
			require.NotEmpty(t, report.First.Rule)
			require.Len(t, report.First.Excerpt, before+after+1)
			require.Equal(t, report.First.Recorded, report.First.Excerpt[before].Recorded)
		})
	}
}

// Where a phase and the text of an event part in one scan, the phase is named: it
// says which channel, on which reading, and has something to show side by side.
func TestChangedReadingNamesThePhase(t *testing.T) {
	lines := strings.Split(string(record(t, 2, 9000)), "\n")
	at := -1
	for i, line := range lines {
		if i > 2000 && strings.Contains(line, ",bonded,") && strings.Contains(line, ",enabled,") {
			at = i
			break
		}
	}
	require.Positive(t, at)
	fields := strings.Split(lines[at], ",")
	fields[4] = "999"
	lines[at] = strings.Join(fields, ",")
	report, _ := replayOwn(t, 2, []byte(strings.Join(lines, "\n")))
	require.Equal(t, "phase", report.First.What)
	require.Equal(t, "bond_1", report.First.Subject)
	require.Equal(t, at+1, report.First.Line)
	require.Equal(t, "999 Ω", report.First.Excerpt[before].Reading)
}

// The quick way past scans that bring nothing new must decide exactly as Step
// does on every scan.
func TestStillScansDecideAlike(t *testing.T) {
	table := record(t, 3, 30000)
	c, h := tracetest.Config(3), tracetest.Header(3)
	reader, err := csv.NewReader(bytes.NewReader(table), h, c)
	require.NoError(t, err)
	quick, slow := newTurner(c), newTurner(c)
	n := 0
	for {
		rec, err := reader.Next()
		require.NoError(t, err)
		if rec == nil {
			break
		}
		if rec.PowerUp {
			quick.state.PowerUp()
			slow.state.PowerUp()
			quick.disturbed()
		}
		quick.turn(rec.In, !rec.Changed)
		slow.disturbed()
		slow.turn(rec.In, false)
		require.Equal(t, slow.state, quick.state, fmt.Sprint("scan ", rec.Scan))
		require.Equal(t, slow.decision.Coils, quick.decision.Coils)
		require.Equal(t, len(slow.decision.Events), len(quick.decision.Events))
		n++
	}
	require.Equal(t, 30000, n)
	require.Less(t, quick.stepped, slow.stepped*9/10, "the quick way was never taken")
}
