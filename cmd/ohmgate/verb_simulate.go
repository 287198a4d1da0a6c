package main

import (
	"errors"
	"io"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"ohmgate/interlock/loop"
	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/sim"
	"ohmgate/sim/trace"
)

// simulateOptions is what the command line asks of the verb.
type simulateOptions struct {
	seed  string
	json  bool
	junit string
	brief bool
	all   bool
}

func simulateVerbs() []*verb {
	o, r := &simulateOptions{}, &recordFlags{}
	return []*verb{{
		name: "simulate", args: "SITE SCENARIO...", asks: "Does what must follow follow, under faults that combine?",
		about: `simulate plays each scenario on a model of the site: clamps, wires, instruments,
valves and people with their faults. The logic turns it scan by scan. It prints
the sequence of events, whether what must follow did, and the tightest moment.`,
		flags: slices.Concat(flags{
			{name: "seed", into: &o.seed, help: "use this `seed` instead of the scenarios' own"},
			{name: "json", into: &o.json, help: "print one JSON report"},
			{name: "junit", into: &o.junit, help: "write the expectations as JUnit XML to this `file`"},
			{name: "brief", into: &o.brief, help: "leave out the sequence of events"},
			{name: "all", into: &o.all, help: "print every event, not only the first 60 of a scenario"},
		}, r.flags(), r.liveFlags()),
		count: func(_ *cobra.Command, args []string) error {
			if len(args) < 2 {
				return failed(exitInput, "simulate wants a site file and at least one scenario; write ohmgate simulate SITE SCENARIO")
			}
			return nil
		},
		ends:   ends{exitShown: "everything expected was shown", exitViolated: "an expectation was violated", exitNothing: "an expectation was never exercised, or a scenario expects nothing"},
		report: sim.ReportVersion, schema: "report", example: "simulate testdata/sites/kestrel_siding.yaml testdata/scenarios/clamp_pulled.yaml",
		run: func(c *cobra.Command, args []string) error {
			return simulate(c.OutOrStdout(), c.ErrOrStderr(), args[0], args[1:], o, recordingOf(r))
		},
	}}
}

// simulate runs all scenarios. Every input is read before the first one runs:
// a mistake in the last file must not cost the time of the others.
func simulate(out, errs io.Writer, siteFile string, files []string, o *simulateOptions, recording *recording) error {
	s, problems := site.Read(siteFile)
	if problems != nil {
		return failed(exitInput, "%v", problems)
	}
	options, err := o.options()
	if err != nil {
		return err
	}
	var scenarios []*sim.Scenario
	var wrong error
	for _, file := range files {
		sc, problems := sim.ReadScenario(file, s)
		if problems != nil {
			wrong = errors.Join(wrong, problems)
		}
		scenarios = append(scenarios, sc)
	}
	if wrong != nil {
		return failed(exitInput, "%w", wrong)
	}
	if err := o.distinct(siteFile, files, scenarios, recording); err != nil {
		return err
	}
	code := exitShown
	var results []*sim.Result
	for _, sc := range scenarios {
		result, err := recording.run(s, sc, options, len(scenarios) > 1)
		if err != nil {
			return runFailed(err)
		}
		results = append(results, result)
		code = worse(code, result.Verdict().Exit())
		if !o.json { // at once: the next may take long
			tellRun(page.On(out), result, o)
		}
	}
	return finishSimulate(out, s, results, code, o)
}

func (o *simulateOptions) options() (sim.Options, error) {
	options := sim.Options{Tool: toolVersion()}
	if o.seed != "" {
		seed, err := strconv.ParseUint(o.seed, 10, 64)
		if err != nil {
			return options, failed(exitInput, "--seed %q is no whole number; write one, such as --seed 7", o.seed)
		}
		options.Seed = &seed
	}
	return options, nil
}

// runFailed judges an error that ended a run.
func runFailed(err error) error {
	var problems site.Problems
	var internal loop.InternalError
	var judged outcome
	switch {
	case errors.As(err, &judged):
		return err
	case errors.Is(err, trace.ErrCannotCreate):
		return failed(exitInput, "%w", err)
	case errors.As(err, &problems):
		return failed(exitInput, "%w", problems)
	case errors.As(err, &internal):
		return failed(exitInternal, "%w", err)
	}
	return failed(exitLost, "%w", err)
}

func finishSimulate(out io.Writer, s *site.Site, results []*sim.Result, code exitCode, o *simulateOptions) error {
	if o.junit != "" {
		if err := writeBeside(o.junit, func(w io.Writer) error { return writeJUnit(w, results) }); err != nil {
			return runFailed(err)
		}
	}
	return finish(out, o.json, code, sim.NewReport(s, results, toolVersion()), func(p *page.Page) {
		if len(results) > 1 {
			tellSummary(p, results)
		}
		p.Line(verdictLine(code, results))
	})
}

// recording is what a run is recorded to.
type recording struct {
	// open makes the writers of one run; several says that there are more, so
	// that file names need the scenario's name. Nil records nothing.
	open func(s *site.Site, sc *sim.Scenario, several bool) ([]trace.Writer, error)
	// files names what open writes for one run, each with its flag.
	files func(sc *sim.Scenario, several bool) []namedFile
}

// run plays one scenario with its recorders.
func (r *recording) run(s *site.Site, sc *sim.Scenario, o sim.Options, several bool) (*sim.Result, error) {
	if r.open != nil {
		writers, err := r.open(s, sc, several)
		if err != nil {
			return nil, err
		}
		o.Recorders = writers
	}
	result, err := sim.Run(s, sc, o)
	if err != nil {
		trace.Group(o.Recorders).Discard()
	}
	return result, err
}
