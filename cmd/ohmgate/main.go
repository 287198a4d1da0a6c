// Command ohmgate specifies, proves and commissions the interlock that stops a
// transfer when a vessel is no longer bonded to earth.
package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"ohmgate/interlock/page"
)

func main() { os.Exit(int(run(os.Args[1:]))) }

// run is main without the process: it returns the exit code.
func run(args []string) (code exitCode) {
	defer func() {
		if r := recover(); r != nil {
			fmt.Fprintf(os.Stderr, "ohmgate: internal error: %v\nNothing that was printed above may be relied on.\n", r)
			code = exitInternal
		}
	}()
	root := rootCommand()
	root.SetArgs(args)
	verb, err := root.ExecuteC()
	if err != nil {
		return report(os.Stderr, adviseOn(verb, err))
	}
	return exitShown
}

// adviseOn adds to an error of the command line, which no verb has judged, how
// the command is written.
func adviseOn(verb *cobra.Command, err error) error {
	var judged outcome
	if errors.As(err, &judged) {
		return err
	}
	if !verb.HasParent() {
		return failed(exitInput, "%w; ohmgate --help lists the verbs", err)
	}
	return failed(exitInput, "%w; write %s, or see %s --help", err, verb.UseLine(), verb.CommandPath())
}

const caution = `ohmgate is no certified safety device and no substitute for the standards, local
codes, a licensed engineer or a proof test of the real installation.`

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:               "ohmgate",
		Short:             "Specify, prove and commission an earthing interlock",
		Long:              "ohmgate specifies, proves and commissions the interlock that stops pumps and\nvalves when a vessel is no longer bonded to earth.\n\n" + caution,
		SilenceUsage:      true,
		SilenceErrors:     true,
		Version:           toolVersion(),
		CompletionOptions: cobra.CompletionOptions{DisableDefaultCmd: true},
	}
	root.Args = cobra.NoArgs
	root.RunE = func(c *cobra.Command, _ []string) error {
		// Nothing was asked, so nothing was checked.
		_ = c.Help()
		return failed(exitInput, "name a verb")
	}
	root.AddCommand(verbs()...)
	usage := strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages", fmt.Sprintf(".FlagUsagesWrapped %d", page.Width))
	root.SetUsageTemplate(strings.TrimRight(usage, "\n") + "\n")
	return root
}

// verbs lists what the program can do, one file each.
func verbs() []*cobra.Command {
	return []*cobra.Command{
		simulateVerb(),
		rigVerb(),
		replayVerb(),
		verifyVerb(),
		reviewVerb(),
		marginVerb(),
		schemaVerb(),
		serveVerb(),
		journalVerb(),
	}
}
