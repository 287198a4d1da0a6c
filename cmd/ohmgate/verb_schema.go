package main

import (
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"ohmgate/hwio/rig/wiring"
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

func schemaVerb() *cobra.Command {
	listed := strings.Join(schemaNames(), "|")
	return &cobra.Command{
		Use:       "schema " + listed,
		Short:     "Print the JSON Schema of a file or report",
		Long:      "schema prints the JSON Schema by which an editor completes a site, rig map,\ncalibration or scenario file, or by which a program checks a report.",
		Args:      cobra.ExactArgs(1),
		ValidArgs: schemaNames(),
		RunE: func(verb *cobra.Command, args []string) error {
			made, ok := schemas[args[0]]
			if !ok {
				return failed(exitInput, "no schema is called %q; write one of %s", args[0], strings.Join(schemaNames(), ", "))
			}
			_, err := verb.OutOrStdout().Write(made())
			return err
		},
	}
}
