package main

import (
	"fmt"
	"slices"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	"ohmgate/interlock/verify/model"
)

// tellVerify prints a verification for people, within 80 columns.
func tellVerify(out *page.Page, s *site.Site, m *model.Model, r *verify.Report, all bool) {
	fmt.Fprintf(out, "%s: %s, %s, %s\n", s.Name, counted(len(m.Names.Outputs), "output"), counted(len(m.Names.Channels), "channel"), counted(len(m.Names.Inputs), "input"))
	searches := 0
	for _, x := range r.Searches {
		if x.SameAs == "" {
			searches++
		}
	}
	fmt.Fprintf(out, "%s states, %s transitions\n", thousands(r.States), thousands(r.Steps))
	same := ""
	if n := len(r.Searches) - searches; n > 0 {
		same = fmt.Sprintf(", which answer %d more of equal settings", n)
	}
	fmt.Fprintf(out, "%s%s; %.1f s\n\n", searched(searches), same, r.Took)
	for _, group := range alike(namerOf(m), r.Results, all) {
		out.Hang("", strings.Join(group.outputs, ", "))
		for i, x := range group.results {
			if i > 0 && x.Verdict == verdict.NotShown && x.Says == group.results[i-1].Says {
				same := *x
				same.Says, x = "the same", &same
			}
			tellProperty(out, x, all)
		}
		fmt.Fprintln(out)
	}
	tellWorst(out, m, r)
	tellLemmas(out, r)
	tellAudit(out, r.Audit)
	fmt.Fprintln(out, "\nA verification cannot answer:")
	for _, text := range verify.CannotAnswer {
		out.Hang("  - ", text)
	}
	fmt.Fprintln(out)
	tellOpen(out, r.Results)
	fmt.Fprintf(out, "verdict: %s\n", r.Verdict())
}

func tellAudit(out *page.Page, a *verify.Audit) {
	if a == nil {
		return
	}
	of := thousands(a.States) + " of the " + thousands(a.Of)
	if a.States == a.Of {
		of = "all " + thousands(a.Of)
	}
	differ := "none differs"
	if a.Different > 0 {
		differ = thousands(a.Different) + " differ"
	}
	out.Hang("audit: ", fmt.Sprintf("%s steps from %s states in the tables were compared with the whole logic: %s", thousands(a.Compared), of, differ))
	if a.Different > 0 {
		fmt.Fprintln(out, "       What was searched is not what runs: nothing above may be relied on.")
	}
}

// tellOpen lists at the end, where people look first, what is not shown, and of
// which outputs.
func tellOpen(out *page.Page, results []verify.Result) {
	type open struct {
		verdict  verdict.Verdict
		property string
	}
	var order []open
	of := map[open][]string{}
	for i := range results {
		x := &results[i]
		if x.Verdict == verdict.Shown {
			continue
		}
		key := open{x.Verdict, x.Property}
		if of[key] == nil {
			order = append(order, key)
		}
		name := x.Output
		if name == "" {
			name = "the site"
		}
		of[key] = append(of[key], name)
	}
	for _, key := range order {
		out.Hang(fmt.Sprintf("%s: property %s of ", key.verdict, key.property), strings.Join(of[key], ", "))
	}
}

func tellProperty(out *page.Page, x *verify.Result, all bool) {
	name := x.Property
	if len(name) > 3 { // of the site's own: on a line of its own, the columns stay
		fmt.Fprintf(out, "  %s\n", page.Cut(name, page.Width-2))
		name = ""
	}
	out.Hang(fmt.Sprintf("  %-3s %-16s ", name, x.Verdict), x.Title)
	if all || x.Verdict != verdict.Shown {
		out.Hang("      ", x.Says)
	}
	if x.But != "" {
		out.Hang("      but ", x.But)
	}
	if x.Sampled != "" && x.Verdict == verdict.Shown {
		out.Hang("      sampled: ", x.Sampled)
	}
	for i, line := range x.Searched {
		if i == 0 {
			fmt.Fprintln(out, "      the search's own run, in which more can happen than on the site:")
		}
		out.Hang("        ", line)
	}
	if x.Counterexample == nil {
		return
	}
	out.Hang("      run: ", x.Counterexample.Sentence)
	for _, line := range x.Counterexample.Lines {
		out.Hang("        ", line)
	}
	if len(x.Counterexample.Slice) > 0 {
		out.Hang("      moved by: ", strings.Join(x.Counterexample.Slice, "; "))
	}
}

// alikeGroup is a set of outputs of which the same was found.
type alikeGroup struct {
	key     string
	outputs []string
	results []*verify.Result
}

// alike groups outputs with the same verdicts, and where these are not "shown" with
// the same words but for the names, so that eight equal valves are read once. With
// all each stands for itself.
func alike(known namer, results []verify.Result, all bool) []*alikeGroup {
	var order []string
	byOutput := map[string][]*verify.Result{}
	for i := range results {
		x := &results[i]
		name := x.Output
		if name == "" {
			name = "site"
		}
		if byOutput[name] == nil {
			order = append(order, name)
		}
		byOutput[name] = append(byOutput[name], x)
	}
	var groups []*alikeGroup
	for _, name := range order {
		key := ""
		for _, x := range byOutput[name] {
			key += x.Property + string(x.Verdict) + known.shape(name+"|"+x.But) + "|"
			if x.Verdict != verdict.Shown {
				key += known.shape(name+"|"+x.Says) + "|"
			}
		}
		if all {
			key += name
		}
		var group *alikeGroup
		for _, have := range groups {
			if have.key == key {
				group = have
			}
		}
		if group == nil {
			group = &alikeGroup{key: key, results: byOutput[name]}
			groups = append(groups, group)
		}
		group.outputs = append(group.outputs, name)
	}
	return groups
}

// tellWorst prints the worst cases of channels and outputs.
func tellWorst(out *page.Page, m *model.Model, r *verify.Report) {
	fmt.Fprintf(out, "%-16s %7s %9s %18s %9s %8s\n", "worst cases", "detect", "", "forgiven scans of", "tolerated", "recovery")
	fmt.Fprintf(out, "%-16s %7s %9s %18s %9s %8s\n", "channel", "scans", "ms", "hi/open/inv/miss", "for ever", "scans")
	for _, w := range r.Channels {
		forgiven := fmt.Sprintf("%d/%d/%d/%d", w.Patience["high"], w.Patience["open"], w.Patience["invalid"], w.Patience["missing"])
		fmt.Fprintf(out, "%-16s %7d %9.1f %18s %9s %8d\n", page.Cut(w.Channel, 16), w.Detect, w.DetectMs, forgiven, fmt.Sprintf("%d in %d", w.ShareBad, w.ShareOf), w.Recover)
	}
	if m.Poll > m.PeriodMax {
		out.Hang("", fmt.Sprintf("Tolerated for ever: with a fresh reading in every scan, which a poll every %s does not bring; so at most that much.", quantity.Duration(m.Poll)))
	}
	fmt.Fprintln(out)
	fmt.Fprintf(out, "%-20s %-30s %8s %9s\n", "response of", "all bad of", "scans", "ms")
	var bypassed []string
	for _, c := range r.Cuts {
		for _, x := range c.Response {
			if x.Class == "any mixture" {
				if x.Bypass != "" && !slices.Contains(bypassed, x.Bypass) {
					bypassed = append(bypassed, x.Bypass)
				}
				fmt.Fprintf(out, "%-20s %-30s %8d %9.1f %s\n", page.Cut(c.Output, 20), page.Cut(strings.Join(x.Set, " and "), 30), x.Scans, x.Seconds*1000, boundMark(x))
			}
		}
	}
	for _, text := range bypassed {
		out.Hang("* ", text)
	}
	fmt.Fprintln(out)
}

// boundMark says whether a number is attained, and with a star that a bypass is
// not in it.
func boundMark(r verify.Response) string {
	mark := "bound"
	if r.Bound == "exact" {
		mark = "exact"
	}
	if r.Bypass != "" {
		mark += " *"
	}
	return mark
}

func tellLemmas(out *page.Page, r *verify.Report) {
	held := 0
	steps := uint64(0)
	for _, l := range r.Lemmas {
		steps += l.Values
		if l.Wrong == "" {
			held++
			continue
		}
		out.Hang("counter: ", fmt.Sprintf("%s of %s: %s", l.Counter, l.Of, l.Wrong))
	}
	out.Hang("counters: ", fmt.Sprintf("%d of %d count right over their whole length, %s steps compared", held, len(r.Lemmas), thousands(steps)))
}

// thousands writes a number with thin groups, so that nine digits can be read.
func thousands(n uint64) string {
	text := fmt.Sprint(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

func searched(n int) string {
	if n == 1 {
		return "1 search"
	}
	return fmt.Sprintf("%d searches", n)
}
