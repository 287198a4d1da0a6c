package verify

import "ohmgate/monitor"

// glanceTurns bounds how many scans the look at one output may take.
const glanceTurns = 40_000

// glanced is what a look at the whole site found: by property, what goes wrong.
type glanced map[int][]stretch

// glance lets every single thing go wrong for two scans while an output runs, and
// follows the whole site until long after. The searches step the parts of the
// logic; what ties them together, such as a stop, an overrun or a wait that reach
// an output, is looked at here. Outputs with equal searches are looked at once.
func (v *verification) glance(output int) glanced {
	key := ""
	for _, job := range v.jobsOf(output, "") {
		key += job.key
	}
	if found, known := v.glances[key]; known && key != "" {
		return found
	}
	found := glanced{}
	v.glances[key] = found
	var seen mask
	h := v.huntOf(quarry{output: output, is: func(_ *driver, _ *sight, bad mask) bool {
		seen |= bad
		return false
	}})
	if !v.start(output).runs {
		return found
	}
	from := h.started() + 2
	for i, x := range h.wrongs {
		if x.kind == wrongReading && x.class != monitor.Open && x.class != monitor.Missing || h.turns > glanceTurns {
			continue
		}
		seen = 0
		list := []stretch{{i, from, from + 2}}
		h.play(list, from+300)
		for property := range titles {
			if seen>>property&1 == 1 && found[property] == nil {
				found[property] = list
			}
		}
	}
	return found
}

// glanceAt lets a result that is shown so far be contradicted by a run of the
// whole site.
func (v *verification) glanceAt(output, property int, r *Result) {
	list := v.glance(output)[property]
	if r.Verdict != Shown || list == nil || v.options.Logic != nil {
		return
	}
	h := v.huntOf(quarry{output: output, property: property, is: func(_ *driver, _ *sight, found mask) bool { return found>>property&1 == 1 }})
	if run := h.shown(list, list[0].to+300); run != nil {
		r.Verdict, r.Says, r.Counterexample, r.Example = Violated, "seen on the whole site", run, nil
	}
}
