package replay

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/tracetest"
)

// historian writes a run as a plant's recorder might: local time, decimal comma,
// kilo-ohms, words, its own raster and its own delays.
type historian struct {
	text      strings.Builder
	zone      *time.Location
	every     int // scans between rows
	deadBand  float64
	jitter    time.Duration
	skip      func(scan int) bool
	last      []float64
	random    uint64
	delayRows int // how many rows an output trails
	outputs   []string
	contact   func(scan int, outputs []string) // what a contact did besides
}

const historianMap = `
separator: ";"
decimal: ","
time: {column: Zeit, format: "dd.MM.yyyy HH:mm:ss,ffffff", zone: Europe/Berlin}
channels:
  bond_1: {column: R1, unit: kΩ}
  bond_2: {column: R2, unit: kΩ}
inputs:
  reset_1: {column: T1, on: [EIN], off: [AUS]}
  ack_1: {column: Q1, on: [EIN], off: [AUS]}
  valve_1_closed: {column: Z1, on: [EIN], off: [AUS]}
  reset_2: {column: T2, on: [EIN], off: [AUS]}
  ack_2: {column: Q2, on: [EIN], off: [AUS]}
  valve_2_closed: {column: Z2, on: [EIN], off: [AUS]}
outputs:
  valve_1: {column: V1, on: [EIN], off: [AUS]}
  valve_2: {column: V2, on: [EIN], off: [AUS]}
  pump: {column: P, on: [EIN], off: [AUS]}
status_words: {Ueberlauf: over-range, Stoerung: bad, "?": bad}
`

func (h *historian) Begin(*trace.Header) error {
	h.text.WriteString("Zeit;R1;R2;T1;Q1;Z1;T2;Q2;Z2;V1;V2;P\r\n")
	h.last = []float64{math.NaN(), math.NaN()}
	return nil
}
func (h *historian) Close() error { return nil }

func (h *historian) Write(r *trace.Row) error {
	if int(r.Scan)%h.every != 0 || h.skip != nil && h.skip(int(r.Scan)) {
		return nil
	}
	at := time.Date(2024, 10, 27, 0, 30, 0, 0, time.UTC).Add(r.Time)
	if h.jitter > 0 && r.Scan > 0 {
		h.random = h.random*6364136223846793005 + 1442695040888963407
		at = at.Add(-time.Duration(h.random >> 33 % uint64(h.jitter)))
	}
	moved := h.deadBand == 0
	fields := []string{strings.Replace(at.In(h.zone).Format("02.01.2006 15:04:05.000000"), ".0", ".0", 1)}
	fields[0] = fields[0][:19] + "," + fields[0][20:]
	for i, reading := range r.In.Readings {
		ohms := float64(reading.Value) / 1e6
		text := map[monitor.Quality]string{monitor.Absent: "", monitor.Bad: "Stoerung", monitor.OverRange: "Ueberlauf"}[reading.Quality]
		if reading.Quality == monitor.Valid {
			text = strings.Replace(string(trace.AppendFixed(nil, int64(reading.Value), 9)), ".", ",", 1)
		} else {
			ohms = -1
		}
		if math.Abs(ohms-h.last[i]) > h.deadBand || math.IsNaN(h.last[i]) || ohms < 0 != (h.last[i] < 0) {
			h.last[i], moved = ohms, true
		}
		fields = append(fields, text)
	}
	if !moved {
		return nil
	}
	for _, s := range r.In.Signals {
		fields = append(fields, [...]string{interlock.NoSignal: "", interlock.Faulty: "?", interlock.Low: "AUS", interlock.High: "EIN"}[s])
	}
	var outputs []string
	for i := range r.State.Outputs {
		outputs = append(outputs, map[bool]string{true: "EIN", false: "AUS"}[r.Decision.Coils.Energised(i)])
	}
	if h.contact != nil {
		h.contact(int(r.Scan), outputs)
	}
	h.outputs = append(h.outputs, strings.Join(outputs, ";"))
	if len(h.outputs) > h.delayRows+1 {
		h.outputs = h.outputs[1:]
	}
	h.text.WriteString(strings.Join(append(fields, h.outputs[0]), ";") + "\r\n")
	return nil
}

func newHistorian(t *testing.T) *historian {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	return &historian{zone: zone, every: 1}
}

// foreign replays what the historian wrote. The overrun and the power-up of the
// story are not in such a recording, so the run ends before them.
func foreign(t *testing.T, h *historian, scans int, option Options, more string) *Report {
	t.Helper()
	require.NoError(t, h.Begin(nil))
	require.NoError(t, tracetest.Run(2, scans, h))
	c, header := tracetest.Config(2), tracetest.Header(2)
	m, problems := csv.ReadMapping("map.yaml", []byte(historianMap+more), header)
	require.Nil(t, problems)
	reader, err := csv.NewMapped(strings.NewReader(h.text.String()), m, header, c)
	require.NoError(t, err)
	report, err := New(c, header, option).Run(reader, &reader.Diary)
	require.NoError(t, err)
	return report
}

const beforeOverrun = 9700

// A faithful foreign recording, across the night in which an hour comes twice,
// replays without divergence.
func TestForeignRecordingReplays(t *testing.T) {
	report := foreign(t, newHistorian(t), beforeOverrun, Options{}, "")
	require.Nil(t, report.First)
	require.Equal(t, verdict.Shown, report.Verdict, report.Because)
	require.EqualValues(t, beforeOverrun, report.Scans)
	require.EqualValues(t, beforeOverrun*3, report.Compared)
}

// Times that are earlier than the scan by less than its period fall into it.
func TestJitterWithinOneScanChangesNothing(t *testing.T) {
	h := newHistorian(t)
	h.jitter = 9 * time.Millisecond
	report := foreign(t, h, beforeOverrun, Options{Tolerance: 1}, "")
	require.NotNil(t, report)
	require.Equal(t, verdict.Shown, report.Verdict, report.First)
}

// An output that trails within the tolerance is skew, beyond it a divergence;
// afterwards the two are brought together and the next one is counted anew.
func TestTolerance(t *testing.T) {
	h := newHistorian(t)
	h.delayRows = 2
	report := foreign(t, h, beforeOverrun, Options{Tolerance: 2}, "")
	require.Equal(t, verdict.Shown, report.Verdict, report.First)
	require.Equal(t, 2, report.LargestSkew)
	h = newHistorian(t)
	h.delayRows = 2
	report = foreign(t, h, beforeOverrun, Options{Tolerance: 1}, "")
	require.Equal(t, verdict.Violated, report.Verdict)
	require.Equal(t, "output", report.First.What)
	require.Greater(t, report.Divergences, 3)
	require.NotEmpty(t, report.Kinds)
	// What is named is where it began, not where the tolerance was used up.
	first := report.First
	require.Equal(t, int(first.Scan)+2, first.Line)
	require.Equal(t, first.Line, first.Excerpt[before].Line)
	require.Equal(t, first.Time, first.Excerpt[before].Time)
	for _, k := range report.Kinds {
		require.GreaterOrEqual(t, k.FirstTime, first.Time)
	}
}

// A contact that drops out for one scan, while the logic never moved, neither
// leads nor trails: it is a divergence within any tolerance.
func TestContactThatMovesAlone(t *testing.T) {
	h := newHistorian(t)
	dropped := -1
	h.contact = func(scan int, outputs []string) {
		if scan > 1000 && dropped < 0 && outputs[0] == "EIN" && h.outputs[len(h.outputs)-1][:3] == "EIN" {
			dropped, outputs[0] = scan, "AUS"
		}
	}
	report := foreign(t, h, beforeOverrun, Options{Tolerance: 2}, "")
	require.Positive(t, dropped)
	require.Equal(t, verdict.Violated, report.Verdict)
	require.Equal(t, 1, report.Divergences)
	require.Equal(t, "valve_1", report.First.Subject)
	require.EqualValues(t, dropped, report.First.Scan)
	require.Equal(t, "off", report.First.Recorded)
	require.Equal(t, dropped+2, report.First.Line)
}

// A gap is counted; nothing before or after it diverges, and nothing is decided
// for sure.
func TestGap(t *testing.T) {
	h := newHistorian(t)
	h.skip = func(scan int) bool { return scan >= 1700 && scan < 1900 }
	report := foreign(t, h, 1990, Options{}, "")
	require.Equal(t, verdict.NotShown, report.Verdict, report.First)
	require.Len(t, report.Troubles, 2, report.Troubles) // the gap, and that there are no stamps
	require.Equal(t, 1, report.Troubles[1].Count)
	require.Contains(t, report.Troubles[1].First[0].Text, "2.01s")
}

// Slower than the logic reads, or only on change: such a recording decides
// nothing, whatever agrees or differs, and the report says what it would take.
func TestRecordingsThatCannotDecide(t *testing.T) {
	for _, c := range []struct {
		name, says, more string
		h                func(h *historian)
	}{
		{"slow", "slower than the logic reads: every 200ms on average, the logic reads every 10ms", "", func(h *historian) { h.every = 20 }},
		{"dead-band", "looks recorded on change", "", func(h *historian) { h.deadBand = 0.018 }},
		{"declared", "dead-band 0.1 Ω", "recorded: {on_change: yes, dead_band: 0.1 Ω}\n", func(h *historian) { h.deadBand = 0.1 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHistorian(t)
			c.h(h)
			report := foreign(t, h, beforeOverrun, Options{Tolerance: 1}, c.more)
			require.Equal(t, verdict.NotShown, report.Verdict, report.Because)
			text := fmt.Sprint(report.Troubles)
			require.Contains(t, text, c.says)
			require.Contains(t, text, "record every reading, without dead-band, at least every 10ms")
		})
	}
}

// A slow recording without outputs, as one made for a trend, is not blamed for
// what it was not asked: there is nothing to compare.
func TestNothingToCompareComesFirst(t *testing.T) {
	c, header := tracetest.Config(2), tracetest.Header(2)
	m, problems := csv.ReadMapping("map.yaml", []byte("time: {column: t, format: seconds}\nchannels: {bond_1: {column: r}}\n"), header)
	require.Nil(t, problems)
	text := "t,r\n"
	for minute := range 100 {
		text += fmt.Sprintf("%d,0.%03d\n", 60*minute, 300+minute)
	}
	reader, err := csv.NewMapped(strings.NewReader(text), m, header, c)
	require.NoError(t, err)
	report, err := New(c, header, Options{}).Run(reader, &reader.Diary)
	require.NoError(t, err)
	require.True(t, reader.Diary.Blind())
	require.Equal(t, verdict.NothingChecked, report.Verdict)
}

// A recording that begins in the middle of a transfer needs the logic running.
func TestBeginsRunning(t *testing.T) {
	h := newHistorian(t)
	h.skip = func(scan int) bool { return scan < 1600 }
	cold := foreign(t, h, 1950, Options{}, "")
	require.Equal(t, verdict.Violated, cold.Verdict)
	require.Contains(t, cold.First.Rule[0], "first scan since power-up")
	h = newHistorian(t)
	h.skip = func(scan int) bool { return scan < 1600 }
	warm := foreign(t, h, 1950, Options{Running: true}, "")
	require.Equal(t, verdict.Shown, warm.Verdict, warm.First)
	require.Contains(t, warm.Start, "running: assumed")
}
