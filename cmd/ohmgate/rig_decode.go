package main

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/record"
	"ohmgate/hwio/rig/analyse"
	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// decodeOptions is what the command line says of a recording of a bus.
type decodeOptions struct {
	file, line, master string
}

func (o *decodeOptions) flags() flags {
	return flags{
		{name: "decode", into: &o.file, help: "decode a recording of a Modbus line in this `file`: bytes as CSV, levels as CSV or VCD, or --frames of a run"},
		{name: "line", into: &o.line, help: "`speed and character`, such as \"19200 8E1\", where the recording does not tell"},
		{name: "master", into: &o.master, help: "`name` of the line of the one who asks"},
	}
}

// busTalk is what one bus said.
type busTalk struct {
	Name      string        `json:"name"`
	Line      string        `json:"line"`
	Master    string        `json:"master"`
	Bytes     int           `json:"bytes"`
	Exchanges []busExchange `json:"exchanges"`
	Odd       []busOdd      `json:"odd_frames"`
	Timing    []busTiming   `json:"timing"`
	rows      []analyse.Row
}

// busTiming is the timing of one function, or of all.
type busTiming struct {
	Function   string     `json:"function"`
	Questions  int        `json:"questions"`
	Unanswered int        `json:"unanswered"`
	Refused    int        `json:"refused"`
	Request    *busSpread `json:"request,omitempty"`
	Turnaround *busSpread `json:"turnaround,omitempty"`
	Reply      *busSpread `json:"reply,omitempty"`
	Gap        *busSpread `json:"gap_after,omitempty"`
	Whole      *busSpread `json:"whole,omitempty"`
}

// busSpread is the least, the median and the most of some times.
type busSpread struct {
	Count  int     `json:"count"`
	Least  float64 `json:"least_ms"`
	Median float64 `json:"median_ms"`
	Most   float64 `json:"most_ms"`
}

func timingOf(rows []analyse.Row) []busTiming {
	made := []busTiming{}
	spread := func(s analyse.Spread) *busSpread {
		if s.Count == 0 {
			return nil
		}
		return &busSpread{s.Count, inMillis(s.Least), inMillis(s.Median), inMillis(s.Most)}
	}
	for _, row := range rows {
		name := "all"
		if row.Function != 0 {
			name = row.Function.String()
		}
		made = append(made, busTiming{
			name, row.Questions, row.Unanswered, row.Refused,
			spread(row.Request), spread(row.Turnaround), spread(row.Reply), spread(row.Gap), spread(row.Whole),
		})
	}
	return made
}

// busExchange is one question with its answer.
type busExchange struct {
	At         float64 `json:"at_ms"`
	Unit       int     `json:"unit"`
	Question   string  `json:"question"`
	Answer     string  `json:"answer"`
	Answered   bool    `json:"answered"`
	Turnaround float64 `json:"turnaround_ms"`
	Broken     bool    `json:"gap_inside"`
	Sent       string  `json:"question_bytes"`
	Heard      string  `json:"answer_bytes"`
	Lacks      bool    `json:"missing_answer"` // one was due, and the recording goes on
}

// busOdd is a frame that is damaged, or neither a question nor an answer.
type busOdd struct {
	At    float64 `json:"at_ms"`
	Line  string  `json:"line"`
	Bytes string  `json:"bytes"`
	Why   string  `json:"why"`
	Edge  bool    `json:"cut_by_the_recording"`
}

// busReport is everything that was said on the buses of a recording.
type busReport struct {
	verdict.Head[string]
	File  string       `json:"file"`
	Buses []busTalk    `json:"buses"`
	Exit  verdict.Exit `json:"exit"`
}

// decodeRecording reads a recording of a bus and says what was said.
func decodeRecording(out io.Writer, o *decodeOptions, asJSON bool) error {
	text, err := os.ReadFile(o.file)
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	var talks []busTalk
	if bytes.HasPrefix(text, []byte(`{"ohmgate_line_record"`)) {
		talks, err = decodeOwn(o.file, text)
	} else {
		talks, err = decodeForeign(o, text)
	}
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	found := verdict.NothingChecked
	for i := range talks {
		if len(talks[i].Exchanges) > 0 && found == verdict.NothingChecked {
			found = verdict.Shown
		}
		if talks[i].wrong() > 0 {
			found = verdict.Violated
		}
	}
	made := &busReport{headed("ohmgate bus 2", "rig"), o.file, talks, found.Exit()}
	return finish(out, asJSON, made.Exit, made, func(p *page.Page) {
		for i := range talks {
			tellTalk(p, &talks[i])
		}
		p.Line(found.String() + ": " + map[verdict.Verdict]string{
			verdict.Shown: "every frame is whole, every question has its answer", verdict.Violated: "frames are damaged or questions have no answer; see above",
			verdict.NothingChecked: "no question that this program knows",
		}[found])
	})
}

// decodeForeign reads what an instrument recorded: bytes, or levels.
func decodeForeign(o *decodeOptions, text []byte) ([]busTalk, error) {
	var line port.Line
	if o.line != "" {
		given, err := port.ParseLine(o.line)
		if err != nil {
			return nil, fmt.Errorf("--%w", err)
		}
		line = given
	}
	all, line, err := recordedBytes(o, text, line)
	if err != nil {
		return nil, err
	}
	frames := analyse.Cut(all, line.Baud)
	master := o.master
	if master == "" {
		if master, err = analyse.Master(frames); err != nil {
			return nil, fmt.Errorf("%s: %w", o.file, err)
		}
	} else if !slices.ContainsFunc(frames, func(f analyse.Frame) bool { return f.Line == master }) {
		return nil, fmt.Errorf("%s: no bytes are on the line %q; name the line of the one who asks", o.file, master)
	}
	exchanges, odd := analyse.Pair(frames, master)
	made := talkOf(o.file, exchanges, odd, edgesOf(frames))
	made.Line, made.Master, made.Bytes = lineText(line), master, len(all)
	return []busTalk{made}, nil
}

// lineText is a line whose character may be unknown.
func lineText(line port.Line) string {
	if line.DataBits == 0 {
		return fmt.Sprintf("%d baud", line.Baud)
	}
	return line.String()
}

// recordedBytes are the bytes of a table of bytes, or of the levels of one or two lines.
func recordedBytes(o *decodeOptions, text []byte, line port.Line) ([]analyse.Byte, port.Line, error) {
	all, bytesErr := analyse.ReadBytes(o.file, bytes.NewReader(text))
	if bytesErr == nil {
		if line.Baud == 0 {
			baud, err := analyse.Speed(all)
			if err != nil {
				return nil, line, fmt.Errorf("%s: %w", o.file, err)
			}
			line.Baud = baud
		}
		analyse.Lengthen(all, line.Baud)
		return all, line, nil
	}
	capture, err := analyse.ReadCapture(o.file, bytes.NewReader(text))
	switch {
	case err != nil && bytes.Contains(text[:min(len(text), 4096)], []byte("$timescale")):
		return nil, line, err
	case err != nil || len(capture.Changing()) == 0:
		return nil, line, bytesErr
	}
	all = nil
	for _, name := range capture.Changing() {
		var levels []analyse.Level
		for _, edge := range capture.Lines[name] {
			levels = append(levels, analyse.Level{At: edge.At, High: edge.On})
		}
		if line.Baud == 0 {
			if line, err = analyse.FindLine(levels, capture.End); err != nil {
				return nil, line, fmt.Errorf("%s: line %s: %w", o.file, name, err)
			}
		}
		all = append(all, analyse.Characters(name, levels, capture.End, line)...)
	}
	if len(all) == 0 {
		return nil, line, fmt.Errorf("%s: no character at %v on %s", o.file, line, strings.Join(capture.Changing(), ", "))
	}
	slices.SortStableFunc(all, func(a, b analyse.Byte) int { return int(min(max(a.Start-b.Start, -1), 1)) })
	return all, line, nil
}

// decodeOwn reads what --frames has written: one bus for each port that Modbus was spoken on.
func decodeOwn(name string, text []byte) ([]busTalk, error) {
	_, events, err := record.Read(name, bytes.NewReader(text))
	if err != nil {
		return nil, err
	}
	var ports []string
	for _, event := range events {
		if !slices.Contains(ports, event.Port) {
			ports = append(ports, event.Port)
		}
	}
	var talks []busTalk
	for _, one := range ports {
		exchanges, odd := analyse.PairEvents(events, one)
		if len(exchanges) == 0 {
			continue // an instrument's line of text
		}
		made := talkOf(one, exchanges, odd, nil)
		made.Line, made.Master = "times of the program, not of the wire", "sent"
		for _, event := range events {
			if event.Port == one {
				made.Bytes += len(event.Data)
			}
		}
		talks = append(talks, made)
	}
	return talks, nil
}

// edgesOf are the beginnings of the frames that the recording itself may have cut, or robbed of their question.
func edgesOf(frames []analyse.Frame) []int64 {
	edges := []int64{frames[0].Start, frames[len(frames)-1].Start}
	if frames[0].Err != nil && len(frames) > 1 {
		edges = append(edges, frames[1].Start)
	}
	return edges
}

func talkOf(name string, exchanges []analyse.Exchange, odd []analyse.Odd, edges []int64) busTalk {
	made := busTalk{Name: name, Exchanges: []busExchange{}, Odd: []busOdd{}, rows: analyse.Table(exchanges)}
	made.Timing = timingOf(made.rows)
	for i := range exchanges {
		e := &exchanges[i]
		one := busExchange{
			At: inMillis(time.Duration(e.Question.Start)), Unit: int(e.Question.Unit), Question: e.Request.String(), Answered: e.Answered,
			Broken: e.Question.Broken || e.Answer.Broken, Sent: hex.EncodeToString(e.Question.Bytes), Heard: hex.EncodeToString(e.Answer.Bytes),
		}
		switch {
		case e.Answered:
			one.Answer, one.Turnaround = e.Reply.String(), inMillis(e.Turnaround)
		case e.Broadcast():
			one.Answer = "to all, nobody answers"
		default:
			one.Answer, one.Lacks = "no answer", i < len(exchanges)-1
		}
		made.Exchanges = append(made.Exchanges, one)
	}
	for _, one := range odd {
		made.Odd = append(made.Odd, busOdd{
			At: inMillis(time.Duration(one.Frame.Start)), Line: one.Frame.Line, Bytes: hex.EncodeToString(one.Frame.Bytes), Why: one.Err.Error(),
			Edge: slices.Contains(edges, one.Frame.Start),
		})
	}
	return made
}

func inMillis(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// wrong is how many frames are damaged, and how many answers are missing, leaving out what the recording itself cut.
func (t *busTalk) wrong() (count int) {
	for i := range t.Odd {
		if !t.Odd[i].Edge {
			count++
		}
	}
	for i := range t.Exchanges {
		if t.Exchanges[i].Lacks {
			count++
		}
	}
	return count
}

// mostTold is how many exchanges are printed.
const mostTold = 60

func tellTalk(out *page.Page, t *busTalk) {
	who := "questions and answers on one line"
	if t.Master != "" {
		who = t.Master + " asks"
	}
	out.Wrap("", fmt.Sprintf("%s: %d bytes, %s, %s", t.Name, t.Bytes, t.Line, who), 2)
	for i := range t.Exchanges {
		e := &t.Exchanges[i]
		if i == mostTold {
			fmt.Fprintf(out, "  and %d more; --json lists all\n", len(t.Exchanges)-i)
			break
		}
		text := fmt.Sprintf("unit %d  %s: %s", e.Unit, e.Question, e.Answer)
		if e.Broken {
			text += "; a gap of more than 1.5 characters inside a frame"
		}
		out.Wrap(fmt.Sprintf("%12.3f ms  ", e.At), text, 17)
	}
	for i := range t.Odd {
		if i == mostTold {
			fmt.Fprintf(out, "  and %d more damaged or strange frames; --json lists all\n", len(t.Odd)-i)
			break
		}
		why := t.Odd[i].Why
		if t.Odd[i].Edge {
			why += " (cut off where the recording begins or ends)"
		}
		out.Wrap(fmt.Sprintf("%12.3f ms  ", t.Odd[i].At), fmt.Sprintf("on %s: %s: %s", t.Odd[i].Line, spacedHex(t.Odd[i].Bytes), why), 17)
	}
	analyse.WriteTable(out, t.rows)
}

// mostHex is how many bytes of a damaged frame are printed.
const mostHex = 16

func spacedHex(text string) string {
	var list []string
	for at := 0; at+2 <= len(text) && len(list) < mostHex; at += 2 {
		list = append(list, text[at:at+2])
	}
	if 2*mostHex < len(text) {
		list = append(list, "…")
	}
	return strings.ToUpper(strings.Join(list, " "))
}
