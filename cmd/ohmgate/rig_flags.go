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

// misplaced refuses flags that would be ignored: somebody meant something by them.
func misplaced(c *cobra.Command, args []string, verbs []*verb) error {
	given := c.Flags()
	var asked *verb
	for _, v := range verbs {
		if asked == nil && v.asked != "" && given.Changed(v.asked) && (v.asked != "twin" || len(args) == 1) {
			asked = v
		}
	}
	var problem error
	given.Visit(func(f *pflag.Flag) {
		switch {
		case problem != nil, c.LocalFlags().Lookup(f.Name) == nil: // the second: of the whole program
		case asked != nil && f.Name != asked.asked && !slices.Contains(asked.flags.names(), f.Name):
			problem = failed(exitInput, "%s; leave out --%s", asked.instead, f.Name)
		case asked == nil && !slices.Contains(verbs[0].flags.names(), f.Name):
			problem = onlyWith(f.Name, verbs)
		}
	})
	return problem
}

// onlyWith says with which flag one means something; nil where it asks by itself.
func onlyWith(flag string, verbs []*verb) error {
	for _, v := range verbs {
		if v.asked != flag && slices.Contains(v.flags.names(), flag) {
			return failed(exitInput, "--%s means something only with --%s; add that, or leave it out", flag, v.asked)
		}
	}
	return nil
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
