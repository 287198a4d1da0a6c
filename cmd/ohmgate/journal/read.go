package journal

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"ohmgate/cmd/ohmgate/live"
)

// Book is a journal that is only read.
type Book struct {
	path string
	db   *sql.DB
}

// Read opens a journal to look into it; it may be being written meanwhile.
func Read(path string) (*Book, error) {
	db, _, err := open(path, true)
	if err != nil {
		return nil, err
	}
	if _, err := readEnd(db, path); err != nil {
		_ = db.Close()
		return nil, err
	}
	return &Book{path, db}, nil
}

// Close lets the file go.
func (b *Book) Close() error { return b.db.Close() }

const columns = `r.seq, r.wall, r.session, r.run, r.scan, r.kind, r.body, r.hash`

func scanRecord(rows *sql.Rows) (Record, error) {
	var r Record
	var wall int64
	err := rows.Scan(&r.Seq, &wall, &r.Session, &r.Run, &r.Scan, &r.Kind, &r.Body, &r.Hash)
	r.Wall = time.Unix(0, wall).UTC()
	return r, err
}

// find selects records of a kind.
func find(ctx context.Context, db *sql.DB, q live.Question, since, until time.Time, kind string) ([]Record, error) {
	text, where := `SELECT `+columns+` FROM record r`, []string{`r.kind = ?`}
	args := []any{kind}
	and := func(condition string, value any) {
		where, args = append(where, condition), append(args, value)
	}
	joined := 0
	mention := func(name string) {
		joined++
		text += fmt.Sprintf(` JOIN mention m%d ON m%d.seq = r.seq`, joined, joined)
		and(fmt.Sprintf(`m%d.name = ?`, joined), name)
	}
	if q.Name != "" {
		mention(q.Name)
	}
	if q.Kind != "" {
		mention("kind:" + q.Kind)
	}
	if q.Run > 0 {
		and(`r.run = ?`, q.Run)
	}
	if q.From > 0 {
		and(`r.scan >= ?`, q.From)
	}
	if q.To > 0 {
		and(`r.scan <= ?`, q.To)
	}
	if q.After > 0 {
		and(`r.seq > ?`, q.After)
	}
	if !since.IsZero() {
		and(`r.wall >= ?`, since.UnixNano())
	}
	if !until.IsZero() {
		and(`r.wall <= ?`, until.UnixNano())
	}
	text += ` WHERE ` + strings.Join(where, ` AND `) + ` ORDER BY r.seq`
	if q.Limit > 0 {
		text += ` LIMIT ?`
		args = append(args, q.Limit)
	}
	rows, err := db.QueryContext(ctx, text, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []Record
	for rows.Next() {
		r, err := scanRecord(rows)
		if err != nil {
			return nil, err
		}
		list = append(list, r)
	}
	return list, rows.Err()
}

// Find selects events by name, kind, scan and time of day.
func (b *Book) Find(ctx context.Context, q live.Question, since, until time.Time) ([]Record, error) {
	return find(ctx, b.db, q, since, until, kindEvent)
}

// Each calls f for every record in order.
func (b *Book) Each(f func(r *Record) error) error {
	return each(b.db, 0, f)
}

func each(db querier, after uint64, f func(r *Record) error) error {
	rows, err := db.Query(`SELECT `+columns+` FROM record r WHERE r.seq > ? ORDER BY r.seq`, after)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		r, err := scanRecord(rows)
		if err != nil {
			return err
		}
		if err := f(&r); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Report is what a check of a journal found.
type Report struct {
	File      string   `json:"file"`
	Records   uint64   `json:"records"`
	Events    uint64   `json:"events"`
	Decisions uint64   `json:"decisions"`
	Scans     uint64   `json:"scans"`
	Sessions  int      `json:"sessions"`
	Forgotten uint64   `json:"forgotten"` // records removed on purpose
	Hash      string   `json:"hash"`      // seal of the last record
	Findings  []string `json:"findings"`
}

const findingsMost = 20

func (r *Report) say(format string, args ...any) {
	if len(r.Findings) < findingsMost {
		r.Findings = append(r.Findings, fmt.Sprintf(format, args...))
	}
}

// Check reads the whole journal: SQLite's own check, every seal, and the index
// against the records.
func (b *Book) Check() (*Report, error) {
	r := &Report{File: b.path, Findings: []string{}}
	if err := integrity(b.db, "integrity_check", r.say); err != nil {
		r.say("SQLite cannot check the file: %v", err)
		return r, nil
	}
	// Inside one read transaction, so that a writer does not move the end.
	tx, err := b.db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	defer func() { _ = tx.Rollback() }()
	e, err := readEnd(tx, b.path)
	if err != nil {
		r.say("%v", err)
		return r, nil
	}
	r.chain(tx, e)
	r.index(tx)
	return r, nil
}

// integrity asks SQLite to look through its own pages.
func integrity(db querier, pragma string, say func(string, ...any)) error {
	rows, err := db.Query(`PRAGMA ` + pragma)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		if text != "ok" {
			say("SQLite: %s", text)
		}
	}
	return rows.Err()
}

// chain follows the seals from the anchor to the end.
func (r *Report) chain(db querier, e end) {
	seal, next := e.anchor, e.first+1
	r.Forgotten = e.first
	err := each(db, 0, func(rec *Record) error {
		if rec.Seq != next {
			r.say("record %d follows %d: %d records are missing", rec.Seq, next-1, int64(rec.Seq)-int64(next))
		}
		if want := rec.seal(seal); !bytes.Equal(want, rec.Hash) {
			r.say("record %d (%s, scan %d) is not what was sealed, or what stood before it was changed", rec.Seq, rec.Kind, rec.Scan)
		}
		seal, next = rec.Hash, rec.Seq+1
		r.count(rec)
		return nil
	})
	switch {
	case err != nil:
		r.say("record %d cannot be read: %v", next, err)
	case next != e.last+1:
		r.say("the journal ends with record %d, but %d were written", next-1, e.last)
	case !bytes.Equal(seal, e.hash):
		r.say("the last seal is not the one in the head")
	}
	r.Hash = hex.EncodeToString(seal)
}

func (r *Report) count(rec *Record) {
	r.Records++
	switch rec.Kind {
	case kindEvent:
		r.Events++
	case kindDecision:
		r.Decisions++
	case kindSession:
		r.Sessions++
	case kindInputs:
		scans, _, err := openInputs(rec)
		if err != nil {
			r.say("record %d: %v", rec.Seq, err)
		}
		r.Scans += uint64(scans)
	}
}

// index compares the table of mentions with the records.
func (r *Report) index(db querier) {
	wanted := map[string]int{}
	err := each(db, 0, func(rec *Record) error {
		for _, name := range namesOf(rec) {
			wanted[name]++
		}
		return nil
	})
	if err != nil {
		r.say("the records cannot be read: %v", err)
		return
	}
	rows, err := db.Query(`SELECT m.name, count(*) FROM mention m JOIN record r ON r.seq = m.seq GROUP BY m.name`)
	if err != nil {
		r.say("the index cannot be read: %v", err)
		return
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		var n int
		if err := rows.Scan(&name, &n); err != nil {
			r.say("the index cannot be read: %v", err)
			return
		}
		if wanted[name] != n {
			r.say("the index has %d mentions of %q, the records have %d", n, name, wanted[name])
		}
		delete(wanted, name)
	}
	if len(wanted) > 0 {
		r.say("the index does not mention %d names that the records do", len(wanted))
	}
}

// glanceRecords is how many of the last seals are looked at before writing on.
const glanceRecords = 2000

// glance looks whether a file may be written on: SQLite's quick check and the
// newest seals.
func glance(db *sql.DB, path string) error {
	var found []string
	say := func(format string, args ...any) { found = append(found, fmt.Sprintf(format, args...)) }
	if err := integrity(db, "quick_check", say); err != nil {
		return notOurs(path, err)
	}
	if len(found) > 0 {
		return Damage{path, found[0]}
	}
	e, err := readEnd(db, path)
	if err != nil {
		return err
	}
	var r Report
	if e.last-e.first > glanceRecords {
		from := e.last - glanceRecords
		if err := db.QueryRow(`SELECT seq, hash FROM record WHERE seq = ?`, from).Scan(&e.first, &e.anchor); err != nil {
			return Damage{path, fmt.Sprintf("record %d is missing", from)}
		}
		r.chain(tail{db, from}, e)
	} else {
		r.chain(db, e)
	}
	if len(r.Findings) > 0 {
		return Damage{path, r.Findings[0]}
	}
	return nil
}

// tail is a store of which only the records after one are looked at.
type tail struct {
	*sql.DB
	after uint64
}

func (t tail) Query(query string, args ...any) (*sql.Rows, error) {
	if len(args) == 1 {
		args[0] = t.after
	}
	return t.DB.Query(query, args...)
}

// headOf reads what a session wrote about.
func headOf(r *Record) (Head, error) {
	var h Head
	err := json.Unmarshal(r.Body, &h)
	return h, err
}
