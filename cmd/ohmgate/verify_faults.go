package main

import (
	"io"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/fault"
	"ohmgate/interlock/verify/model"
)

// faultTable prints every single fault, and every pair where asked for.
func faultTable(out, errs io.Writer, m *model.Model, o *verifyOptions) error {
	options, end := o.options(errs)
	table, err := fault.Tabulate(m, options, o.pairs)
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
	code := table.Verdict().Exit()
	return finish(out, o.json, code, struct {
		siteHead
		Verdict string `json:"verdict"`
		Caution string `json:"caution"`
		*fault.Table
	}{headOf("verify --faults", m, code), faultVerdict(table), caution, table}, func(p *page.Page) { tellFaults(p, m, table) })
}

// joined are faults with their places in one text.
func joined(list []fault.At, between string) string {
	texts := make([]string, len(list))
	for i, at := range list {
		texts[i] = at.String()
	}
	return strings.Join(texts, between)
}

// writeFaultRuns writes a scenario for every minimal set that defeats, and for
// every single fault that nothing shows.
func writeFaultRuns(directory string, m *model.Model, t *fault.Table) error {
	runs := namedRuns{}
	for i := range t.Defeats {
		d := &t.Defeats[i]
		runs.add("defeat_"+d.Output+"_"+joined(d.Faults, "_with_"), d.Run)
	}
	for i := range t.Rows {
		if r := &t.Rows[i]; r.Found == fault.NotDetected && r.Second == "" && !r.Defeats && !r.FoundOnce() {
			runs.add("undetected_"+r.Output+"_"+r.Fault+"_on_"+r.On, r.Run())
		}
	}
	return runs.write(directory, m)
}

// faultVerdict says in words what a table shows: that it is complete says nothing
// of what it lists.
func faultVerdict(t *fault.Table) string {
	switch found := t.Verdict(); found {
	case verdict.Shown:
		return "the table is complete"
	case verdict.NothingChecked:
		return found.String() + " of some output"
	default:
		return found.String() + ": one fault that hides nothing defeats it"
	}
}
