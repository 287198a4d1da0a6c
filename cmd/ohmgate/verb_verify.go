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

// flags are all that the question and those that look closer have, each once.
func (o *verifyOptions) flags() flags {
	return append(flags{
		{name: "json", into: &o.json, help: "print one JSON report"},
		{name: "all", into: &o.all, help: "print every property of every output with its numbers"},
		{name: "audit", into: &o.audit, help: "compare every tabulated step with the whole logic"},
		{name: "memory", into: &o.memory, help: "memory for the search in `MB`; beyond it the verb ends incomplete"},
		{name: "workers", into: &o.workers, help: "`number` of searches at the same time; 0 is one for each core"},
		{name: "output", into: &o.outputs, help: "only these `outputs`"},
		{name: "property", into: &o.properties, help: "only these `properties`: " + numbered() + ", or names from the site file"},
		{name: "runs", into: &o.runs, help: "write what was found as scenarios for simulate into this `directory`: every counterexample; of the fault table every set that defeats and every fault that nothing shows"},
		{name: "self-check", into: &o.selfCheck, help: "plant mistakes in the logic and show that each is caught; takes no site"},
		{name: "faults", into: &o.faults, help: "print the fault table instead: every single fault of the catalogue"},
		{name: "pairs", into: &o.pairs, help: "every pair as well, and the sets that defeat the interlock"},
		{name: "csv", into: &o.csv, help: "write the whole table to this `file`"},
		{name: "window", into: &o.window, help: "map patience, settle time and scan period of this `channel` instead"},
		{name: "plot", into: &o.plot, help: "draw the map to this `file` (.svg or .png)"},
	}, o.secondOptions.flags()...)
}

func verifyVerbs() []*verb {
	o := &verifyOptions{memory: wholeFlag{2048, 1, 1 << 20, "--memory 2048"}, workers: wholeFlag{0, 0, 1 << 10, "--workers 2"}}
	all := o.flags()
	// ask makes a verb that looks closer of what it puts into the options.
	ask := func(as func(args []string)) func(*cobra.Command, []string) error {
		return func(c *cobra.Command, args []string) error {
			if err := namesNothing(c.Flags()); err != nil {
				return err
			}
			as(args)
			return o.site(c.OutOrStdout(), c.ErrOrStderr(), args[0])
		}
	}
	whole := &verb{
		name: "verify", args: "SITE", asks: "Does it in every state, under every input? If not, what is the shortest run?",
		about: `verify explores the logic that runs, exhaustively: for every output each channel
of its cone in full detail, every other cause free, everything shared concrete.
It says of every property whether it is shown, violated (with the shortest run
found), not shown, or whether nothing was checked.`,
		flags: all.only("json all audit memory workers output property runs"),
		old:   all.only("self-check faults pairs csv window plot joint emit channel vessel bypass bound"), count: cobra.MaximumNArgs(1),
		ends:   ends{exitShown: "every property is shown", exitViolated: "a property is violated", exitIncomplete: "something is not shown", exitNothing: "a property has nothing to say"},
		report: 1, schema: "", example: "verify testdata/sites/margin/nothing_known.yaml",
	}
	verbs := append([]*verb{whole}, o.closer(all, ask)...)
	whole.run = func(c *cobra.Command, args []string) error {
		if err := checkModes(c.Flags(), verbs); err != nil {
			return err
		}
		switch {
		case o.selfCheck && len(args) == 0:
			return selfCheck(c.OutOrStdout(), c.ErrOrStderr(), o)
		case o.selfCheck:
			return failed(exitInput, "--self-check plants mistakes in a site of its own; leave %s out", args[0])
		case len(args) == 0:
			return failed(exitInput, "name a site file, such as: ohmgate verify site.yaml")
		}
		return o.site(c.OutOrStdout(), c.ErrOrStderr(), args[0])
	}
	return verbs
}

// closer are the verbs that look closer.
func (o *verifyOptions) closer(all flags, ask func(func([]string)) func(*cobra.Command, []string) error) []*verb {
	return []*verb{{
		name: "verify faults", args: "SITE", asks: "What becomes of every fault at every place, and what does no rule see?",
		about: `faults puts every fault of the catalogue at every place around an output, on the
logic that runs, and says which rule withholds, what people are told, or that
nothing detects it. The table is information: that it is complete says nothing of
what it lists.`,
		flags: all.only("json memory workers output pairs csv runs"), asked: "faults",
		ends: ends{
			exitShown:    "the table is complete, whatever is not detected",
			exitViolated: "one fault that hides nothing defeats the interlock alone, which a rule could have seen", exitNothing: "an output never ran, so nothing was tried",
		},
		report: 1, example: "verify faults testdata/sites/margin/nothing_known.yaml --pairs", run: ask(func([]string) { o.faults = true }),
	}, {
		name: "verify joint", args: "SITE", asks: "How do all channels of an output hang together, in every joint state?",
		about: `joint takes all channels of an output in full detail at once, where verify takes
one and leaves the others free. It says what it does not judge jointly.`,
		flags: all.only("json memory workers output property runs"), asked: "joint", ends: verdicts(), report: 1,
		example: "verify joint testdata/sites/margin/nothing_known.yaml --output valve --property 2,4,15", run: ask(func([]string) { o.joint = true }),
	}, {
		name: "verify window", args: "SITE CHANNEL", asks: "Where is the room between danger and nuisance of one channel?",
		about: "window maps patience, settle time and scan period of one channel.",
		flags: all.only("json workers plot"), asked: "window", ends: ends{exitShown: "shown as configured", exitViolated: "violated as configured", exitIncomplete: "not shown as configured"},
		report: 1, example: "verify window testdata/sites/amber_line.yaml bond_drum", run: ask(func(args []string) { o.window = args[1] }),
	}, {
		name: "verify emit", args: "SITE LANGUAGE", asks: "What does somebody else's checker say of the same model?",
		about: `emit prints the model of one output with one channel in full detail, or of one
channel or bypass alone, in the language of another checker: promela or murphi.`,
		flags: all.only("output property channel vessel bypass bound"), asked: "emit", ends: ends{exitShown: "the model was printed"},
		example: "verify emit testdata/sites/margin/nothing_known.yaml promela --output valve --vessel vessel", run: ask(func(args []string) { o.emit = args[1] }),
	}, {
		name: "verify self-check", asks: "Does verify find mistakes that are planted in the logic?",
		about: "self-check plants mistakes in the logic, on a site of its own, and shows that each\nis caught by a property.",
		flags: all.only("json memory workers"), asked: "self-check", ends: ends{exitShown: "each was caught", exitViolated: "one was not", exitIncomplete: "a search was cut off", exitNothing: "none was planted"},
		report: 1, example: "verify self-check",
		run: func(c *cobra.Command, _ []string) error { return selfCheck(c.OutOrStdout(), c.ErrOrStderr(), o) },
	}}
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
