package main

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verify/fault"
)

// mostSets is how many groups of minimal sets are printed for one output.
const mostSets = 12

// setGroup is minimal sets of two: any fault of one list with any of the other.
type setGroup struct {
	one, other     []string
	onOne, onOther string
	says           string
	worst          int
	alike          int // groups that differ in the names alone
}

func (g *setGroup) sets() int { return len(g.one) * len(g.other) }

func (g *setGroup) text() string {
	on := " on " + g.onOne
	if g.onOne == g.onOther {
		on = ""
	}
	text := anyOf(g.one) + on + " with " + anyOf(g.other) + " on " + g.onOther
	if g.alike > 1 {
		text += fmt.Sprintf(" +%d", g.alike-1)
	}
	return fmt.Sprintf("%s: %s (%s)", text, g.says, many(g.sets()*g.alike, "set"))
}

func anyOf(list []string) string {
	if len(list) == 1 {
		return list[0]
	}
	return "any of " + strings.Join(list, ", ")
}

// tellSets prints the minimal sets of two faults, the worst first: single faults
// that defeat have been told already.
func tellSets(out *page.Page, known namer, defeats []*fault.Defeat) {
	groups := setGroups(known, defeats)
	sort.SliceStable(groups, func(i, k int) bool {
		if groups[i].worst != groups[k].worst {
			return groups[i].worst < groups[k].worst
		}
		return groups[i].sets()*groups[i].alike > groups[k].sets()*groups[k].alike
	})
	if len(groups) > 0 {
		fmt.Fprintln(out, "  two faults that defeat it together, and neither alone")
	}
	more := 0
	for i, g := range groups {
		if i < mostSets {
			out.Hang("    - ", g.text())
		} else {
			more += g.sets() * g.alike
		}
	}
	if more > 0 {
		fmt.Fprintf(out, "    - and %s more: see minimal_set in --csv FILE\n", many(more, "set"))
	}
}

// setGroups puts sets together: faults at one place that defeat it with the very
// same others are one list, and so are those others.
func setGroups(known namer, defeats []*fault.Defeat) []*setGroup {
	type place struct {
		says string
		at   fault.At
	}
	with := map[place][]string{} // what defeats with it
	var order []place
	add := func(says string, one, other fault.At) {
		at := place{says, one}
		if with[at] == nil {
			order = append(order, at)
		}
		with[at] = append(with[at], other.String())
	}
	seen := map[string]bool{}
	for _, d := range defeats {
		if len(d.Faults) == 2 {
			add(d.Says, d.Faults[0], d.Faults[1])
			add(d.Says, d.Faults[1], d.Faults[0])
			seen[d.Says] = d.Seen
		}
	}
	like := map[place]string{} // a list by what stands for it: place, says and others
	lists := map[string][]string{}
	for _, at := range order {
		others := slices.Sorted(slices.Values(with[at]))
		key := strings.Join(append(others, at.says, at.at.On), "|")
		like[at] = key
		name := at.at.Fault.Name
		if at.at.Limit != "" {
			name += " (" + at.at.Limit + ")"
		}
		lists[key] = append(lists[key], name)
	}
	var groups []*setGroup
	have, shapes := map[string]bool{}, map[string]*setGroup{}
	for _, d := range defeats {
		if len(d.Faults) != 2 {
			continue
		}
		one, other := like[place{d.Says, d.Faults[0]}], like[place{d.Says, d.Faults[1]}]
		if have[one+"||"+other] || have[other+"||"+one] {
			continue
		}
		have[one+"||"+other] = true
		g := &setGroup{one: lists[one], other: lists[other], onOne: d.Faults[0].On, onOther: d.Faults[1].On, says: d.Says, worst: b2i(seen[d.Says]), alike: 1}
		if shape := known.shape(g.text()); shapes[shape] != nil {
			shapes[shape].alike++
		} else {
			shapes[shape] = g
			groups = append(groups, g)
		}
	}
	return groups
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
