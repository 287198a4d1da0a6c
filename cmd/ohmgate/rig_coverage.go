package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verify/graph"
	"ohmgate/interlock/verify/model"
	"ohmgate/sim"
)

const coverageOver = "the verified graph: what each part can do with its neighbours free, and every fault in the cones of the outputs that the bench judges"

// verified is the graph of the outputs that a bench judges.
func (f *rigFiles) verified() (*graph.Graph, []stimulus.Goal, error) {
	m, err := model.FromSite(f.site)
	if err != nil {
		return nil, nil, failed(exitInput, "%w", err)
	}
	judged := f.wires.Judged()
	if len(judged) == 0 {
		return &graph.Graph{}, []stimulus.Goal{}, nil
	}
	made, err := graph.Make(m, model.Options{Outputs: judged})
	if err != nil {
		return nil, nil, failed(exitInternal, "%w", err)
	}
	goals := []stimulus.Goal{}
	for _, t := range made.Transitions {
		goals = append(goals, goal(m, t))
	}
	return made, goals, nil
}

// sight notes what of the graph a run passes through.
func (f *rigFiles) sight() (func() (loop.Watcher, func() []string), error) {
	m, err := model.FromSite(f.site)
	if err != nil {
		return nil, failed(exitInput, "%w", err)
	}
	return func() (loop.Watcher, func() []string) {
		observer := graph.NewObserver(m)
		return observer, observer.Texts
	}, nil
}

// covered is the coverage of what was seen.
func (f *rigFiles) covered(goals []stimulus.Goal, seen map[string]bool) stimulus.Coverage {
	return stimulus.Covered(f.wires, f.logic, goals, seen, f.refuses)
}

// plays says that the bench plays anything to a unit; else it reads the plant, and people move that by hand.
func (f *rigFiles) plays() bool {
	return slices.ContainsFunc(f.wires.Contacts, func(t *wiring.Terminal) bool { return t != nil })
}

// refuses says why the bench cannot play a fault: a short story with it is rehearsed.
func (f *rigFiles) refuses(one stimulus.Goal) string {
	if !f.plays() {
		return ""
	}
	samples := fault.AsBefore | fault.NothingComes | fault.ComesAgain
	if sees := fault.Named(one.Fault).Sees.Readings; sees != 0 && sees&^samples == 0 {
		return "it happens to samples inside the instrument: a resistance is always there"
	}
	text := "scenario: try\nlasts: 3 s\nsteps:\n" + f.allWell() + "faults:\n" + faultLine(one.Fault, one.Name, time.Second)
	scenario, problems := sim.ParseScenario("try", []byte(text), f.site)
	if problems != nil {
		return problems[0].Text
	}
	_, because := f.rehearse(scenario)
	return because
}

// rehearse says how often the judged outputs change in a scenario, or why the bench cannot play it.
func (f *rigFiles) rehearse(scenario *sim.Scenario) (changes int, because string) {
	plant, _, _ := sim.Prepare(f.site, f.logic, scenario, scenario.Seed)
	rehearsal, err := stimulus.Rehearse(f.wires, f.logic, plant, time.Now())
	if err == nil {
		return rehearsal.Changes, ""
	}
	var unplayable *stimulus.Unplayable
	if errors.As(err, &unplayable) {
		return 0, unplayable.Obstacles[0].Why
	}
	var problems site.Problems
	if errors.As(err, &problems) && len(problems) > 0 {
		return 0, problems[0].Text
	}
	return 0, err.Error()
}

// allWell are steps that put on every clamp and give every evidence.
func (f *rigFiles) allWell() string {
	var text strings.Builder
	for i := range f.site.Inputs {
		if use := f.site.Inputs[i].Use; use == "evidence" {
			fmt.Fprintf(&text, "  - {at: 0.1 s, do: set, on: %s, to: yes}\n", f.site.Inputs[i].Name)
		}
	}
	for i := range f.site.Channels {
		fmt.Fprintf(&text, "  - {at: 0.1 s, do: connect, on: %s}\n", f.site.Channels[i].Name)
	}
	return text.String()
}

// faultLine is a fault of the catalogue with its defaults, and with an example where it has none.
func faultLine(name, on string, at time.Duration) string {
	one := fault.Named(name)
	if one == nil {
		return ""
	}
	text := fmt.Sprintf("  - {at: %s, fault: %s", quantity.Duration(at), name)
	if one.On != fault.OnLogic && one.On != fault.OnBus {
		text += ", on: " + on
	}
	for _, p := range one.Params {
		if p.Default == "" && p.Unit == fault.Word {
			text += fmt.Sprintf(", %s: %s", p.Name, p.Words[0])
		} else if p.Default == "" {
			text += fmt.Sprintf(", %s: %s", p.Name, exampleUnits[p.Unit].Example())
		}
	}
	return text + "}\n"
}

var exampleUnits = map[fault.Unit]quantity.Dimension{
	fault.Ohm: quantity.Resistance, fault.Second: quantity.Time, fault.Volt: quantity.Voltage, fault.Hertz: quantity.Frequency,
	fault.Celsius: quantity.Temperature, fault.PerMinute: quantity.Rotation, fault.Share: quantity.Ratio,
}

// coverageReport is what --coverage says, for machines.
type coverageReport struct {
	Schema   string            `json:"schema"`
	Tool     string            `json:"tool"`
	Verb     string            `json:"verb"`
	Site     string            `json:"site"`
	Hash     string            `json:"site_sha256"`
	Twin     bool              `json:"twin"`
	Records  []string          `json:"records"`
	Sheets   int               `json:"sheets"`
	Notes    []string          `json:"notes"`
	Over     string            `json:"coverage_over"`
	Coverage stimulus.Coverage `json:"coverage"`
	Exit     int               `json:"exit"`
}

// readSighted reads a site and what its records say of the graph.
func readSighted(args []string, twin bool) (*rigFiles, *sightedRecord, error) {
	files, err := readRig(args[0], "")
	if err != nil {
		return nil, nil, err
	}
	read := newSighted(twin)
	for _, name := range args[1:] {
		report, sheets, err := readBack(name)
		if err != nil {
			return nil, nil, failed(exitInput, "%w; name a record that a run has written", err)
		}
		if len(report.Problems) > 0 {
			p := report.Problems[0]
			return nil, nil, failed(exitInput, "%s:%d:%d: %s; a changed record shows nothing: ohmgate rig --check %s", p.File, p.Line, p.Column, p.Text, name)
		}
		counts, older := read.Counts, read.Against[notGraphed]
		read.read(files, sheets)
		if read.Counts == counts && read.Against[notGraphed] > older {
			return nil, nil, failed(exitInput, "%s: its sheets were written before the verified graph was recorded;\nplay the scenarios again with --record and another file", name)
		}
	}
	return files, read, nil
}

// tellRecorded is --coverage: what of the graph some records have seen.
func tellRecorded(out io.Writer, args []string, o *rigOptions) error {
	files, read, err := readSighted(args, o.twin)
	if err != nil {
		return err
	}
	_, goals, err := files.verified()
	if err != nil {
		return err
	}
	made := files.covered(goals, read.Seen)
	code := exitIncomplete
	switch {
	case len(made.Seen)+len(made.Gaps) == 0:
		code = exitNothing
	case len(made.Gaps) == 0:
		code = exitShown
	}
	if o.json {
		err := encode(out, coverageReport{
			Schema: "ohmgate coverage 1", Tool: toolVersion(), Verb: "rig --coverage", Site: files.site.Name, Hash: files.site.Hash,
			Twin: o.twin, Records: append([]string{}, args[1:]...), Sheets: read.Counts, Notes: append([]string{}, read.notes()...), Over: coverageOver, Coverage: made, Exit: int(code),
		})
		if err != nil {
			return err
		}
		return ended(code)
	}
	where := map[bool]string{true: "twin (no bench)", false: "bench"}[o.twin]
	printWrapped(out, "", fmt.Sprintf("%s on the %s, after %s", files.site.Name, where, counted(read.Counts, "sheet")), 2)
	for _, text := range read.notes() {
		printWrapped(out, "  ", text, 4)
	}
	tellCoverage(out, &made)
	tellCannot(out, &made)
	fmt.Fprintln(out, map[exitCode]string{
		exitShown: "shown: all that this bench can show was seen", exitNothing: "nothing checked: this bench judges no output",
		exitIncomplete: "not shown: ohmgate rig --gaps DIR SITE RECORD... writes scenarios for the rest",
	}[code])
	return ended(code)
}

// mostListed is how many gaps --coverage prints.
const mostListed = 40

// tellCoverage prints the shares and the first gaps.
func tellCoverage(out io.Writer, c *stimulus.Coverage) {
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
			fmt.Fprintf(out, "  and %d more: ohmgate rig --coverage --json SITE RECORD lists all\n", len(c.Gaps)-i)
			break
		}
		printWrapped(out, "  not seen  ", gap.Text, 12)
	}
}

// tellCannot prints why some places are beyond the bench, each reason once.
func tellCannot(out io.Writer, c *stimulus.Coverage) {
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
		printWrapped(out, "  cannot    ", text, 12)
	}
}
