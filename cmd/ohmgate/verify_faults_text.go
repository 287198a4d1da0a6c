package main

import (
	"fmt"
	"regexp"
	"sort"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify/fault"
	"ohmgate/interlock/verify/model"
)

// A fault table has thousands of rows. People read it worst first: what is true
// of several faults, places or outputs is told once, and how often it is true.

// tellFaults prints a fault table for people.
func tellFaults(out *page.Page, m *model.Model, t *fault.Table) {
	out.Hang("", "Every fault of the catalogue at every place around an output, worst first. Scans are counted from the first that shows the fault, from healthy running, for the look seen worst; \"at most\" is after any history. \"+7\" is seven more places of which the same is true: --csv FILE has a row for each. A scan takes "+quantity.Duration(m.PeriodMax)+" at most.")
	fmt.Fprintln(out)
	namer := namerOf(m)
	for _, group := range faultOutputs(namer, t) {
		head := group.names[0]
		if n := len(group.names) - 1; n > 0 {
			head += ", and " + counted(n, "output") + " alike: " + strings.Join(group.names[1:], ", ")
		}
		out.Hang("", head)
		fmt.Fprintln(out, group.text)
	}
	for _, name := range t.NeverRan {
		out.Hang(name+": ", "nothing checked: a healthy plant never brought it to run")
	}
	if len(t.NeverRan) > 0 {
		fmt.Fprintln(out)
	}
	if t.Singles > 0 {
		tellProofTests(out, t)
		tellFaultCounts(out, t)
	}
	tellAlone(out, t)
	fmt.Fprintf(out, "verdict: %s\n", faultVerdict(t))
}

// tellFaultCounts says how much was tried, and what was not.
func tellFaultCounts(out *page.Page, t *fault.Table) {
	out.Hang("", fmt.Sprintf("%s, %s of them NOT detected by any rule or event: proof test; of %s that is true only while they show nothing", many(t.Singles, "single fault"), thousands(uint64(t.Missed)), thousands(uint64(t.Unshown))))
	if t.Pairs > 0 {
		out.Hang("", fmt.Sprintf("%s: %s of them meet nowhere, so that what each fault does alone says what both do; for the rest %s made, equal ones once.", many(t.Pairs, "pair"), thousands(uint64(t.Apart)), wereMade(t.Runs)))
	}
	fmt.Fprintf(out, "%s of faults under which product flows with the bond gone\n", many(len(t.Defeats), "minimal set"))
	if t.Pairs > 0 {
		fmt.Fprintln(out, "Sets of three faults were not tried.")
	} else {
		fmt.Fprintln(out, "Sets of two faults were not tried (--pairs does), nor sets of three.")
	}
	fmt.Fprintln(out)
}

// tellAlone names what makes the verdict: each fault that hides nothing and
// defeats an output alone.
func tellAlone(out *page.Page, t *fault.Table) {
	var order []string
	faults := map[string][]fault.At{}
	for i := range t.Defeats {
		if d := &t.Defeats[i]; len(d.Faults) == 1 && !d.Hidden {
			if faults[d.Output] == nil {
				order = append(order, d.Output)
			}
			faults[d.Output] = append(faults[d.Output], d.Faults[0])
		}
	}
	for _, output := range order {
		out.Hang(verdict.Violated.String()+": "+output+" by ", joined(faults[output], ", "))
	}
}

// many is counted for large numbers.
func many(n int, noun string) string {
	return strings.Replace(counted(n, noun), fmt.Sprint(n), thousands(uint64(n)), 1)
}

func wereMade(runs int) string {
	if runs == 1 {
		return "1 run was"
	}
	return many(runs, "run") + " were"
}

// namer replaces names of the site by their order of appearance, so that texts
// that differ in the names alone are equal.
type namer map[string]bool

func namerOf(m *model.Model) namer {
	known := namer{}
	for _, list := range [][]string{m.Names.Channels, m.Names.Inputs, m.Names.Outputs, m.Names.Vessels, m.Names.Streams, m.Names.Bypasses} {
		for _, name := range list {
			known[name] = true
		}
	}
	return known
}

var words = regexp.MustCompile(`[\pL_][\pL\pN_]*`)

func (known namer) shape(text string) string {
	order := map[string]string{}
	return words.ReplaceAllStringFunc(text, func(word string) string {
		if known[word] && order[word] == "" {
			order[word] = fmt.Sprintf("#%d", len(order))
		}
		if known[word] {
			return order[word]
		}
		return word
	})
}

// faultOutput is outputs of which the same is told.
type faultOutput struct {
	names []string
	text  string
}

func faultOutputs(known namer, t *fault.Table) []*faultOutput {
	var list []*faultOutput
	shapes := map[string]*faultOutput{}
	for from, to := 0, 0; from < len(t.Rows); from = to {
		name := t.Rows[from].Output
		var rows []*fault.Row
		for ; to < len(t.Rows) && t.Rows[to].Output == name; to++ {
			if r := &t.Rows[to]; r.Second == "" && r.Found != fault.NotRun {
				rows = append(rows, r)
			}
		}
		if len(rows) == 0 {
			continue
		}
		var b strings.Builder
		told := page.On(&b)
		tellSingles(told, known, rows)
		tellSets(told, known, defeatsOf(t, name))
		shape := known.shape(name + "\n" + b.String())
		if shapes[shape] == nil {
			shapes[shape] = &faultOutput{text: b.String()}
			list = append(list, shapes[shape])
		}
		shapes[shape].names = append(shapes[shape].names, name)
	}
	return list
}

func defeatsOf(t *fault.Table, output string) []*fault.Defeat {
	var list []*fault.Defeat
	for i := range t.Defeats {
		if d := &t.Defeats[i]; d.Output == output {
			list = append(list, d)
		}
	}
	return list
}

// faultTitles are the parts of an output's table, the worst first.
var faultTitles = []struct {
	found   fault.Found
	defeats bool
	title   string
}{
	{fault.NotDetected, true, "it goes on with the bond gone, and NOTHING detects it: proof test"},
	{fault.Announced, true, "it goes on with the bond gone; people are told, and no rule acts"},
	{fault.KeptOut, true, "it goes on with the bond gone, until the next stop"},
	{fault.Withheld, true, "withheld, and product flows on with the bond gone"},
	{fault.NotDetected, false, "NOT detected by any rule or event: proof test"},
	{fault.Announced, false, "announced; it runs on"},
	{fault.KeptOut, false, "runs on, and is kept out after the next stop"},
	{fault.Withheld, false, "withheld"},
}

func tellSingles(out *page.Page, known namer, rows []*fault.Row) {
	for _, part := range faultTitles {
		var list []*fault.Row
		for _, r := range rows {
			if r.Found == part.found && r.Defeats == part.defeats {
				list = append(list, r)
			}
		}
		if len(list) == 0 {
			continue
		}
		fmt.Fprintf(out, "  %s\n", part.title)
		sort.SliceStable(list, func(i, k int) bool { return list[i].Scans > list[k].Scans })
		head := ""
		for _, group := range faultGroups(known, list) {
			head = tellFaultGroup(out, group, head)
		}
	}
}

// faultGroup is faults of which the same is true at the same places.
type faultGroup struct {
	row    *fault.Row // at the first of the places
	faults []string
	more   int // places
}

func (g *faultGroup) text() string {
	text := strings.Join(g.faults, ", ") + " on " + g.row.On
	if g.more > 0 {
		text += fmt.Sprintf(" +%d", g.more)
	}
	return text
}

// faultGroups first finds the places of every fault at which the same is true of
// it, but for the names; then the faults that share the places and what is true.
func faultGroups(known namer, rows []*fault.Row) []*faultGroup {
	truth := func(r *fault.Row) string {
		look := ""
		if r.Defeats {
			look = r.Look
		}
		return known.shape(fmt.Sprint(r.On, "|", r.Scans, r.AtMost, r.Rule, "|", r.Effect, "|", look, "|", onceText(r)))
	}
	places := map[string][]*fault.Row{}
	for _, r := range rows {
		key := r.Fault + "|" + truth(r)
		places[key] = append(places[key], r)
	}
	var groups []*faultGroup
	have := map[string]*faultGroup{}
	for _, r := range rows {
		same := places[r.Fault+"|"+truth(r)]
		if same[0] != r {
			continue
		}
		key := truth(r)
		for _, at := range same {
			key += "|" + at.On
		}
		if have[key] == nil {
			have[key] = &faultGroup{row: r, more: len(same) - 1}
			groups = append(groups, have[key])
		}
		have[key].faults = append(have[key].faults, r.Fault)
	}
	return groups
}

// tellFaultGroup prints a group, under the heading before where that is the same.
func tellFaultGroup(out *page.Page, g *faultGroup, before string) (head string) {
	indent := "    "
	switch r := g.row; {
	case r.Found != fault.NotDetected:
		head = after(r.Scans, r.AtMost, r.Rule)
	case !r.Defeats && r.FoundOnce():
		head = "while it shows nothing; as soon as it does: " + onceText(r)
	}
	if head != "" {
		if head != before {
			out.Hang(indent, head)
		}
		indent += "    "
	}
	out.Hang(indent, g.text())
	if g.row.Defeats {
		out.Hang(indent+"  seen as: ", g.row.Look)
		if g.row.FoundOnce() {
			out.Hang(indent+"  as soon as it shows anything: ", onceText(g.row))
		}
	}
	return head
}

// after is when a rule acts, or people are told, and what that is.
func after(scans, atMost model.Scans, rule string) string {
	text := "after " + counted(int(scans), "scan")
	if atMost > scans {
		text += fmt.Sprintf(", at most %d", atMost)
	}
	return text + ": " + rule
}

// onceText is what becomes of a fault that nothing detects until it shows something.
func onceText(r *fault.Row) string {
	if !r.FoundOnce() {
		return ""
	}
	return string(r.Once.Found) + " " + after(r.Once.Scans, r.Once.AtMost, r.Once.Rule)
}

// tellProofTests says once for every fault that no rule detects somewhere what
// shows it.
func tellProofTests(out *page.Page, t *fault.Table) {
	told := map[string]bool{}
	for i := range t.Rows {
		r := &t.Rows[i]
		if r.Second != "" || r.Found != fault.NotDetected || told[r.Fault] {
			continue
		}
		if len(told) == 0 {
			fmt.Fprintln(out, "what shows what no rule detects")
		}
		told[r.Fault] = true
		out.Hang("  "+r.Fault+": ", r.Instead)
	}
	if len(told) > 0 {
		fmt.Fprintln(out)
	}
}
