package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"

	"ohmgate/hwio/sheet"
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

// checkRecord says whether any byte of a record was changed, and prints it anew where asked to.
func checkRecord(out io.Writer, o *rigOptions) error {
	report, _, err := readBack(o.check)
	if err != nil {
		return failed(exitInput, "%w; name a record that a run has written", err)
	}
	code := exitShown
	if o.head != "" && o.head != report.Head && len(report.Problems) == 0 {
		report.Problems = append(report.Problems, sheet.Problem{
			File: o.check, Line: report.Entries, Column: 1, Text: "the last hash is " + report.Head + ", not the one on the page: entries were cut off, or the chain was made anew",
			Instead: "compare with a copy",
		})
	}
	switch {
	case len(report.Problems) > 0:
		code = exitViolated
	case report.Unended() > 0:
		code = exitIncomplete
	}
	if code != exitViolated {
		if err := o.exports(o.check, report); err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	if o.json {
		encoder := json.NewEncoder(out)
		encoder.SetEscapeHTML(false)
		encoder.SetIndent("", "  ")
		if err := encoder.Encode(struct {
			Schema string `json:"schema"`
			Tool   string `json:"tool"`
			Verb   string `json:"verb"`
			*sheet.Report
			Unended int `json:"unended"`
			Exit    int `json:"exit"`
		}{"ohmgate record check 1", toolVersion(), "rig", report, report.Unended(), int(code)}); err != nil {
			return failed(exitLost, "%w", err)
		}
		return ended(code)
	}
	tellCheckedRecord(out, o, report)
	return ended(code)
}

func tellCheckedRecord(out io.Writer, o *rigOptions, report *sheet.Report) {
	for i := range report.Sheets {
		s := &report.Sheets[i]
		text := fmt.Sprintf("%s %s run %d of %d, %s, %s", s.Begun, s.Head.Scenario, s.Head.Run, s.Head.Runs, s.Head.Condition, s.Head.Mode)
		if s.Head.Twin != "" {
			text += ", twin"
		}
		if s.Head.Retest > 0 {
			text += fmt.Sprintf(", retest %d", s.Head.Retest)
		}
		printWrapped(out, fmt.Sprintf("%-15s  ", s.Verdict()), fmt.Sprintf("%s: %d steps; %s", text, len(s.Steps), s.State()), 17)
		if s.End == nil {
			printWrapped(out, "                 ", "the record of this run breaks off: what the relays did afterwards, nobody wrote down", 17)
		}
	}
	for _, problem := range report.Problems {
		fmt.Fprintf(out, "%v\n", problem)
	}
	switch {
	case len(report.Problems) > 0:
		fmt.Fprintf(out, "violated: the record was changed after it was written, or is damaged; the first %d\nentries fit together, nothing behind them can be trusted\n", report.Entries)
	case report.Unended() > 0:
		fmt.Fprintf(out, "not shown: %d entries fit together, but %d run has no end; last hash\n%s\n", report.Entries, report.Unended(), report.Head)
	default:
		fmt.Fprintf(out, "shown: %d entries fit together; last hash\n%s\n", report.Entries, report.Head)
		if o.head == "" {
			printWrapped(out, "", "Entries cut off at the end show only against the hash on the signed page: --head HASH.", 0)
		}
	}
}
