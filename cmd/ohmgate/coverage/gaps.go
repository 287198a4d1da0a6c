package coverage

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/graph"
	"ohmgate/monitor"
	"ohmgate/sim"
)

// Scenario is one for a gap, and all gaps that it closes.
type Scenario struct {
	File   string   `json:"file"`
	Gap    string   `json:"gap"`
	Lasts  float64  `json:"lasts_seconds"`
	Closes []string `json:"closes"`
	Text   []byte   `json:"-"`
}

// Open is a gap that no scenario was written for.
type Open struct {
	Gap     string `json:"gap"`
	Because string `json:"because"`
}

// Closing is what was found for the gaps of a coverage.
type Closing struct {
	Scenarios []Scenario // the shortest first
	Open      []Open
	Complete  bool // nothing was left to try, as far as the search tells states apart
}

// closer looks for scenarios.
type closer struct {
	*Verified
	gaps    []stimulus.Goal
	running []graph.Transition // ways in which a judged output comes to run for the first time
	paths   map[graph.Transition]graph.Path
	made    Closing
}

// CloseGaps finds scenarios for gaps. It searches paths, turns each into a scenario
// and keeps those that really pass through their gap when simulated, the shortest
// first; in the end those go whose gaps others close as well.
func (v *Verified) CloseGaps(gaps []stimulus.Goal) Closing {
	c := &closer{Verified: v, gaps: gaps}
	if !v.plays() {
		for _, gap := range gaps {
			c.leave(gap, "this bench reads and plays nothing: do it by hand during rig --stand-in")
		}
		return c.made
	}
	c.search()
	closed := map[string]bool{}
	for _, gap := range c.byLength() {
		if closed[gap.Text] {
			continue
		}
		path, ok := c.pathTo(gap)
		if !ok {
			c.leave(gap, c.notFound())
			continue
		}
		made, because := c.play(gap, &path)
		if because != "" {
			c.leave(gap, because)
			continue
		}
		for _, name := range made.Closes {
			closed[name] = true
		}
		c.made.Scenarios = append(c.made.Scenarios, made)
	}
	c.made.Open = slices.DeleteFunc(c.made.Open, func(one Open) bool { return closed[one.Gap] })
	c.made.thin()
	return c.made
}

func (c *closer) leave(gap stimulus.Goal, because string) {
	c.made.Open = append(c.made.Open, Open{gap.Text, because})
}

// search looks for paths to all gaps, and to where outputs run: faults are played
// there.
func (c *closer) search() {
	wanted := map[graph.Transition]bool{}
	for _, gap := range c.gaps {
		if gap.Kind != stimulus.Fault {
			wanted[c.named[gap.Text]] = true
		}
	}
	for _, t := range c.graph.Transitions {
		if t.Kind == interlock.OutputEnabled && t.Mode == interlock.KeptOut {
			c.running = append(c.running, t)
			wanted[t] = true
		}
	}
	c.paths, c.made.Complete = graph.Paths(c.model, c.Wires.Judged(), c.environment(), wanted)
}

// byLength are the gaps with those first that lie on the way of longer ones.
func (c *closer) byLength() []stimulus.Goal {
	gaps := slices.Clone(c.gaps)
	length := func(p stimulus.Goal) uint64 {
		path, _ := c.pathTo(p)
		return path.Scans
	}
	slices.SortStableFunc(gaps, func(a, b stimulus.Goal) int { return cmp.Compare(length(a), length(b)) })
	return gaps
}

func (c *closer) notFound() string {
	if c.made.Complete {
		return "all that the search can tell apart was tried, and nothing led there"
	}
	return fmt.Sprintf("no scenario found among the %d shortest stories from each beginning", graph.MostNodes)
}

// pathTo is the path for a gap; a fault is played while an output runs in whose cone it lies.
func (c *closer) pathTo(gap stimulus.Goal) (graph.Path, bool) {
	t := c.named[gap.Text]
	if gap.Kind != stimulus.Fault {
		path, ok := c.paths[t]
		return path, ok
	}
	for _, runs := range c.running {
		if path, ok := c.paths[runs]; ok && slices.Contains(c.graph.Outputs(t), runs.Subject) {
			return path, true
		}
	}
	return graph.Path{}, false
}

// thin drops files whose gaps the others close as well, the shortest first: they lie on the way of longer ones.
func (c *Closing) thin() {
	count := map[string]int{}
	for _, one := range c.Scenarios {
		for _, name := range one.Closes {
			count[name]++
		}
	}
	slices.SortStableFunc(c.Scenarios, func(a, b Scenario) int { return cmp.Compare(a.Lasts, b.Lasts) })
	c.Scenarios = slices.DeleteFunc(c.Scenarios, func(one Scenario) bool {
		if slices.ContainsFunc(one.Closes, func(name string) bool { return count[name] == 1 }) {
			return false
		}
		for _, name := range one.Closes {
			count[name]--
		}
		return true
	})
	for i := range c.Scenarios {
		c.Scenarios[i].File = strings.Replace(c.Scenarios[i].File, "gap_", fmt.Sprintf("gap_%02d_", i+1), 1)
	}
}

// environment is what the wires of the bench can do.
func (b *Bench) environment() *graph.Environment {
	e := &graph.Environment{Shows: make([][monitor.Classes]bool, len(b.Site.Channels))}
	e.Drives, e.Supply = b.Wires.CanPlay()
	late := b.Site.Rig.Supply.Boot + b.Wires.Load().Cycle
	e.Slack = 5 + uint64((late+b.Site.Period.Max-1)/b.Site.Period.Max)
	for i := range e.Shows {
		for class := monitor.Class(0); class < monitor.Classes; class++ {
			e.Shows[i][class] = stimulus.Shows(b.Wires, i, &b.Logic.Channels[i].Config, class)
		}
	}
	return e
}

// play makes a scenario of a path. A story in which nothing is energised gets an ending in which something is: a dead unit does
// nothing either, and such a run would not be judged.
func (c *closer) play(gap stimulus.Goal, path *graph.Path) (made Scenario, because string) {
	first := ""
	for _, how := range []ending{asItIs, putRight, restarted} {
		if made, because = c.try(gap, path, how); because == "" {
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
func (c *closer) try(gap stimulus.Goal, path *graph.Path, how ending) (made Scenario, because string) {
	name := "gap_" + slug(gap.Text)
	text := c.draft(name, gap, path, how).text()
	scenario, problems := sim.ParseScenario(name, text, c.Site)
	if problems != nil {
		return made, "the scenario for it cannot be written: " + problems[0].Text
	}
	switch changes, why := c.Rehearse(scenario); {
	case why != "":
		return made, "this bench cannot play it: " + why
	case changes == 0:
		return made, notEnergised
	}
	observer := graph.NewObserver(c.model)
	plant, _, length := sim.Prepare(c.Site, c.Logic, scenario, scenario.Seed)
	pace := &pace{bench: c.Bench}
	if err := loop.New(c.Logic).Run(plant, observer, pace); err != nil {
		return made, err.Error()
	}
	if pace.hasty {
		return made, "on the way an output changes twice, faster than its contact can be seen to follow"
	}
	seen := observer.Texts()
	if gap.Kind == stimulus.Fault {
		seen = append(seen, gap.Text)
	}
	if result, err := sim.Run(c.Site, scenario, sim.Options{}); err != nil || result.Verdict() != verdict.Shown {
		return made, "the simulated plant does not go there as the search thought"
	}
	made = Scenario{File: name + ".yaml", Gap: gap.Text, Lasts: (time.Duration(length) * plant.Period).Seconds(), Text: text}
	for _, one := range c.gaps {
		if slices.Contains(seen, one.Text) {
			made.Closes = append(made.Closes, one.Text)
		}
	}
	if !slices.Contains(made.Closes, gap.Text) {
		return made, "the simulated plant does not go there as the search thought"
	}
	return made, ""
}
