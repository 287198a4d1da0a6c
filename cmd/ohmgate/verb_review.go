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

func reviewVerbs() []*verb {
	o := &reviewOptions{failOn: string(review.Must)}
	all := flags{
		{name: "json", into: &o.json, help: "print one JSON report"},
		{name: "all", into: &o.all, help: "print every place, and notes in full"},
		{name: "rules", into: &o.rules, help: "list the rules and end"},
		{name: "fail-on", into: &o.failOn, help: "exit 1 from this `severity` on: must, should, note or never", words: []string{"must", "should", "note", "never"}},
	}
	return []*verb{{
		name: "review", args: "SITE", asks: "What is contradictory, missing or weak in this site, and by which source?",
		about: `review asks every rule of its list about a site and prints the findings: a
stable id, where it stands, why it matters, who says so, and what to change.
What the site file accepts under suppress: is listed with its reason.`,
		flags: all.only("json all fail-on"), old: all.only("rules"), count: cobra.MaximumNArgs(1),
		ends:   ends{exitShown: "no finding at or above --fail-on", exitViolated: "some", exitNothing: "nothing to review: no channel or no output"},
		report: review.Version, schema: "review", example: "review testdata/sites/kestrel_siding.yaml",
		run: func(c *cobra.Command, args []string) error {
			switch {
			case o.rules && len(args) == 0:
				return listRules(c.OutOrStdout(), o.json)
			case o.rules:
				return failed(exitInput, "--rules lists the rules of every site; leave %s out", args[0])
			case len(args) == 0:
				return failed(exitInput, "name a site file, such as: ohmgate review site.yaml; or write ohmgate review rules")
			}
			return runReview(c.OutOrStdout(), args[0], o)
		},
	}, {
		name: "review rules", asks: "Which rules does review ask, why, and by which source?",
		about: "rules lists what review asks of every site.", asked: "rules",
		flags: all.only("json"), ends: ends{exitShown: "the rules were printed"}, report: review.Version, example: "review rules",
		run: func(c *cobra.Command, _ []string) error { return listRules(c.OutOrStdout(), o.json) },
	}}
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
