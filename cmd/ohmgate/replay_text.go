package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/replay"
	"ohmgate/sim/trace/trend"
)

// replaySchema is raised when a field of the JSON report changes its meaning.
const replaySchema = 1

// kindsPrinted is how many kinds of divergence the text lists.
const kindsPrinted = 12

// tellReplay prints one replay for people.
func tellReplay(out *page.Page, r *replayed) {
	head := fmt.Sprintf("%s held against %s", r.file, r.site.Name)
	if r.recorded != nil {
		head += fmt.Sprintf("; recorded by ohmgate %s", r.recorded.Tool)
		if r.recorded.Scenario != "-" {
			head += ", scenario " + r.recorded.Scenario
		}
	}
	out.Wrap("", head, 2)
	rep := r.report
	length := fmt.Sprintf("%d scans, %s, %d readings; %d values compared", rep.Scans, spanText(rep.Lasts), rep.Readings, rep.Compared)
	if r.began != "" {
		length += "; begins " + r.began
	}
	out.Wrap("", length, 2)
	out.Wrap("", fmt.Sprintf("the logic began at: %s; outputs may lead or trail by %d scans, the largest skew was %d", rep.Start, rep.ToleranceScans, rep.LargestSkew), 2)
	tellTroubles(out, rep.Troubles)
	tellDivergences(out, rep)
	tellTrend(out, r.trend)
	fmt.Fprintln(out)
	because := rep.Because
	if r.trend != nil && rep.Verdict == verdict.NothingChecked {
		because += "; a trend needs none"
	}
	out.Wrap("", string(rep.Verdict)+": "+because, 2)
}

func spanText(seconds float64) string {
	return time.Duration(seconds * 1e9).Round(time.Millisecond).String()
}

// clockText is a moment of a recording.
func clockText(seconds float64) string { return fmt.Sprintf("%.3f s", seconds) }

func tellTroubles(out *page.Page, troubles []trace.Trouble) {
	for i := range troubles {
		t := &troubles[i]
		var places []string
		for _, p := range t.First {
			places = append(places, placeText(p))
		}
		text := fmt.Sprintf("%d x %s: %s", t.Count, t.Kind, strings.Join(places, ", "))
		if t.Count > len(t.First) {
			text += ", …"
		}
		if t.Instead != "" {
			text += "; " + t.Instead
		}
		out.Wrap("  ", text, 4)
	}
}

func placeText(p trace.Place) string {
	if p.Line == 0 {
		return p.Text
	}
	return p.String()
}

func tellDivergences(out *page.Page, rep *replay.Report) {
	if rep.First == nil {
		return
	}
	fmt.Fprintln(out)
	d := rep.First
	when := clockText(d.Time)
	if d.Clock != "" {
		when += " (" + d.Clock + ")"
	}
	name := "first divergence"
	if rep.Verdict == verdict.NotShown {
		name = "what follows proves nothing, see above; first divergence"
	}
	out.Wrap("", fmt.Sprintf("%s at %s, scan %d, line %d", name, when, d.Scan, d.Line), 2)
	out.Wrap("  ", fmt.Sprintf("%s: recorded %s, logic %s", d.Subject, d.Recorded, d.Logic), 4)
	for _, rule := range d.Rule {
		out.Wrap("  ", "rule: "+rule, 4)
	}
	if len(d.Causes) > 0 {
		out.Wrap("  ", "causes: "+strings.Join(d.Causes, "; "), 4)
	}
	tellExcerpt(out, d)
	out.Wrap("", fmt.Sprintf("%s in all, each counted after recording and logic were brought together:", counted(rep.Divergences, "divergence")), 2)
	for i, k := range rep.Kinds {
		if i == kindsPrinted {
			fmt.Fprintf(out, "  and %d more kinds; --json lists them\n", len(rep.Kinds)-i+rep.MoreKinds)
			break
		}
		out.Wrap(fmt.Sprintf("%6d x ", k.Count), k.Kind+", first at "+clockText(k.FirstTime), 9)
	}
}

// counted is a number with its noun.
func counted(n int, noun string) string {
	if n != 1 {
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}

// tellExcerpt prints the scans around the first divergence side by side.
func tellExcerpt(out *page.Page, d *replay.Divergence) {
	if len(d.Excerpt) == 0 {
		fmt.Fprintln(out)
		return
	}
	rows := [][]string{{"time", "line", d.Channel, "class", "phase", "recorded", "logic"}}
	for _, m := range d.Excerpt {
		rows = append(rows, []string{clockText(m.Time), strconv.Itoa(m.Line), m.Reading, m.Class, m.Phase, m.Recorded, m.Logic})
	}
	widths := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row {
			widths[i] = max(widths[i], page.Columns(cell))
		}
	}
	fmt.Fprintln(out)
	for n, row := range rows {
		line := "  "
		if n > 0 && d.Excerpt[n-1].Scan == d.Scan {
			line = "> "
		}
		for i, cell := range row {
			if i < 2 { // numbers to the right
				line += page.Right(cell, widths[i]) + "  "
			} else {
				line += page.Pad(cell, widths[i]) + "  "
			}
		}
		out.Line(page.Cut(strings.TrimRight(line, " "), page.Width))
	}
	fmt.Fprintln(out)
}

func tellTrend(out *page.Page, channels []trend.Channel) {
	if channels == nil {
		return
	}
	fmt.Fprintln(out)
	var unread []string
	for i := range channels {
		if channels[i].Readings == 0 {
			unread = append(unread, channels[i].Channel)
			continue
		}
		out.Wrap("", trendText(&channels[i]), 2)
	}
	if unread != nil {
		out.Wrap("", "never read while connected: "+strings.Join(unread, ", "), 2)
	}
}

func trendText(c *trend.Channel) string {
	interval := fmt.Sprintf("%+.4g Ω a day (%.4g to %.4g, %.0f %%), now %.4g Ω, %d readings over %.1f days", c.Slope, c.Low, c.High, trend.Confidence*100, c.Now, c.Readings, c.Days)
	switch {
	case c.Verdict == "too short":
		return fmt.Sprintf("%s: no trend can be told from %d readings over %.2f days; it takes a day at least and 20 points", c.Channel, c.Readings, c.Days)
	case c.Verdict != "trend":
		return fmt.Sprintf("%s: %s; %s", c.Channel, c.Verdict, interval)
	case c.Accept == nil:
		return fmt.Sprintf("%s: rising, but accept is not reached within ten years; %s", c.Channel, interval)
	case c.Accept.AlreadyIn:
		return fmt.Sprintf("%s: clean this clamp now: it is above accept already; %s", c.Channel, interval)
	}
	text := fmt.Sprintf("%s: clean this clamp before %s: accept is crossed then at the earliest, probably %s", c.Channel, dayText(c.Accept.Earliest, c.Accept.Date), dayText(c.Accept.Likely, c.Accept.LikelyOn))
	if c.Reject != nil {
		text += ", reject not before " + dayText(c.Reject.Earliest, c.Reject.Date)
	}
	return text + "; " + interval
}

func dayText(days float64, date string) string {
	if date != "" {
		return date
	}
	return fmt.Sprintf("day %.1f of the recording", days)
}

// replayReport is one replay for programs.
type replayReport struct {
	verdict.Head[int]
	Site          string          `json:"site"`
	SiteHash      string          `json:"site_hash"`
	Recording     string          `json:"recording"`
	RecordedBy    string          `json:"recorded_by,omitempty"`
	RecordedSite  string          `json:"recorded_site_hash,omitempty"`
	Scenario      string          `json:"scenario,omitempty"`
	ScenarioHash  string          `json:"scenario_hash,omitempty"`
	Began         string          `json:"began,omitempty"`
	Exit          verdict.Exit    `json:"exit"`
	Report        *replay.Report  `json:"report"`
	Trend         []trend.Channel `json:"trend,omitempty"`
	TrendInterval float64         `json:"trend_confidence,omitempty"`
}

func replayReportOf(r *replayed) *replayReport {
	made := &replayReport{
		Head: headed(replaySchema, "replay"), Site: r.site.Name, SiteHash: r.site.Hash,
		Recording: r.file, Began: r.began, Exit: r.code, Report: r.report, Trend: r.trend,
	}
	if r.recorded != nil {
		made.RecordedBy, made.RecordedSite = r.recorded.Tool, r.recorded.SiteHash
		made.Scenario, made.ScenarioHash = r.recorded.Scenario, r.recorded.ScenarioHash
	}
	if r.trend != nil {
		made.TrendInterval = trend.Confidence
	}
	return made
}
