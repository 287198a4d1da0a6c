package rig

import (
	"errors"
	"fmt"
	"slices"
	"sort"
	"time"

	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// Mode is what the program does on the bench.
type Mode uint8

// The three modes. The zero Mode only listens.
const (
	Listen Mode = iota
	Stimulate
	StandIn
)

// String is the mode's word in records.
func (m Mode) String() string { return [...]string{"listen", "stimulate", "stand-in"}[m] }

// Rehearsal is what a scenario will ask of the rig, and what the logic by itself would do.
type Rehearsal struct {
	Scans   uint64
	Changes int // of the judged outputs, by the logic
	Lasts   time.Duration
	// Warnings are what the bench does on the way that a unit may answer to, and would be right.
	Warnings []string
}

// rehearsing watches a rehearsal.
type rehearsing struct {
	m        *Map
	logic    *interlock.Config
	source   loop.Source
	scene    scene
	made     Rehearsal
	coils    interlock.CoilSet
	problems []string
	told     map[string]bool
	limits   map[limitTest]bool
}

// Rehearse turns the logic over a source, without any rig, and finds out what the bench could not show: missing wires,
// readings that no resistor gives, limit tests that the calibration cannot carry. Everything is found before a relay moves.
func (m *Map) Rehearse(logic *interlock.Config, source loop.Source, today time.Time) (Rehearsal, error) {
	w := &rehearsing{m: m, logic: logic, source: source, scene: m.newScene(), told: map[string]bool{}, limits: map[limitTest]bool{}}
	if err := m.needed(logic); err != nil {
		return w.made, err
	}
	turns := loop.New(logic)
	if err := turns.Run(source, w); err != nil {
		return w.made, err
	}
	w.judgeLimits(today)
	if len(w.problems) > 0 {
		problems := site.Problems{}
		at := m.Site.At("rig")
		for _, text := range w.problems {
			problems = append(problems, site.Problem{File: m.Site.File, Line: at.Line, Column: at.Column, Text: text, Instead: "change the rig map or choose another scenario"})
		}
		return w.made, problems
	}
	w.made.Lasts = time.Duration(w.made.Scans) * m.Site.Period.Max
	return w.made, nil
}

// needed refuses a map on which no output is read, or a judged output hangs on something that is not wired.
func (m *Map) needed(logic *interlock.Config) error {
	bounds := &Bounds{m, logic}
	var problems site.Problems
	at := m.Site.At("rig.points")
	complain := func(text, instead string) {
		problems = append(problems, site.Problem{File: m.Site.File, Line: at.Line, Column: at.Column, Text: text, Instead: instead})
	}
	judged := 0
	for output, contact := range m.Contacts {
		if contact == nil {
			continue
		}
		judged++
		name := m.Site.Outputs[output].Name
		for _, cause := range sortedNames(bounds.cone(output)) {
			kind, number := whatIs(m.Site, cause)
			if kind == "channel" && !m.wired(number) || kind == "input" && m.Drives[number] == nil {
				complain(fmt.Sprintf("%q is read, and hangs on %q, which nothing drives", name, cause), fmt.Sprintf("add a point {name: %s, use: drives, …}, or do not read %s", cause, name))
			}
		}
	}
	if len(m.Loops) == 0 {
		complain("no relay has a loop-back input, and without one no time can be believed", "wire a second contact of a relay to an input: {name: an input of the site, module: an input module, use: loopback, …}")
	}
	if judged == 0 {
		complain("no contact of the unit is read, so nothing could be judged", "add a point {name: an output, module: an input module, use: reads, …}")
	}
	return problems.Err()
}

func sortedNames(set map[string]bool) []string {
	list := make([]string, 0, len(set))
	for name := range set {
		list = append(list, name)
	}
	sort.Strings(list)
	return list
}

// Watch is one scan of the rehearsal.
func (w *rehearsing) Watch(t *loop.Turn) error {
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
		before := slices.Clone(w.scene.plays)
		defer w.noteSteps(before, t.Scan)
		w.m.show(&w.scene, w.logic, t.In, func(name, why string) { w.complain(t.Scan, name, why) })
		w.noteLimits()
	}
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

// refuseClamps complains of clamps that are on at power-up where the unit runs already: it would see a reconnection.
func (w *rehearsing) refuseClamps() {
	for i, play := range w.scene.plays {
		if w.m.wired(i) && !play.Broken {
			w.complain(0, w.m.Site.Channels[i].Name, "it is there at power-up, and no relay feeds the unit (rig: supply:), which would see it come later; connect it after the wait")
		}
	}
}

// noteSteps warns, once for each channel, of a decade that is stepped under the unit's eyes.
func (w *rehearsing) noteSteps(before []Play, scan uint64) {
	for i, from := range before {
		text := w.m.warnOfStep(w.logic, i, from, w.scene.plays[i])
		if name := w.m.Site.Channels[i].Name; text != "" && !w.told["step of "+name] {
			w.told["step of "+name] = true
			w.made.Warnings = append(w.made.Warnings, fmt.Sprintf("in scan %d %s", scan, text))
		}
	}
}

func (w *rehearsing) complain(scan uint64, name, why string) {
	if w.told[name+why] {
		return
	}
	w.told[name+why] = true
	text := fmt.Sprintf("in scan %d: %s", scan, why)
	if name != "" {
		text = fmt.Sprintf("in scan %d %s: %s", scan, name, why)
	}
	w.problems = append(w.problems, text)
}

// noteLimits gathers the resistances that are close to a limit.
func (w *rehearsing) noteLimits() {
	for i := range w.m.Channels {
		p := w.scene.plays[i]
		if p.Broken || p.Short || !w.m.wired(i) {
			continue
		}
		c := &w.logic.Channels[i].Config
		for name, limit := range map[string]monitor.Microohm{"accept": c.Accept, "reject": c.Reject} {
			if distance := max(p.Value-limit, limit-p.Value); distance <= limit/near && distance > 0 {
				w.limits[limitTest{w.m.Site.Channels[i].Name, p.Value, limit, name}] = true
			}
		}
	}
}

func (w *rehearsing) judgeLimits(today time.Time) {
	var list []string
	for test := range w.limits {
		if wrong := w.m.Cal.checkLimit(test, today); wrong != "" {
			list = append(list, wrong)
		}
	}
	slices.Sort(list)
	w.problems = append(w.problems, list...)
}

// IsInput says whether an error is a mistake in the files.
func IsInput(err error) bool {
	var problems site.Problems
	return errors.As(err, &problems)
}
