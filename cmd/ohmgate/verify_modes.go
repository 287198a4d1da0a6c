package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
)

// verifyModes are the flags that ask for something else than the properties, each
// with the flags that it heeds. "" is the verification of the properties itself.
// What a mode would silently ignore is refused: somebody relied on it.
var verifyModes = map[string][]string{
	"":           {"json", "all", "audit", "memory", "workers", "output", "property", "runs"},
	"self-check": {"json", "memory", "workers"},
	"faults":     {"json", "memory", "workers", "output", "pairs", "csv", "runs"},
	"window":     {"json", "workers", "plot"},
	"joint":      {"json", "memory", "workers", "output", "property", "runs"},
	"emit":       {"output", "property", "channel", "vessel", "bypass", "bound"},
}

// checkModes refuses flags that do not go together, and flags that say nothing.
func checkModes(flags *pflag.FlagSet) error {
	var given, modes []string
	var empty error
	flags.Visit(func(f *pflag.Flag) {
		if text := f.Value.String(); text == "" || text == "[]" {
			empty = failed(exitInput, "--%s names nothing; write a name behind it, or leave it out", f.Name)
		}
		if _, is := verifyModes[f.Name]; is && f.Value.String() != "false" {
			modes = append(modes, f.Name)
		} else if !is {
			given = append(given, f.Name)
		}
	})
	switch {
	case empty != nil:
		return empty
	case len(modes) > 1:
		return failed(exitInput, "--%s and --%s are two different things; write one of them", modes[0], modes[1])
	}
	mode := ""
	if len(modes) == 1 {
		mode = modes[0]
	}
	for _, name := range given {
		if !slices.Contains(verifyModes[mode], name) {
			return ignoredBy(mode, name)
		}
	}
	return nil
}

// ignoredBy says where a flag belongs.
func ignoredBy(mode, name string) error {
	var heed []string
	for other, flags := range verifyModes {
		if other != "" && slices.Contains(flags, name) {
			heed = append(heed, "--"+other)
		}
	}
	slices.Sort(heed)
	switch {
	case mode != "":
		return failed(exitInput, "--%s does not go with --%s, which would ignore it; leave one of them out", name, mode)
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
