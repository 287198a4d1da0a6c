package main

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// takes is what a flag takes: the word in back quotes of its help.
var takes = regexp.MustCompile("`([^`]+)`")

// offer completes what the flag takes: its words, names of directories, or of files.
func (f *flagEntry) offer(c *cobra.Command) {
	what := takes.FindStringSubmatch(f.help)
	switch {
	case f.words != nil:
		_ = c.RegisterFlagCompletionFunc(f.name, cobra.FixedCompletions(f.words, cobra.ShellCompDirectiveNoFileComp))
	case what != nil && slices.Contains([]string{"directory", "folder"}, what[1]):
		_ = c.MarkFlagDirname(f.name)
	case what == nil || what[1] != "file":
		_ = c.RegisterFlagCompletionFunc(f.name, cobra.NoFileCompletions)
	}
}

// complete offers what may be named next: the verb's words, or files.
func (v *verb) complete(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	words := strings.Fields(v.args)
	if len(args) == 0 && v.words != nil {
		return v.words, cobra.ShellCompDirectiveNoFileComp
	}
	switch at := min(len(args), len(words)-1); {
	case at < 0 || len(args) > at && !strings.Contains(words[at], "..."):
		return nil, cobra.ShellCompDirectiveNoFileComp
	case strings.HasPrefix(words[at], "SITE") || strings.HasPrefix(words[at], "SCENARIO"):
		return []string{"yaml", "yml"}, cobra.ShellCompDirectiveFilterFileExt
	case words[at] == "DIR":
		return nil, cobra.ShellCompDirectiveFilterDirs
	}
	return nil, cobra.ShellCompDirectiveDefault
}

// shells are those for which a completion can be printed.
var shells = []string{"bash", "fish", "powershell", "zsh"}

func completionVerbs() []*verb {
	v := &verb{
		name: "completion", args: "SHELL", asks: "How does a shell complete what is written behind ohmgate?",
		about: "completion prints a script for a shell: " + strings.Join(shells, ", ") + ".",
		ends:  ends{exitShown: "the script was printed"}, example: "completion bash", words: shells,
	}
	v.run = func(c *cobra.Command, args []string) (err error) {
		root, out := c.Root(), c.OutOrStdout()
		switch args[0] {
		case "bash":
			err = root.GenBashCompletionV2(out, true)
		case "fish":
			err = root.GenFishCompletion(out, true)
		case "powershell":
			err = root.GenPowerShellCompletionWithDesc(out)
		case "zsh":
			err = root.GenZshCompletion(out)
		default:
			return failed(exitInput, "no shell is called %q; write one of %s", args[0], strings.Join(shells, ", "))
		}
		if err != nil {
			return failed(exitLost, "%w", fmt.Errorf("the script cannot be printed: %w", err))
		}
		return nil
	}
	return []*verb{v}
}
