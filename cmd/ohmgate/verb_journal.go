package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ohmgate/cmd/ohmgate/journal"
	"ohmgate/cmd/ohmgate/live"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/page"
	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
)

func journalVerbs() []*verb {
	return []*verb{{
		name: "journal", asks: "What did serve keep: is it whole, what happened, does it decide alike again?",
		about: "journal looks into the file that serve --journal writes. It never changes it,\nbut for trim.",
		ends:  ends{exitShown: "help was printed"}, example: "journal check kestrel.journal",
		run: func(c *cobra.Command, _ []string) error {
			_ = c.Help()
			return failed(exitInput, "say what to do with the journal, such as ohmgate journal check FILE")
		},
	}, journalCheckVerb(), journalQueryVerb(), journalReplayVerb(), journalExportVerb(), journalTrimVerb()}
}

// withBook reads a journal for the length of a function.
func withBook(path string, do func(b *journal.Book) error) error {
	b, err := journal.Read(path)
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	defer b.Close()
	return do(b)
}

func journalCheckVerb() *verb {
	var asJSON bool
	return &verb{
		name: "journal check", args: "FILE", asks: "Is it whole? SQLite's own check, every seal, the index",
		about: "check reads the whole journal. A journal that somebody wrote anew from the first\nrecord on would look whole: compare the last seal with one noted elsewhere.",
		flags: flags{{name: "json", into: &asJSON, help: "print the report as JSON"}},
		ends:  ends{exitShown: "every record follows from the one before", exitViolated: "it is damaged or was altered", exitNothing: "it holds no record"}, report: 1,
		example: "journal check kestrel.journal",
		run: func(c *cobra.Command, args []string) error {
			return withBook(args[0], func(b *journal.Book) error {
				r, err := b.Check()
				if err != nil {
					return failed(exitLost, "%w", err)
				}
				return sayChecked(c.OutOrStdout(), r, asJSON)
			})
		},
	}
}

// sayChecked says what a journal is found to be.
func sayChecked(out io.Writer, r *journal.Report, asJSON bool) error {
	found := verdict.Shown
	switch {
	case len(r.Findings) > 0:
		found = verdict.Violated
	case r.Records == 0:
		found = verdict.NothingChecked
	}
	if asJSON {
		return lineOfJSON(out, found.Exit(), struct {
			Schema int `json:"schema"`
			*journal.Report
		}{1, r})
	}
	return finish(out, false, found.Exit(), nil, func(p *page.Page) { tellChecked(p, r, found) })
}

// lineOfJSON prints one line of JSON, as what reads many of them wants it.
func lineOfJSON(out io.Writer, code exitCode, value any) error {
	if err := json.NewEncoder(out).Encode(value); err != nil {
		return failed(exitLost, "%w", err)
	}
	return ended(code)
}

func tellChecked(out *page.Page, r *journal.Report, found verdict.Verdict) {
	fmt.Fprintf(out, "%d records: %d events, %d decisions, %d scans, %d sessions\n", r.Records, r.Events, r.Decisions, r.Scans, r.Sessions)
	if r.Forgotten > 0 {
		fmt.Fprintf(out, "%d records were forgotten on purpose\n", r.Forgotten)
	}
	for _, f := range r.Findings {
		fmt.Fprintf(out, "  %s\n", f)
	}
	fmt.Fprintf(out, "last seal\n  %s\n", r.Hash)
	out.Line(found.String() + ": " + map[verdict.Verdict]string{
		verdict.Violated: "the journal is damaged or was altered; nothing was changed", verdict.NothingChecked: "nothing was kept",
		verdict.Shown: "every record follows from the one before",
	}[found])
}

func journalQueryVerb() *verb {
	q := &live.Question{Limit: 1000}
	var since, until string
	var asJSON bool
	return &verb{
		name: "journal query", args: "FILE", asks: "What happened, by time, name and kind?",
		about: "query lists the events that were kept.",
		flags: flags{
			{name: "about", into: &q.Name, help: "only events about this `channel`, output or cause"},
			{name: "kind", into: &q.Kind, help: "only events of this `kind`, such as tripped"},
			{name: "run", into: &q.Run, help: "only this `run` of a session"},
			{name: "from-scan", into: &q.From, help: "only from this `scan` on"},
			{name: "to-scan", into: &q.To, help: "only up to this `scan`"},
			{name: "since", into: &since, help: "only from this `time` on, as 2026-03-01T06:00:00Z or 90m ago: 90m"},
			{name: "until", into: &until, help: "only up to this `time`"},
			{name: "limit", into: &q.Limit, help: "at most so `many`"},
			{name: "json", into: &asJSON, help: "print each event as a line of JSON"},
		},
		ends: ends{exitShown: "events were found", exitViolated: "a record cannot be read", exitNothing: "nothing was kept of that"}, example: "journal query kestrel.journal --about car_1 --since 90m",
		run: func(c *cobra.Command, args []string) error {
			from, err := moment("--since", since)
			if err != nil {
				return err
			}
			to, err := moment("--until", until)
			if err != nil {
				return err
			}
			return withBook(args[0], func(b *journal.Book) error {
				found, err := b.Find(c.Context(), *q, from, to)
				if err != nil {
					return failed(exitInput, "%w", err)
				}
				return sayRecords(c.OutOrStdout(), found, asJSON)
			})
		},
	}
}

// moment reads a time of day, or how long ago.
func moment(flag, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if ago, err := time.ParseDuration(text); err == nil && ago >= 0 {
		return time.Now().Add(-ago), nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return at, failed(exitInput, "%s %q: write a time such as 2026-03-01T06:00:00Z, or how long ago, such as 90m", flag, text)
	}
	return at, nil
}

func sayRecords(to io.Writer, found []journal.Record, asJSON bool) error {
	out := page.On(to)
	for i := range found {
		r := &found[i]
		var e live.Event
		if err := json.Unmarshal(r.Body, &e); err != nil {
			return failed(exitViolated, "record %d cannot be read: %w", r.Seq, err)
		}
		if asJSON {
			_ = json.NewEncoder(out).Encode(map[string]any{"seq": r.Seq, "wall": r.Wall, "session": r.Session, "event": e})
			continue
		}
		fmt.Fprintf(out, "%s  %d/%d  %10.3f s  %s\n", r.Wall.Format("2006-01-02 15:04:05.000"), r.Session, r.Run, time.Duration(e.TimeNs).Seconds(), e.Text)
	}
	code := exitShown
	if len(found) == 0 {
		out.Line("nothing was kept of that")
		code = exitNothing
	}
	if err := out.Err(); err != nil {
		return failed(exitLost, "%w", err)
	}
	return ended(code)
}

// isJournal reports whether a file is an SQLite file, such as a journal.
func isJournal(path string) bool {
	file, err := os.Open(path)
	if err != nil {
		return false
	}
	defer file.Close()
	begin := make([]byte, 16)
	_, err = io.ReadFull(file, begin)
	return err == nil && string(begin) == "SQLite format 3\x00"
}

// namesFor reads a site and demands that it is the one that a run was kept of.
func namesFor(siteFile string, run *journal.Run) (*live.Names, error) {
	s, problems := site.Read(siteFile)
	if problems != nil {
		return nil, failed(exitInput, "%v", problems)
	}
	logic, problems := s.Logic()
	if problems != nil {
		return nil, failed(exitInput, "%v", problems)
	}
	if run.Head.Channels != len(logic.Channels) || run.Head.Inputs != len(logic.Inputs) {
		return nil, failed(exitInput, "%s has %d channels and %d inputs, the journal was kept of %s with %d and %d; name that site",
			siteFile, len(logic.Channels), len(logic.Inputs), run.Head.Site, run.Head.Channels, run.Head.Inputs)
	}
	return &live.Names{Site: s, Config: logic, Period: s.Period.Max}, nil
}

func journalReplayVerb() *verb {
	var siteFile string
	var asJSON bool
	return &verb{
		name: "journal replay", args: "FILE", asks: "Does the logic decide alike again on what was kept?",
		about: "replay turns the inputs of every run in the journal through the logic again and\ncompares every event and decision with what was kept.",
		flags: flags{
			{name: "site", into: &siteFile, help: "the `file` of the site that was served (needed)", needed: true},
			{name: "json", into: &asJSON, help: "print each run as a line of JSON"},
		},
		ends:   ends{exitShown: "the same events and decisions", exitViolated: "they part, or a record cannot be read", exitIncomplete: "a run could not be turned to its end", exitNothing: "no inputs were kept"},
		report: 1, example: "journal replay kestrel.journal --site testdata/sites/kestrel_siding.yaml",
		run: func(c *cobra.Command, args []string) error {
			return withBook(args[0], func(b *journal.Book) error { return replayBook(c.OutOrStdout(), b, siteFile, asJSON) })
		},
	}
}

func replayBook(to io.Writer, b *journal.Book, siteFile string, asJSON bool) error {
	runs, err := b.Runs()
	if err != nil {
		return failed(exitViolated, "%w; see journal check", err)
	}
	code, out := exitNothing, page.On(to)
	for _, run := range runs {
		if run.Scans() == 0 {
			continue
		}
		names, err := namesFor(siteFile, run)
		if err != nil {
			return err
		}
		this := replayRun(out, run, names, asJSON)
		if code == exitNothing {
			code = this
		}
		code = worse(code, this)
	}
	if code == exitNothing && !asJSON {
		out.Line(verdict.NothingChecked.String() + ": no inputs were kept")
	}
	if err := out.Err(); err != nil {
		return failed(exitLost, "%w", err)
	}
	return ended(code)
}

func replayRun(out *page.Page, run *journal.Run, names *live.Names, asJSON bool) exitCode {
	note := ""
	if run.Head.SiteHash != names.Site.Hash {
		note = " (the site file has changed since)"
	}
	parting, err := run.Again(names)
	found, text := verdict.Shown, fmt.Sprintf("%d scans decide alike%s", run.Scans(), note)
	code := found.Exit()
	switch {
	case err != nil:
		found, text = verdict.NotShown, err.Error()
		code = found.Exit()
		var internal loop.InternalError
		if errors.As(err, &internal) {
			code = exitInternal
		}
		parting = &journal.Parting{}
	case parting.Parts:
		found = verdict.Violated
		code = found.Exit()
		text = fmt.Sprintf("parts at scan %d%s\n    kept  %s\n    now   %s", parting.Scan, note, parting.Kept, parting.Now)
	}
	text = found.String() + ": " + text
	if asJSON {
		_ = json.NewEncoder(out).Encode(map[string]any{"schema": 1, "session": run.Session, "run": run.Number, "scans": run.Scans(), "parting": parting, "text": text, "exit": int(code)})
	} else {
		fmt.Fprintf(out, "session %d run %d: %s\n", run.Session, run.Number, text)
	}
	return code
}

func journalExportVerb() *verb {
	var siteFile, to string
	session, number := 1, 1
	return &verb{
		name: "journal export", args: "FILE", asks: "How do other programs read what was kept?",
		about: "export prints every record as a line of JSON; with --csv it writes one run as a\nrecording that replay, serve --recording and spreadsheets read.",
		flags: flags{
			{name: "csv", into: &to, help: "write the run to this `file` (.gz and .zst are compressed)"},
			{name: "site", into: &siteFile, help: "the `file` of the site that was served (for --csv)"},
			{name: "session", into: &session, help: "`session` of the run (for --csv)"},
			{name: "run", into: &number, help: "`number` of the run (for --csv)"},
		},
		joined: []string{"csv", "site"},
		ends:   ends{exitShown: "it was written", exitViolated: "a record cannot be read"}, example: "journal export kestrel.journal --csv run.csv --site testdata/sites/kestrel_siding.yaml",
		run: func(c *cobra.Command, args []string) error {
			return withBook(args[0], func(b *journal.Book) error {
				if to == "" {
					return exportLines(c.OutOrStdout(), b)
				}
				return exportRun(b, siteFile, to, session, number)
			})
		},
	}
}

func exportLines(out io.Writer, b *journal.Book) error {
	lines := json.NewEncoder(out)
	err := b.Each(func(r *journal.Record) error {
		line := map[string]any{"seq": r.Seq, "wall": r.Wall, "session": r.Session, "run": r.Run, "scan": r.Scan, "kind": r.Kind, "hash": fmt.Sprintf("%x", r.Hash)}
		if json.Valid(r.Body) {
			line["body"] = json.RawMessage(r.Body)
		} else {
			line["body_base64"] = r.Body
		}
		return lines.Encode(line)
	})
	if err != nil {
		return failed(exitLost, "%w", err)
	}
	return nil
}

func exportRun(b *journal.Book, siteFile, to string, session, number int) error {
	runs, err := b.Runs()
	if err != nil {
		return failed(exitViolated, "%w; see journal check", err)
	}
	for _, run := range runs {
		if run.Session != session || run.Number != number {
			continue
		}
		names, err := namesFor(siteFile, run)
		if err != nil {
			return err
		}
		writer := csv.NewWriter(to)
		if err := writer.Begin(headerOf(names.Site)); err != nil {
			return failed(exitLost, "%w", err)
		}
		source := run.Source()
		if err := loop.New(names.Config).Run(source, rowWriter{writer, source, names.Period}); err != nil {
			writer.Discard()
			return failed(exitLost, "%w", err)
		}
		if err := writer.Close(); err != nil {
			return failed(exitLost, "%w", err)
		}
		return nil
	}
	return failed(exitInput, "no run %d of session %d was kept; journal check counts the sessions", number, session)
}

// rowWriter writes every scan of a run.
type rowWriter struct {
	to     trace.Writer
	source loop.Restarter
	period time.Duration
}

func (w rowWriter) Watch(t *loop.Turn) error {
	return w.to.Write(&trace.Row{
		Scan: t.Scan, Time: time.Duration(t.Scan) * w.period, PowerUp: w.source.PowerUp(t.Scan), In: t.In, State: t.State, Decision: t.Decision,
	})
}

func journalTrimVerb() *verb {
	var older time.Duration
	return &verb{
		name: "journal trim", args: "FILE", asks: "May what is older than a time be forgotten?",
		about: "trim forgets what is older than a time, and writes down that it was.",
		flags: flags{{name: "older", into: &older, help: "forget what is older than this `time`, such as 720h (needed)", needed: true}},
		ends:  ends{exitShown: "it was forgotten"}, example: "journal trim kestrel.journal --older 720h",
		run: func(c *cobra.Command, args []string) error {
			if older < time.Minute {
				return failed(exitInput, "--older %s: write a time of 1m or more, such as 720h", older)
			}
			if err := withBook(args[0], func(*journal.Book) error { return nil }); err != nil {
				return err // trim makes no new journal
			}
			return trim(c.OutOrStdout(), args[0], older)
		},
	}
}

func trim(out io.Writer, file string, older time.Duration) error {
	j, err := journal.Open(file, journal.Head{Tool: toolVersion()}, 0)
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	n, err := j.Forget(time.Now().Add(-older))
	if err = errors.Join(err, j.Close()); err != nil {
		return failed(exitLost, "%w", err)
	}
	fmt.Fprintf(out, "%d records forgotten\n", n)
	return nil
}
