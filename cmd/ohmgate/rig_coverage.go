package main

import (
	"fmt"
	"io"

	"ohmgate/cmd/ohmgate/coverage"
	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// bench is the site on its bench, and what can be verified of it.
func (f *rigFiles) bench() (*coverage.Bench, error) {
	b, err := coverage.NewBench(f.site, f.logic, f.wires)
	if err != nil {
		return nil, failed(exitInput, "%w", err)
	}
	return b, nil
}

// covered is what of the verified graph was seen.
func (f *rigFiles) covered(seen map[string]bool) (*coverage.Verified, stimulus.Coverage, error) {
	b, err := f.bench()
	if err != nil {
		return nil, stimulus.Coverage{}, err
	}
	v, err := b.Verified()
	if err != nil {
		return nil, stimulus.Coverage{}, failed(exitInternal, "%w", err)
	}
	return v, v.Covered(seen), nil
}

// coverageReport is what rig coverage says, for machines.
type coverageReport struct {
	verdict.Head[string]
	Site     string            `json:"site"`
	Hash     string            `json:"site_sha256"`
	Twin     bool              `json:"twin"`
	Records  []string          `json:"records"`
	Sheets   int               `json:"sheets"`
	Notes    []string          `json:"notes"`
	Over     string            `json:"coverage_over"`
	Coverage stimulus.Coverage `json:"coverage"`
	Exit     verdict.Exit      `json:"exit"`
}

// readRecords reads a site and what its records say of the graph.
func readRecords(args []string, twin bool) (*rigFiles, *coverage.Records, error) {
	files, err := readRig(args[0], "")
	if err != nil {
		return nil, nil, err
	}
	read := coverage.NewRecords(files.site.Hash, twin)
	for _, name := range args[1:] {
		report, sheets, err := readBack(name)
		if err != nil {
			return nil, nil, failed(exitInput, "%w; name a record that a run has written", err)
		}
		if len(report.Problems) > 0 {
			p := report.Problems[0]
			return nil, nil, failed(exitInput, "%s:%d:%d: %s; a changed record shows nothing: ohmgate rig check %s", p.File, p.Line, p.Column, p.Text, name)
		}
		counts, older := read.Sheets, read.Against[coverage.NotGraphed]
		read.Read(sheets)
		if read.Sheets == counts && read.Against[coverage.NotGraphed] > older {
			return nil, nil, failed(exitInput, "%s: its sheets were written before the verified graph was recorded;\nplay the scenarios again with --record and another file", name)
		}
	}
	return files, read, nil
}

// notCounted says which sheets count for nothing.
func notCounted(r *coverage.Records) []string {
	list := []string{}
	for because, count := range r.Against {
		if count > 0 {
			list = append(list, fmt.Sprintf("%s not counted: %s", counted(count, "sheet"), coverage.Discount(because)))
		}
	}
	return list
}

// sayCoverage says what of the graph some records have seen.
func sayCoverage(out io.Writer, args []string, o *rigOptions) error {
	files, read, err := readRecords(args, o.twin)
	if err != nil {
		return err
	}
	_, made, err := files.covered(read.Seen)
	if err != nil {
		return err
	}
	found := verdict.NotShown
	switch {
	case len(made.Seen)+len(made.Gaps) == 0:
		found = verdict.NothingChecked
	case len(made.Gaps) == 0:
		found = verdict.Shown
	}
	report := &coverageReport{
		Head: headed("ohmgate coverage 1", "rig --coverage"), Site: files.site.Name, Hash: files.site.Hash,
		Twin: o.twin, Records: append([]string{}, args[1:]...), Sheets: read.Sheets, Notes: notCounted(read), Over: coverage.Over, Coverage: made, Exit: found.Exit(),
	}
	return finish(out, o.json, report.Exit, report, func(p *page.Page) { tellCovered(p, report, found) })
}

func tellCovered(out *page.Page, r *coverageReport, found verdict.Verdict) {
	where := map[bool]string{true: "twin (no bench)", false: "bench"}[r.Twin]
	out.Wrap("", fmt.Sprintf("%s on the %s, after %s", r.Site, where, counted(r.Sheets, "sheet")), 2)
	for _, text := range r.Notes {
		out.Wrap("  ", text, 4)
	}
	tellCoverage(out, &r.Coverage)
	tellCannot(out, &r.Coverage)
	out.Line(found.String() + ": " + map[verdict.Verdict]string{
		verdict.Shown: "all that this bench can show was seen", verdict.NothingChecked: "this bench judges no output",
		verdict.NotShown: "ohmgate rig gaps DIR SITE RECORD... writes scenarios for the rest",
	}[found])
}

// mostListed is how many gaps rig coverage prints.
const mostListed = 40

// tellCoverage prints the shares and the first gaps.
func tellCoverage(out *page.Page, c *stimulus.Coverage) {
	total := stimulus.Share{}
	fmt.Fprintln(out, "of the verified graph   seen  not seen  this bench cannot   share of what it can")
	line := func(name string, s stimulus.Share) {
		share := "-"
		if can := s.Seen + s.Gaps; can > 0 {
			share = fmt.Sprintf("%d %%", 100*s.Seen/can)
		}
		fmt.Fprintf(out, "  %-20s %6d %9d %18d %8s\n", name, s.Seen, s.Gaps, s.Cannot, share)
	}
	for _, s := range c.Shares {
		line(s.Kind.String(), s)
		total.Seen, total.Gaps, total.Cannot = total.Seen+s.Seen, total.Gaps+s.Gaps, total.Cannot+s.Cannot
	}
	line("together", total)
	for i, gap := range c.Gaps {
		if i == mostListed {
			fmt.Fprintf(out, "  and %d more: ohmgate rig coverage --json SITE RECORD lists all\n", len(c.Gaps)-i)
			break
		}
		out.Wrap("  not seen  ", gap.Text, 12)
	}
}

// tellCannot prints why some places are beyond the bench, each reason once.
func tellCannot(out *page.Page, c *stimulus.Coverage) {
	var order []string
	places := map[string][]string{}
	for _, one := range c.Cannot {
		if places[one.Because] == nil {
			order = append(order, one.Because)
		}
		places[one.Because] = append(places[one.Because], one.Text)
	}
	for _, why := range order {
		list := places[why]
		text := fmt.Sprintf("%s: %s", why, list[0])
		if len(list) > 1 {
			text += fmt.Sprintf(", and %d more", len(list)-1)
		}
		out.Wrap("  cannot    ", text, 12)
	}
}
