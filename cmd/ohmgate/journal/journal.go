package journal

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"sort"
	"sync"
	"sync/atomic"
	"time"

	"github.com/klauspost/compress/zstd"

	"ohmgate/cmd/ohmgate/live"
)

// Journal is a journal that is being written. It is a live.Keeper.
type Journal struct {
	path    string
	db      *sql.DB
	lock    *os.File
	keep    time.Duration
	session int
	lag     atomic.Int64

	mu      sync.Mutex
	end     end
	pending live.Portion // inputs that wait for company
	since   time.Time    // of the first of them
	trimmed time.Time
	squeeze *zstd.Encoder
	now     func() time.Time
}

// Inputs alone are written at least so often; a kill costs no more of them.
// Events and decisions never wait.
const (
	inputsEvery = time.Second
	scansMost   = 8192
	bytesMost   = 1 << 20
	trimEvery   = time.Minute
)

// Open opens or makes a journal and writes that a session begins. keep above 0
// forgets what is older. One process writes at a time.
func Open(path string, head Head, keep time.Duration) (*Journal, error) {
	lock, err := os.OpenFile(path+"-lock", os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, err
	}
	if lockFile(lock) != nil {
		_ = lock.Close()
		return nil, fmt.Errorf("%s is being written by another process; end it, or name another file", path)
	}
	j := &Journal{path: path, lock: lock, keep: keep, now: time.Now}
	if err := j.begin(head); err != nil {
		_ = j.release()
		return nil, err
	}
	return j, nil
}

func (j *Journal) release() error {
	var err error
	if j.db != nil {
		err = j.db.Close()
	}
	_ = j.lock.Close()
	return err
}

func (j *Journal) begin(head Head) error {
	db, fresh, err := open(j.path, false)
	if err != nil {
		return err
	}
	j.db = db
	if fresh {
		if _, err := db.Exec(schema); err != nil {
			return err
		}
	} else if err := glance(db, j.path); err != nil {
		return err
	}
	if j.end, err = readEnd(db, j.path); err != nil {
		return err
	}
	var last sql.NullInt64
	if err := db.QueryRow(`SELECT max(session) FROM record`).Scan(&last); err != nil {
		return err
	}
	j.session = int(last.Int64) + 1
	if j.squeeze, err = zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderLevel(zstd.SpeedFastest)); err != nil {
		return err
	}
	body, err := json.Marshal(head)
	if err != nil {
		return err
	}
	return j.write([]Record{{Kind: kindSession, Body: body}}, nil)
}

// Lag is how long the last commit took.
func (j *Journal) Lag() time.Duration { return time.Duration(j.lag.Load()) }

// Keep makes a portion durable. Inputs wait for up to a second unless something
// was decided or told.
func (j *Journal) Keep(p live.Portion) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.pending.Scans > 0 && (p.Run != j.pending.Run || p.First != j.pending.First+uint64(j.pending.Scans)) {
		if err := j.flush(live.Portion{Run: p.Run, First: p.First}); err != nil {
			return err
		}
	}
	if j.pending.Scans == 0 {
		j.pending.Run, j.pending.First, j.since = p.Run, p.First, j.now()
	}
	j.pending.Scans += p.Scans
	j.pending.Inputs = append(j.pending.Inputs, p.Inputs...)
	urgent := len(p.Events) > 0 || len(p.Decided) > 0
	full := j.pending.Scans >= scansMost || len(j.pending.Inputs) >= bytesMost || j.now().Sub(j.since) >= inputsEvery
	if !urgent && !full {
		return nil
	}
	return j.flush(p)
}

// flush writes what waits, and what a portion decided and told.
func (j *Journal) flush(p live.Portion) error {
	var list []Record
	mentions := map[int][]string{} // by place in list
	if j.pending.Scans > 0 {
		body := binary.AppendUvarint(nil, uint64(j.pending.Scans))
		list = append(list, Record{Run: j.pending.Run, Scan: j.pending.First, Kind: kindInputs, Body: j.squeeze.EncodeAll(j.pending.Inputs, body)})
	}
	told := len(list)
	for i := range p.Decided {
		body, err := json.Marshal(&p.Decided[i])
		if err != nil {
			return err
		}
		list = append(list, Record{Run: p.Run, Scan: p.Decided[i].Scan, Kind: kindDecision, Body: body})
	}
	for i := range p.Events {
		e := &p.Events[i]
		list = append(list, Record{Run: p.Run, Scan: e.Scan, Kind: kindEvent, Body: e.JSON()})
	}
	sort.SliceStable(list[told:], func(a, b int) bool { return list[told+a].Scan < list[told+b].Scan })
	for i := range list {
		if names := namesOf(&list[i]); len(names) > 0 {
			mentions[i] = names
		}
	}
	if len(list) == 0 {
		return nil
	}
	began := j.now()
	if err := j.write(list, mentions); err != nil {
		return err
	}
	j.lag.Store(int64(j.now().Sub(began)))
	j.pending = live.Portion{Inputs: j.pending.Inputs[:0]}
	return j.trimNowAndThen()
}

// namesOf lists what a record is about: the names and the kind of an event.
func namesOf(r *Record) []string {
	if r.Kind != kindEvent {
		return nil
	}
	var e live.Event
	if json.Unmarshal(r.Body, &e) != nil {
		return nil
	}
	seen := map[string]bool{}
	var names []string
	for _, name := range append(e.Causes, "kind:"+e.Kind) {
		if !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	return names
}

// write chains records and commits them; when it returns they are on the disk.
func (j *Journal) write(list []Record, mentions map[int][]string) error {
	tx, err := j.db.BeginTx(context.Background(), nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	e := j.end
	if err := j.insert(tx, &e, list, mentions); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	j.end = e
	return nil
}

func (j *Journal) insert(tx *sql.Tx, e *end, list []Record, mentions map[int][]string) error {
	put, err := tx.Prepare(`INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?, ?)`)
	if err != nil {
		return err
	}
	defer put.Close()
	note, err := tx.Prepare(`INSERT INTO mention VALUES (?, ?)`)
	if err != nil {
		return err
	}
	defer note.Close()
	wall := j.now()
	for i := range list {
		r := &list[i]
		r.Seq, r.Wall, r.Session = e.last+1, wall, j.session
		r.Hash = r.seal(e.hash)
		if _, err := put.Exec(r.Seq, r.Wall.UnixNano(), r.Session, r.Run, r.Scan, r.Kind, r.stored(), r.Hash); err != nil {
			return err
		}
		for _, name := range mentions[i] {
			if _, err := note.Exec(name, r.Seq); err != nil {
				return err
			}
		}
		e.last, e.hash = r.Seq, r.Hash
	}
	_, err = tx.Exec(`UPDATE head SET first = ?, anchor = ?, last = ?, hash = ? WHERE id = 1`, e.first, e.anchor, e.last, e.hash)
	return err
}

func (j *Journal) trimNowAndThen() error {
	if j.keep <= 0 || j.now().Sub(j.trimmed) < trimEvery {
		return nil
	}
	j.trimmed = j.now()
	_, err := j.forget(j.now().Add(-j.keep))
	return err
}

// Forget removes what was written before a moment, and writes down that it did.
func (j *Journal) Forget(before time.Time) (records uint64, err error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.forget(before)
}

func (j *Journal) forget(before time.Time) (uint64, error) {
	var through uint64
	var seal []byte
	err := j.db.QueryRow(`SELECT seq, hash FROM record WHERE seq < (SELECT coalesce(min(seq), ?) FROM record WHERE wall >= ?) ORDER BY seq DESC LIMIT 1`,
		j.end.last, before.UnixNano()).Scan(&through, &seal)
	if err == sql.ErrNoRows || err == nil && through <= j.end.first {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	gone := Forgotten{Through: through, Hash: hex.EncodeToString(seal), Records: through - j.end.first}
	body, err := json.Marshal(gone)
	if err != nil {
		return 0, err
	}
	tx, err := j.db.BeginTx(context.Background(), nil)
	if err != nil {
		return 0, err
	}
	defer func() { _ = tx.Rollback() }()
	for _, text := range []string{`DELETE FROM record WHERE seq <= ?`, `DELETE FROM mention WHERE seq <= ?`} {
		if _, err := tx.Exec(text, through); err != nil {
			return 0, err
		}
	}
	e := j.end
	e.first, e.anchor = through, seal
	if err := j.insert(tx, &e, []Record{{Kind: kindRetention, Body: body}}, nil); err != nil {
		return 0, err
	}
	if err := tx.Commit(); err != nil {
		return 0, err
	}
	j.end = e
	_, err = j.db.Exec(`PRAGMA incremental_vacuum`)
	return gone.Records, err
}

// Close writes what waits and lets the file go.
func (j *Journal) Close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	err := j.flush(live.Portion{})
	if closed := j.release(); err == nil {
		err = closed
	}
	return err
}

// Query lists events that were kept, the oldest first.
func (j *Journal) Query(ctx context.Context, q live.Question) ([]live.Event, error) {
	rows, err := find(ctx, j.db, q, time.Time{}, time.Time{}, kindEvent)
	if err != nil {
		return nil, err
	}
	list := make([]live.Event, 0, len(rows))
	for i := range rows {
		var e live.Event
		if err := json.Unmarshal(rows[i].Body, &e); err != nil {
			return nil, err
		}
		list = append(list, e)
	}
	return list, nil
}
