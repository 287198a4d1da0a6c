// Command ohmgate specifies, proves and commissions the interlock that stops a
// transfer when a vessel is no longer bonded to earth.
package main

import (
	"errors"
	"fmt"
	"os"

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
	cobra.EnableCommandSorting = false // the verbs stand in the order in which a site needs them
	root := &cobra.Command{
		Use:               "ohmgate",
		SilenceUsage:      true,
		SilenceErrors:     true,
		Version:           toolVersion(),
		CompletionOptions: cobra.CompletionOptions{DisableDefaultCmd: true}, // it is a verb of ours
	}
	root.Args = cobra.NoArgs
	root.RunE = func(c *cobra.Command, _ []string) error {
		// Nothing was asked, so nothing was checked.
		_ = c.Help()
		return failed(exitInput, "name a verb")
	}
	root.SetHelpFunc(func(c *cobra.Command, _ []string) { rootHelp(page.On(c.OutOrStdout()), c) })
	made := map[string]*cobra.Command{"": root}
	for _, v := range verbs() {
		made[v.name] = v.command()
		made[v.above()].AddCommand(made[v.name])
	}
	return root
}

// rootHelp says what the program answers.
func rootHelp(out *page.Page, root *cobra.Command) {
	out.Wrap("", "ohmgate specifies, proves and commissions the interlock that stops pumps and valves when a vessel is no longer bonded to earth.", 0)
	_, _ = out.Write([]byte("\n" + caution + "\n"))
	out.Line("\nVerbs, each with its own --help:")
	for _, v := range verbs() {
		if v.above() == "" {
			out.Column("  "+v.last(), v.asks, 14)
		}
	}
	out.Line("\nFlags:")
	_, _ = out.Write([]byte(root.LocalFlags().FlagUsagesWrapped(page.Width)))
}
