package main

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/graph"
	"ohmgate/interlock/verify/model"
	"ohmgate/monitor"
	"ohmgate/sim"
)

// gapFile is a scenario for a gap, and all gaps that it closes.
type gapFile struct {
	Name   string   `json:"file"`
	Gap    string   `json:"gap"`
	Lasts  float64  `json:"lasts_seconds"`
	Closes []string `json:"closes"`
	text   []byte
}

// gapOpen is a gap that no scenario was written for.
type gapOpen struct {
	Gap     string `json:"gap"`
	Because string `json:"because"`
}

// gapReport is what --gaps says, for machines.
type gapReport struct {
	Schema string    `json:"schema"`
	Tool   string    `json:"tool"`
	Verb   string    `json:"verb"`
	Site   string    `json:"site"`
	Hash   string    `json:"site_sha256"`
	Files  []gapFile `json:"files"`
	Open   []gapOpen `json:"open"`
	Full   bool      `json:"nothing_left_to_try"`
	Exit   int       `json:"exit"`
}

// coverVerb is --coverage and --gaps.
func coverVerb(out io.Writer, o *rigOptions, args []string) error {
	switch {
	case len(args) == 0:
		return failed(exitInput, "name a site and its records: ohmgate rig --coverage SITE RECORD")
	case o.coverage && o.gaps != "":
		return failed(exitInput, "--coverage and --gaps are asked one after the other; leave one out")
	case o.coverage:
		return tellRecorded(out, args, o)
	}
	return writeGaps(out, o, args)
}

// writeGaps finds, plays and writes scenarios for what a bench has not seen and can show.
func writeGaps(out io.Writer, o *rigOptions, args []string) error {
	files, read, err := readSighted(args, o.twin)
	if err != nil {
		return err
	}
	if err := emptyOfGaps(o.gaps); err != nil {
		return err
	}
	made, goals, err := files.verified()
	if err != nil {
		return err
	}
	w := &gapWriter{rigFiles: files, graph: made, coverage: files.covered(goals, read.Seen)}
	if err := w.find(); err != nil {
		return err
	}
	if err := os.MkdirAll(o.gaps, 0o755); err != nil {
		return failed(exitInput, "%w", err)
	}
	for i := range w.kept {
		one := &w.kept[i]
		one.Name = filepath.Join(o.gaps, one.Name)
		if err := writeBeside(one.Name, func(f io.Writer) error { _, err := f.Write(one.text); return err }); err != nil {
			return failed(exitLost, "%w", err)
		}
	}
	code := exitShown
	switch {
	case len(w.coverage.Seen)+len(w.coverage.Gaps) == 0:
		code = exitNothing
	case len(w.open) > 0:
		code = exitIncomplete
	}
	if o.json {
		made := gapReport{Schema: "ohmgate gaps 1", Tool: toolVersion(), Verb: "rig --gaps", Site: files.site.Name, Hash: files.site.Hash,
			Files: append([]gapFile{}, w.kept...), Open: append([]gapOpen{}, w.open...), Full: w.full, Exit: int(code)}
		if err := encode(out, made); err != nil {
			return err
		}
		return ended(code)
	}
	w.tell(out, code)
	return ended(code)
}

// emptyOfGaps refuses a directory that holds scenarios of an earlier search: nobody could tell which are which.
func emptyOfGaps(directory string) error {
	old, err := filepath.Glob(filepath.Join(directory, "gap_*.yaml"))
	if err == nil && len(old) > 0 {
		return failed(exitInput, "%s holds %s of an earlier search; name another directory, or move them away", directory, counted(len(old), "scenario"))
	}
	return nil
}

// gapWriter turns gaps into files.
type gapWriter struct {
	*rigFiles
	graph    *graph.Graph
	coverage stimulus.Coverage
	model    *model.Model
	kept     []gapFile
	named    map[string]graph.Transition // by what records call them
	open     []gapOpen
	full     bool
}

// find searches paths, turns each into a scenario, and keeps those that really pass through their gap when simulated, the
// shortest first; in the end those go whose gaps others close as well.
func (w *gapWriter) find() (err error) {
	if w.model, err = model.FromSite(w.site); err != nil {
		return failed(exitInput, "%w", err)
	}
	if !w.plays() {
		for _, gap := range w.coverage.Gaps {
			w.open = append(w.open, gapOpen{gap.Text, "this bench reads and plays nothing: do it by hand during rig --stand-in"})
		}
		return nil
	}
	w.named = map[string]graph.Transition{}
	for _, t := range w.graph.Transitions {
		w.named[t.Text(w.model)] = t
	}
	wanted := map[graph.Transition]bool{}
	for _, gap := range w.coverage.Gaps {
		if gap.Kind != stimulus.Fault {
			wanted[w.named[gap.Text]] = true
		}
	}
	running := w.enablings()
	for _, t := range running {
		wanted[t] = true
	}
	paths, full := graph.Paths(w.model, w.wires.Judged(), w.environment(), wanted)
	w.full = full
	gaps := slices.Clone(w.coverage.Gaps) // those on the way of longer ones first
	length := func(p stimulus.Goal) uint64 {
		path, _ := w.pathOf(p, paths, running)
		return path.Scans
	}
	slices.SortStableFunc(gaps, func(a, b stimulus.Goal) int { return int(length(a)) - int(length(b)) })
	closed := map[string]bool{}
	for _, gap := range gaps {
		if closed[gap.Text] {
			continue
		}
		path, ok := w.pathOf(gap, paths, running)
		if !ok {
			w.open = append(w.open, gapOpen{gap.Text, w.notFound()})
			continue
		}
		made, because := w.play(gap, path)
		if because != "" {
			w.open = append(w.open, gapOpen{gap.Text, because})
			continue
		}
		for _, name := range made.Closes {
			closed[name] = true
		}
		w.kept = append(w.kept, made)
	}
	w.open = slices.DeleteFunc(w.open, func(one gapOpen) bool { return closed[one.Gap] })
	w.thin()
	return nil
}

func (w *gapWriter) notFound() string {
	if w.full {
		return "nothing that this bench can do leads there"
	}
	return fmt.Sprintf("no scenario found among the %d shortest stories from each beginning", graph.MostNodes)
}

// enablings are the ways in which the judged outputs come to run for the first time.
func (w *gapWriter) enablings() (list []graph.Transition) {
	for _, t := range w.graph.Transitions {
		if t.Kind == interlock.OutputEnabled && t.Mode == interlock.KeptOut {
			list = append(list, t)
		}
	}
	return list
}

// pathOf is the path for a gap; a fault is played while an output runs in whose cone it lies.
func (w *gapWriter) pathOf(gap stimulus.Goal, paths map[graph.Transition]graph.Path, running []graph.Transition) (graph.Path, bool) {
	t := w.named[gap.Text]
	if gap.Kind != stimulus.Fault {
		path, ok := paths[t]
		return path, ok
	}
	for _, runs := range running {
		if path, ok := paths[runs]; ok && slices.Contains(w.graph.Outputs(t), runs.Subject) {
			return path, true
		}
	}
	return graph.Path{}, false
}

// thin drops files whose gaps the others close as well, the shortest first: they lie on the way of longer ones.
func (w *gapWriter) thin() {
	count := map[string]int{}
	for _, one := range w.kept {
		for _, name := range one.Closes {
			count[name]++
		}
	}
	slices.SortStableFunc(w.kept, func(a, b gapFile) int { return cmp.Compare(a.Lasts, b.Lasts) })
	w.kept = slices.DeleteFunc(w.kept, func(one gapFile) bool {
		if slices.ContainsFunc(one.Closes, func(name string) bool { return count[name] == 1 }) {
			return false
		}
		for _, name := range one.Closes {
			count[name]--
		}
		return true
	})
	for i := range w.kept {
		w.kept[i].Name = strings.Replace(w.kept[i].Name, "gap_", fmt.Sprintf("gap_%02d_", i+1), 1)
	}
}

// environment is what the wires of the bench can do.
func (w *gapWriter) environment() *graph.Environment {
	e := &graph.Environment{Shows: make([][monitor.Classes]bool, len(w.site.Channels))}
	e.Drives, e.Supply = w.wires.CanPlay()
	late := w.site.Rig.Supply.Boot + w.wires.Load().Cycle
	e.Slack = 5 + uint64((late+w.site.Period.Max-1)/w.site.Period.Max)
	for i := range e.Shows {
		for class := monitor.Class(0); class < monitor.Classes; class++ {
			e.Shows[i][class] = stimulus.Shows(w.wires, i, &w.logic.Channels[i].Config, class)
		}
	}
	return e
}

// play makes a scenario of a path. A story in which nothing is energised gets an ending in which something is: a dead unit does
// nothing either, and such a run would not be judged.
func (w *gapWriter) play(gap stimulus.Goal, path graph.Path) (made gapFile, because string) {
	first := ""
	for _, how := range []ending{asItIs, putRight, restarted} {
		if made, because = w.try(gap, path, how); because == "" {
			return made, ""
		}
		if first == "" || first == notEnergised {
			first = because
		}
	}
	return made, first
}

const notEnergised = "no way was found to end its story with an output energised, and without that no step is judged"

// try keeps a scenario only if the bench can play and judge it and the simulated logic goes through the gap.
func (w *gapWriter) try(gap stimulus.Goal, path graph.Path, how ending) (made gapFile, because string) {
	name := "gap_" + slug(gap.Text)
	text := w.scenario(name, gap, path, how)
	scenario, problems := sim.ParseScenario(name, text, w.site)
	if problems != nil {
		return made, "the scenario for it cannot be written: " + problems[0].Text
	}
	switch changes, why := w.rehearse(scenario); {
	case why != "":
		return made, "this bench cannot play it: " + why
	case changes == 0:
		return made, notEnergised
	}
	observer := graph.NewObserver(w.model)
	plant, _, length := sim.Prepare(w.site, w.logic, scenario, scenario.Seed)
	pace := &pace{w: w}
	if err := loop.New(w.logic).Run(plant, observer, pace); err != nil {
		return made, err.Error()
	}
	if pace.hasty {
		return made, "on the way an output changes twice, faster than its contact can be seen to follow"
	}
	seen := observer.Texts()
	if gap.Kind == stimulus.Fault {
		seen = append(seen, gap.Text)
	}
	if result, err := sim.Run(w.site, scenario, sim.Options{}); err != nil || result.Verdict() != verdict.Shown {
		return made, "the simulated plant does not go there as the search thought"
	}
	made = gapFile{Name: name + ".yaml", Gap: gap.Text, Lasts: (time.Duration(length) * plant.Period).Seconds(), text: text}
	for _, one := range w.coverage.Gaps {
		if slices.Contains(seen, one.Text) {
			made.Closes = append(made.Closes, one.Text)
		}
	}
	if !slices.Contains(made.Closes, gap.Text) {
		return made, "the simulated plant does not go there as the search thought"
	}
	return made, ""
}

// tell prints what was written and what stays open.
func (w *gapWriter) tell(out io.Writer, code exitCode) {
	closes := map[string]bool{}
	for _, one := range w.kept {
		for _, name := range one.Closes {
			closes[name] = true
		}
		printWrapped(out, fmt.Sprintf("%6.2f s  ", one.Lasts), fmt.Sprintf("%s: closes %s", one.Name, counted(len(one.Closes), "gap")), 10)
	}
	for _, one := range w.open {
		printWrapped(out, "    open  ", one.Gap+": "+one.Because, 10)
	}
	fmt.Fprintf(out, "%s for %d of %s; each was simulated and passes through its gap\n", counted(len(w.kept), "scenario"), len(closes), counted(len(w.coverage.Gaps), "gap"))
	fmt.Fprintln(out, map[exitCode]string{exitShown: "shown: every gap has its scenario", exitIncomplete: "not shown: some gaps stay open", exitNothing: "nothing checked: this bench judges no output, or can show nothing of it"}[code])
}
