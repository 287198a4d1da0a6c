package sheet

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
)

// WriteCSV writes one row per judged step and per check, for spreadsheets.
func WriteCSV(to io.Writer, sheets []Sheet) error {
	out := csv.NewWriter(to)
	rows := [][]string{{
		"sheet", "begun", "site", "scenario", "mode", "run", "retest", "condition", "tester", "kind", "name", "change", "at_seconds",
		"stimulus", "measured_least_ms", "measured_most_ms", "bound_least_ms", "bound_most_ms", "bound_source", "verdict", "text",
	}}
	for number := range sheets {
		rows = append(rows, sheetRows(number+1, &sheets[number])...)
	}
	return out.WriteAll(rows)
}

func sheetRows(number int, s *Sheet) (rows [][]string) {
	front := []string{
		strconv.Itoa(number), s.Begun, s.Head.Site, s.Head.Scenario, s.Head.Mode, fmt.Sprintf("%d of %d", s.Head.Run, s.Head.Runs),
		strconv.Itoa(s.Head.Retest), s.Head.Condition, s.Head.Tester,
	}
	add := func(cells ...string) { rows = append(rows, append(append([]string(nil), front...), cells...)) }
	for _, check := range s.Checks {
		add("check", check.Name, "", "", "", "", "", "", "", "", check.Verdict.String(), check.Text)
	}
	for _, step := range s.Steps {
		least, most := step.Measured.cells()
		boundLeast, boundMost := step.Bound.exactCells()
		add("step", step.Output, step.Change, fmt.Sprintf("%.3f", step.At), step.Stimulus, least, most, boundLeast, boundMost, step.Source, string(step.Verdict), step.Text)
	}
	for _, e := range s.expected() {
		add("expectation", e.Text, "", fmt.Sprintf("%.3f", e.At), "", "", "", "", "", e.On, string(e.Verdict), e.Detail)
	}
	add("end", s.State(), "", "", "", "", "", "", "", "", s.Verdict().String(), endReason(s))
	return rows
}

func (s *Sheet) expected() []Expectation {
	if s.End == nil {
		return nil
	}
	return s.End.Expected
}

func endReason(s *Sheet) string {
	if s.End == nil {
		return "the record of this run breaks off"
	}
	return s.End.Reason
}

// outward rounds an interval so that it holds what it held: its least end down, its most end up, to so many parts of a
// millisecond. Times are whole nanoseconds.
func outward(least, most, parts float64) (float64, float64) {
	whole := func(ms float64) float64 { return math.Round(ms*1e6) / 1e6 }
	return math.Floor(whole(least*parts)) / parts, math.Ceil(whole(most*parts)) / parts
}

// Floor and Ceil are an end of a measured interval, in milliseconds, as whole ones that claim no more.
func Floor(ms float64) float64 { floor, _ := outward(ms, 0, 1); return floor }

// Ceil is the other end.
func Ceil(ms float64) float64 { _, ceil := outward(0, ms, 1); return ceil }

// cells is an interval as two cells; an open end is empty.
func (m *Millis) cells() (least, most string) {
	if m == nil {
		return "", ""
	}
	from, to := outward(m.Least, m.Most, 10)
	least = fmt.Sprintf("%.1f", from)
	if !m.Open {
		most = fmt.Sprintf("%.1f", to)
	}
	return least, most
}

// Exact is a bound for people: nothing is rounded off.
func (m *Millis) Exact() string {
	if m == nil {
		return "-"
	}
	least, most := m.exactCells()
	return least + ".." + most + " ms"
}

func (m *Millis) exactCells() (least, most string) {
	if m == nil {
		return "", ""
	}
	return Exactly(m.Least), Exactly(m.Most)
}

// Exactly is a number of milliseconds to the nanosecond.
func Exactly(ms float64) string { return strconv.FormatFloat(math.Round(ms*1e6)/1e6, 'f', -1, 64) }

// String is a measured interval for people, rounded outward.
func (m *Millis) String() string {
	switch {
	case m == nil:
		return "-"
	case m.Open:
		return fmt.Sprintf("from %.0f ms on", Floor(m.Least))
	}
	return fmt.Sprintf("%.0f..%.0f ms", Floor(m.Least), Ceil(m.Most))
}
