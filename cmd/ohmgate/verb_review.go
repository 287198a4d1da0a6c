package main

import (
	"io"

	"github.com/spf13/cobra"

	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/sim/review"
)

// reviewOptions is what the command line asks of the verb.
type reviewOptions struct {
	json   bool
	all    bool
	rules  bool
	failOn string
}

func reviewVerb() *cobra.Command {
	var o reviewOptions
	verb := &cobra.Command{
		Use:   "review SITE",
		Short: "Read a site as a checker would: contradictory, missing, weak",
		Long: `review asks every rule of its list about a site and prints the findings: a
stable id, where it stands, why it matters, who says so, and what to change.
What the site file accepts under suppress: is listed with its reason.

Exit codes: 0 no finding at or above --fail-on · 1 some · 2 the input is wrong ·
4 nothing to review: no channel or no output.

` + caution,
		Args: cobra.MaximumNArgs(1),
	}
	flags := verb.Flags()
	flags.BoolVar(&o.json, "json", false, "print one JSON report (schema: ohmgate schema review)")
	flags.BoolVar(&o.all, "all", false, "print every place, and notes in full")
	flags.BoolVar(&o.rules, "rules", false, "list the rules and end")
	flags.StringVar(&o.failOn, "fail-on", string(review.Must), "exit 1 from this `severity` on: must, should, note or never")
	verb.RunE = func(verb *cobra.Command, args []string) error {
		switch {
		case o.rules && len(args) == 0:
			return listRules(verb.OutOrStdout(), o.json)
		case o.rules:
			return failed(exitInput, "--rules lists the rules of every site; leave %s out", args[0])
		case len(args) == 0:
			return failed(exitInput, "name a site file, or write --rules")
		}
		return runReview(verb.OutOrStdout(), args[0], &o)
	}
	return verb
}

func listRules(out io.Writer, asJSON bool) error {
	return finish(out, asJSON, exitShown, struct {
		Schema string        `json:"schema"`
		Tool   string        `json:"tool"`
		Rules  []review.Rule `json:"rules"`
	}{review.Version, toolVersion(), review.Rules()}, review.WriteRules)
}

func runReview(out io.Writer, file string, o *reviewOptions) error {
	s, problems := site.Read(file)
	if problems != nil {
		return failed(exitInput, "%v", problems)
	}
	report, err := review.Review(s, toolVersion(), review.Severity(o.failOn))
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	return finish(out, o.json, report.Exit, report, func(p *page.Page) { report.WriteText(p, o.all) })
}
