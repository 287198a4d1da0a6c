package journal

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"reflect"

	"github.com/klauspost/compress/zstd"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
)

var unsqueeze, _ = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(64<<20))

// openInputs gives the scans of an inputs record and what arrived in them.
func openInputs(r *Record) (scans int, text []byte, err error) {
	n, used := binary.Uvarint(r.Body)
	if used <= 0 || n > 1<<24 {
		return 0, nil, fmt.Errorf("its inputs cannot be read")
	}
	text, err = unsqueeze.DecodeAll(r.Body[used:], nil)
	if err != nil {
		return 0, nil, fmt.Errorf("its inputs cannot be read: %w", err)
	}
	return int(n), text, nil
}

// Run is one run of a journal as it stands in the end: what was wound back is
// left out.
type Run struct {
	Session, Number int
	Head            Head
	pieces          []piece
	events          []live.Event
	decided         []live.Decided
	// FromStart is false where the beginning was forgotten: then nobody can
	// tell what the logic remembered.
	FromStart bool
}

// piece is a stretch of inputs; scans counts only those that still hold.
type piece struct {
	first uint64
	scans uint64
	text  []byte
}

// Scans is how many scans of the run are kept.
func (r *Run) Scans() uint64 {
	if len(r.pieces) == 0 {
		return 0
	}
	last := r.pieces[len(r.pieces)-1]
	return last.first + last.scans
}

// Runs lists the runs of a journal.
func (b *Book) Runs() ([]*Run, error) {
	var runs []*Run
	heads := map[int]Head{}
	find := func(rec *Record) *Run {
		if n := len(runs); n > 0 && runs[n-1].Session == rec.Session && runs[n-1].Number == rec.Run {
			return runs[n-1]
		}
		run := &Run{Session: rec.Session, Number: rec.Run, Head: heads[rec.Session]}
		runs = append(runs, run)
		return run
	}
	err := b.Each(func(rec *Record) error {
		switch rec.Kind {
		case kindSession:
			h, err := headOf(rec)
			heads[rec.Session] = h
			return err
		case kindRetention:
			return nil
		}
		return find(rec).take(rec)
	})
	return runs, err
}

// take adds a record to its run.
func (r *Run) take(rec *Record) error {
	switch rec.Kind {
	case kindInputs:
		scans, text, err := openInputs(rec)
		if err != nil {
			return fmt.Errorf("record %d: %w", rec.Seq, err)
		}
		if len(r.pieces) == 0 {
			r.FromStart = rec.Scan == 0
		}
		r.cut(rec.Scan)
		r.pieces = append(r.pieces, piece{rec.Scan, uint64(scans), text})
	case kindDecision:
		var d live.Decided
		if err := json.Unmarshal(rec.Body, &d); err != nil {
			return fmt.Errorf("record %d: %w", rec.Seq, err)
		}
		r.decided = append(r.decided, d)
	case kindEvent:
		var e live.Event
		if err := json.Unmarshal(rec.Body, &e); err != nil {
			return fmt.Errorf("record %d: %w", rec.Seq, err)
		}
		if e.Kind == live.Rewound {
			r.rewind(e.Scan)
		}
		r.events = append(r.events, e)
	}
	return nil
}

// cut leaves out inputs from a scan on.
func (r *Run) cut(scan uint64) {
	for n := len(r.pieces); n > 0; n = len(r.pieces) {
		last := &r.pieces[n-1]
		if last.first < scan {
			last.scans = min(last.scans, scan-last.first)
			return
		}
		r.pieces = r.pieces[:n-1]
	}
}

// rewind leaves out everything from a scan on.
func (r *Run) rewind(scan uint64) {
	r.cut(scan)
	events, decided := r.events[:0], r.decided[:0]
	for _, e := range r.events {
		if e.Scan < scan {
			events = append(events, e)
		}
	}
	for _, d := range r.decided {
		if d.Scan < scan {
			decided = append(decided, d)
		}
	}
	r.events, r.decided = events, decided
}

// Source brings the run's inputs again; it is a loop.Source.
func (r *Run) Source() *Source { return &Source{run: r} }

// Source is a run that is turned again.
type Source struct {
	run    *Run
	at     int
	left   uint64
	reader live.InputReader
}

// Next brings one scan.
func (s *Source) Next(_ uint64, _ interlock.CoilSet, in *interlock.Inputs) (bool, error) {
	for s.left == 0 {
		if s.at == len(s.run.pieces) {
			return false, nil
		}
		p := s.run.pieces[s.at]
		s.at++
		s.left = p.scans
		s.reader.Feed(p.text)
	}
	s.left--
	return true, s.reader.Read(in)
}

// PowerUp reports what was recorded.
func (s *Source) PowerUp(uint64) bool { return s.reader.PowerUp() }

// Parting is the first moment at which a run that is turned again does not do
// what was kept of it.
type Parting struct {
	Parts bool   `json:"parts"`
	Scan  uint64 `json:"scan"`
	Kept  string `json:"kept"`
	Now   string `json:"now"`
}

// Again turns a run again and compares every event and decision. watchers are
// told of every scan.
func (r *Run) Again(names *live.Names, watchers ...loop.Watcher) (*Parting, error) {
	if !r.FromStart {
		return nil, fmt.Errorf("the beginning of run %d was forgotten: what the logic remembered is not known", r.Number)
	}
	f := live.NewFollower(names)
	f.Decisions = true
	if err := loop.New(names.Config).Run(r.Source(), append([]loop.Watcher{f}, watchers...)...); err != nil {
		return nil, err
	}
	events := partEvents(r.logicEvents(), f.Events)
	decided := partDecided(r.decided, f.Decided)
	if events.Parts && (!decided.Parts || events.Scan <= decided.Scan) {
		return events, nil
	}
	return decided, nil
}

// logicEvents are those that the logic told, not the session around it, and
// that fall in scans whose inputs are kept.
func (r *Run) logicEvents() []live.Event {
	var list []live.Event
	for _, e := range r.events {
		if e.Why != nil {
			list = append(list, e)
		}
	}
	return list
}

// partEvents compares what happened, not how it was worded.
func partEvents(kept, now []live.Event) *Parting {
	text := func(list []live.Event, i int) (string, uint64) {
		if i >= len(list) {
			return "nothing", ^uint64(0)
		}
		e := list[i]
		order := ""
		if e.Unknown {
			order = ", order not known"
		}
		return fmt.Sprintf("%s %s %s %s %v first-out %v%s at scan %d", e.Lane, e.Kind, e.From, e.To, e.Causes, e.First, order, e.Scan), e.Scan
	}
	for i := range max(len(kept), len(now)) {
		a, at := text(kept, i)
		b, bt := text(now, i)
		if a != b {
			return &Parting{true, min(at, bt), a, b}
		}
	}
	return &Parting{}
}

func partDecided(kept, now []live.Decided) *Parting {
	for i := range max(len(kept), len(now)) {
		switch {
		case i >= len(kept):
			return &Parting{true, now[i].Scan, "nothing", fmt.Sprint(now[i])}
		case i >= len(now):
			return &Parting{true, kept[i].Scan, fmt.Sprint(kept[i]), "nothing"}
		case !reflect.DeepEqual(kept[i], now[i]):
			return &Parting{true, min(kept[i].Scan, now[i].Scan), fmt.Sprint(kept[i]), fmt.Sprint(now[i])}
		}
	}
	return &Parting{}
}
