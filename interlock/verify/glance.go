package verify

import (
	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/runs"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// glanceTurns bounds how many scans one kind of look at an output may take.
const glanceTurns = 40_000

// scene is something that goes wrong, and how long the site is followed after.
type scene struct {
	list []stretch
	end  uint64
}

// glanced is what a look at the whole site found: by property, what goes wrong.
type glanced map[model.Property]*scene

// glance lets every single thing go wrong for two scans while an output runs, and
// follows the whole site until long after; then two things together, one after the
// other, and what a bypass lets pass. The searches step the parts of the logic;
// what ties them together, such as a stop, an overrun, a bypass or a wait that
// reach an output, is looked at here, for each output by itself: two with equal searches may be wired
// to different inputs.
func (v *verification) glance(output int) glanced {
	if found, known := v.glances[output]; known {
		return found
	}
	found := glanced{}
	v.glances[output] = found
	var seen model.PropertySet
	h := v.huntOf(quarry{output: output, is: func(_ *runs.Driver, _ *sight, bad model.PropertySet) bool {
		seen |= bad
		return false
	}})
	if !v.Start(output).Runs {
		return found
	}
	h.keepAt(h.started() + 2)
	for _, scenes := range [...][]scene{h.singles(), h.doubles(), h.underKey()} {
		for limit := h.turns + glanceTurns; len(scenes) > 0 && h.turns < limit; scenes = scenes[1:] {
			seen = 0
			h.play(scenes[0].list, scenes[0].end)
			for _, property := range seen.List() {
				if found[property] == nil {
					found[property] = &scenes[0]
				}
			}
		}
	}
	return found
}

// singles: one thing goes wrong while the output runs.
func (h *hunt) singles() (scenes []scene) {
	from := h.started() + 2
	for i, x := range h.wrongs {
		if x.kind == wrongReading && x.class != monitor.Open && x.class != monitor.Missing {
			continue
		}
		scenes = append(scenes, scene{[]stretch{{i, from, from + 2}}, from + 302})
	}
	return scenes
}

// doubles: two places go wrong together, or one scan after the other.
func (h *hunt) doubles() (scenes []scene) {
	from := h.started() + 2
	plain := h.plainly()
	for _, i := range plain {
		for _, k := range plain {
			if i < k {
				scenes = append(scenes, scene{[]stretch{{i, from, from + 3}, {k, from, from + 3}}, from + 20})
			}
			if i != k {
				scenes = append(scenes, scene{[]stretch{{i, from, from + 4}, {k, from + 1, from + 4}}, from + 20})
			}
		}
	}
	return scenes
}

// plainly lists one thing that goes wrong in every place: the worst that a channel
// can read, and first a channel that is only in doubt; what an input does not show
// while all is well.
func (h *hunt) plainly() (list []int) {
	d := h.healthyUntil(h.started())
	h.d.State, h.d.Stamp = d.state, d.stamp
	h.arm(nil)
	places := map[int]bool{}
	for i, x := range h.wrongs {
		doubt := x.kind == wrongReading && x.class == monitor.High
		if x.kind == noInput || x.kind == frozenReading || x.value == interlock.Unknown && x.kind == wrongInput || !doubt && places[x.place()] || !differs(h.d, x) {
			continue
		}
		places[x.place()] = true
		list = append(list, i)
	}
	return list
}

// underKey: a bypassed channel reads badly, with its evidence and without; its key
// is turned as it must not be.
func (h *hunt) underKey() (scenes []scene) {
	for _, n := range h.v.Model.BypassesOf(h.quarry.output) {
		b := &h.d.Config.Bypasses[n]
		key, dark := h.keyOf(b, interlock.True), h.keyOf(b, interlock.Unknown)
		from := max(h.started(), uint64(b.Gap)) + 5
		add := func(list ...stretch) {
			for _, s := range list {
				if s.wrong < 0 {
					return
				}
			}
			scenes = append(scenes, scene{list, from + 80})
		}
		for _, class := range table.Bad {
			add(stretch{key, from, from + 2}, stretch{h.showing(b.Channel, class), from, from + 60})
		}
		unusable := stretch{h.showing(b.Channel, monitor.Invalid), from, from + 60}
		add(stretch{dark, from, from + 1}, stretch{key, from + 1, from + 3}, unusable)
		if ref := h.d.Config.Channels[b.Channel].Evidence; ref != 0 {
			away := h.numberOf(deviation{kind: wrongInput, cause: len(h.d.Config.Channels) + int(ref) - 1, value: interlock.False})
			add(stretch{key, from, from + 2}, unusable, stretch{away, from + 30, from + 40})
		}
	}
	return scenes
}

// keyOf is the deviation that makes the key of a bypass show a value; -1 if it is
// none of this hunt's.
func (h *hunt) keyOf(b *interlock.Bypass, value interlock.Truth) int {
	return h.numberOf(deviation{kind: wrongInput, cause: len(h.d.Config.Channels) + int(b.Input) - 1, value: value})
}

// glanceAt lets a result that is shown so far, or for which nothing was met, be
// contradicted by a run of the whole site.
func (v *verification) glanceAt(output int, property model.Property, r *Result) {
	seen := v.glance(output)[property]
	if r.Verdict != Shown && r.Verdict != Nothing || seen == nil || v.Options.Logic != nil {
		return
	}
	h := v.huntOf(quarry{output: output, property: property, is: func(_ *runs.Driver, _ *sight, found model.PropertySet) bool { return found.Has(property) }})
	if run := h.shown(seen.list, seen.end); run != nil {
		r.Verdict, r.Says, r.Counterexample, r.Example = Violated, "seen on the whole site", run, nil
	}
}
