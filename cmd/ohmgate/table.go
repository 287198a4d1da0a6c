package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// verb is one question that the program answers. It is the only place that says what
// the verb is called, what it takes and how it ends: the command line, help,
// completion and the table of the README are made of it.
type verb struct {
	name    string // behind "ohmgate", such as "rig check"
	args    string // what is named behind it, such as "SITE SCENARIO..."; in brackets what may be left out
	asks    string // the question, in one sentence
	about   string // what else there is to know
	flags   flags
	old     flags    // asked this verb for another question, and still do; in no help
	apart   []string // flags of which only one may be given
	joined  []string // flags that are given together
	ends    ends
	report  any    // what "schema" says in its JSON report; nil: it prints none
	schema  string // of that report: its name behind "ohmgate schema"
	example string // behind "ohmgate", from the project's root
	// asked is the flag of the verb above that asks the same; instead says what that one does not do then.
	asked, instead string
	// count overrides how many arguments are taken, where the verb itself says what is missing.
	count cobra.PositionalArgs
	words []string // what may be named as the first argument, where it is no file
	run   func(c *cobra.Command, args []string) error
}

// ends says what the exit codes of a verdict mean here; "" is what they mean everywhere.
type ends map[exitCode]string

// verdicts are the ends of a verb to which the four verdicts mean what they always do.
func verdicts() ends {
	return ends{exitShown: "", exitViolated: "", exitIncomplete: "", exitNothing: ""}
}

// always are the codes that every verb may end with.
var always = []exitCode{exitInput, exitLost, exitInternal}

// verbs lists all, those that look closer behind the one that they belong to.
func verbs() []*verb {
	return slices.Concat(reviewVerbs(), marginVerbs(), simulateVerbs(), verifyVerbs(), replayVerbs(), rigVerbs(), serveVerbs(), journalVerbs(), schemaVerbs(), completionVerbs())
}

// flagEntry is one flag.
type flagEntry struct {
	name string
	into any    // where its value goes: a pointer, which holds the default, or a pflag.Value
	help string // in back quotes: what it takes
	// words are what it takes, where that is a list; a flag that takes the name of a file offers files.
	words  []string
	needed bool
}

type flags []flagEntry

// only picks flags by their names.
func (f flags) only(names string) (list flags) {
	for _, name := range strings.Fields(names) {
		i := slices.IndexFunc(f, func(one flagEntry) bool { return one.name == name })
		if i < 0 {
			panic("no flag is called " + name) // a mistake in the table: the first test meets it
		}
		list = append(list, f[i])
	}
	return list
}

// names lists them.
func (f flags) names() (list []string) {
	for i := range f {
		list = append(list, f[i].name)
	}
	return list
}

// every is a flag that may be given several times, each with one value.
type every struct{ list *[]string }

// add declares the flag on a command.
func (f *flagEntry) add(set *pflag.FlagSet) {
	switch into := f.into.(type) {
	case *bool:
		set.BoolVar(into, f.name, *into, f.help)
	case *string:
		set.StringVar(into, f.name, *into, f.help)
	case *int:
		set.IntVar(into, f.name, *into, f.help)
	case *uint64:
		set.Uint64Var(into, f.name, *into, f.help)
	case *float64:
		set.Float64Var(into, f.name, *into, f.help)
	case *time.Duration:
		set.DurationVar(into, f.name, *into, f.help)
	case *[]string: // with commas between
		set.StringSliceVar(into, f.name, *into, f.help)
	case every:
		set.StringArrayVar(into.list, f.name, *into.list, f.help)
	case pflag.Value:
		set.Var(into, f.name, f.help)
	default:
		panic(fmt.Sprintf("flag %s goes into a %T", f.name, into))
	}
}

// last is the verb's own word.
func (v *verb) last() string { return v.name[strings.LastIndexByte(v.name, ' ')+1:] }

// above is the name of the verb that it belongs to, or empty.
func (v *verb) above() string { return strings.TrimSuffix(strings.TrimSuffix(v.name, v.last()), " ") }

// line is how the verb is written.
func (v *verb) line() string { return strings.TrimSpace(v.last() + " " + v.args) }

// arguments is how many arguments are taken.
func (v *verb) arguments() cobra.PositionalArgs {
	if v.count != nil {
		return v.count
	}
	least, most := 0, 0
	for _, word := range strings.Fields(v.args) {
		if !strings.HasPrefix(word, "[") {
			least++
		}
		if most++; strings.Contains(word, "...") {
			return cobra.MinimumNArgs(least)
		}
	}
	if least == most {
		return cobra.ExactArgs(least)
	}
	return cobra.RangeArgs(least, most)
}

// command is the verb as the library of command lines has it.
func (v *verb) command() *cobra.Command {
	c := &cobra.Command{Use: v.line(), Short: v.asks, Args: v.arguments(), ValidArgsFunction: v.complete}
	for i := range v.flags {
		v.flags[i].add(c.Flags())
		v.flags[i].offer(c)
		if v.flags[i].needed {
			_ = c.MarkFlagRequired(v.flags[i].name)
		}
	}
	for i := range v.old {
		v.old[i].add(c.Flags())
		_ = c.Flags().MarkHidden(v.old[i].name) // it was declared in the line before
	}
	if len(v.apart) > 0 {
		c.MarkFlagsMutuallyExclusive(v.apart...)
	}
	if len(v.joined) > 0 {
		c.MarkFlagsRequiredTogether(v.joined...)
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		err := v.run(c, args)
		if code := codeOf(err); !v.mayEnd(code) {
			undeclared(v, code)
		}
		return err
	}
	c.SetHelpFunc(func(c *cobra.Command, _ []string) { v.help(page.On(c.OutOrStdout()), c) })
	return c
}

// undeclared is told of a verb that ends with a code of which its entry does not know.
var undeclared = func(*verb, exitCode) {}

func (v *verb) mayEnd(code exitCode) bool {
	_, declared := v.ends[code]
	return declared || slices.Contains(always, code)
}

// codeOf is what an error of a verb tells the shell.
func codeOf(err error) exitCode {
	var o outcome
	switch {
	case err == nil:
		return exitShown
	case errors.As(err, &o):
		return o.code
	}
	return exitInput
}

// help prints what there is to know of a verb.
func (v *verb) help(out *page.Page, c *cobra.Command) {
	out.Wrap("", v.asks, 0)
	out.Line("")
	for _, part := range []string{v.about, caution} {
		paragraphs(out, part)
	}
	out.Line("Usage:")
	out.Wrap("  ", c.UseLine(), 6)
	if parts := c.Commands(); len(parts) > 0 {
		out.Line("\nLooking closer, each behind " + c.CommandPath() + " and with its own --help:")
		for _, part := range parts {
			out.Column("  "+part.Name(), part.Short, 14)
		}
	}
	if c.HasAvailableLocalFlags() {
		out.Line("\nFlags:")
		_, _ = out.Write([]byte(c.LocalFlags().FlagUsagesWrapped(page.Width)))
	}
	out.Line("\nExit codes:")
	for _, code := range v.codes() {
		out.Hang(fmt.Sprintf("  %2d  ", code), v.means(code))
	}
	if v.schema != "" {
		out.Line("\nShape of the JSON report: ohmgate schema " + v.schema)
	}
	if v.example != "" {
		out.Line("\nExample:")
		out.Wrap("  ", "ohmgate "+v.example, 6)
	}
}

// paragraphs writes a text whose paragraphs stand a line apart; what is indented stays
// as it is.
func paragraphs(out *page.Page, text string) {
	for _, one := range strings.Split(text, "\n\n") {
		if strings.HasPrefix(one, " ") {
			_, _ = out.Write([]byte(one + "\n"))
		} else {
			out.Wrap("", one, 0)
		}
		out.Line("")
	}
}

// codes are those that the verb may end with, in the order of their numbers.
func (v *verb) codes() (list []exitCode) {
	for _, one := range verdict.Order() {
		if v.mayEnd(one.Exit) {
			list = append(list, one.Exit)
		}
	}
	slices.Sort(list)
	return list
}

// means says what a code means after this verb.
func (v *verb) means(code exitCode) string {
	if text := v.ends[code]; text != "" {
		return text
	}
	for _, one := range verdict.Order() {
		if one.Exit == code {
			return one.Means
		}
	}
	return ""
}
