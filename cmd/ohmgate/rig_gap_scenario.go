package main

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verify/graph"
	"ohmgate/monitor"
)

// afterwards is how many scans a scenario goes on after its gap: what happens next is part of the story.
const afterwards = 25

// faultLasts is how long a fault is watched.
const faultLasts = 3 * time.Second

// ending is how a story that has passed through its gap goes on.
type ending uint8

const (
	asItIs    ending = iota
	putRight         // everything is put right, and the outputs are reset
	restarted        // the same, after the unit was switched off and on
)

// slug is a name that a file can have.
func slug(text string) string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' })
	return strings.Join(words[:min(len(words), 8)], "_")
}

// scenario writes a path as a scenario file.
func (w *gapWriter) scenario(name string, gap stimulus.Goal, path graph.Path, how ending) []byte {
	var b strings.Builder
	at := func(scan uint64) string { return quantity.Duration(time.Duration(scan) * w.site.Period.Max) }
	end := time.Duration(path.Scans+afterwards) * w.site.Period.Max
	var faults strings.Builder
	if gap.Kind == stimulus.Fault {
		begins := time.Duration(path.Scans+10) * w.site.Period.Max
		begins += time.Duration(w.travel(path.To.Subject)) * w.site.Period.Max
		faults.WriteString(faultLine(gap.Fault, gap.Name, begins))
		end = begins + faultLasts
	}
	var steps strings.Builder
	forced := map[int]bool{}
	for i, action := range path.Actions {
		for _, line := range w.step(path.Actions, i, forced) {
			fmt.Fprintf(&steps, "  - {at: %s, %s}\n", at(action.Scan), line)
		}
		if action.Act == graph.Stick {
			fmt.Fprintf(&faults, "  - {at: %s, fault: stuck_valve, on: %s%s}\n", at(action.Scan), w.site.Outputs[action.On].Name, freed(path.Actions[i+1:], action.On, at))
		}
	}
	if how != asItIs {
		var text string
		text, end = w.ending(&path, end, how)
		steps.WriteString(text)
	}
	fmt.Fprintf(&b, "# Found by ohmgate rig --gaps: passes through\n#   %s\nscenario: %s\nsite: %s\ntitle: %q\nlasts: %s\n",
		gap.Text, name, w.site.Name, "for a gap: "+gap.Text, quantity.Duration(end))
	if steps.Len() > 0 {
		fmt.Fprintf(&b, "\nsteps:\n%s", steps.String())
	}
	if faults.Len() > 0 {
		fmt.Fprintf(&b, "\nfaults:\n%s", faults.String())
	}
	fmt.Fprintf(&b, "\nexpect:\n  - %s\n", w.expectation(&path))
	return []byte(b.String())
}

// freed is until when an actuator is stuck.
func freed(later []graph.Action, output int, at func(uint64) string) string {
	for _, action := range later {
		if action.Act == graph.Free && action.On == output {
			return ", until: " + at(action.Scan)
		}
	}
	return ""
}

func (w *gapWriter) travel(output int) uint64 { return uint64(w.logic.Outputs[output].Travel) }

// step is one action as lines of a scenario; actions that are part of an earlier press, or faults, give none.
func (w *gapWriter) step(actions []graph.Action, i int, forced map[int]bool) []string {
	action := actions[i]
	switch action.Act {
	case graph.Restart:
		return []string{"do: restart"}
	case graph.Show:
		return w.show(&action, forced)
	case graph.Set:
		input := &w.site.Inputs[action.On]
		if input.Use == "evidence" {
			return []string{fmt.Sprintf("do: set, on: %s, to: %s", input.Name, map[bool]string{true: "yes", false: "no"}[action.High])}
		}
		return w.press(actions, i)
	}
	return nil
}

func (w *gapWriter) show(action *graph.Action, forced map[int]bool) (lines []string) {
	name, c := w.site.Channels[action.On].Name, &w.logic.Channels[action.On].Config
	if action.Class != monitor.Good && action.Class != monitor.Open {
		value, _ := stimulus.ValueOf(w.wires, action.On, c, action.Class)
		forced[action.On] = true
		return []string{fmt.Sprintf("read: %s, on: %s", ohms(value), name)}
	}
	if forced[action.On] {
		forced[action.On] = false
		lines = append(lines, fmt.Sprintf("read: plant, on: %s", name))
	}
	word := "connect"
	if action.Class == monitor.Open {
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
func (w *gapWriter) press(actions []graph.Action, i int) []string {
	action, name := actions[i], w.site.Inputs[actions[i].On].Name
	if !action.High {
		for k := i - 1; k >= 0; k-- {
			if actions[k].Act == graph.Set && actions[k].On == action.On {
				return nil // the press has said so
			}
		}
		return []string{"do: release, on: " + name}
	}
	for _, later := range actions[i+1:] {
		if later.Act == graph.Set && later.On == action.On {
			return []string{fmt.Sprintf("do: press, on: %s, for: %s", name, quantity.Duration(time.Duration(later.Scan-action.Scan)*w.site.Period.Max))}
		}
	}
	return []string{"do: hold, on: " + name}
}

// expectation is what simulate must find of a path's end.
func (w *gapWriter) expectation(path *graph.Path) string {
	t, n := path.To, max(path.Scans, 1)
	from := max(n, 6) - 6
	window := fmt.Sprintf("within: 12 scans, of: %s", quantity.Duration(time.Duration(from)*w.site.Period.Max))
	name := t.SubjectName(w.model)
	switch t.Group() {
	case graph.OfChannel:
		return fmt.Sprintf("{%s, that: %s is %s}", window, name, t.After)
	case graph.OfOutput:
		return fmt.Sprintf("{%s, that: %s is %s}", window, name, t.Then())
	}
	return fmt.Sprintf("{event: %s %s, %s}", t.Kind, name, window)
}

// ending takes all clamps off, waits until no vessel can hold a charge, clamps again and presses what there is to press.
func (w *gapWriter) ending(path *graph.Path, from time.Duration, how ending) (string, time.Duration) {
	var b strings.Builder
	now := from
	add := func(format string, args ...any) {
		fmt.Fprintf(&b, "  - {at: %s, %s}\n", quantity.Duration(now), fmt.Sprintf(format, args...))
	}
	period := w.site.Period.Max
	pass := func(d time.Duration) { now += (d + period - 1) / period * period }
	for _, name := range w.held(path) {
		add("do: release, on: %s", name)
	}
	for i := range w.site.Channels {
		add("read: plant, on: %s", w.site.Channels[i].Name)
		add("do: disconnect, on: %s", w.site.Channels[i].Name)
	}
	if pass(5 * period); how == restarted {
		add("do: restart")
		pass(w.site.Rig.Supply.Boot)
	}
	empty, settled := w.waits()
	pass(empty)
	for i := range w.site.Inputs {
		if w.site.Inputs[i].Use == "evidence" {
			add("do: set, on: %s, to: yes", w.site.Inputs[i].Name)
		}
	}
	for i := range w.site.Channels {
		add("do: connect, on: %s", w.site.Channels[i].Name)
	}
	pass(settled)
	for _, one := range w.buttons() {
		add("do: press, on: %s, for: %s", one.name, quantity.Duration(one.press))
		pass(one.press + 10*period)
	}
	return b.String(), now + afterwards*period
}

// held are the buttons that a path leaves pressed.
func (w *gapWriter) held(path *graph.Path) (names []string) {
	for i := range w.site.Inputs {
		down := false
		for _, action := range path.Actions {
			if action.Act == graph.Set && action.On == i {
				down = action.High
			}
		}
		if down && w.site.Inputs[i].Use != "evidence" {
			names = append(names, w.site.Inputs[i].Name)
		}
	}
	return names
}

// waits are how long clamps stay off until every vessel may be run again, and on until every channel is bonded.
func (w *gapWriter) waits() (empty, settled time.Duration) {
	const reserve = 500 * time.Millisecond
	for i := range w.site.Vessels {
		empty = max(empty, w.site.Vessels[i].Wait+w.site.Vessels[i].Rest)
	}
	runDown := time.Duration(0)
	for i := range w.site.Streams {
		runDown = max(runDown, w.site.Streams[i].RunDown)
	}
	for i := range w.site.Channels {
		c := &w.site.Channels[i]
		settled = max(settled, c.SettleTime+time.Duration(c.SettleReadings)*c.SettlePause)
	}
	return empty + runDown + reserve, settled + reserve
}

// button is one to press for a time that surely counts.
type button struct {
	name  string
	press time.Duration
}

// buttons are those that acknowledge, reset and start, in this order, each once.
func (w *gapWriter) buttons() (list []button) {
	done := map[string]bool{"": true}
	add := func(name string, least, most time.Duration) {
		if !done[name] {
			period := w.site.Period.Max
			done[name] = true
			list = append(list, button{name, min(least+10*period, (least+most)/2) / period * period})
		}
	}
	for i := range w.site.Vessels {
		v := &w.site.Vessels[i]
		add(v.Acknowledge, v.PressMin, v.PressMax)
	}
	for _, which := range []func(o *site.Output) string{func(o *site.Output) string { return o.Reset }, func(o *site.Output) string { return o.Start }} {
		for i := range w.site.Outputs {
			o := &w.site.Outputs[i]
			add(which(o), o.PressMin, o.PressMax)
		}
	}
	return list
}

// pace watches whether the judged outputs stay as they are until a unit's contact must have followed.
type pace struct {
	w     *gapWriter
	last  []uint64 // scan of each output's last change
	coils interlock.CoilSet
	hasty bool
}

// Watch is one scan.
func (p *pace) Watch(t *loop.Turn) error {
	if p.last == nil {
		p.last = make([]uint64, len(p.w.site.Outputs))
	}
	const few = 3 // scans: the unit's own may lie anywhere beside ours, and so does the poll
	for output := range p.w.site.Outputs {
		if p.w.wires.Contacts[output] == nil || p.coils.Energised(output) == t.Decision.Coils.Energised(output) {
			continue
		}
		follows := uint64(p.w.site.Outputs[output].OutputDelay.Hi/p.w.site.Period.Max.Seconds()) + few
		p.hasty = p.hasty || p.last[output] != 0 && t.Scan-p.last[output] < follows
		p.last[output] = t.Scan
	}
	p.coils = t.Decision.Coils
	return nil
}
