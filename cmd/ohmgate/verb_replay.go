package main

import (
	"bufio"
	"errors"
	"io"
	"slices"
	"time"
	_ "time/tzdata" // recordings name zones that the machine may not know

	"github.com/spf13/cobra"

	"ohmgate/cmd/ohmgate/journal"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/replay"
	"ohmgate/sim/trace/trend"
)

// replayOptions is what the command line asks of the verb.
type replayOptions struct {
	mapping   string
	begin     string
	tolerance int
	trend     bool
	json      bool
	record    *recordFlags
}

func replayVerbs() []*verb {
	o := &replayOptions{record: &recordFlags{}, tolerance: -1}
	return []*verb{{
		name: "replay", args: "SITE RECORDING", asks: "Did the plant decide as this logic does? Where do they part first?",
		about: `replay sends what was recorded through the logic, scan by scan, and holds the
recorded outputs against the decisions. It prints the first divergence side by
side with the rule, agrees with the recording, and counts the rest.

The journal that serve keeps is replayed run by run, with every event.

A recording of another program needs a column map (--map). Its rows become scans
so: scan 0 is at the first row; each scan sees the rows since the scan before;
of several values the last counts; a reading is fresh in its own scan only.`,
		flags: slices.Concat(flags{
			{name: "map", into: &o.mapping, help: "column map `file` of a recording that ohmgate did not write"},
			{name: "begin", into: &o.begin, help: "begin the logic at `power-up` or running (default: as the map says, or as the outputs show)", words: []string{"power-up", "running"}},
			{name: "tolerance", into: &o.tolerance, help: "`scans` by which a recorded output may lead or trail (default: 0 for ohmgate's own, else as the map says, or 2)"},
			{name: "trend", into: &o.trend, help: "also judge, over days, when a clamp should be cleaned"},
			{name: "json", into: &o.json, help: "print one JSON report"},
		}, o.record.flags()),
		ends: ends{
			exitShown: "the same decisions, to the last scan", exitViolated: "they part", exitIncomplete: "the recording cannot decide, or is too short for --trend",
			exitNothing: "it holds nothing to compare",
		},
		report: replaySchema, example: "replay testdata/sites/amber_line.yaml testdata/traces/amber_line_recorder.csv --map testdata/traces/amber_line_recorder.map.yaml",
		run: func(c *cobra.Command, args []string) error {
			if isJournal(args[1]) {
				return withBook(args[1], func(b *journal.Book) error { return replayBook(c.OutOrStdout(), b, args[0], o.json) })
			}
			read := []namedFile{{"the site file", args[0]}, {"the recording", args[1]}, {"the column map", o.mapping}}
			if err := apart(read, o.record.files("")); err != nil {
				return err
			}
			return replayRecording(c.OutOrStdout(), c.ErrOrStderr(), args[0], args[1], o)
		},
	}}
}

// replayed is everything that one replay has to tell.
type replayed struct {
	site     *site.Site
	file     string
	recorded *trace.Header // nil for a foreign recording
	began    string        // instant of scan 0, where known
	report   *replay.Report
	trend    []trend.Channel
	code     exitCode
}

// recordingReader is one of the two readers, ready to be replayed.
type recordingReader struct {
	replay.Recording
	diary  *trace.Diary
	own    *csv.Reader
	mapped *csv.Mapped
	option replay.Options
}

func replayRecording(out, errs io.Writer, siteFile, file string, o *replayOptions) error {
	s, problems := site.Read(siteFile)
	if problems != nil {
		return failed(exitInput, "%w", problems)
	}
	logic, problems := s.Logic()
	if problems != nil {
		return failed(exitInput, "%w", problems)
	}
	if o.begin != "" && o.begin != "power-up" && o.begin != "running" {
		return failed(exitInput, "--begin %q is not possible; write power-up or running", o.begin)
	}
	if o.tolerance < -1 {
		return failed(exitInput, "--tolerance %d is not possible; write 0 or more scans", o.tolerance)
	}
	progress := newProgress(errs)
	source, err := trace.Open(file, progress.taken)
	if err != nil {
		progress.end()
		return failed(exitInput, "%w", err)
	}
	defer source.Close()
	progress.begin(source.Size)
	defer progress.end()
	header := headerOf(s)
	reader, err := openRecording(source, file, header, logic, o)
	if err != nil {
		return err
	}
	result, err := runReplay(reader, header, logic, o)
	progress.end()
	if err != nil {
		return replayFailed(file, err)
	}
	result.site, result.file = s, file
	result.code = result.report.Verdict.Exit()
	if o.trend {
		result.code = trendCode(result)
	}
	return finish(out, o.json, result.code, replayReportOf(result), func(p *page.Page) { tellReplay(p, result) })
}

// replayFailed judges an error that ended a replay.
func replayFailed(file string, err error) error {
	var internal loop.InternalError
	var judged outcome
	switch {
	case errors.As(err, &judged):
		return err
	case errors.As(err, &internal):
		return failed(exitInternal, "%w", err)
	}
	return failed(exitInput, "%s: %w", file, err)
}

// openRecording looks at the first bytes: our own recordings explain
// themselves, any other needs a column map.
func openRecording(source io.Reader, file string, h *trace.Header, logic *interlock.Config, o *replayOptions) (*recordingReader, error) {
	from := bufio.NewReaderSize(source, 1<<20)
	begin, _ := from.Peek(len(csv.Magic)) // an error is met again by whoever reads on
	if csv.IsOurs(begin) {
		if o.mapping != "" {
			return nil, failed(exitInput, "%s was recorded by ohmgate and explains itself; leave --map out", file)
		}
		own, err := csv.NewReader(from, h, logic)
		if err != nil {
			return nil, failed(exitInput, "%s: %w", file, err)
		}
		checkOwn(own, h)
		option := replay.Options{Tolerance: max(o.tolerance, 0), Running: o.begin == "running"}
		return &recordingReader{Recording: own, diary: &own.Diary, own: own, option: option}, nil
	}
	if o.mapping == "" {
		return nil, failed(exitInput, "%s was not recorded by ohmgate; say with --map FILE what its columns are, such as\n%s", file, mapExample(h))
	}
	data, problems := site.ReadBytes(o.mapping)
	if problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	m, problems := csv.ReadMapping(o.mapping, data, h)
	if problems != nil {
		return nil, failed(exitInput, "%w", problems)
	}
	mapped, err := csv.NewMapped(from, m, h, logic)
	if err != nil {
		return nil, failed(exitInput, "%s: %w", file, err)
	}
	r := &recordingReader{Recording: mapped, diary: &mapped.Diary, mapped: mapped}
	r.option = foreignOptions(m, h, o)
	return r, nil
}

// foreignTolerance allows for two phases that nobody knows: that of the plant's
// scan and that of the recorder's.
const foreignTolerance = 2

func foreignOptions(m *csv.Mapping, h *trace.Header, o *replayOptions) replay.Options {
	option := replay.Options{Tolerance: foreignTolerance}
	if m.Tolerance >= 0 {
		option.Tolerance = int((m.Tolerance + h.Period - 1) / h.Period)
	}
	if o.tolerance >= 0 {
		option.Tolerance = o.tolerance
	}
	begin := m.Begin
	if o.begin != "" {
		begin = o.begin
	}
	option.Running = begin == "running"
	option.RunningIfEnabled = begin == ""
	return option
}

var (
	kindOtherSite   = trace.Kind{Text: "recorded with another revision of the site file"}
	kindOtherPeriod = trace.Kind{Text: "recorded with another scan period than the site's", Undecided: true, Blind: true, Instead: "replay it with the site file that it was recorded with"}
)

// checkOwn compares whom and what a recording of ours names with the site.
func checkOwn(own *csv.Reader, h *trace.Header) {
	if own.Header.SiteHash != h.SiteHash {
		own.Diary.Note(&kindOtherSite, trace.Place{Line: 2, Text: own.Header.Site + " " + own.Header.SiteHash})
	}
	if own.Header.Period != h.Period {
		own.Diary.Note(&kindOtherPeriod, trace.Place{Line: 5, Text: own.Header.Period.String() + ", not " + h.Period.String()})
	}
}

// mapExample is the least that a column map holds.
func mapExample(h *trace.Header) string {
	text := "  time: {column: Time, format: \"yyyy-MM-dd HH:mm:ss.fff\", zone: UTC}\n"
	if len(h.Channels) > 0 {
		text += "  channels: {" + h.Channels[0] + ": {column: R1, unit: Ω}}\n"
	}
	if len(h.Outputs) > 0 {
		text += "  outputs: {" + h.Outputs[0] + ": {column: V1, on: [\"1\"], off: [\"0\"]}}"
	}
	return text
}

// runReplay replays with whatever is to be recorded along the way.
func runReplay(reader *recordingReader, h *trace.Header, logic *interlock.Config, o *replayOptions) (*replayed, error) {
	result := &replayed{}
	if reader.own != nil {
		result.recorded = &reader.own.Header
		h.Scenario, h.ScenarioHash = reader.own.Header.Scenario, reader.own.Header.ScenarioHash
	}
	watch, err := o.record.writers(logic, "")
	if err != nil {
		return nil, err
	}
	var collector *trend.Collector
	if o.trend {
		collector = trend.NewCollector(logic)
		watch = append(watch, collector)
	}
	if err := watch.Begin(h); err != nil {
		watch.Discard()
		return nil, failed(exitInput, "%w", err)
	}
	option := reader.option
	if len(watch) > 0 {
		option.Watch = watch
	}
	if result.report, err = replay.New(logic, h, option).Run(reader, reader.diary); err != nil {
		watch.Discard()
		return nil, err
	}
	if err := watch.Close(); err != nil {
		return nil, failed(exitLost, "%w", err)
	}
	if m := reader.mapped; m != nil && !m.Start.IsZero() {
		result.began = m.Instant(0)
		if f := result.report.First; f != nil {
			f.Clock = m.Instant(f.Time)
		}
	}
	if collector != nil {
		var start time.Time
		if reader.mapped != nil {
			start = reader.mapped.Start
		}
		result.trend = collector.Report(start)
	}
	return result, nil
}

// trendCode: who asks for a trend and gets none because the recording is too
// short has an incomplete answer.
func trendCode(r *replayed) exitCode {
	code := r.code
	if code == exitNothing {
		code = exitShown // the trend was asked for, and needs no recorded output
	}
	for i := range r.trend {
		if r.trend[i].Verdict == "too short" {
			code = worse(code, exitIncomplete)
		}
	}
	return code
}
