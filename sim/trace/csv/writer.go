package csv

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"ohmgate/interlock"
	"ohmgate/interlock/tell"
	"ohmgate/monitor"
	"ohmgate/sim/trace"
)

// Writer writes our own table.
type Writer struct {
	path   string
	file   *trace.File // nil when it writes to a stream that is not ours
	to     io.Writer
	header *trace.Header
	line   []byte
	scans  int
	events int
}

// NewWriter writes a file; it is created in Begin.
func NewWriter(path string) *Writer { return &Writer{path: path} }

// NewStream writes to a stream that the caller owns.
func NewStream(to io.Writer) *Writer { return &Writer{to: to} }

// Begin writes who was recorded, with what and when, and the names of the
// columns.
func (w *Writer) Begin(h *trace.Header) error {
	w.header = h
	if w.to == nil {
		file, err := trace.Create(w.path)
		if err != nil {
			return err
		}
		w.file, w.to = file, file
	}
	simulated := "no"
	if h.Simulated {
		simulated = "yes"
	}
	text := Magic + "\n" +
		headerSite + h.Site + " " + orNone(h.SiteHash) + "\n" +
		headerScenario + orNone(h.Scenario) + " " + orNone(h.ScenarioHash) + "\n" +
		headerTool + h.Tool + "\n" +
		headerPeriod + strconv.FormatInt(int64(h.Period), 10) + "\n" +
		headerSimulated + simulated + "\n" +
		"# one row is one scan; an empty field: nothing arrived in that scan\n" +
		strings.Join(columnNames(h), ",") + "\n"
	_, err := io.WriteString(w.to, text)
	return err
}

func orNone(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// columnNames is the line of names, in the order in which Write fills them.
func columnNames(h *trace.Header) []string {
	names := []string{columnTime, columnScan, columnPowerUp, columnOverrun}
	for _, c := range h.Channels {
		names = append(names, c+suffixOhm, c+suffixQuality, c+suffixStamp)
	}
	names = append(names, h.Inputs...)
	for _, c := range h.Channels {
		names = append(names, c+suffixPhase)
	}
	names = append(names, h.Outputs...)
	names = append(names, h.Vessels...)
	names = append(names, columnEvents)
	if !h.Simulated {
		return names
	}
	for _, c := range h.Channels {
		names = append(names, c+suffixTrueOhm, c+suffixTrueBond)
	}
	for _, s := range h.Streams {
		names = append(names, s+suffixTrueFlow)
	}
	return append(names, columnFaults)
}

// Write writes one scan.
func (w *Writer) Write(r *trace.Row) error {
	b := trace.AppendFixed(w.line[:0], int64(r.Time), 9)
	b = strconv.AppendUint(append(b, ','), r.Scan, 10)
	b = appendFlag(append(b, ','), r.PowerUp)
	b = appendFlag(append(b, ','), r.In.Overrun)
	for _, reading := range r.In.Readings {
		b = appendReading(b, reading)
	}
	for _, s := range r.In.Signals {
		b = append(append(b, ','), signalWords[s]...)
	}
	for i := range r.State.Channels {
		b = append(append(b, ','), r.State.Channels[i].Phase.String()...)
	}
	for i := range r.State.Outputs {
		b = append(append(b, ','), r.State.Outputs[i].Mode.String()...)
	}
	for i := range r.State.Vessels {
		b = append(append(b, ','), tell.ChargeOf(&r.State.Vessels[i]).String()...)
	}
	b = w.appendEvents(append(b, ','), r.Decision.Events)
	if w.header.Simulated {
		b = w.appendTruth(b, r.Truth)
	}
	w.line = append(b, '\n')
	w.scans++
	w.events += len(r.Decision.Events)
	_, err := w.to.Write(w.line)
	return err
}

// appendEvents writes the texts of the events of one scan; most scans have none.
func (w *Writer) appendEvents(b []byte, events []interlock.Event) []byte {
	if len(events) == 0 {
		return b
	}
	return appendQuoted(b, string(w.header.AppendEvents(nil, events)))
}

var signalWords = [...]string{interlock.NoSignal: "", interlock.Faulty: signalFaulty, interlock.Low: "0", interlock.High: "1"}

func appendFlag(b []byte, yes bool) []byte {
	if yes {
		return append(b, '1')
	}
	return b
}

// appendReading writes value, quality and stamp. Only a valid value is written:
// what a device says beside "do not use it" means nothing.
func appendReading(b []byte, r monitor.Reading) []byte {
	b = append(b, ',')
	switch r.Quality {
	case monitor.Absent:
		return append(b, ",,"...)
	case monitor.Valid:
		b = append(trace.AppendOhms(b, r.Value), ',')
	case monitor.OverRange:
		b = append(b, ","+qualityOver...)
	default:
		b = append(b, ","+qualityBad...)
	}
	return strconv.AppendUint(append(b, ','), uint64(r.Stamp), 10)
}

// appendTruth writes what was true; nothing where nobody knows.
func (w *Writer) appendTruth(b []byte, t *trace.Truth) []byte {
	if t == nil {
		for n := 2*len(w.header.Channels) + len(w.header.Streams) + 1; n > 0; n-- {
			b = append(b, ',')
		}
		return b
	}
	for i, ohms := range t.Ohms {
		b = append(b, ',')
		if math.IsInf(ohms, 1) {
			b = append(b, "inf"...)
		} else {
			b = strconv.AppendFloat(b, ohms, 'g', 6, 64)
		}
		b = append(append(b, ','), bit(t.Bonded[i]))
	}
	for _, flows := range t.Flowing {
		b = append(append(b, ','), bit(flows))
	}
	return appendQuoted(append(b, ','), strings.Join(t.Faults, "; "))
}

func bit(yes bool) byte {
	if yes {
		return '1'
	}
	return '0'
}

// appendQuoted writes a text, quoted as RFC 4180 wants it where it must be.
func appendQuoted(b []byte, text string) []byte {
	if !strings.ContainsAny(text, ",\"\r\n") {
		return append(b, text...)
	}
	return append(append(append(b, '"'), strings.NewReplacer(`"`, `""`, "\r", " ", "\n", " ").Replace(text)...), '"')
}

// Close writes the last line, by which a reader knows that nothing was cut off,
// and gives the file its name.
func (w *Writer) Close() error {
	if w.to == nil {
		return nil // never begun
	}
	_, err := fmt.Fprintf(w.to, "%s%d scans %d events\n", endOfRecording, w.scans, w.events)
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
