package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ohmgate/hwio/rig"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verify"
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
	graph, places, err := files.verified()
	if err != nil {
		return err
	}
	w := &gapWriter{rigFiles: files, graph: graph, coverage: files.covered(places, read.Seen)}
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
	if len(w.open) > 0 {
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
	graph    *verify.Graph
	coverage rig.Coverage
	model    *verify.Model
	kept     []gapFile
	open     []gapOpen
	full     bool
}

// find searches tours, turns each into a scenario, and keeps those that really pass through their gap when simulated, the
// shortest first; in the end those go whose gaps others close as well.
func (w *gapWriter) find() (err error) {
	if w.model, err = verify.FromSite(w.site); err != nil {
		return failed(exitInput, "%w", err)
	}
	if !w.plays() {
		for _, gap := range w.coverage.Gaps {
			w.open = append(w.open, gapOpen{gap.Text, "this bench reads and plays nothing: do it by hand during rig --stand-in"})
		}
		return nil
	}
	wanted := map[string]bool{}
	for _, gap := range w.coverage.Gaps {
		if gap.Kind != verify.KindFault {
			wanted[gap.Text] = true
		}
	}
	running := w.enablings()
	for _, name := range running {
		wanted[name] = true
	}
	tours, full := verify.Tours(w.model, w.wires.Judged(), w.ability(), wanted)
	w.full = full
	gaps := slices.Clone(w.coverage.Gaps)
	length := func(p rig.Place) uint64 {
		tour, _ := w.tourOf(p, tours, running)
		return tour.Scans
	}
	slices.SortStableFunc(gaps, func(a, b rig.Place) int { return int(length(a)) - int(length(b)) })
	closed := map[string]bool{}
	for _, gap := range gaps {
		if closed[gap.Text] {
			continue
		}
		tour, ok := w.tourOf(gap, tours, running)
		if !ok {
			w.open = append(w.open, gapOpen{gap.Text, w.notFound()})
			continue
		}
		made, because := w.play(gap, tour)
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
	return fmt.Sprintf("no scenario found among the %d shortest stories from each beginning", verify.MostPlaces)
}

// enablings are the ways in which the judged outputs come to run for the first time.
func (w *gapWriter) enablings() (list []string) {
	for _, t := range w.graph.Transitions {
		if t.Kind == verify.KindOutput && t.From == "kept out" && t.To == "enabled" {
			list = append(list, t.String())
		}
	}
	return list
}

// tourOf is the tour for a gap; a fault is played while an output runs in whose cone it lies.
func (w *gapWriter) tourOf(gap rig.Place, tours map[string]verify.Tour, running []string) (verify.Tour, bool) {
	if gap.Kind != verify.KindFault {
		tour, ok := tours[gap.Text]
		return tour, ok
	}
	for _, t := range w.graph.Transitions {
		if t.String() != gap.Text {
			continue
		}
		for _, name := range running {
			if tour, ok := tours[name]; ok && slices.Contains(t.Outputs, tour.Passes.Name) {
				return tour, true
			}
		}
	}
	return verify.Tour{}, false
}

// thin drops files whose gaps the others close as well, the shortest first: they lie on the way of longer ones.
func (w *gapWriter) thin() {
	count := map[string]int{}
	for _, one := range w.kept {
		for _, name := range one.Closes {
			count[name]++
		}
	}
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

// ability is what the wires of the bench can do.
func (w *gapWriter) ability() *verify.Ability {
	a := &verify.Ability{Shows: make([][monitor.Classes]bool, len(w.site.Channels))}
	a.Drives, a.Supply = w.wires.CanPlay()
	late := w.site.Rig.Supply.Boot + w.wires.Load().Cycle
	a.Slack = 5 + uint64((late+w.site.Period.Max-1)/w.site.Period.Max)
	for i := range a.Shows {
		for class := monitor.Class(0); class < monitor.Classes; class++ {
			a.Shows[i][class] = w.wires.Shows(i, &w.logic.Channels[i].Config, class)
		}
	}
	return a
}

// afterwards is how many scans a scenario goes on after its gap: what happens next is part of the story.
const afterwards = 25

// faultLasts is how long a fault is watched.
const faultLasts = 3 * time.Second

// play makes a scenario of a tour, and keeps it only if the bench can play it and the simulated logic goes through the gap.
func (w *gapWriter) play(gap rig.Place, tour verify.Tour) (made gapFile, because string) {
	name := "gap_" + slug(gap.Text)
	text := w.scenario(name, gap, tour)
	scenario, problems := sim.ParseScenario(name, text, w.site)
	if problems != nil {
		return made, "the scenario for it cannot be written: " + problems[0].Text
	}
	if why := w.rehearsalRefuses(scenario); why != "" {
		return made, "this bench cannot play it: " + why
	}
	sightings := verify.NewSightings(w.model)
	plant, _, length := sim.Prepare(w.site, w.logic, scenario, scenario.Seed)
	if err := loop.New(w.logic).Run(plant, sightings); err != nil {
		return made, err.Error()
	}
	seen := sightings.Seen()
	if gap.Kind == verify.KindFault {
		seen = append(seen, gap.Text)
	}
	if result, err := sim.Run(w.site, scenario, sim.Options{}); err != nil || result.Verdict() != sim.Shown {
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

// slug is a name that a file can have.
func slug(text string) string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' })
	return strings.Join(words[:min(len(words), 8)], "_")
}

// scenario writes a tour as a scenario file.
func (w *gapWriter) scenario(name string, gap rig.Place, tour verify.Tour) []byte {
	var b strings.Builder
	at := func(scan uint64) string { return quantity.Duration(time.Duration(scan) * w.site.Period.Max) }
	end := time.Duration(tour.Scans+afterwards) * w.site.Period.Max
	var faults strings.Builder
	if gap.Kind == verify.KindFault {
		begins := time.Duration(tour.Scans+10) * w.site.Period.Max
		begins += time.Duration(w.travel(tour.Passes.Name)) * w.site.Period.Max
		what, _, _ := strings.Cut(gap.Text, " on ")
		faults.WriteString(faultLine(what, gap.Name, begins))
		end = begins + faultLasts
	}
	var steps strings.Builder
	forced := map[int]bool{}
	for i, deed := range tour.Deeds {
		for _, line := range w.step(tour.Deeds, i, forced) {
			fmt.Fprintf(&steps, "  - {at: %s, %s}\n", at(deed.Scan), line)
		}
		if deed.Act == verify.ActStick {
			fmt.Fprintf(&faults, "  - {at: %s, fault: stuck_valve, on: %s%s}\n", at(deed.Scan), w.site.Outputs[deed.On].Name, freed(tour.Deeds[i+1:], deed.On, at))
		}
	}
	fmt.Fprintf(&b, "# Found by ohmgate rig --gaps: passes through\n#   %s\nscenario: %s\nsite: %s\ntitle: %q\nlasts: %s\n",
		gap.Text, name, w.site.Name, "for a gap: "+gap.Text, quantity.Duration(end))
	if steps.Len() > 0 {
		fmt.Fprintf(&b, "\nsteps:\n%s", steps.String())
	}
	if faults.Len() > 0 {
		fmt.Fprintf(&b, "\nfaults:\n%s", faults.String())
	}
	fmt.Fprintf(&b, "\nexpect:\n  - %s\n", w.expectation(&tour))
	return []byte(b.String())
}

// freed is until when an actuator is stuck.
func freed(later []verify.Deed, output int, at func(uint64) string) string {
	for _, deed := range later {
		if deed.Act == verify.ActFree && deed.On == output {
			return ", until: " + at(deed.Scan)
		}
	}
	return ""
}

func (w *gapWriter) travel(output string) uint64 {
	return uint64(w.logic.Outputs[w.site.OutputIndex(output)].Travel)
}

// step is one deed as lines of a scenario; deeds that are part of an earlier press, or faults, give none.
func (w *gapWriter) step(deeds []verify.Deed, i int, forced map[int]bool) []string {
	deed := deeds[i]
	switch deed.Act {
	case verify.ActRestart:
		return []string{"do: restart"}
	case verify.ActShow:
		return w.show(&deed, forced)
	case verify.ActSet:
		input := &w.site.Inputs[deed.On]
		if input.Use == "evidence" {
			return []string{fmt.Sprintf("do: set, on: %s, to: %s", input.Name, map[bool]string{true: "yes", false: "no"}[deed.High])}
		}
		return w.press(deeds, i)
	}
	return nil
}

func (w *gapWriter) show(deed *verify.Deed, forced map[int]bool) (lines []string) {
	name, c := w.site.Channels[deed.On].Name, &w.logic.Channels[deed.On].Config
	if deed.Class != monitor.Good && deed.Class != monitor.Open {
		value, _ := w.wires.ValueOf(deed.On, c, deed.Class)
		forced[deed.On] = true
		return []string{fmt.Sprintf("read: %s, on: %s", ohms(value), name)}
	}
	if forced[deed.On] {
		forced[deed.On] = false
		lines = append(lines, fmt.Sprintf("read: plant, on: %s", name))
	}
	word := "connect"
	if deed.Class == monitor.Open {
		word = "disconnect"
	}
	return append(lines, fmt.Sprintf("do: %s, on: %s", word, name))
}

// ohms is a whole number of milliohms, or of microohms.
func ohms(value monitor.Microohm) string {
	if value%1000 == 0 {
		return fmt.Sprintf("%d mΩ", value/1000)
	}
	return fmt.Sprintf("%d uΩ", value)
}

// press joins a hold and its release.
func (w *gapWriter) press(deeds []verify.Deed, i int) []string {
	deed, name := deeds[i], w.site.Inputs[deeds[i].On].Name
	if !deed.High {
		for k := i - 1; k >= 0; k-- {
			if deeds[k].Act == verify.ActSet && deeds[k].On == deed.On {
				return nil // the press has said so
			}
		}
		return []string{"do: release, on: " + name}
	}
	for _, later := range deeds[i+1:] {
		if later.Act == verify.ActSet && later.On == deed.On {
			return []string{fmt.Sprintf("do: press, on: %s, for: %s", name, quantity.Duration(time.Duration(later.Scan-deed.Scan)*w.site.Period.Max))}
		}
	}
	return []string{"do: hold, on: " + name}
}

// expectation is what simulate must find of a tour's end.
func (w *gapWriter) expectation(tour *verify.Tour) string {
	t, n := tour.Passes, max(tour.Scans, 1)
	from := max(n, 6) - 6
	window := fmt.Sprintf("within: 12 scans, of: %s", quantity.Duration(time.Duration(from)*w.site.Period.Max))
	kind := map[string]string{verify.KindVessel: t.To, verify.KindBypass: t.To}[t.Kind]
	switch {
	case t.Kind == verify.KindChannel || t.Kind == verify.KindOutput:
		return fmt.Sprintf("{%s, that: %s is %s}", window, t.Name, t.To)
	case t.To == "reset refused":
		kind = "reset ignored"
	case t.To == "start refused":
		kind = "start ignored"
	case t.To == "actuator unconfirmed":
		kind = "unconfirmed"
	case t.To == "actuator reported again":
		kind = "reported again"
	}
	return fmt.Sprintf("{event: %s %s, %s}", kind, t.Name, window)
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
	fmt.Fprintln(out, map[exitCode]string{exitShown: "shown: every gap has its scenario", exitIncomplete: "not shown: some gaps stay open"}[code])
}
