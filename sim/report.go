package sim

import (
	"time"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
)

// ReportVersion is the version of the report's shape.
const ReportVersion = "ohmgate report 1"

// Report is everything that one call of simulate has to say, for machines.
type Report struct {
	verdict.Head[string]
	Site    ReportSite      `json:"site"`
	Runs    []ReportRun     `json:"runs"`
	Verdict verdict.Verdict `json:"verdict"`
	Exit    verdict.Exit    `json:"exit"`
}

// ReportSite names the site.
type ReportSite struct {
	Name   string `json:"name"`
	Title  string `json:"title"`
	SHA256 string `json:"sha256"`
}

// ReportRun is one scenario.
type ReportRun struct {
	Scenario     string              `json:"scenario"`
	Title        string              `json:"title"`
	SHA256       string              `json:"sha256"`
	Seed         uint64              `json:"seed"`
	Begin        string              `json:"begin"`
	ScanSeconds  float64             `json:"scan_seconds"`
	PreludeScans uint64              `json:"prelude_scans"`
	Scans        uint64              `json:"scans"`
	Verdict      verdict.Verdict     `json:"verdict"`
	Expectations []ReportExpectation `json:"expectations"`
	Margins      []ReportMargin      `json:"margins"`
	Events       []ReportEvent       `json:"events"`
	Final        []string            `json:"final"`
}

// ReportExpectation is one thing that had to follow.
type ReportExpectation struct {
	Text        string          `json:"text"`
	Line        int             `json:"line"`
	Verdict     verdict.Verdict `json:"verdict"`
	TimeSeconds float64         `json:"time_seconds"`
	Scan        uint64          `json:"scan"`
	Detail      string          `json:"detail"`
	ScansLeft   *uint64         `json:"scans_left,omitempty"`
	ScansBound  *uint64         `json:"scans_bound,omitempty"`
}

// ReportMargin is one tight moment, tightest first.
type ReportMargin struct {
	TimeSeconds float64 `json:"time_seconds"`
	Scan        uint64  `json:"scan"`
	ShareLeft   float64 `json:"share_left"`
	What        string  `json:"what"`
}

// ReportEvent is one line of the sequence of events.
type ReportEvent struct {
	TimeSeconds float64  `json:"time_seconds"`
	Scan        uint64   `json:"scan"`
	Subject     string   `json:"subject"`
	Kind        string   `json:"kind"`
	What        string   `json:"what"`
	Why         []string `json:"why"`
	Rule        string   `json:"rule"`
	FirstOut    []string `json:"first_out"`
	Plant       bool     `json:"plant"`
}

// NewReport collects runs.
func NewReport(s *site.Site, results []*Result, tool string) *Report {
	r := &Report{
		Head: verdict.Head[string]{Schema: ReportVersion, Tool: tool, Verb: "simulate"},
		Site: ReportSite{s.Name, s.Title, s.Hash}, Runs: []ReportRun{},
	}
	for _, result := range results {
		r.Runs = append(r.Runs, reportRun(result))
	}
	r.Verdict = verdict.Over(r.Runs, func(run *ReportRun) verdict.Verdict { return run.Verdict })
	r.Exit = r.Verdict.Exit()
	return r
}

func secondsAt(scan uint64, period time.Duration) float64 {
	return float64(int64(scan)*int64(period/time.Microsecond)) / 1e6
}

func reportRun(result *Result) ReportRun {
	sc := result.Scenario
	run := ReportRun{
		Scenario: sc.Name, Title: sc.Title, SHA256: sc.Hash, Seed: result.Seed, Begin: sc.Begin.String(),
		ScanSeconds: secondsAt(1, result.Period), PreludeScans: result.Prelude, Scans: result.Scans,
		Verdict: result.Verdict(), Expectations: []ReportExpectation{}, Margins: []ReportMargin{},
		Events: []ReportEvent{}, Final: []string{},
	}
	for i := range result.Outcomes {
		o := &result.Outcomes[i]
		e := ReportExpectation{
			Text: o.Expectation.Text, Line: o.Expectation.Place.Line, Verdict: o.Verdict,
			TimeSeconds: secondsAt(o.Scan, result.Period), Scan: o.Scan, Detail: o.Detail,
		}
		if o.Bounded {
			e.ScansLeft, e.ScansBound = &o.Left, &o.Of
		}
		run.Expectations = append(run.Expectations, e)
	}
	for _, m := range result.Margins {
		run.Margins = append(run.Margins, ReportMargin{secondsAt(m.Scan, result.Period), m.Scan, m.Share, m.What})
	}
	for i := range result.Final {
		run.Final = append(run.Final, result.Final[i].Text)
	}
	for i := range result.Told {
		t := &result.Told[i]
		run.Events = append(run.Events, ReportEvent{
			TimeSeconds: secondsAt(t.Scan, result.Period), Scan: t.Scan, Subject: t.Subject, Kind: t.Kind, What: t.What,
			Why: append([]string{}, t.Why...), Rule: t.Rule, FirstOut: append([]string{}, t.FirstOut...), Plant: t.Plant,
		})
	}
	return run
}
