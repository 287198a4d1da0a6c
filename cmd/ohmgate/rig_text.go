package main

import (
	"fmt"
	"io"
	"strings"

	"ohmgate/hwio/rig"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// rigReport is everything that one call of rig has to say, for machines.
type rigReport struct {
	verdict.Head[string]
	Sheet    sheet.Head      `json:"sheet"`
	Load     wiring.Load     `json:"bus_load"`
	Report   *rig.Report     `json:"report"`
	Record   string          `json:"record"`
	LastHash string          `json:"last_hash"`
	Verdict  verdict.Verdict `json:"verdict"`
	Exit     verdict.Exit    `json:"exit"`
}

// finish tells, writes the files and gives the code.
func (o *rigOptions) finish(out io.Writer, f *rigFiles, order *rig.Order, book *sheet.Book, report *rig.Report) error {
	code := report.Exit
	if err := book.Close(); err != nil && report.Trouble == "" {
		report.Trouble, code = err.Error(), worse(code, exitLost)
	}
	sheets := sheetsOf(order, report, book)
	made := rigReport{
		Head: headed("ohmgate rig 3", "rig"), Sheet: order.Head, Load: f.wires.Load(), Report: report,
		Record: o.record, LastHash: book.Head(), Verdict: report.Verdict,
	}
	if o.record != "" {
		// The record is the truth, also for what is printed from it.
		if _, again, err := readBack(o.record); err == nil {
			sheets = again
		}
	}
	if err := o.exports(o.record, &sheet.Report{Head: book.Head(), Sheets: sheets, Entries: len(sheets), Problems: []sheet.Problem{}}); err != nil {
		report.Trouble, code = strings.TrimPrefix(report.Trouble+"; "+err.Error(), "; "), worse(code, exitLost)
	}
	report.Exit, made.Exit = code, code
	return finish(out, o.json, code, &made, func(p *page.Page) { tellRig(p, &made, code) })
}

// sheetsOf are the sheets of a run that kept no record.
func sheetsOf(order *rig.Order, report *rig.Report, book *sheet.Book) (list []sheet.Sheet) {
	for i := range report.Runs {
		run := &report.Runs[i]
		head := order.Head
		head.Mode, head.Run, head.Runs, head.PhaseMillis, head.Instruments = order.Mode.String(), run.Number, order.Runs, run.PhaseMillis, report.Instruments
		one := sheet.Sheet{Head: head, Steps: run.Steps, HeadHash: book.Head(), End: &sheet.End{
			RigState: run.RigState, Reason: run.Reason, Verdict: run.Verdict, Exit: run.Exit, Steps: len(run.Steps), Statement: strings.Join(report.Statements, " "),
			Played: run.Played, Seen: run.Seen, Graph: run.Graph, Faults: order.Faults, Expected: run.Expected,
		}}
		if i == 0 {
			one.Checks = report.Checks
		}
		list = append(list, one)
	}
	return list
}

// exports writes the files that were asked for.
func (o *rigOptions) exports(name string, report *sheet.Report) error {
	for _, one := range []struct {
		file  string
		write func(io.Writer) error
	}{
		{o.junit, func(w io.Writer) error { return sheet.WriteJUnit(w, report.Sheets) }},
		{o.table, func(w io.Writer) error { return sheet.WriteCSV(w, report.Sheets) }},
		{o.page, func(w io.Writer) error { return sheet.WritePage(w, name, report) }},
	} {
		if one.file == "" {
			continue
		}
		if err := writeBeside(one.file, one.write); err != nil {
			return err
		}
	}
	return nil
}

// tellRig prints a report for people.
func tellRig(out *page.Page, r *rigReport, code exitCode) {
	head := &r.Sheet
	what := "hardware"
	if head.Twin != "" {
		what = "twin, no hardware (" + head.Twin + ")"
	}
	out.Wrap("", fmt.Sprintf("%s on the bench: %s, %s", head.Scenario, head.Site, what), 2)
	for i := range r.Report.Checks {
		check := &r.Report.Checks[i]
		out.Wrap(fmt.Sprintf("%-15s  ", check.Verdict), check.Name+": "+check.Text, 17)
	}
	for i := range r.Report.Runs {
		tellRigRun(out, &r.Report.Runs[i], len(r.Report.Runs))
	}
	for _, text := range r.Report.Statements {
		out.Wrap("", text, 2)
	}
	out.Wrap("the rig: ", r.Report.RigState, 9)
	if r.Report.RigState == sheet.StateUnknown {
		for _, text := range r.Report.Details {
			out.Wrap("  ", text, 2)
		}
	}
	if r.Record != "" {
		out.Wrap("record: ", r.Record+", last hash "+r.LastHash, 8)
	}
	if r.Report.Trouble != "" {
		out.Wrap("ended early: ", r.Report.Trouble, 2)
	}
	out.Wrap(r.Verdict.String()+": ", rigVerdict(code, r), 2)
}

func tellRigRun(out *page.Page, run *rig.Run, of int) {
	if of > 1 {
		fmt.Fprintf(out, "run %d of %d, %.1f ms into a scan\n", run.Number, of, run.PhaseMillis)
	}
	for i := range run.Steps {
		step := &run.Steps[i]
		text := fmt.Sprintf("%.3f s %s %s after %s: %s", step.At, step.Output, step.Change, step.Stimulus, step.Text)
		if step.Measured != nil {
			text = fmt.Sprintf("%.3f s %s %s %s after %s: %s", step.At, step.Output, step.Change, step.Measured, step.Stimulus, step.Text)
		}
		out.Wrap(fmt.Sprintf("%-15s  ", step.Verdict), text, 17)
		if step.Source != "" && step.Verdict != sheet.Consistent {
			out.Wrap(strings.Repeat(" ", 17), "bound: "+step.Source, 17)
		}
	}
	for i := range run.Expected {
		e := &run.Expected[i]
		on := ""
		if e.On != "" {
			on = " (on " + e.On + ")"
		}
		out.Wrap(fmt.Sprintf("%-15s  ", e.Verdict), fmt.Sprintf("expected%s: %s - %s [%s]", on, e.Text, e.Detail, e.Where), 17)
	}
	if run.Verdict == verdict.NotShown {
		out.Wrap("not shown        ", run.Reason, 17)
	}
	for _, text := range run.Heard {
		out.Wrap("heard            ", text, 17)
	}
}

func rigVerdict(code exitCode, r *rigReport) string {
	steps, unit, logic := 0, false, false // the last two: violated
	for i := range r.Report.Runs {
		run := &r.Report.Runs[i]
		steps += len(run.Steps)
		for k := range run.Steps {
			unit = unit || run.Steps[k].Verdict == sheet.Violated
		}
		logic = logic || judge.Expected(run.Expected) == verdict.Violated
	}
	switch code {
	case exitShown:
		text := fmt.Sprintf("%s, all consistent with the logic and its bounds on this bench", counted(steps, "step"))
		if unseen := r.Report.Unseen; len(unseen) > 0 {
			text += "; contacts of relays not seen: " + strings.Join(unseen, ", ")
		}
		return text
	case exitViolated:
		return violatedText(unit, logic)
	case exitIncomplete:
		return "an interval straddles its bound, an expectation was not reached, or the run was cut short"
	case exitNothing:
		if steps > 0 {
			return "an expectation of the scenario was never exercised"
		}
		return "no step was judged"
	case exitLost:
		return "the rig or the record failed; see above"
	}
	return "internal error"
}

// violatedText says who was violated: the unit, or the logic itself by what the scenario expects.
func violatedText(unit, logic bool) string {
	var list []string
	if unit {
		list = append(list, "the unit did something else than the logic, or took too long")
	}
	if logic {
		list = append(list, "the logic itself does not do what the scenario expects")
	}
	return strings.Join(list, "; ")
}
