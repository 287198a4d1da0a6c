package live

import (
	"context"
	"fmt"
	"sort"
	"sync"
	"time"

	"ohmgate/interlock/tell"
)

// eventsMax is how many events are kept at hand; the journal has them all.
const eventsMax = 20000

// told is what anybody may see. It is only written after the journal has made
// it durable.
type told struct {
	mu        sync.RWMutex
	history   *History
	building  *History // while a run is turned again
	reference *History
	refName   string
	refEvents []Event
	events    []Event
	seq       uint64
	run       int
	epoch     int // rises whenever what was shown before is void
	shot      *Snapshot
	at        time.Time // of the last change
	scans     uint64    // of all runs
	batches   uint64
	err       error
	changed   chan struct{} // closed and replaced at every change

	broken chan struct{} // closed when the journal is lost
	over   chan struct{} // closed when the session has ended
}

func (t *told) begin(lanes []Lane) {
	t.history = NewHistory(lanes)
	t.changed, t.broken, t.over = make(chan struct{}), make(chan struct{}), make(chan struct{})
}

func (t *told) close() { close(t.over) }

func (t *told) failure() error {
	t.mu.RLock()
	defer t.mu.RUnlock()
	return t.err
}

// tell is the second goroutine: durable first, then visible.
func (s *Session) tell() {
	broken := s.told.broken
	for b := range s.full {
		s.number(b)
		if err := s.keep(b); err != nil && s.told.failure() == nil {
			s.told.mu.Lock()
			s.told.err = err
			s.told.mu.Unlock()
			close(broken)
		}
		if s.told.failure() == nil {
			s.publish(b)
		}
		b.shot = nil
		s.free <- b
	}
}

// number gives the events their places.
func (s *Session) number(b *batch) {
	s.told.mu.Lock()
	defer s.told.mu.Unlock()
	for i := range b.events {
		s.told.seq++
		b.events[i].Seq, b.events[i].Run = s.told.seq, b.run
	}
}

func (s *Session) keep(b *batch) error {
	if s.opts.Keeper == nil || b.quiet {
		return nil
	}
	p := Portion{Run: b.run, First: b.first, Scans: b.scans, Inputs: b.inputs, Events: b.events, Decided: b.records}
	if err := s.opts.Keeper.Keep(p); err != nil {
		return fmt.Errorf("the journal is lost: %w", err)
	}
	return nil
}

// publish lets everybody see a batch.
func (s *Session) publish(b *batch) {
	t := &s.told
	t.mu.Lock()
	defer t.mu.Unlock()
	s.turnPages(b)
	h := t.history
	if b.quiet {
		h = t.building
	}
	channels, lanes := len(s.opts.Config.Channels), len(s.Lanes)
	t.scans += uint64(b.scans)
	t.batches++
	for i := range b.scans {
		h.put(b.readings[i*channels:(i+1)*channels], b.values[i*lanes:(i+1)*lanes])
	}
	t.events = append(t.events, b.events...)
	if len(t.events) > eventsMax {
		t.events = append(t.events[:0:0], t.events[len(t.events)-eventsMax*3/4:]...)
	}
	if b.shot != nil && !b.quiet {
		t.shot = b.shot
		t.shot.Journal = s.journalNow()
		if t.reference != nil {
			t.shot.Reference = &ReferenceShown{t.refName, t.reference.scans}
		}
	}
	t.run, t.at = b.run, time.Now()
	close(t.changed)
	t.changed = make(chan struct{})
}

func (s *Session) journalNow() JournalShown {
	if s.opts.Keeper == nil {
		return JournalShown{}
	}
	return JournalShown{On: true, LagNs: int64(s.opts.Keeper.Lag())}
}

// turnPages makes room for a new run, for one that is turned again, or cuts
// what was wound back.
func (s *Session) turnPages(b *batch) {
	t := &s.told
	if b.reset {
		if b.keepAs != "" {
			t.reference, t.refName, t.refEvents = t.history, b.keepAs, t.events
		}
		t.history, t.events = NewHistory(s.Lanes), nil
		t.epoch++
	}
	if b.rebuild {
		t.building = NewHistory(s.Lanes)
	}
	if b.cut {
		s.swap(b)
	}
}

// swap puts the rebuilt history in place of the old one, and says so if it is
// not the same up to the cut.
func (s *Session) swap(b *batch) {
	t := &s.told
	if t.building == nil {
		return
	}
	for i, sum := range t.building.digests {
		if i < len(t.history.digests) && t.history.digests[i] != sum {
			t.seq++
			t.events = append(t.events, Event{
				Seq: t.seq, Run: b.run, Scan: uint64(i) * digestEvery, Kind: "differs", Rank: tell.Act, Causes: []string{},
				Text: fmt.Sprintf("turned again, the run differs from what was told before scan %d: do not rely on it", (i+1)*digestEvery),
			})
			break
		}
	}
	t.history, t.building = t.building, nil
	kept := sort.Search(len(t.events), func(i int) bool { return t.events[i].Scan >= b.first && t.events[i].Run == b.run })
	t.events = t.events[:kept]
	t.epoch++
}

// Now is the last moment that was told, and a channel that closes at the next.
func (s *Session) Now() (*Snapshot, int, <-chan struct{}) {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	return s.told.shot, s.told.epoch, s.told.changed
}

// Caught waits until everything that was turned or said when it was called has
// been told, so that a count that was read before gives nothing away.
func (s *Session) Caught(ctx context.Context) error {
	turned, handed := s.turned.Load(), s.handed.Load()
	for {
		s.told.mu.RLock()
		behind, changed, err := s.told.scans < turned || s.told.batches < handed, s.told.changed, s.told.err
		s.told.mu.RUnlock()
		if !behind || err != nil {
			return err
		}
		select {
		case <-changed:
		case <-s.told.over:
			return ErrClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Events lists what was told after seq, at most limit of it, the oldest first.
func (s *Session) Events(after uint64, limit int) []Event {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	list := s.told.events
	i := sort.Search(len(list), func(i int) bool { return list[i].Seq > after })
	list = list[i:]
	if len(list) > limit {
		list = list[:limit]
	}
	return append([]Event{}, list...)
}

// LastEvents lists the newest events at hand, the oldest first.
func (s *Session) LastEvents(limit int) []Event {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	list := s.told.events
	if len(list) > limit {
		list = list[len(list)-limit:]
	}
	return append([]Event{}, list...)
}

// ReferenceEvents lists what the second run told.
func (s *Session) ReferenceEvents(limit int) []Event {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	list := s.told.refEvents
	return append([]Event{}, list[:min(limit, len(list))]...)
}

// Read gives a stretch of the run, or of the reference.
func (s *Session) Read(reference bool, from, to uint64, width int, wanted map[string]bool) (Window, error) {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	h := s.told.history
	if reference {
		if h = s.told.reference; h == nil {
			return Window{}, Refusal("there is no second run: keep one, or start serve with --against FILE")
		}
	}
	return h.Read(from, to, width, wanted)
}

// Nearest is the edge of a lane closest to a scan.
func (s *Session) Nearest(lane string, scan uint64) (uint64, bool) {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	return s.told.history.Nearest(lane, scan)
}

// Compare is where the run and the reference part.
func (s *Session) Compare() (Difference, error) {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	if s.told.reference == nil {
		return Difference{}, Refusal("there is no second run: keep one, or start serve with --against FILE")
	}
	return s.told.history.Compare(s.told.reference), nil
}

// SetReference puts a second run under the first.
func (s *Session) SetReference(name string, h *History, events []Event) {
	s.told.mu.Lock()
	defer s.told.mu.Unlock()
	s.told.reference, s.told.refName, s.told.refEvents = h, name, events
	s.told.epoch++
	close(s.told.changed)
	s.told.changed = make(chan struct{})
}

// Health is what /healthz tells.
type Health struct {
	Mode     string `json:"mode"`
	Note     string `json:"note,omitempty"`
	Scan     uint64 `json:"scan"`
	AgeNs    int64  `json:"scan_age_ns"` // since anything was turned and told
	Overruns uint64 `json:"overruns"`
	Journal  bool   `json:"journal"`
	LagNs    int64  `json:"journal_lag_ns"`
	LateNs   int64  `json:"scan_late_max_ns"`
	Events   uint64 `json:"events_told"`
	Healthy  bool   `json:"healthy"`
}

// staleAfter is how old the last scan of a running session may be.
const staleAfter = 2 * time.Second

// Health says more than "up": whether scans still turn and are still kept.
func (s *Session) Health() Health {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	t := &s.told
	if t.shot == nil {
		return Health{Mode: "starting"}
	}
	h := Health{Mode: t.shot.Drive.Mode, Note: t.shot.Drive.Note, Scan: t.shot.Scan, Overruns: t.shot.Overruns, Journal: s.opts.Keeper != nil, LagNs: t.shot.Journal.LagNs, LateNs: t.shot.Late.MaxNs, Events: t.seq}
	if h.Mode == "running" {
		h.AgeNs = int64(time.Since(t.at))
	}
	h.Healthy = t.err == nil && h.Mode != "stopped" && h.AgeNs < int64(staleAfter)
	if t.err != nil {
		h.Note = t.err.Error()
	}
	return h
}

// Sum is a check sum of everything that the run's lanes did.
func (s *Session) Sum() string {
	s.told.mu.RLock()
	defer s.told.mu.RUnlock()
	return s.told.history.Sum()
}
