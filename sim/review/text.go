package review

import (
	"fmt"
	"io"
	"strings"

	"ohmgate/interlock/verdict"
)

const (
	width     = 80
	placesMax = 4 // places shown of one rule, without --all
)

// writer remembers the first error.
type writer struct {
	out io.Writer
	err error
}

// wrapped writes a text with its first and all later lines indented, broken at
// blanks and, where a word alone is too long, inside it.
func (w *writer) wrapped(first, later, text string) {
	var b strings.Builder
	column := len([]rune(first))
	b.WriteString(first)
	empty := true
	for _, word := range strings.Fields(text) {
		letters := []rune(word)
		if !empty && column+1+len(letters) > width {
			b.WriteString("\n" + later)
			column, empty = len([]rune(later)), true
		}
		if !empty {
			b.WriteByte(' ')
			column++
		}
		for column+len(letters) > width {
			room := width - column
			b.WriteString(string(letters[:room]) + "\n" + later)
			letters, column = letters[room:], len([]rune(later))
		}
		b.WriteString(string(letters))
		column += len(letters)
		empty = false
	}
	w.line(b.String())
}

func (w *writer) line(text string) {
	if w.err == nil {
		_, w.err = fmt.Fprintln(w.out, strings.TrimRight(text, " "))
	}
}

// WriteText writes the report for people. What weighs comes first and in full,
// one block a rule; notes take a line or two each unless all is asked for.
func (r *Report) WriteText(out io.Writer, all bool) error {
	w := &writer{out: out}
	title := r.Site.Name
	if r.Site.Title != "" {
		title += ": " + r.Site.Title
	}
	w.wrapped("", "  ", title)
	w.wrapped("", "  ", r.summary())
	for _, severity := range []Severity{Must, Should} {
		for _, group := range groups(r.Findings, severity) {
			w.line("")
			w.block(group, all)
		}
	}
	r.writeNotes(w, all)
	if len(r.Suppressed) > 0 {
		w.line("")
		w.line("Accepted by the site file:")
		for _, severity := range []Severity{Must, Should, Note} {
			for _, group := range groups(r.Suppressed, severity) {
				w.accepted(group, all)
			}
		}
	}
	w.line("")
	w.wrapped("", "  ", r.verdictLine())
	return w.err
}

func (r *Report) writeNotes(w *writer, all bool) {
	notes := groups(r.Findings, Note)
	if len(notes) == 0 {
		return
	}
	w.line("")
	if all {
		for i, group := range notes {
			if i > 0 {
				w.line("")
			}
			w.block(group, true)
		}
		return
	}
	w.line("Notes, to be known (--all tells more):")
	for _, group := range notes {
		f := &group[0]
		w.wrapped("  "+f.ID+" ", "       ", fmt.Sprintf("%s: %s", f.Title, strings.Join(names(group), ", ")))
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

// block tells one rule and where it is broken.
func (w *writer) block(group []Finding, all bool) {
	f := &group[0]
	w.wrapped(f.ID+"  "+string(f.Severity)+"  ", "    ", f.Title+times(len(group)))
	w.places(group, all)
	w.wrapped("    why     ", "            ", f.Why)
	w.wrapped("    source  ", "            ", f.Source+" ("+f.Confidence+")")
	w.wrapped("    change  ", "            ", f.Change)
}

func (w *writer) places(group []Finding, all bool) {
	for i := range group {
		if more := len(group) - i; i >= placesMax && more > 1 && !all {
			w.wrapped("    ", "      ", fmt.Sprintf("and %d more: %s", more, strings.Join(names(group[i:]), ", ")))
			return
		}
		f := &group[i]
		w.wrapped("    ", "      ", fmt.Sprintf("%s %s: %s", f.Place(), f.Name, f.Text))
	}
}

func (w *writer) accepted(group []Finding, all bool) {
	f := &group[0]
	w.wrapped("  "+f.ID+"  "+string(f.Severity)+"  ", "    ", f.Title+times(len(group)))
	w.places(group, all)
	reasons := map[string]bool{}
	for i := range group {
		if reason := group[i].Reason; !reasons[reason] {
			reasons[reason] = true
			w.wrapped("    reason  ", "            ", reason)
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
		return "nothing checked: the site has no channel or no output"
	case r.FailOn == Never:
		return "shown: findings do not count here (--fail-on never); " + r.summary()
	case r.Verdict == verdict.Violated:
		return fmt.Sprintf("violated: findings at or above %s; %s", r.FailOn, r.summary())
	}
	return fmt.Sprintf("shown: no finding at or above %s; %s. No finding is no proof.", r.FailOn, r.summary())
}

// WriteRules lists every rule.
func WriteRules(out io.Writer) error {
	w := &writer{out: out}
	for i, rule := range Rules() {
		if i > 0 {
			w.line("")
		}
		w.wrapped(rule.ID+"  "+string(rule.Severity)+"  ", "    ", rule.Title)
		w.wrapped("    why     ", "            ", rule.Why)
		w.wrapped("    source  ", "            ", rule.Cite())
		w.wrapped("    change  ", "            ", rule.Change)
	}
	return w.err
}
