// Package journal writes what the logic told people, one JSON object a line.
//
// Picture the shift book: nothing is written while nothing happens, and each
// entry can be read without the others. The first line says who wrote the book,
// the last one that it was closed and how many entries it has.
package journal

import (
	"bufio"
	"encoding/json"
	"math"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// SchemaVersion is raised when a field changes its meaning.
const SchemaVersion = 1

// Head is the first line.
type Head struct {
	Journal      string  `json:"journal"`
	Schema       int     `json:"schema"`
	Site         string  `json:"site"`
	SiteHash     string  `json:"site_hash"`
	Scenario     string  `json:"scenario,omitempty"`
	ScenarioHash string  `json:"scenario_hash,omitempty"`
	Tool         string  `json:"tool"`
	ScanSeconds  float64 `json:"scan_s"`
}

// Entry is one event. Fields that do not belong to its kind are left out.
type Entry struct {
	Scan        uint64   `json:"scan"`
	Time        float64  `json:"time_s"`
	Event       string   `json:"event"`
	Subject     string   `json:"subject,omitempty"`
	From        string   `json:"from,omitempty"`
	To          string   `json:"to,omitempty"`
	Class       string   `json:"class,omitempty"`
	Cause       string   `json:"cause,omitempty"`
	Reasons     []string `json:"reasons,omitempty"`
	FirstOut    []string `json:"first_out,omitempty"`
	NotInOrder  bool     `json:"order_unknown,omitempty"` // several causes within one bus cycle
	Spoil       string   `json:"why_ignored,omitempty"`
	Unconfirmed []string `json:"unconfirmed,omitempty"`
	Text        string   `json:"text"`
}

// Foot is the last line.
type Foot struct {
	End    bool   `json:"end"`
	Scans  uint64 `json:"scans"`
	Events int    `json:"events"`
}

// Writer writes the journal of one run.
type Writer struct {
	path   string
	file   *trace.File
	to     *bufio.Writer
	json   *json.Encoder
	header *trace.Header
	foot   Foot
	text   []byte
}

// NewWriter writes a file; it is created in Begin.
func NewWriter(path string) *Writer { return &Writer{path: path} }

// Begin writes the first line.
func (w *Writer) Begin(h *trace.Header) error {
	w.header = h
	if w.to == nil {
		file, err := trace.Create(w.path)
		if err != nil {
			return err
		}
		w.file, w.to = file, bufio.NewWriter(file)
	}
	w.json = json.NewEncoder(w.to)
	w.json.SetEscapeHTML(false)
	return w.json.Encode(Head{
		Journal: "ohmgate events", Schema: SchemaVersion, Site: h.Site, SiteHash: h.SiteHash, Scenario: h.Scenario,
		ScenarioHash: h.ScenarioHash, Tool: h.Tool, ScanSeconds: h.Period.Seconds(),
	})
}

// Write writes the events of one scan.
func (w *Writer) Write(r *trace.Row) error {
	w.foot.Scans++
	for i := range r.Decision.Events {
		w.foot.Events++
		if err := w.json.Encode(w.entry(r, &r.Decision.Events[i])); err != nil {
			return err
		}
	}
	return nil
}

func (w *Writer) entry(r *trace.Row, e *interlock.Event) Entry {
	names := w.header.Names()
	w.text = names.AppendRecord(w.text[:0], e)
	entry := Entry{
		Scan: r.Scan, Time: math.Round(r.Time.Seconds()*1e9) / 1e9, Event: e.Kind.String(),
		Subject: names.Subject(e), Text: string(w.text),
	}
	if e.Kind == interlock.PhaseChanged {
		entry.From, entry.To = monitor.Phase(e.From).String(), monitor.Phase(e.To).String()
		entry.Class, entry.Cause = e.Class.String(), e.Cause.String()
	}
	entry.Reasons = tell.Texts(e.Reasons)
	if e.Kind == interlock.OutputTripped {
		trip := &r.State.Outputs[e.Subject].Trip
		entry.FirstOut, entry.NotInOrder = names.Causes(trip.FirstOut), trip.OrderUnknown()
	}
	if e.Spoil != interlock.NotSpoiled {
		entry.Spoil = e.Spoil.String()
	}
	e.Unconfirmed.Each(func(one interlock.Unconfirmed) { entry.Unconfirmed = append(entry.Unconfirmed, one.String()) })
	return entry
}

// Close writes the last line and gives the file its name.
func (w *Writer) Close() error {
	if w.to == nil {
		return nil
	}
	w.foot.End = true
	err := w.json.Encode(w.foot)
	if err == nil {
		err = w.to.Flush()
	}
	if w.file == nil {
		return err
	}
	if err != nil {
		w.file.Discard()
		return err
	}
	return w.file.Commit()
}

// Discard throws the file away.
func (w *Writer) Discard() {
	if w.file != nil {
		w.file.Discard()
	}
}
