package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"ohmgate/cmd/ohmgate/coverage"
	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// gapReport is what rig gaps says, for machines.
type gapReport struct {
	verdict.Head[string]
	Site  string              `json:"site"`
	Hash  string              `json:"site_sha256"`
	Files []coverage.Scenario `json:"files"`
	Open  []coverage.Open     `json:"open"`
	Full  bool                `json:"nothing_left_to_try"`
	Exit  verdict.Exit        `json:"exit"`
}

// coverVerb is --coverage and --gaps.
func coverVerb(out io.Writer, o *rigOptions, args []string) error {
	switch {
	case len(args) == 0:
		return failed(exitInput, "name a site and its records: ohmgate rig coverage SITE RECORD")
	case o.coverage && o.gaps != "":
		return failed(exitInput, "--coverage and --gaps are asked one after the other; leave one out")
	case o.coverage:
		return sayCoverage(out, args, o)
	}
	return writeGaps(out, o, args)
}

// writeGaps finds, plays and writes scenarios for what a bench has not seen and can show.
func writeGaps(out io.Writer, o *rigOptions, args []string) error {
	files, read, err := readRecords(args, o.twin)
	if err != nil {
		return err
	}
	if err := emptyOfGaps(o.gaps); err != nil {
		return err
	}
	verified, covered, err := files.covered(read.Seen)
	if err != nil {
		return err
	}
	found := verified.CloseGaps(covered.Gaps)
	if err := os.MkdirAll(o.gaps, 0o755); err != nil {
		return failed(exitInput, "%w", err)
	}
	for i := range found.Scenarios {
		one := &found.Scenarios[i]
		one.File = filepath.Join(o.gaps, one.File)
		if err := writeBeside(one.File, func(f io.Writer) error { _, err := f.Write(one.Text); return err }); err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	judged := verdict.Shown
	switch {
	case len(covered.Seen)+len(covered.Gaps) == 0:
		judged = verdict.NothingChecked
	case len(found.Open) > 0:
		judged = verdict.NotShown
	}
	made := gapReport{Head: headed("ohmgate gaps 1", "rig --gaps"), Site: files.site.Name, Hash: files.site.Hash,
		Files: append([]coverage.Scenario{}, found.Scenarios...), Open: append([]coverage.Open{}, found.Open...), Full: found.Complete, Exit: judged.Exit()}
	return finish(out, o.json, made.Exit, made, func(p *page.Page) { tellClosing(p, &found, len(covered.Gaps), judged) })
}

// emptyOfGaps refuses a directory that holds scenarios of an earlier search: nobody could tell which are which.
func emptyOfGaps(directory string) error {
	old, err := filepath.Glob(filepath.Join(directory, "gap_*.yaml"))
	if err == nil && len(old) > 0 {
		return failed(exitInput, "%s holds %s of an earlier search; name another directory, or move them away", directory, counted(len(old), "scenario"))
	}
	return nil
}

// tellClosing prints what was written for so many gaps, and what stays open.
func tellClosing(out *page.Page, found *coverage.Closing, gaps int, judged verdict.Verdict) {
	closes := map[string]bool{}
	for _, one := range found.Scenarios {
		for _, name := range one.Closes {
			closes[name] = true
		}
		out.Wrap(fmt.Sprintf("%6.2f s  ", one.Lasts), fmt.Sprintf("%s: closes %s", one.File, counted(len(one.Closes), "gap")), 10)
	}
	for _, one := range found.Open {
		out.Wrap("    open  ", one.Gap+": "+one.Because, 10)
	}
	fmt.Fprintf(out, "%s for %d of %s; each was simulated and passes through its gap\n", counted(len(found.Scenarios), "scenario"), len(closes), counted(gaps, "gap"))
	out.Line(judged.String() + ": " + map[verdict.Verdict]string{
		verdict.Shown: "every gap has its scenario", verdict.NotShown: "some gaps stay open",
		verdict.NothingChecked: "this bench judges no output, or can show nothing of it",
	}[judged])
}
