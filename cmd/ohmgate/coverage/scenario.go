package coverage

import (
	"fmt"
	"strings"
	"time"

	"ohmgate/hwio/rig/stimulus"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verify/graph"
	"ohmgate/monitor"
)

// afterwards is how many scans a scenario goes on after its gap: what happens next is part of the story.
const afterwards = 25

// faultLasts is how long a fault is watched.
const faultLasts = 3 * time.Second

// slug is a name that a file can have.
func slug(text string) string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' })
	return strings.Join(words[:min(len(words), 8)], "_")
}

// after is the time of a scan, on the careful side.
func (b *Bench) after(scans uint64) time.Duration { return time.Duration(scans) * b.Site.Period.Max }

// draft is a path as a scenario.
func (b *Bench) draft(name string, gap stimulus.Goal, path *graph.Path, how ending) *draft {
	d := &draft{
		about: []string{"Found by ohmgate rig gaps: passes through", "  " + gap.Text},
		name:  name, site: b.Site.Name, title: "for a gap: " + gap.Text,
		lasts: b.after(path.Scans + afterwards), expect: []string{b.expectation(path)},
	}
	if gap.Kind == stimulus.Fault {
		begins := b.after(path.Scans + 10 + uint64(b.Logic.Outputs[path.To.Subject].Travel))
		d.fault(gap.Fault, gap.Name, begins)
		d.lasts = begins + faultLasts
	}
	forced := map[int]bool{}
	for i, action := range path.Actions {
		for _, says := range b.step(path.Actions, i, forced) {
			d.step(b.after(action.Scan), "%s", says)
		}
		if action.Act == graph.Stick {
			d.faults = append(d.faults, line{b.after(action.Scan), fmt.Sprintf("fault: stuck_valve, on: %s%s", b.Site.Outputs[action.On].Name, b.freed(path.Actions[i+1:], action.On))})
		}
	}
	if how != asItIs {
		b.end(d, path, how)
	}
	return d
}

// freed is until when an actuator is stuck.
func (b *Bench) freed(later []graph.Action, output int) string {
	for _, action := range later {
		if action.Act == graph.Free && action.On == output {
			return ", until: " + quantity.Duration(b.after(action.Scan))
		}
	}
	return ""
}

// step is one action as lines of a scenario; actions that are part of an earlier press, or faults, give none.
func (b *Bench) step(actions []graph.Action, i int, forced map[int]bool) []string {
	action := actions[i]
	switch action.Act {
	case graph.Restart:
		return []string{"do: restart"}
	case graph.Show:
		return b.show(&action, forced)
	case graph.Set:
		input := &b.Site.Inputs[action.On]
		if input.Use == "evidence" {
			return []string{fmt.Sprintf("do: set, on: %s, to: %s", input.Name, map[bool]string{true: "yes", false: "no"}[action.High])}
		}
		return b.press(actions, i)
	}
	return nil
}

func (b *Bench) show(action *graph.Action, forced map[int]bool) (lines []string) {
	name, c := b.Site.Channels[action.On].Name, &b.Logic.Channels[action.On].Config
	if action.Class != monitor.Good && action.Class != monitor.Open {
		value, _ := stimulus.ValueOf(b.Wires, action.On, c, action.Class)
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
func (b *Bench) press(actions []graph.Action, i int) []string {
	action, name := actions[i], b.Site.Inputs[actions[i].On].Name
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
			return []string{fmt.Sprintf("do: press, on: %s, for: %s", name, quantity.Duration(b.after(later.Scan-action.Scan)))}
		}
	}
	return []string{"do: hold, on: " + name}
}

// expectation is what simulate must find of a path's end.
func (b *Bench) expectation(path *graph.Path) string {
	t, n := path.To, max(path.Scans, 1)
	from := max(n, 6) - 6
	window := fmt.Sprintf("within: 12 scans, of: %s", quantity.Duration(b.after(from)))
	name := t.SubjectName(b.model)
	switch t.Group() {
	case graph.OfChannel:
		return fmt.Sprintf("{%s, that: %s is %s}", window, name, t.After)
	case graph.OfOutput:
		return fmt.Sprintf("{%s, that: %s is %s}", window, name, t.Then())
	}
	return fmt.Sprintf("{event: %s %s, %s}", t.Kind, name, window)
}
