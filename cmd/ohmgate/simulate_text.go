package main

import (
	"fmt"
	"time"

	"ohmgate/interlock/page"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
	"ohmgate/sim"
)

// mostLines is how many events of one scenario are printed without --all.
const mostLines = 60

// tellRun prints one run for people.
func tellRun(out *page.Page, r *sim.Result, o *simulateOptions) {
	title := r.Scenario.Name
	if r.Scenario.Title != "" {
		title += ": " + r.Scenario.Title
	}
	out.Wrap("", title, 2)
	head := fmt.Sprintf("%s, %d scans of %s, seed %d", r.Site.Name, r.Scans, quantity.Duration(r.Period), r.Seed)
	if r.Prelude > 0 {
		head += fmt.Sprintf("; %d scans before, until %s", r.Prelude, r.Scenario.Begin)
	}
	out.Wrap("", head, 2)
	if !o.brief {
		tellEvents(out, r, o.all)
	}
	for i := range r.Outcomes {
		tellOutcome(out, r, &r.Outcomes[i])
	}
	if len(r.Margins) == 0 {
		fmt.Fprintln(out, "smallest margin: nothing came near a bound")
	} else {
		m := r.Margins[0]
		out.Wrap("smallest margin: ", fmt.Sprintf("at %s, %s", at(m.Scan, r.Period), m.What), 17)
	}
	for _, f := range r.Final {
		if !f.Enabled && !o.brief {
			out.Wrap("at the end: ", f.Text, 12)
		}
	}
	fmt.Fprintln(out)
}

// tellEvents prints the sequence of events: when, who, what, why, which rule.
func tellEvents(out *page.Page, r *sim.Result, all bool) {
	subject := 5
	for i := range r.Told {
		subject = min(max(subject, len(r.Told[i].Subject)), 16)
	}
	told := r.Told
	if !all && len(told) > mostLines {
		told = told[:mostLines]
	}
	for i := range told {
		t := &told[i]
		name := t.Subject
		if t.Plant {
			name = "plant"
		} else if name == "" {
			name = "logic"
		}
		text := t.Line()
		if t.Rule != "" {
			text += " [" + t.Rule + "]"
		}
		out.Wrap(fmt.Sprintf("%11s  %-*s  ", at(t.Scan, r.Period), subject, name), text, 15+subject)
	}
	if left := len(r.Told) - len(told); left > 0 {
		fmt.Fprintf(out, "%11s  and %d more; --all prints them\n", "…", left)
	}
}

func tellOutcome(out *page.Page, r *sim.Result, o *sim.Outcome) {
	text := o.Expectation.Text
	if o.Verdict == verdict.Shown {
		text += " (at " + at(o.Scan, r.Period) + ")"
	} else {
		text += fmt.Sprintf(" - at %s: %s [%s:%d]", at(o.Scan, r.Period), o.Detail, r.Scenario.File, o.Expectation.Place.Line)
	}
	out.Wrap(fmt.Sprintf("%-15s  ", o.Verdict), text, 17)
}

// at is the time of a scan, in seconds with milliseconds.
func at(scan uint64, period time.Duration) string {
	ms := (scan*uint64(period/time.Microsecond) + 500) / 1000
	return fmt.Sprintf("%d.%03d s", ms/1000, ms%1000)
}

// tellSummary prints one line for each of several runs.
func tellSummary(out *page.Page, results []*sim.Result) {
	width := 0
	for _, r := range results {
		width = min(max(width, len(r.Scenario.Name)), 40)
	}
	for _, r := range results {
		counts := map[verdict.Verdict]int{}
		for i := range r.Outcomes {
			counts[r.Outcomes[i].Verdict]++
		}
		line := fmt.Sprintf("%d shown", counts[verdict.Shown])
		if counts[verdict.Violated] > 0 {
			line += fmt.Sprintf(", %d violated", counts[verdict.Violated])
		}
		if counts[verdict.NothingChecked] > 0 {
			line += fmt.Sprintf(", %d nothing checked", counts[verdict.NothingChecked])
		}
		if len(r.Outcomes) == 0 {
			line = "it expects nothing, so nothing checked"
		}
		if len(r.Margins) > 0 {
			line += fmt.Sprintf("; margin %.0f %% at %s", r.Margins[0].Share*100, at(r.Margins[0].Scan, r.Period))
		}
		out.Wrap(fmt.Sprintf("%-*s  ", width, r.Scenario.Name), line, 4)
	}
}

func verdictLine(code exitCode, results []*sim.Result) string {
	n := fmt.Sprintf("%d scenario", len(results))
	if len(results) != 1 {
		n += "s"
	}
	switch code {
	case exitShown:
		return n + ": everything expected was shown"
	case exitViolated:
		return n + ": an expectation was violated"
	}
	for _, r := range results {
		if len(r.Outcomes) == 0 {
			return n + ": a scenario expects nothing, so nothing checked"
		}
	}
	return n + ": an expectation was never exercised, so nothing checked"
}
