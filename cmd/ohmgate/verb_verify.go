package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
)

// verifyOptions is what the command line asks of the verb.
type verifyOptions struct {
	json       bool
	all        bool
	audit      bool
	memory     wholeFlag // MB
	workers    wholeFlag
	outputs    []string
	properties []string
	runs       string

	selfCheck bool
	faults    bool
	pairs     bool
	csv       string
	window    string
	plot      string

	secondOptions
}

func verifyVerb() *cobra.Command {
	o := verifyOptions{memory: wholeFlag{2048, 1, 1 << 20, "--memory 2048"}, workers: wholeFlag{0, 0, 1 << 10, "--workers 2"}}
	verb := &cobra.Command{
		Use:   "verify SITE | --self-check",
		Short: "Search every state under every input: properties, worst cases",
		Long: `verify explores the logic that runs, exhaustively: for every output each channel
of its cone in full detail, every other cause free, everything shared concrete.
It says of every property whether it is shown, violated (with the shortest run
found), not shown, or whether nothing was checked.

With --faults the table is information: 0 says that it is complete, whatever is
not detected; 1 that one fault that hides nothing defeats the interlock alone,
which a rule could have seen; 4 that an output never ran, so nothing was tried.

` + caution,
		Args: cobra.MaximumNArgs(1),
	}
	flags := verb.Flags()
	flags.BoolVar(&o.json, "json", false, "print one JSON report")
	flags.BoolVar(&o.all, "all", false, "print every property of every output with its numbers")
	flags.BoolVar(&o.audit, "audit", false, "compare every tabulated step with the whole logic")
	flags.Var(&o.memory, "memory", "memory for the search in `MB`; beyond it the verb ends incomplete")
	flags.Var(&o.workers, "workers", "searches at the same time; 0 is one for each core")
	flags.StringSliceVar(&o.outputs, "output", nil, "verify only these outputs")
	flags.StringSliceVar(&o.properties, "property", nil, "verify only these properties: "+numbered()+", or names from the site file")
	flags.StringVar(&o.runs, "runs", "", "write every counterexample, or with --faults every set that defeats and every fault that nothing shows, as a scenario file into this `directory`")
	flags.BoolVar(&o.selfCheck, "self-check", false, "plant mistakes in the logic and show that each is caught; takes no site")
	flags.BoolVar(&o.faults, "faults", false, "print the fault table instead: every single fault of the catalogue")
	flags.BoolVar(&o.pairs, "pairs", false, "with --faults: every pair as well, and the sets that defeat the interlock")
	flags.StringVar(&o.csv, "csv", "", "with --faults: write the whole table to this `file`")
	flags.StringVar(&o.window, "window", "", "map patience, settle time and scan period of this `channel` instead")
	flags.StringVar(&o.plot, "plot", "", "with --window: draw the map to this `file` (.svg or .png)")
	o.secondOptions.flags(flags)
	verb.RunE = func(verb *cobra.Command, args []string) error {
		out, errs := verb.OutOrStdout(), verb.ErrOrStderr()
		if err := checkModes(verb.Flags()); err != nil {
			return err
		}
		switch {
		case o.selfCheck && len(args) == 0:
			return selfCheck(out, errs, &o)
		case o.selfCheck:
			return failed(exitInput, "--self-check plants mistakes in a site of its own; leave %s out", args[0])
		case len(args) == 0:
			return failed(exitInput, "name a site file, such as: ohmgate verify site.yaml")
		}
		return o.site(out, errs, args[0])
	}
	return verb
}

// site runs what was asked of a site file.
func (o *verifyOptions) site(out, errs io.Writer, file string) error {
	s, m, err := readModel(file)
	if err != nil {
		return err
	}
	if err := checkNames(m, o); err != nil {
		return err
	}
	if o.runs != "" { // before the search: its runs would be lost
		if err := os.MkdirAll(o.runs, 0o755); err != nil {
			return failed(exitInput, "--runs %s: the directory cannot be made (%v); write one that can, such as --runs /tmp/runs", o.runs, err)
		}
	}
	if wanted, err := o.second(out, errs, m); wanted {
		return err
	}
	switch {
	case o.window != "":
		return windowMap(out, errs, s, m, o)
	case o.faults:
		return faultTable(out, errs, m, o)
	}
	return runVerify(out, errs, s, m, o)
}

// readModel is a site file as the verifier sees it.
func readModel(file string) (*site.Site, *model.Model, error) {
	s, problems := site.Read(file)
	if problems != nil {
		return nil, nil, failed(exitInput, "%v", problems)
	}
	m, err := model.FromSite(s)
	if err != nil {
		return nil, nil, failed(exitInput, "%v", err)
	}
	return s, m, nil
}

// numbered is how many properties every site has, as their numbers.
func numbered() string {
	all := verify.Properties()
	return all[0].Number.String() + ".." + all[len(all)-1].Number.String()
}

func (o *verifyOptions) options(errs io.Writer) (model.Options, func()) {
	progress, end := searchProgress(errs)
	return model.Options{Memory: o.memory.value << 20, Workers: int(o.workers.value), Outputs: o.outputs, Properties: o.properties, Audit: o.audit, Progress: progress}, end
}

func runVerify(out, errs io.Writer, s *site.Site, m *model.Model, o *verifyOptions) error {
	options, end := o.options(errs)
	report, err := verify.Verify(m, options)
	end()
	if err != nil {
		return failed(exitInternal, "%w", err)
	}
	if o.runs != "" {
		if err := writeRuns(o.runs, m, report); err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	code := report.Verdict().Exit()
	if report.Audit != nil && report.Audit.Different > 0 {
		code = worse(code, exitInternal)
	}
	made := verifyReport{jsonHead{headed(1, "verify"), code}, report.Verdict(), caution, report, verify.CannotAnswer}
	return finish(out, o.json, code, made, func(p *page.Page) { tellVerify(p, s, m, report, o.all) })
}

// checkNames refuses outputs and properties that do not exist.
func checkNames(m *model.Model, o *verifyOptions) error {
	for _, name := range o.outputs {
		if !isOneOf(m.Names.Outputs, name) {
			return failed(exitInput, "--output %s: the site has no such output; it has %s", name, strings.Join(m.Names.Outputs, ", "))
		}
	}
	known := verify.PropertyNames(m)
	for _, name := range o.properties {
		if !isOneOf(known, name) {
			return failed(exitInput, "--property %s: there is no such property; write one of %s", name, strings.Join(known, ", "))
		}
	}
	return nil
}

func isOneOf(list []string, name string) bool {
	for _, have := range list {
		if have == name {
			return true
		}
	}
	return false
}

func writeRuns(directory string, m *model.Model, report *verify.Report) error {
	runs := namedRuns{}
	for _, r := range report.Results {
		runs.add(fmt.Sprintf("property_%s_%s", r.Property, r.Output), r.Counterexample)
	}
	return runs.write(directory, m)
}

// namedRuns are runs by the names of their scenarios.
type namedRuns map[string]*runs.Run

func (n namedRuns) add(name string, run *runs.Run) {
	if run != nil {
		n[strings.ReplaceAll(name, " ", "_")] = run
	}
}

// write writes each as a scenario file that simulate replays.
func (n namedRuns) write(directory string, m *model.Model) error {
	for name, run := range n {
		err := writeBeside(filepath.Join(directory, name+".yaml"), func(w io.Writer) error {
			_, err := w.Write(run.Scenario(m, name))
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// verifyReport is the JSON document of a whole verification; the report itself
// names the site.
type verifyReport struct {
	jsonHead
	Verdict verdict.Verdict `json:"verdict"`
	Caution string          `json:"caution"`
	*verify.Report
	CannotAnswer []string `json:"cannot_answer"`
}
