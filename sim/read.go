package sim

import (
	"fmt"
	"math/big"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"ohmgate/interlock/site"
	"ohmgate/interlock/site/quantity"
)

// ReadScenario reads one scenario file for a site. Either the scenario or the
// list of everything that is wrong with it is nil.
func ReadScenario(file string, s *site.Site) (*Scenario, site.Problems) {
	data, problems := site.ReadBytes(file)
	if problems != nil {
		for i := range problems {
			problems[i].Instead = strings.Replace(problems[i].Instead, "site file", "scenario file", 1)
		}
		return nil, problems
	}
	return ParseScenario(file, data, s)
}

// ParseScenario reads a scenario from the bytes of a file; the name is for
// messages.
func ParseScenario(name string, data []byte, s *site.Site) (*Scenario, site.Problems) {
	root, problems := site.Document(name, data)
	if problems != nil {
		for i := range problems {
			problems[i].Instead = inScenarios(problems[i].Instead)
		}
		return nil, problems
	}
	r := &reader{file: name, names: newNames(s)}
	made := &Scenario{File: name, Hash: site.Hash(data), Seed: 1}
	r.scenario(root, made)
	if len(r.problems) > 0 {
		return nil, r.problems.Sorted()
	}
	return made, nil
}

// inScenarios rewords advice that was written for site files.
func inScenarios(advice string) string {
	return strings.NewReplacer(
		"start with \"site: name\" and \"scan: 10 ms\"", "start with \"scenario: name\" and \"lasts: 10 s\"",
		"split the plant into several sites", "split it into several scenarios",
		"one site a file", "one scenario a file", "a site needs", "a scenario needs").Replace(advice)
}

// reader is one reading of one scenario file.
type reader struct {
	file     string
	names    *names
	problems site.Problems
	period   time.Duration
	lasts    uint64
}

func (r *reader) complain(at site.Position, text, instead string) {
	r.problems = append(r.problems, site.Problem{File: r.file, Line: at.Line, Column: at.Column, Text: text, Instead: instead})
}

// section takes a mapping apart: every key must be taken, and none twice.
type section struct {
	r     *reader
	node  *site.Node
	taken map[string]bool
	bad   bool
}

func (r *reader) section(n *site.Node, what string) *section {
	s := &section{r: r, node: n, taken: map[string]bool{}}
	if n.Shape != site.Mapping {
		r.complain(n.At, "keys and values are asked for", "write "+what)
		s.bad = true
		return s
	}
	seen := map[string]bool{}
	for _, e := range n.Entries {
		if seen[e.Key] {
			r.complain(e.At, fmt.Sprintf("the key %q stands here a second time", e.Key), "keep one")
		}
		seen[e.Key] = true
	}
	return s
}

// get is a key's value; nil if the key is absent.
func (s *section) get(key string) *site.Node {
	s.taken[key] = true
	for _, e := range s.node.Entries {
		if e.Key == key {
			if e.Value.Shape == site.Nothing {
				s.r.complain(e.At, fmt.Sprintf("the key %q has no value", key), "write one, or delete the key")
				return nil
			}
			return e.Value
		}
	}
	return nil
}

func (s *section) has(key string) bool {
	for _, e := range s.node.Entries {
		if e.Key == key {
			return true
		}
	}
	return false
}

// text is a key's value as one text.
func (s *section) text(key string) (string, site.Position) {
	n := s.get(key)
	if n == nil {
		return "", s.node.At
	}
	if n.Shape != site.Scalar {
		s.r.complain(n.At, fmt.Sprintf("%s wants one value", key), "write one value")
		return "", n.At
	}
	return strings.TrimSpace(n.Text), n.At
}

// must is text that may not be absent.
func (s *section) must(key, example string) (string, site.Position) {
	text, at := s.text(key)
	if text == "" && !s.bad && !s.has(key) {
		s.r.complain(s.node.At, fmt.Sprintf("the key %q is missing", key), "write "+example)
	}
	return text, at
}

// done complains of keys that nobody took.
func (s *section) done() {
	var known []string
	for key := range s.taken {
		known = append(known, key)
	}
	sortStrings(known)
	for _, e := range s.node.Entries {
		if s.taken[e.Key] {
			continue
		}
		instead := "use one of " + strings.Join(known, ", ")
		if meant := site.Nearest(e.Key, known); meant != "" {
			instead = "write " + meant
		}
		s.r.complain(e.At, fmt.Sprintf("unknown key %q", e.Key), instead)
	}
}

func sortStrings(list []string) {
	for i := 1; i < len(list); i++ {
		for j := i; j > 0 && list[j] < list[j-1]; j-- {
			list[j], list[j-1] = list[j-1], list[j]
		}
	}
}

var scanCount = regexp.MustCompile(`^([0-9]{1,12}) scans?$`)

// moment reads "10 s" or "12 scans"; an absent key is not declared.
func (s *section) moment(key string) Moment {
	text, at := s.text(key)
	if text == "" {
		return Moment{}
	}
	return s.r.moment(text, at)
}

func (s *section) mustMoment(key string) Moment {
	text, at := s.must(key, key+": 10 s")
	if text == "" {
		return Moment{}
	}
	return s.r.moment(text, at)
}

func (r *reader) moment(text string, at site.Position) Moment {
	if parts := scanCount.FindStringSubmatch(text); parts != nil {
		n, _ := strconv.ParseUint(parts[1], 10, 64)
		return Moment{Scans: n, InScans: true, Declared: true, At: at}
	}
	exact, wrong := quantity.Single(text, quantity.Time)
	if wrong != nil {
		r.complain(at, wrong.Text, wrong.Instead+", or a count of scans, such as 12 scans")
		return Moment{}
	}
	nanos, ok := quantity.Int(exact, 1e9)
	if !ok || exact.Cmp(big.NewRat(1e9, 1)) > 0 {
		r.complain(at, fmt.Sprintf("%q is too long or too fine", text), "write a whole number of ns, at most 1e9 s")
		return Moment{}
	}
	return Moment{Time: time.Duration(nanos), Declared: true, At: at}
}

// list is a key's value as several texts; a single one counts as a list.
func (s *section) list(key string) ([]string, site.Position) {
	n := s.get(key)
	if n == nil {
		return nil, s.node.At
	}
	if n.Shape == site.Scalar {
		return []string{strings.TrimSpace(n.Text)}, n.At
	}
	if n.Shape != site.List {
		s.r.complain(n.At, fmt.Sprintf("%s wants a name or a list of names", key), "write [first, second]")
		return nil, n.At
	}
	if len(n.Items) == 0 {
		s.r.complain(n.At, fmt.Sprintf("%s is an empty list, which would ask for nothing", key), "write at least one, or delete the key")
	}
	var list []string
	for _, item := range n.Items {
		if item.Shape != site.Scalar {
			s.r.complain(item.At, "a single value is asked for", "write one name")
			continue
		}
		list = append(list, strings.TrimSpace(item.Text))
	}
	return list, n.At
}

// namesOf is a list of names that stand for the wanted kinds of things.
func (s *section) namesOf(key string, want ...what) []string {
	list, at := s.list(key)
	kept := list[:0:0]
	for _, name := range list {
		if s.r.known(name, at, want...) {
			kept = append(kept, name)
		}
	}
	return kept
}

func (r *reader) known(name string, at site.Position, want ...what) bool {
	p, ok := r.names.number[name]
	var kinds, candidates []string
	for _, w := range want {
		if ok && p.what == w {
			return true
		}
		kinds = append(kinds, whatNames[w])
		for _, candidate := range r.names.all {
			if r.names.number[candidate].what == w {
				candidates = append(candidates, candidate)
			}
		}
	}
	kind := strings.Join(kinds, " or ")
	instead := "name a " + kind + " of the site"
	if meant := site.Nearest(name, candidates); meant != "" {
		instead = "write " + meant
	}
	text := fmt.Sprintf("the site has no %s called %q", kind, name)
	if ok {
		text = fmt.Sprintf("%q is a %s, but a %s is asked for", name, whatNames[p.what], kind)
	}
	r.complain(at, text, instead)
	return false
}

// scenario reads the whole file.
func (r *reader) scenario(n *site.Node, made *Scenario) {
	r.period = r.names.site.Period.Max
	s := r.section(n, "\"scenario: name\", \"lasts: 10 s\", then steps, faults and expect")
	if s.bad {
		return
	}
	made.Name, made.Title = r.called(s)
	made.Why, _ = s.text("why")
	if of, at := s.text("site"); of != "" && of != r.names.site.Name {
		r.complain(at, fmt.Sprintf("written for the site %q, not for %q", of, r.names.site.Name), "name the right site file, or correct this line")
	}
	if text, at := s.text("seed"); text != "" {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			r.complain(at, fmt.Sprintf("%q is no seed", text), "write a whole number, such as 7")
		}
		made.Seed = seed
	}
	made.Lasts = s.mustMoment("lasts")
	r.lasts = made.Lasts.ceil(r.period)
	r.begin(s, made)
	r.each(s.get("steps"), "steps", func(item *site.Node) { r.step(item, made) })
	r.each(s.get("faults"), "faults", func(item *site.Node) { r.fault(item, made) })
	r.each(s.get("expect"), "expect", func(item *site.Node) { r.expectation(item, made) })
	s.done()
}

// nameShape is what a scenario may be called: its name becomes part of file names
// and stands in the heads of records.
var nameShape = regexp.MustCompile(namePattern)

const namePattern = `^[^\pC/\\]{1,100}$`

// called reads what a scenario is called. Both texts are printed as they are, so
// neither may hold what a terminal would obey.
func (r *reader) called(s *section) (name, title string) {
	name, at := s.must("scenario", "scenario: name")
	r.refuse(s.has("scenario") && s.get("scenario") != nil && !nameShape.MatchString(name), at, "this is no name for a scenario, since files are named by it",
		"write 1 to 100 letters, digits, _ or -")
	title, at = s.text("title")
	r.refuse(strings.ContainsFunc(title, func(c rune) bool { return c != '\n' && unicode.IsControl(c) }), at, "a control character stands in the title", "write plain text")
	return name, title
}

func (r *reader) begin(s *section, made *Scenario) {
	text, at := s.text("begin")
	made.BeginPlace = at
	switch text {
	case "", "power-up":
	case "ready":
		made.Begin = Ready
	case "running":
		made.Begin = Running
	default:
		r.complain(at, fmt.Sprintf("%q is no beginning", text), "write power-up, ready or running")
	}
	made.Except = s.namesOf("except", aChannel, anInput, anOutput)
	made.With = s.namesOf("with", anInput)
	if made.Begin == AtPowerUp && len(made.Except)+len(made.With) > 0 {
		r.complain(s.node.At, "except and with belong to begin: ready or running", "delete them, or write begin: ready")
	}
}

// each calls f for every item of a list.
func (r *reader) each(n *site.Node, what string, f func(item *site.Node)) {
	if n == nil {
		return
	}
	if n.Shape != site.List {
		r.complain(n.At, what+" wants a list", "begin every item with a dash: - {at: 1 s, …}")
		return
	}
	for _, item := range n.Items {
		f(item)
	}
}

// inRun complains of a moment that the run does not reach.
func (r *reader) inRun(m Moment) {
	if m.Declared && r.lasts > 0 && m.ceil(r.period) > r.lasts {
		r.complain(m.At, m.String()+" is after the end of the scenario", "let it last longer, or choose an earlier moment")
	}
}

// begins complains of a step or fault that the run does not reach: the scan at its
// very end is no longer turned.
func (r *reader) begins(m Moment) {
	r.inRun(m)
	if m.Declared && r.lasts > 0 && m.ceil(r.period) == r.lasts {
		r.complain(m.At, m.String()+" is the very end of the scenario, and no scan follows", "let it last longer, or choose an earlier moment")
	}
}
