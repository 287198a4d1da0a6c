package stimulus

import (
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// Demand is what a scenario will ask of the rig, and what the logic by itself would do.
type Demand struct {
	Scans   uint64
	Changes int // of the judged outputs, by the logic
	Lasts   time.Duration
	// Warnings are what the bench does on the way that a unit may answer to, and would be right.
	Warnings []string
}

// Obstacle is something that a bench would have to show in a scenario, and cannot.
type Obstacle struct {
	Anytime bool // it is about the whole scenario
	Scan    uint64
	Name    string // channel or input; empty: it is about neither
	Why     string
}

// String is the obstacle for people.
func (o Obstacle) String() string {
	switch {
	case o.Anytime:
		return o.Why
	case o.Name == "":
		return fmt.Sprintf("in scan %d: %s", o.Scan, o.Why)
	}
	return fmt.Sprintf("in scan %d %s: %s", o.Scan, o.Name, o.Why)
}

// Unplayable is a scenario that a bench cannot play. It unwraps to site.Problems.
type Unplayable struct {
	Obstacles []Obstacle // at least one
	problems  site.Problems
}

// Error lists the obstacles, each with the place of the rig map.
func (u *Unplayable) Error() string { return u.problems.Error() }

// Unwrap makes it a mistake in the files.
func (u *Unplayable) Unwrap() error { return u.problems }

// unplayable are these obstacles on this map.
func unplayable(m *wiring.Map, obstacles []Obstacle) *Unplayable {
	made, at := &Unplayable{Obstacles: obstacles}, m.Site.At("rig")
	for _, one := range obstacles {
		made.problems = append(made.problems, site.Problem{File: m.Site.File, Line: at.Line, Column: at.Column, Text: one.String(), Instead: "change the rig map or choose another scenario"})
	}
	return made
}

// dryRun is one under way.
type dryRun struct {
	m         *wiring.Map
	logic     *interlock.Config
	source    loop.Source
	state     State
	made      Demand
	coils     interlock.CoilSet
	obstacles []Obstacle
	told      map[string]bool
	limits    map[wiring.LimitTest]bool
}

// DryRun turns the logic over a source, without any rig, and finds out what the bench could not show: missing wires,
// readings that no resistor gives, limit tests that the calibration cannot carry. Everything is found before a relay moves. The
// error is an Unplayable where the scenario is in the way, site.Problems where the map is.
func DryRun(m *wiring.Map, logic *interlock.Config, source loop.Source, today time.Time) (Demand, error) {
	w := &dryRun{m: m, logic: logic, source: source, state: Rest(m), told: map[string]bool{}, limits: map[wiring.LimitTest]bool{}}
	if err := m.FitToStimulate(logic); err != nil {
		return w.made, err
	}
	turns := loop.New(logic)
	if err := turns.Run(source, w); err != nil {
		return w.made, err
	}
	w.judgeLimits(today)
	if len(w.obstacles) > 0 {
		return w.made, unplayable(m, w.obstacles)
	}
	w.made.Lasts = time.Duration(w.made.Scans) * m.Site.Period.Max
	return w.made, nil
}

// Watch is one scan of it.
func (w *dryRun) Watch(t *loop.Turn) error {
	w.made.Scans++
	off := false
	if r, ok := w.source.(loop.Restarter); ok && r.PowerUp(t.Scan) && t.Scan > 0 {
		off = true
		if w.m.Supply == nil {
			w.complain(t.Scan, "", "the supply of the unit fails, and no relay feeds it (rig: supply:)")
		}
	}
	if t.In.Overrun {
		w.complain(t.Scan, "", "a scan overrun is inside the unit: no rig can make one")
	}
	if !off {
		before := slices.Clone(w.state.Channels)
		defer w.noteSteps(before, t.Scan)
		w.state.Follow(w.m, w.logic, t.In, func(name, why string) { w.complain(t.Scan, name, why) })
		w.noteLimits()
	}
	w.refuseSilence(t)
	if t.Scan == 0 && w.m.Supply == nil {
		w.refuseClamps()
	}
	for output, contact := range w.m.Contacts {
		if contact != nil && w.coils.Energised(output) != t.Decision.Coils.Energised(output) {
			w.made.Changes++
		}
	}
	w.coils = t.Decision.Coils
	return nil
}

// refuseSilence complains of channels that fall silent in the logic beside the unit: there is always a resistance for the unit's
// own instrument to measure, and a right unit would go on where the logic stops.
func (w *dryRun) refuseSilence(t *loop.Turn) {
	for i := range t.State.Channels {
		if s := &t.State.Channels[i]; w.m.Plays(i) && s.Seen && s.Class == monitor.Missing {
			w.complain(t.Scan, w.m.Site.Channels[i].Name, "no fresh reading comes any more: a resistance is always there to be measured")
		}
	}
}

// refuseClamps complains of clamps that are on at power-up where the unit runs already: it would see a reconnection.
func (w *dryRun) refuseClamps() {
	for i, play := range w.state.Channels {
		if w.m.Plays(i) && !play.Broken {
			w.complain(0, w.m.Site.Channels[i].Name, "it is there at power-up, and no relay feeds the unit (rig: supply:), which would see it come later; connect it after the wait")
		}
	}
}

// noteSteps warns, once for each channel, of a decade that is stepped under the unit's eyes.
func (w *dryRun) noteSteps(before []Value, scan uint64) {
	for i, from := range before {
		text := warnOfStep(w.m, w.logic, i, from, w.state.Channels[i])
		if name := w.m.Site.Channels[i].Name; text != "" && !w.told["step of "+name] {
			w.told["step of "+name] = true
			w.made.Warnings = append(w.made.Warnings, fmt.Sprintf("in scan %d %s", scan, text))
		}
	}
}

func (w *dryRun) complain(scan uint64, name, why string) {
	if w.told[name+why] {
		return
	}
	w.told[name+why] = true
	w.obstacles = append(w.obstacles, Obstacle{Scan: scan, Name: name, Why: why})
}

// noteLimits gathers the resistances that are close to a limit.
func (w *dryRun) noteLimits() {
	for i := range w.m.Channels {
		p := w.state.Channels[i]
		if p.Broken || p.Short || !w.m.Plays(i) {
			continue
		}
		c := &w.logic.Channels[i].Config
		for name, limit := range map[string]monitor.Microohm{"accept": c.Accept, "reject": c.Reject} {
			if wiring.IsLimitTest(p.Ohms, limit) {
				w.limits[wiring.LimitTest{Channel: w.m.Site.Channels[i].Name, Set: p.Ohms, Limit: limit, LimitName: name}] = true
			}
		}
	}
}

func (w *dryRun) judgeLimits(today time.Time) {
	var list []string
	for test := range w.limits {
		if wrong := w.m.Cal.CheckLimit(test, today); wrong != "" {
			list = append(list, wrong)
		}
	}
	slices.Sort(list)
	for _, wrong := range list {
		w.obstacles = append(w.obstacles, Obstacle{Anytime: true, Why: wrong})
	}
}
