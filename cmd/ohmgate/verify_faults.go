package main

import (
	"fmt"
	"io"
	"strings"

	"ohmgate/interlock/verify"
)

// faultTable prints every single fault, and every pair where asked for.
func faultTable(out, errs io.Writer, m *verify.Model, o *verifyOptions) error {
	options, end := o.options(errs)
	table, err := verify.Faults(m, options, o.pairs)
	end()
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	if o.csv != "" {
		err := writeBeside(o.csv, func(w io.Writer) error { return table.WriteCSV(w, m.Site, m.Hash, toolVersion()) })
		if err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	if o.runs != "" || o.json {
		table.Replay()
	}
	if o.runs != "" {
		if err := writeFaultRuns(o.runs, m, table); err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	code := verdictCode(table.Verdict())
	if o.json {
		err := encode(out, struct {
			siteHead
			Verdict string `json:"verdict"`
			Caution string `json:"caution"`
			*verify.FaultTable
		}{headOf("verify --faults", m, code), faultVerdict(table), caution, table})
		if err != nil {
			return err
		}
		return ended(code)
	}
	tellFaults(out, table)
	return ended(code)
}

// writeFaultRuns writes a scenario for every minimal set that defeats, and for
// every single fault that nothing shows.
func writeFaultRuns(directory string, m *verify.Model, t *verify.FaultTable) error {
	runs := namedRuns{}
	for i := range t.Defeats {
		d := &t.Defeats[i]
		runs.add("defeat_"+d.Output+"_"+strings.Join(d.Faults, "_with_"), d.Run)
	}
	for i := range t.Rows {
		if r := &t.Rows[i]; r.Found == verify.FoundNothing && r.Second == "" && !r.Defeats {
			runs.add("undetected_"+r.Output+"_"+r.Fault+"_on_"+r.On, r.Run())
		}
	}
	return runs.write(directory, m)
}

func tellFaults(out io.Writer, t *verify.FaultTable) {
	fmt.Fprintln(out, "Every fault of the catalogue at every place around an output. Scans are counted")
	fmt.Fprintln(out, "from the first that shows it, from healthy running, for the look seen worst; (n)")
	fmt.Fprintln(out, "is the most after any history. Equal rows of other places are told once.")
	fmt.Fprintln(out)
	for _, name := range t.NeverRan {
		tellWrapped(out, name+": ", "nothing checked: a healthy plant never brought it to run")
	}
	output := ""
	for _, group := range faultGroups(t) {
		r := group.row
		if r.Output != output {
			output = r.Output
			fmt.Fprintf(out, "%s\n  %-22s %-16s %11s  %s\n", clip(output, verifyWidth), "fault", "on", "scans", "found")
		}
		tellFault(out, r, len(group.on)-1)
	}
	fmt.Fprintf(out, "\n%d single faults, %d of them NOT detected by any rule or event: proof test\n", t.Singles, t.Missed)
	if t.Pairs > 0 {
		fmt.Fprintf(out, "%d pairs\n", t.Pairs)
	}
	tellDefeats(out, t)
	fmt.Fprintf(out, "\nverdict: %s\n", faultVerdict(t))
}

// faultVerdict says in words what a table shows: that it is complete says nothing
// of what it lists.
func faultVerdict(t *verify.FaultTable) string {
	return map[verify.Verdict]string{verify.Shown: "the table is complete",
		verify.Violated: "violated: one fault that hides nothing defeats it", verify.Nothing: "nothing checked of some output"}[t.Verdict()]
}

// faultGroup is rows of one output that differ in the place alone.
type faultGroup struct {
	row *verify.FaultRow
	on  []string
}

func faultGroups(t *verify.FaultTable) []*faultGroup {
	var groups []*faultGroup
	known := map[string]*faultGroup{}
	for i := range t.Rows {
		r := &t.Rows[i]
		if r.Second != "" || r.Found == verify.FoundNotRun {
			continue
		}
		key := fmt.Sprint(r.Output, "|", r.Fault, "|", r.Found, r.Scans, r.AtMost, r.Defeats, "|", strings.ReplaceAll(r.Rule+r.Effect, r.On, "*"))
		if known[key] == nil {
			known[key] = &faultGroup{row: r}
			groups = append(groups, known[key])
		}
		known[key].on = append(known[key].on, r.On)
	}
	return groups
}

func tellFault(out io.Writer, r *verify.FaultRow, more int) {
	on, scans := r.On, "-"
	if more > 0 {
		suffix := fmt.Sprintf(" +%d", more)
		on = clip(on, 16-len(suffix)) + suffix
	}
	if r.Found != verify.FoundNothing {
		scans = fmt.Sprint(r.Scans)
		if r.AtMost > r.Scans {
			scans += fmt.Sprintf(" (%d)", r.AtMost)
		}
	}
	text := string(r.Found) + ": " + r.Rule
	if r.Found == verify.FoundNothing {
		text = r.Effect
	}
	tellWrapped(out, fmt.Sprintf("  %-22s %-16s %11s  ", clip(r.Fault, 22), clip(on, 16), scans), text)
	if r.Found == verify.FoundNothing {
		tellWrapped(out, "      shown by: ", r.Instead)
	}
	if r.Defeats {
		tellWrapped(out, "      ", "DEFEATS it alone: "+r.Look)
	}
}

// tellDefeats prints the minimal sets, those alike in all but the place once.
func tellDefeats(out io.Writer, t *verify.FaultTable) {
	most := "of one fault that defeat it (--pairs tries two)"
	if t.Pairs > 0 {
		most = "of one fault or two that defeat it (three were not tried)"
	}
	fmt.Fprintf(out, "minimal sets %s: %d\n", most, len(t.Defeats))
	count := map[string]int{}
	var order []*verify.Defeat
	kind := func(d *verify.Defeat) string {
		key := d.Output + fmt.Sprint(d.Hidden, d.Seen)
		for _, f := range d.Faults {
			name, _, _ := strings.Cut(f, " on ")
			key += "|" + name
		}
		return key
	}
	for i := range t.Defeats {
		d := &t.Defeats[i]
		if count[kind(d)]++; count[kind(d)] == 1 {
			order = append(order, d)
		}
	}
	for _, d := range order {
		text := strings.Join(d.Faults, " with ") + ": " + d.Says
		if n := count[kind(d)]; n > 1 {
			text += fmt.Sprintf(" (%d such)", n)
		}
		tellWrapped(out, "  "+d.Output+": ", text)
	}
}
