package main

import (
	"bytes"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// rigTask is one of the things that the verb does, with the flags that mean something to it.
type rigTask struct {
	what, flags string
}

var (
	checksRecord = rigTask{"--check reads a record and plays nothing", "check head json junit page table"}
	decodesBus   = rigTask{"--decode reads a recording and plays nothing", "decode line master json"}
	covers       = rigTask{"--coverage reads records and plays nothing", "coverage twin json"}
	writesGaps   = rigTask{"--gaps reads records and plays nothing", "gaps twin json"}
	offersTwin   = rigTask{"rig --twin SITE only offers terminals; with a scenario it plays", "twin wrong"}
	analyses     = rigTask{
		"--analyser reads a record and plays nothing",
		"analyser stimulus response cause output bounce sample record confidence tester witness temperature humidity condition remark json junit page table",
	}
)

// tasks are those with a flag of their own.
var tasks = []rigTask{checksRecord, decodesBus, covers, writesGaps, analyses}

// own is the flag that asks for a task.
func (t *rigTask) own() string { name, _, _ := strings.Cut(t.flags, " "); return name }

func (t *rigTask) knows(flag string) bool { return slices.Contains(strings.Fields(t.flags), flag) }

// misplaced refuses flags that would be ignored: somebody meant something by them.
func misplaced(verb *cobra.Command, args []string) error {
	given := verb.Flags()
	var asked *rigTask
	for i := range tasks {
		if given.Changed(tasks[i].own()) && asked == nil {
			asked = &tasks[i]
		}
	}
	if asked == nil && given.Changed("twin") && len(args) == 1 {
		asked = &offersTwin
	}
	var problem error
	given.Visit(func(f *pflag.Flag) {
		switch {
		case problem != nil, verb.LocalFlags().Lookup(f.Name) == nil: // the second: of the whole program
		case asked != nil && !asked.knows(f.Name):
			problem = failed(exitInput, "%s; leave out --%s", asked.what, f.Name)
		case asked == nil && f.Name != "confidence" && onlyOf(f.Name) != "":
			problem = failed(exitInput, "--%s means something only with --%s; add that, or leave it out", f.Name, onlyOf(f.Name))
		}
	})
	return problem
}

// onlyOf is the task that a flag belongs to where runs know nothing of it; empty where they do.
func onlyOf(flag string) string {
	if slices.Contains(strings.Fields("head line master stimulus response cause output bounce sample"), flag) {
		for i := range tasks {
			if tasks[i].knows(flag) {
				return tasks[i].own()
			}
		}
	}
	return ""
}

var hash = regexp.MustCompile(`^[0-9a-f]{64}$`)

// pageHash reads the hash from a signed page, as somebody types it.
func pageHash(text string) (string, error) {
	plain := strings.ToLower(strings.Join(strings.Fields(text), ""))
	if !hash.MatchString(plain) {
		return "", failed(exitInput, "--head %q is no hash; write the 64 digits 0-9 a-f from the signed page", text)
	}
	return plain, nil
}

// swapped says that a site and a scenario were named in the wrong order.
func swapped(siteFile, scenarioFile string) error {
	text, err := os.ReadFile(siteFile)
	if err != nil || !bytes.HasPrefix(text, []byte("scenario:")) && !bytes.Contains(text, []byte("\nscenario:")) {
		return nil
	}
	return failed(exitInput, "%s is a scenario: the arguments are swapped; write\n%s", siteFile, fmt.Sprintf("  ohmgate rig %s %s", scenarioFile, siteFile))
}
