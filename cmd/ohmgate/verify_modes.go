package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
)

// checkModes refuses flags that do not go together, and flags that say nothing. A
// flag that asks for something else than the properties is answered by the verb that
// looks closer; what that one would silently ignore is refused: somebody relied on it.
func checkModes(given *pflag.FlagSet, verbs []*verb) error {
	if err := namesNothing(given); err != nil {
		return err
	}
	var beside []string
	var asked []*verb
	given.Visit(func(f *pflag.Flag) {
		mode := slices.IndexFunc(verbs, func(v *verb) bool { return v.asked == f.Name })
		if mode < 0 {
			beside = append(beside, f.Name)
		} else if f.Value.String() != "false" {
			asked = append(asked, verbs[mode])
		}
	})
	if len(asked) > 1 {
		return failed(exitInput, "--%s and --%s are two different things; write one of them", asked[0].asked, asked[1].asked)
	}
	mode := verbs[0]
	if len(asked) == 1 {
		mode = asked[0]
	}
	for _, name := range beside {
		if !slices.Contains(mode.flags.names(), name) {
			return ignoredBy(mode, name, verbs)
		}
	}
	return nil
}

// namesNothing refuses flags that are given and empty.
func namesNothing(given *pflag.FlagSet) (empty error) {
	given.Visit(func(f *pflag.Flag) {
		if text := f.Value.String(); text == "" || text == "[]" {
			empty = failed(exitInput, "--%s names nothing; write a name behind it, or leave it out", f.Name)
		}
	})
	return empty
}

// ignoredBy says where a flag belongs.
func ignoredBy(mode *verb, name string, verbs []*verb) error {
	var heed []string
	for _, v := range verbs {
		if v.asked != "" && slices.Contains(v.flags.names(), name) {
			heed = append(heed, "--"+v.asked)
		}
	}
	slices.Sort(heed)
	switch {
	case mode.asked != "":
		return failed(exitInput, "--%s does not go with --%s, which would ignore it; leave one of them out", name, mode.asked)
	case len(heed) == 0:
		return failed(exitInput, "--%s does not go with verify; leave it out", name)
	}
	return failed(exitInput, "--%s belongs to %s; write both, or leave it out", name, strings.Join(heed, " or "))
}

// wholeFlag is a flag that takes a whole number within bounds.
type wholeFlag struct {
	value, least, most uint64
	example            string
}

func (w *wholeFlag) String() string { return fmt.Sprint(w.value) }

func (w *wholeFlag) Type() string { return "number" }

func (w *wholeFlag) Set(text string) error {
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil || n < w.least || n > w.most {
		return fmt.Errorf("not a whole number from %d to %d, such as %s", w.least, w.most, w.example)
	}
	w.value = n
	return nil
}
