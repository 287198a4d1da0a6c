package review

import (
	"fmt"
	"strings"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// placesMax is how many places are shown of one rule, without --all.
const placesMax = 4

// WriteText writes the report for people. What weighs comes first and in full,
// one block a rule; notes take a line or two each unless all is asked for.
func (r *Report) WriteText(w *page.Page, all bool) {
	title := r.Site.Name
	if r.Site.Title != "" {
		title += ": " + r.Site.Title
	}
	w.Wrap("", title, 2)
	w.Wrap("", r.summary(), 2)
	for _, severity := range []Severity{Must, Should} {
		for _, group := range groups(r.Findings, severity) {
			w.Line("")
			tellBlock(w, group, all)
		}
	}
	r.writeNotes(w, all)
	if len(r.Suppressed) > 0 {
		w.Line("")
		w.Line("Accepted by the site file:")
		for _, severity := range []Severity{Must, Should, Note} {
			for _, group := range groups(r.Suppressed, severity) {
				tellAccepted(w, group, all)
			}
		}
	}
	w.Line("")
	w.Wrap("", r.verdictLine(), 2)
}

func (r *Report) writeNotes(w *page.Page, all bool) {
	notes := groups(r.Findings, Note)
	if len(notes) == 0 {
		return
	}
	w.Line("")
	if all {
		for i, group := range notes {
			if i > 0 {
				w.Line("")
			}
			tellBlock(w, group, true)
		}
		return
	}
	w.Line("Notes, to be known (--all tells more):")
	for _, group := range notes {
		f := &group[0]
		w.Wrap("  "+f.ID+" ", fmt.Sprintf("%s: %s", f.Title, strings.Join(names(group), ", ")), 7)
	}
}

// names of a group, each once, cut where they get many.
func names(group []Finding) (list []string) {
	told := map[string]bool{}
	for i := range group {
		if n := group[i].Name; !told[n] {
			told[n] = true
			list = append(list, n)
		}
	}
	if more := len(list) - 8; more > 1 {
		list = append(list[:8], fmt.Sprintf("and %d more", more))
	}
	return list
}

// groups cuts sorted findings of one severity into one piece a rule.
func groups(list []Finding, severity Severity) (out [][]Finding) {
	for i := range list {
		f := &list[i]
		if f.Severity != severity {
			continue
		}
		if n := len(out); n > 0 && out[n-1][0].ID == f.ID {
			out[n-1] = append(out[n-1], *f)
		} else {
			out = append(out, []Finding{*f})
		}
	}
	return out
}

func times(n int) string {
	if n == 1 {
		return ""
	}
	return fmt.Sprintf(" (%d places)", n)
}

// tellBlock tells one rule and where it is broken.
func tellBlock(w *page.Page, group []Finding, all bool) {
	f := &group[0]
	w.Wrap(f.ID+"  "+string(f.Severity)+"  ", f.Title+times(len(group)), 4)
	tellPlaces(w, group, all)
	w.Wrap("    why     ", f.Why, 12)
	w.Wrap("    source  ", f.Source+" ("+f.Confidence+")", 12)
	w.Wrap("    change  ", f.Change, 12)
}

func tellPlaces(w *page.Page, group []Finding, all bool) {
	for i := range group {
		if more := len(group) - i; i >= placesMax && more > 1 && !all {
			w.Wrap("    ", fmt.Sprintf("and %d more: %s", more, strings.Join(names(group[i:]), ", ")), 6)
			return
		}
		f := &group[i]
		w.Wrap("    ", fmt.Sprintf("%s %s: %s", f.Place(), f.Name, f.Text), 6)
	}
}

func tellAccepted(w *page.Page, group []Finding, all bool) {
	f := &group[0]
	w.Wrap("  "+f.ID+"  "+string(f.Severity)+"  ", f.Title+times(len(group)), 4)
	tellPlaces(w, group, all)
	reasons := map[string]bool{}
	for i := range group {
		if reason := group[i].Reason; !reasons[reason] {
			reasons[reason] = true
			w.Wrap("    reason  ", reason, 12)
		}
	}
}

func (r *Report) summary() string {
	c := r.Counts
	return fmt.Sprintf("%d rules asked: %d must, %d should, %d note; %d accepted", c.Rules, c.Must, c.Should, c.Note, c.Suppressed)
}

func (r *Report) verdictLine() string {
	switch {
	case r.Verdict == verdict.NothingChecked:
		return r.Verdict.String() + ": the site has no channel or no output"
	case r.FailOn == Never:
		return r.Verdict.String() + ": findings do not count here (--fail-on never); " + r.summary()
	case r.Verdict == verdict.Violated:
		return fmt.Sprintf("%s: findings at or above %s; %s", r.Verdict, r.FailOn, r.summary())
	}
	return fmt.Sprintf("%s: no finding at or above %s; %s. No finding is no proof.", r.Verdict, r.FailOn, r.summary())
}

// WriteRules lists every rule.
func WriteRules(w *page.Page) {
	for i, rule := range Rules() {
		if i > 0 {
			w.Line("")
		}
		w.Wrap(rule.ID+"  "+string(rule.Severity)+"  ", rule.Title, 4)
		w.Wrap("    why     ", rule.Why, 12)
		w.Wrap("    source  ", rule.Cite(), 12)
		w.Wrap("    change  ", rule.Change, 12)
	}
}
