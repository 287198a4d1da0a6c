package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/interlock"
	"ohmgate/interlock/fault"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/sim"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
)

// stagePlant is a simulated plant as a live session takes it.
type stagePlant struct{ *sim.Stage }

// Ahead is how long the way to the beginning of the scenario is.
func (p stagePlant) Ahead() uint64 { return p.Prelude }

// Deeds lists what happened to the plant since it was last asked.
func (p stagePlant) Deeds() []live.Deed {
	var list []live.Deed
	for _, d := range p.Stage.Deeds() {
		list = append(list, live.Deed(d))
	}
	return list
}

// Apply turns what somebody does into a line of a scenario.
func (p stagePlant) Apply(scan uint64, a live.Action) error {
	on := a.On
	if f := fault.Named(a.Fault); f != nil && (f.On == fault.OnBus || f.On == fault.OnLogic) {
		on = ""
	}
	switch a.Do {
	case "clear":
		return p.Clear(scan, a.Fault, on)
	case "inject":
		return p.Do(scan, true, entry("fault: "+word(a.Fault), "on: "+word(on), on, a))
	}
	return p.Do(scan, false, entry("do: "+word(a.Do), "on: "+word(on), on, a))
}

// entry writes one line of steps or faults.
func entry(what, onText, on string, a live.Action) string {
	line := what
	if on != "" {
		line += ", " + onText
	}
	if a.To != "" {
		line += ", to: " + word(a.To)
	}
	if a.For != "" {
		line += ", for: " + word(a.For)
	}
	keys := make([]string, 0, len(a.With))
	for key := range a.With {
		keys = append(keys, key)
	}
	sort.Strings(keys)
	for _, key := range keys {
		line += fmt.Sprintf(", %s: %s", word(key), word(a.With[key]))
	}
	return line
}

// word keeps what came from outside from being more than one word or quantity
// of a scenario.
func word(text string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune("{}[],:#&*!|>'\"%@`\\\n\r\t", r) || r < ' ' {
			return '?'
		}
		return r
	}, text)
}

// plantedScenarios are beginnings that need no file.
var plantedScenarios = []struct{ name, title, begin string }{
	{"everything_runs", "everything runs, then nothing happens by itself", "running"},
	{"everything_ready", "clamps on, waits over, nothing reset", "ready"},
	{"at_rest", "power-up with clamps hanging free", "power-up"},
}

// shelf holds the scenarios that fit a site.
type shelf struct {
	kinds []live.ScenarioKind
	byKey map[string]*sim.Scenario
}

// fillShelf takes what is planted, and what fits among the files of a folder.
func fillShelf(s *site.Site, logic *interlock.Config, folder string) (*shelf, error) {
	sh := &shelf{byKey: map[string]*sim.Scenario{}}
	for _, p := range plantedScenarios {
		text := fmt.Sprintf("scenario: %s\ntitle: %q\nbegin: %s\nlasts: 1 s\n", p.name, p.title, p.begin)
		if with := shownReady(s, logic); p.begin == "running" && len(with) > 0 {
			text += "with: [" + strings.Join(with, ", ") + "]\n"
		}
		sc, problems := sim.ParseScenario("planted", []byte(text), s)
		if problems != nil {
			return nil, fmt.Errorf("the planted scenario %s does not fit: %w", p.name, problems)
		}
		sh.put(sc)
	}
	if folder == "" {
		return sh, nil
	}
	files, err := filepath.Glob(filepath.Join(folder, "*.yaml"))
	if err != nil {
		return nil, err
	}
	sort.Strings(files)
	for _, file := range files {
		if sc, problems := sim.ReadScenario(file, s); problems == nil {
			sh.put(sc)
		}
	}
	return sh, nil
}

// shownReady lists inputs that people have to set before everything can run:
// those without which a permissive is not met although every clamp is on.
func shownReady(s *site.Site, logic *interlock.Config) []string {
	value := make([]interlock.Truth, len(s.Channels)+len(s.Inputs))
	for i := range value {
		value[i] = interlock.False
		if i < len(s.Channels) {
			value[i] = interlock.True
		}
	}
	for i := range logic.Channels {
		if ref := logic.Channels[i].Evidence; ref != 0 {
			value[len(s.Channels)+int(ref)-1] = interlock.True
		}
	}
	var list []string
	for i := range logic.Outputs {
		p := logic.Outputs[i].Permissive
		if p.Eval(value) == interlock.True {
			continue
		}
		var missing interlock.CauseSet
		p.Culprits(value, &missing)
		missing.Each(func(cause int) {
			if cause >= len(s.Channels) {
				value[cause] = interlock.True
				list = append(list, s.Inputs[cause-len(s.Channels)].Name)
			}
		})
	}
	return list
}

func (sh *shelf) put(sc *sim.Scenario) {
	if sh.byKey[sc.Name] == nil {
		sh.kinds = append(sh.kinds, live.ScenarioKind{Name: sc.Name, Title: sc.Title})
	}
	sh.byKey[sc.Name] = sc
}

// take finds a scenario by its name.
func (sh *shelf) take(name string) (*sim.Scenario, error) {
	if sc := sh.byKey[name]; sc != nil {
		return sc, nil
	}
	return nil, fmt.Errorf("no scenario is called %q; use one of %s", name, strings.Join(sh.names(), ", "))
}

func (sh *shelf) names() []string {
	var list []string
	for _, k := range sh.kinds {
		list = append(list, k.Name)
	}
	return list
}

// firstScenario finds what --scenario names: a scenario on the shelf, or a file.
func (l *liveRun) firstScenario(options *live.Options) error {
	options.Request = live.Request{Scenario: l.o.scenario, Seed: l.o.seed}
	if l.shelf.byKey[l.o.scenario] != nil {
		return nil
	}
	if _, err := os.Stat(l.o.scenario); err != nil {
		_, err := l.shelf.take(l.o.scenario)
		return failed(exitInput, "--scenario: %w, or a file", err)
	}
	sc, problems := sim.ReadScenario(l.o.scenario, l.site)
	if problems != nil {
		return failed(exitInput, "%w", problems)
	}
	l.shelf.put(sc)
	options.Request.Scenario = sc.Name
	return nil
}

// faultKinds is the catalogue as the page offers it.
func faultKinds(s *site.Site) []live.FaultKind {
	var list []live.FaultKind
	for _, f := range fault.All() {
		kind := live.FaultKind{Name: f.Name, Title: f.Title, Models: f.Models, On: sim.FaultsOn(s, f), Params: []live.Param{}}
		for _, p := range f.Params {
			kind.Params = append(kind.Params, live.Param{Name: p.Name, Default: p.Default, Words: append([]string{}, p.Words...), What: p.What})
		}
		list = append(list, kind)
	}
	return list
}

// tape is a recording as a plant.
type tape struct {
	source *trace.Source
	reader *csv.Reader
	now    *trace.Recorded
}

// openTape opens one of our own recordings of a site.
func openTape(path string, s *site.Site, logic *interlock.Config) (*tape, error) {
	source, err := trace.Open(path, nil)
	if err != nil {
		return nil, err
	}
	reader, err := csv.NewReader(source, headerOf(s), logic)
	if err != nil {
		source.Close()
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &tape{source: source, reader: reader}, nil
}

// Next brings a recorded scan.
func (t *tape) Next(_ uint64, _ interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	row, err := t.reader.Next()
	if errors.Is(err, io.EOF) || err == nil && row == nil {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	t.now = row
	copy(in.Readings, row.In.Readings)
	copy(in.Signals, row.In.Signals)
	in.Overrun = row.In.Overrun
	return true, nil
}

// PowerUp reports what was recorded.
func (t *tape) PowerUp(uint64) bool { return t.now.PowerUp }

// Close lets the file go.
func (t *tape) Close() error { return t.source.Close() }

// against turns a recording through the logic and keeps it as a second run.
func against(path string, s *site.Site, logic *interlock.Config) (*live.History, []live.Event, error) {
	recorded, err := openTape(path, s, logic)
	if err != nil {
		return nil, nil, err
	}
	defer recorded.Close()
	follower := live.NewFollower(&live.Names{Site: s, Config: logic, Period: s.Period.Max})
	if err := loop.New(logic).Run(recorded, follower); err != nil {
		return nil, nil, err
	}
	return follower.History, follower.Events, nil
}

// scenarioFolder is where the scenarios of a site lie if nothing else is said.
func scenarioFolder(siteFile string) string {
	for _, folder := range []string{filepath.Join(filepath.Dir(siteFile), "scenarios"), filepath.Join(filepath.Dir(siteFile), "..", "scenarios")} {
		if info, err := os.Stat(folder); err == nil && info.IsDir() {
			return folder
		}
	}
	return ""
}
