package main

import (
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/sim"
	"ohmgate/sim/margin"
	"ohmgate/sim/review"
)

// schemas are the published shapes of what the program reads and prints.
var schemas = map[string]func() []byte{
	"calibration": wiring.CalibrationSchema,
	"margin":      margin.Schema,
	"review":      review.Schema,
	"rig":         wiring.Schema,
	"site":        site.Schema,
	"scenario":    sim.ScenarioSchema,
	"report":      sim.ReportSchema,
}

func schemaNames() []string {
	var names []string
	for name := range schemas {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

func schemaVerbs() []*verb {
	return []*verb{{
		name: "schema", args: "NAME", asks: "What shape has a file or a report, for editors and other programs?",
		about: "schema prints the JSON Schema by which an editor completes a site, rig map,\ncalibration or scenario file, or by which a program checks a report:\n" + strings.Join(page.Lines("", strings.Join(schemaNames(), ", "), 0), "\n"),
		ends:  ends{exitShown: "the schema was printed"}, example: "schema site", words: schemaNames(),
		run: func(c *cobra.Command, args []string) error {
			made, ok := schemas[args[0]]
			if !ok {
				return failed(exitInput, "no schema is called %q; write one of %s", args[0], strings.Join(schemaNames(), ", "))
			}
			if _, err := c.OutOrStdout().Write(made()); err != nil {
				return failed(exitLost, "%w", err)
			}
			return nil
		},
	}}
}
