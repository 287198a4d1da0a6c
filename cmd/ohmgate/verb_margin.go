package main

import (
	"errors"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/sim/margin"
	"ohmgate/sim/trace"
)

// marginOptions is what the command line asks of the verb.
type marginOptions struct {
	json        bool
	all         bool
	brief       bool
	reliability bool
	plot        string
	node        string
}

func marginVerbs() []*verb {
	o := &marginOptions{}
	all := flags{
		{name: "json", into: &o.json, help: "print one JSON report"},
		{name: "all", into: &o.all, help: "print also the lines that differ from another in names only"},
		{name: "brief", into: &o.brief, help: "print one row for each vessel and stream, and the verdict"},
		{name: "reliability", into: &o.reliability, help: "print only PFDavg, PFH and spurious trips from your own failure rates"},
		{name: "plot", into: &o.plot, help: "draw charge and energy against time, and the inputs' bars, to this `file` (.svg or .png)"},
		{name: "of", into: &o.node, help: "draw this `node` (vessel or part); the worst line if not given"},
	}
	run := func(c *cobra.Command, args []string) error { return runMargin(c.OutOrStdout(), args[0], o) }
	return []*verb{{
		name: "margin", args: "SITE", asks: "How much charge is on the vessel when the flow has really stopped, against what ignites?",
		about: `margin answers three questions for every vessel and stream of a site: is a start
without bond prevented, is a rising resistance caught before the critical one,
and what charge is on the vessel when the flow has stopped after an abrupt loss,
against the charge that ignites. Every delay comes from the site's own logic;
what the file leaves open gets a documented default, which is printed as one.`,
		flags: all.only("json all brief plot of"), old: all.only("reliability"),
		ends: ends{
			exitShown:      "every answer is shown and every ignition source answered",
			exitViolated:   "an answer is violated: it loses everywhere, may start without the bond, the limit lies above the critical resistance, or the wait is too short",
			exitIncomplete: "it depends, rests on something that nobody monitors, cannot be computed, or a question is unanswered",
			exitNothing:    "no stream charges a vessel",
		},
		report: margin.ReportVersion, schema: "margin", example: "margin testdata/sites/kestrel_siding.yaml --brief", run: run,
	}, {
		name: "margin reliability", args: "SITE", asks: "What are PFDavg, PFH and spurious trips, from failure rates of your own?",
		about: "reliability prints only the assessor's numbers, from reliability: of the site file.\nA number in a band is no claim of a safety integrity level.", asked: "reliability",
		flags: all.only("json"), ends: ends{
			exitShown: "every target is met", exitViolated: "a target is not met", exitIncomplete: "no target is given, or the rates are beyond the formulas", exitNothing: "no rates",
		},
		report: margin.ReportVersion, schema: "margin", example: "margin reliability testdata/sites/margin/all_answered.yaml",
		run: func(c *cobra.Command, args []string) error {
			o.reliability = true
			return run(c, args)
		},
	}}
}

func runMargin(out io.Writer, file string, o *marginOptions) error {
	if kind := strings.TrimPrefix(filepath.Ext(o.plot), "."); o.plot != "" && kind != "svg" && kind != "png" {
		return failed(exitInput, "--plot %q: the name must end in .svg or .png", o.plot)
	}
	s, problems := site.Read(file)
	if problems != nil {
		return failed(exitInput, "%v", problems)
	}
	report, err := margin.Study(s, toolVersion())
	if err != nil {
		return failed(exitInput, "%s: %w", file, err)
	}
	if o.reliability {
		report.Verdict = report.JudgeReliability()
		report.Exit = report.Verdict.Exit()
	}
	if o.plot != "" {
		if err := drawMargin(report, o); err != nil {
			return err
		}
	}
	return finish(out, o.json, report.Exit, report, func(p *page.Page) { tellMargin(p, report, o) })
}

func tellMargin(out *page.Page, report *margin.Report, o *marginOptions) {
	switch {
	case o.reliability:
		report.WriteReliability(out)
	case o.brief:
		report.WriteBrief(out)
	default:
		report.WriteText(out, o.all)
	}
}

// drawMargin writes the plot of one line.
func drawMargin(report *margin.Report, o *marginOptions) error {
	line, ok := report.Line(o.node)
	if !ok && o.node != "" {
		return failed(exitInput, "--of %q: no line with an end of flow is called so; write one of %s", o.node, strings.Join(report.Drawable(), ", "))
	}
	if !ok {
		return failed(exitNothing, "nothing can be drawn: no line has an end of flow")
	}
	kind := strings.TrimPrefix(filepath.Ext(o.plot), ".")
	err := writeBeside(o.plot, func(w io.Writer) error { return line.Plot(w, kind) })
	switch {
	case errors.Is(err, trace.ErrCannotCreate): // the name is the mistake
		return failed(exitInput, "%w", err)
	case err != nil:
		return failed(exitLost, "%w", err)
	}
	return nil
}
