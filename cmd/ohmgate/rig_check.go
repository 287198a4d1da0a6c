package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"ohmgate/hwio/sheet"
	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// readBack reads and checks a record.
func readBack(path string) (*sheet.Report, []sheet.Sheet, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, nil, fmt.Errorf("%s is no regular file", path)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, err
	}
	report := sheet.Check(path, text)
	return &report, report.Sheets, nil
}

// recordReport is what is to be said of a record, for programs.
type recordReport struct {
	verdict.Head[string]
	*sheet.Report
	Unended    int          `json:"unended"`
	Unfollowed int          `json:"unfollowed"`
	Exit       verdict.Exit `json:"exit"`
}

// checkRecord says whether any byte of a record was changed, and prints it anew where asked to.
func checkRecord(out io.Writer, o *rigOptions, against bool) (err error) {
	if against {
		if o.head, err = pageHash(o.head); err != nil {
			return err
		}
	}
	report, _, err := readBack(o.check)
	if err != nil {
		return failed(exitInput, "%w; name a record that a run has written", err)
	}
	foreign := against && signed(report, o.head) == 0 && len(report.Problems) == 0
	if foreign {
		report.Problems = append(report.Problems, sheet.Problem{
			File: o.check, Line: report.Entries, Column: 1, Text: "no run ends with the hash on the page; the last hash is " + report.Head, Instead: "compare with a copy",
		})
	}
	found := wholeness(report)
	if found != verdict.Violated {
		if err := o.exports(o.check, report); err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	made := &recordReport{headed("ohmgate record check 1", "rig"), report, report.Unended(), report.Unfollowed(), found.Exit()}
	return finish(out, o.json, made.Exit, made, func(p *page.Page) {
		tellCheckedRecord(p, report)
		if foreign {
			p.Wrap(found.String()+": ", "the entries fit together, but the hash on the page belongs to none of the runs: entries were cut off at the end, or the record was made anew, or the hash is from another page", 2)
			return
		}
		tellWholeRecord(p, o, report, found)
	})
}

// wholeness is whether a record is as it was written, and to the end.
func wholeness(report *sheet.Report) verdict.Verdict {
	switch {
	case len(report.Problems) > 0:
		return verdict.Violated
	case report.Unended() > 0 || report.Unfollowed() > 0 || report.BrokenOff > 0:
		return verdict.NotShown
	}
	return verdict.Shown
}

// brokenOff is what the next run on a record has to say of the one before it, if that has no end.
func brokenOff(before []sheet.Sheet) []string {
	if len(before) == 0 || before[len(before)-1].End != nil {
		return nil
	}
	last := &before[len(before)-1]
	return []string{fmt.Sprintf("the run before this one, %s of %s, has no end: what the relays did afterwards is unknown, until the self-test opens them", last.Head.Scenario, last.Begun)}
}

// signed is how many sheets the hash of a page covers: those up to the one that ended with it.
func signed(report *sheet.Report, head string) int {
	for i := range report.Sheets {
		if report.Sheets[i].HeadHash == head {
			return i + 1
		}
	}
	return 0
}

func tellCheckedRecord(out *page.Page, report *sheet.Report) {
	for i := range report.Sheets {
		s := &report.Sheets[i]
		text := fmt.Sprintf("%s %s run %d of %d, %s, %s", s.Begun, s.Head.Scenario, s.Head.Run, s.Head.Runs, s.Head.Condition, s.Head.Mode)
		if s.Head.Twin != "" {
			text += ", twin"
		}
		if s.Head.Retest > 0 {
			text += fmt.Sprintf(", retest %d", s.Head.Retest)
		}
		out.Wrap(fmt.Sprintf("%-15s  ", s.Verdict()), fmt.Sprintf("%s: %s; %s", text, counted(len(s.Steps), "step"), s.State()), 17)
		if s.End == nil {
			out.Wrap("                 ", "the record of this run breaks off: what the relays did afterwards, nobody wrote down", 17)
		}
	}
	for _, problem := range report.Problems {
		out.Wrap("", fmt.Sprint(problem), 4)
	}
}

// tellWholeRecord says what holds for the record as a whole.
func tellWholeRecord(out *page.Page, o *rigOptions, report *sheet.Report, found verdict.Verdict) {
	if found == verdict.Violated {
		out.Wrap(found.String()+": ", fmt.Sprintf("the record was changed after it was written, or is damaged; the first %d entries fit together, nothing behind them can be trusted", report.Entries), 2)
		return
	}
	var lacks []string
	if count := report.Unended(); count > 0 {
		lacks = append(lacks, fmt.Sprintf("%d of the runs breaks off without an end", count))
	}
	if count := report.Unfollowed(); count > 0 {
		lacks = append(lacks, fmt.Sprintf("%d series of runs stops before its last run", count))
	}
	if report.BrokenOff > 0 {
		lacks = append(lacks, fmt.Sprintf("behind them %d bytes of a line that was never finished", report.BrokenOff))
	}
	out.Wrap(found.String()+": ", strings.Join(append([]string{fmt.Sprintf("%d entries fit together", report.Entries)}, lacks...), "; ")+"; last hash", 2)
	fmt.Fprintln(out, report.Head)
	switch covered := signed(report, o.head); {
	case o.head == "":
		out.Wrap("", "Entries cut off at the end show only against the hash on the signed page: --head HASH.", 0)
	case covered < len(report.Sheets):
		out.Wrap("", fmt.Sprintf("The hash on the page covers the first %d of %d runs; the others were added later.", covered, len(report.Sheets)), 0)
	}
}
