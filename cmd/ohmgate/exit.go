package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// exitCode is what a verb tells the shell.
type exitCode = verdict.Exit

// Short names of the codes for the verbs.
const (
	exitShown      = verdict.ExitShown
	exitViolated   = verdict.ExitViolated
	exitInput      = verdict.ExitInput
	exitIncomplete = verdict.ExitIncomplete
	exitNothing    = verdict.ExitNothing
	exitLost       = verdict.ExitLost
	exitInternal   = verdict.ExitInternal
)

// worse is the code of two results together.
func worse(a, b exitCode) exitCode { return verdict.WorseExit(a, b) }

// outcome ends a verb with a code. A nil cause says that everything that was to
// be said has been printed already.
type outcome struct {
	code  exitCode
	cause error
}

func (o outcome) Error() string {
	if o.cause == nil {
		return fmt.Sprintf("exit %d", o.code)
	}
	return o.cause.Error()
}

func (o outcome) Unwrap() error { return o.cause }

// ended is nil for "all shown", so that a verb can return it as its error.
func ended(code exitCode) error {
	if code == exitShown {
		return nil
	}
	return outcome{code: code}
}

// failed ends a verb with a message for people.
func failed(code exitCode, format string, args ...any) error {
	return outcome{code, fmt.Errorf(format, args...)}
}

// finish prints a report, for programs or for people, and ends with its code. What
// could not be printed whole is lost.
func finish(out io.Writer, asJSON bool, code exitCode, report any, tell func(out *page.Page)) error {
	if asJSON {
		if err := writeIndented(out, report); err != nil {
			return failed(exitLost, "%w", err)
		}
		return ended(code)
	}
	p := page.On(out)
	tell(p)
	if err := p.Err(); err != nil {
		return failed(exitLost, "%w", err)
	}
	return ended(code)
}

// writeIndented writes one value as JSON that people can read as well.
func writeIndented(out io.Writer, value any) error {
	encoder := json.NewEncoder(out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

// headed is the head of a report of this program.
func headed[S int | string](schema S, verb string) verdict.Head[S] {
	return verdict.Head[S]{Schema: schema, Tool: toolVersion(), Verb: verb}
}

// report prints an error, if there is anything to print, and gives its code.
// An error that no verb has judged came from the command line: wrong input.
func report(w io.Writer, err error) exitCode {
	var o outcome
	if !errors.As(err, &o) {
		o = outcome{exitInput, err}
	}
	if o.cause != nil {
		tellError(w, o.cause)
	}
	return o.code
}

// placed is how a message about a file begins: with its place.
var placed = regexp.MustCompile(`^[^:\n]+:[0-9]+:[0-9]+: `)

// tellError prints an error within the width of a page. What is wrong in a file
// begins with its place, as editors look for it.
func tellError(w io.Writer, err error) {
	text := err.Error()
	if !placed.MatchString(text) {
		text = "ohmgate: " + text
	}
	for _, line := range strings.Split(text, "\n") {
		if page.Columns(line) <= page.Width {
			fmt.Fprintln(w, line)
		} else {
			page.On(w).Wrap("", line, 4)
		}
	}
}
