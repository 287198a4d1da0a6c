package margin

import (
	_ "embed"
	"encoding/json"
	"regexp"
	"strings"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
)

// ReportVersion is the version of the report's shape.
const ReportVersion = "ohmgate margin 1"

//go:embed schema.json
var schema []byte

// Schema is the JSON Schema of a Report.
func Schema() []byte { return schema }

// Report is everything that one call of margin has to say.
type Report struct {
	verdict.Head[string]
	Site        Identity        `json:"site"`
	Lines       []Line          `json:"lines"`
	Unmonitored []Unmonitored   `json:"unmonitored_parts"`
	Sources     []Source        `json:"ignition_sources"`
	Unanswered  int             `json:"unanswered"`
	Reliability []Assessed      `json:"reliability"`
	Verdict     verdict.Verdict `json:"verdict"`
	Exit        verdict.Exit    `json:"exit"`
}

// Identity names the site.
type Identity struct {
	Name   string `json:"name"`
	Title  string `json:"title"`
	SHA256 string `json:"sha256"`
}

// Line is the three answers for one node and one stream.
type Line struct {
	Node     string          `json:"node"`
	Role     string          `json:"role"`
	Of       string          `json:"of,omitempty"`
	Stream   string          `json:"stream"`
	Product  string          `json:"product,omitempty"`
	Channels []string        `json:"channels"`
	Standing verdict.Verdict `json:"standing"`
	Start    Start           `json:"start"`
	Rising   Rising          `json:"rising"`
	Loss     Loss            `json:"loss"`
	Wait     Wait            `json:"wait"`
	Inputs   []Known         `json:"inputs"`
	// Alike are the places of later lines that differ from this one in names only.
	Alike []int `json:"alike"`
	alike bool  // this is one of them
}

// Study calculates every line of a site. The site must have been read without
// a problem.
func Study(s *site.Site, tool string) (*Report, error) { return study(s, tool, false) }

func study(s *site.Site, tool string, brief bool) (*Report, error) {
	config, problems := s.Logic()
	if problems != nil {
		return nil, problems
	}
	b := &bench{site: s, config: config, cache: outcomes{}, brief: brief}
	for i := range s.Channels {
		b.timings = append(b.timings, s.Timing(config, i))
	}
	r := &Report{Head: verdict.Head[string]{Schema: ReportVersion, Tool: tool, Verb: "margin"}, Site: Identity{s.Name, s.Title, s.Hash}, Lines: []Line{}, Unmonitored: b.unmonitored()}
	for _, nd := range b.nodes() {
		line, err := b.line(nd)
		if err != nil {
			return nil, err
		}
		r.Lines = append(r.Lines, line)
	}
	if err := b.together(r); err != nil {
		return nil, err
	}
	r.Sources, r.Unanswered = sources(s)
	var err error
	if r.Reliability, err = Assess(s); err != nil {
		return nil, err
	}
	if err := r.group(s); err != nil {
		return nil, err
	}
	r.judge()
	return r, nil
}

func (b *bench) line(nd *node) (Line, error) {
	n := &notes{}
	l := Line{Node: nd.name, Role: nd.role, Stream: nd.stream.Name, Product: nd.stream.Product, Channels: []string{}, Alike: []int{}}
	if nd.part != nil {
		l.Of = nd.part.Of
	}
	for _, c := range nd.channels {
		l.Channels = append(l.Channels, b.site.Channels[c].Name)
	}
	f := streamFlow(nd.stream, objectWord(nd.vessel), n)
	body := bodyOf(nd, n)
	stops, open := b.stops(nd)
	l.Start = b.start(nd)
	l.Rising = b.rising(nd, f, body, stops, n)
	var err error
	if l.Loss, err = b.loss(nd, f, body, stops, l.Rising.Critical.Lo, n); err != nil {
		return l, err
	}
	if open {
		l.Loss.Standing = verdict.Worse(l.Loss.Standing, verdict.NotShown)
		l.Loss.Why = strings.TrimPrefix(l.Loss.Why+"; a permissive has too many cases to look at them all", "; ")
	}
	l.Wait = b.wait(nd, &l.Loss, body)
	l.Inputs = n.list
	l.judge()
	return l, nil
}

// judge joins the answers of one line.
func (l *Line) judge() {
	l.Standing = verdict.Worst(l.Start.Standing, l.Rising.Standing, l.Loss.Standing, l.Wait.Standing)
}

// group finds lines that differ in names only, so that eight like bays are told
// once.
func (r *Report) group(s *site.Site) error {
	first := map[string]int{}
	for i := range r.Lines {
		key, err := r.Lines[i].shape(s)
		if err != nil {
			return err
		}
		if at, ok := first[key]; ok {
			r.Lines[at].Alike = append(r.Lines[at].Alike, i)
			r.Lines[i].alike = true
			continue
		}
		first[key] = i
	}
	return nil
}

// shape is a line with the plant's names taken out.
func (l *Line) shape(s *site.Site) (string, error) {
	data, err := json.Marshal(l)
	if err != nil {
		return "", err
	}
	return word.ReplaceAllStringFunc(string(data), func(found string) string {
		if s.CauseIndex(found) >= 0 || s.OutputIndex(found) >= 0 || s.VesselIndex(found) >= 0 || s.StreamIndex(found) >= 0 || s.PartIndex(found) >= 0 {
			return "#"
		}
		return found
	}), nil
}

var word = regexp.MustCompile(`[a-z][a-z0-9_]*`)

// judge joins all answers.
func (r *Report) judge() {
	r.Verdict = verdict.Over(r.Lines, func(l *Line) verdict.Verdict { return l.Standing })
	if r.Unanswered > 0 {
		r.Verdict = verdict.Worse(r.Verdict, verdict.NotShown)
	}
	for i := range r.Reliability {
		if r.Reliability[i].Target > 0 { // without a target it is information only
			r.Verdict = verdict.Worse(r.Verdict, r.Reliability[i].Standing)
		}
	}
	r.Exit = r.Verdict.Exit()
}

// JudgeReliability is the verdict over the assessor's numbers alone.
func (r *Report) JudgeReliability() verdict.Verdict {
	return verdict.Over(r.Reliability, func(a *Assessed) verdict.Verdict { return a.Standing })
}
