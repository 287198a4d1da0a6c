package review

import (
	_ "embed"
	"fmt"
	"slices"
	"sort"
	"strings"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
)

// Version is the version of the report's shape.
const Version = "ohmgate review 1"

const (
	unmatchedRule = "R210"
	vagueRule     = "R211"
	leastReason   = 15 // letters
)

//go:embed schema.json
var schema []byte

// Schema is the JSON Schema of a Report.
func Schema() []byte { return schema }

// Finding is one place where a rule is broken.
type Finding struct {
	ID         string   `json:"id"`
	Severity   Severity `json:"severity"`
	Title      string   `json:"title"`
	File       string   `json:"file"`
	Line       int      `json:"line"`
	Column     int      `json:"column"`
	Path       string   `json:"path"`
	Name       string   `json:"name"`
	Text       string   `json:"text"`
	Why        string   `json:"why"`
	Source     string   `json:"source"`
	Confidence string   `json:"confidence"`
	Change     string   `json:"change"`
	// Reason is why it is accepted; only suppressed findings have one.
	Reason string `json:"reason,omitempty"`
}

// Place is file:line:column.
func (f *Finding) Place() string { return fmt.Sprintf("%s:%d:%d", f.File, f.Line, f.Column) }

// Counts are how many findings of each severity stand.
type Counts struct {
	Must       int `json:"must"`
	Should     int `json:"should"`
	Note       int `json:"note"`
	Suppressed int `json:"suppressed"`
	Rules      int `json:"rules"`
}

// Identity names the site.
type Identity struct {
	Name   string `json:"name"`
	Title  string `json:"title"`
	SHA256 string `json:"sha256"`
}

// Report is everything that one review has to say.
type Report struct {
	verdict.Head[string]
	Site       Identity        `json:"site"`
	File       string          `json:"file"`
	FailOn     Severity        `json:"fail_on"`
	Findings   []Finding       `json:"findings"`
	Suppressed []Finding       `json:"suppressed"`
	Counts     Counts          `json:"counts"`
	Verdict    verdict.Verdict `json:"verdict"`
	Exit       verdict.Exit    `json:"exit"`
}

// Levels are the words for failOn.
func Levels() []Severity { return []Severity{Must, Should, Note, Never} }

// Review reads a site, which must have been read without a problem. Findings at
// or above failOn make the verdict violated.
func Review(s *site.Site, tool string, failOn Severity) (*Report, error) {
	if !slices.Contains(Levels(), failOn) {
		return nil, fmt.Errorf("%q is no severity; write must, should, note or never", failOn)
	}
	sub, err := newSubject(s, tool)
	if err != nil {
		return nil, err
	}
	r := &Report{Head: verdict.Head[string]{Schema: Version, Tool: tool, Verb: "review"}, Site: Identity{s.Name, s.Title, s.Hash}, File: s.File, FailOn: failOn,
		Findings: []Finding{}, Suppressed: []Finding{}}
	rules := Rules()
	for i := range rules {
		if rule := &rules[i]; rule.find != nil {
			rule.find(sub, func(path, format string, args ...any) {
				r.Findings = append(r.Findings, sub.finding(rule, path, fmt.Sprintf(format, args...)))
			})
		}
	}
	r.suppress(sub, rules)
	sortFindings(r.Findings)
	sortFindings(r.Suppressed)
	r.judge(s, len(rules))
	return r, nil
}

func (s *subject) finding(rule *Rule, path, text string) Finding {
	at := s.ValueAt(path)
	if !s.Has(path) {
		at = s.At(path)
	}
	name := path
	if parts := strings.SplitN(path, ".", 3); len(parts) > 1 {
		name = parts[1]
	}
	return Finding{ID: rule.ID, Severity: rule.Severity, Title: rule.Title, File: s.File, Line: at.Line, Column: at.Column,
		Path: path, Name: name, Text: text, Why: rule.Why, Source: rule.Source, Confidence: rule.Confidence, Change: rule.Change}
}

// covers reports that a suppression speaks of a finding.
func covers(x *site.Suppression, f *Finding) bool {
	return x.Finding == f.ID && (x.At == "" || x.At == f.Path || strings.HasPrefix(f.Path, x.At+"."))
}

// suppress moves what the site accepts aside, and finds suppressions that hide
// nothing or say nothing. Those can not be suppressed.
func (r *Report) suppress(s *subject, rules []Rule) {
	hits := make([]int, len(s.Suppress))
	var left []Finding
	for _, f := range r.Findings {
		hidden := false
		for i := range s.Suppress {
			if x := &s.Suppress[i]; covers(x, &f) {
				hits[i]++
				if !hidden {
					hidden = true
					f.Reason = x.Reason
					r.Suppressed = append(r.Suppressed, f)
				}
			}
		}
		if !hidden {
			left = append(left, f)
		}
	}
	r.Findings = append([]Finding{}, left...)
	for i, n := range hits {
		x, path := &s.Suppress[i], fmt.Sprintf("suppress.%d", i)
		if n == 0 {
			r.Findings = append(r.Findings, s.finding(ruleOf(rules, unmatchedRule), path, unmatchedText(x, rules)))
		}
		if len([]rune(strings.TrimSpace(x.Reason))) < leastReason {
			r.Findings = append(r.Findings, s.finding(ruleOf(rules, vagueRule), path, fmt.Sprintf("%s: %q", x.Finding, x.Reason)))
		}
	}
}

func unmatchedText(x *site.Suppression, rules []Rule) string {
	if ruleOf(rules, x.Finding) == nil {
		return x.Finding + ": there is no such rule"
	}
	if x.At == "" {
		return x.Finding + " is found nowhere"
	}
	return x.Finding + " is not found at " + x.At
}

func ruleOf(rules []Rule, id string) *Rule {
	for i := range rules {
		if rules[i].ID == id {
			return &rules[i]
		}
	}
	return nil
}

// sortFindings puts the worst first, then by rule, then in the order of the file.
func sortFindings(list []Finding) {
	sort.SliceStable(list, func(i, j int) bool {
		a, b := &list[i], &list[j]
		switch {
		case a.Severity != b.Severity:
			return weight[a.Severity] < weight[b.Severity]
		case a.ID != b.ID:
			return a.ID < b.ID
		case a.Line != b.Line:
			return a.Line < b.Line
		case a.Column != b.Column:
			return a.Column < b.Column
		case a.Path != b.Path:
			return a.Path < b.Path
		}
		return a.Text < b.Text
	})
}

func (r *Report) judge(s *site.Site, rules int) {
	failing := 0
	for i := range r.Findings {
		switch r.Findings[i].Severity {
		case Must:
			r.Counts.Must++
		case Should:
			r.Counts.Should++
		case Note:
			r.Counts.Note++
		}
		if weight[r.Findings[i].Severity] <= weight[r.FailOn] {
			failing++
		}
	}
	r.Counts.Suppressed, r.Counts.Rules = len(r.Suppressed), rules
	switch {
	case failing > 0:
		r.Verdict = verdict.Violated
	case len(s.Channels) == 0 || len(s.Outputs) == 0:
		r.Verdict = verdict.NothingChecked
	default:
		r.Verdict = verdict.Shown
	}
	r.Exit = r.Verdict.Exit()
}
