package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	_ "modernc.org/sqlite" // the driver
)

// schema is the whole file. mention is an index that check makes again from the
// records and compares.
const schema = `
PRAGMA application_id = 1869114215;
CREATE TABLE head (
  id INTEGER PRIMARY KEY CHECK (id = 1),
  format INTEGER NOT NULL,
  first INTEGER NOT NULL,   -- last record that was forgotten on purpose
  anchor BLOB NOT NULL,     -- its seal
  last INTEGER NOT NULL,    -- last record
  hash BLOB NOT NULL        -- its seal
);
CREATE TABLE record (
  seq INTEGER PRIMARY KEY,
  wall INTEGER NOT NULL,    -- ns since 1970, UTC
  session INTEGER NOT NULL,
  run INTEGER NOT NULL,
  scan INTEGER NOT NULL,
  kind TEXT NOT NULL,
  body BLOB NOT NULL,
  hash BLOB NOT NULL
);
CREATE INDEX record_wall ON record (wall);
CREATE INDEX record_kind ON record (kind, seq);
CREATE TABLE mention (
  name TEXT NOT NULL,
  seq INTEGER NOT NULL,
  PRIMARY KEY (name, seq)
) WITHOUT ROWID;
INSERT INTO head VALUES (1, 1, 0, zeroblob(32), 0, zeroblob(32));
`

const format = 1

// address is a file as the driver wants it.
func address(path string, readOnly bool) (string, error) {
	absolute, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	q := url.Values{}
	q.Add("_pragma", "busy_timeout(5000)")
	if readOnly {
		q.Set("mode", "ro")
	} else {
		q.Add("_pragma", "auto_vacuum(incremental)")
		q.Add("_pragma", "journal_mode(wal)")
		q.Add("_pragma", "synchronous(full)")
		q.Set("_txlock", "immediate")
	}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(absolute), RawQuery: q.Encode()}
	return u.String(), nil
}

// open opens the store of a file; new says whether it was empty.
func open(path string, readOnly bool) (db *sql.DB, fresh bool, err error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist) && !readOnly:
		fresh = true
	case err != nil:
		return nil, false, err
	case info.IsDir():
		return nil, false, fmt.Errorf("%s is a directory; name a file", path)
	default:
		fresh = info.Size() == 0 && !readOnly
	}
	where, err := address(path, readOnly)
	if err != nil {
		return nil, false, err
	}
	if db, err = sql.Open("sqlite", where); err != nil {
		return nil, false, err
	}
	if !readOnly {
		db.SetMaxOpenConns(2) // one that writes, one that answers
	}
	if err := db.Ping(); err != nil {
		_ = db.Close()
		return nil, false, notOurs(path, err)
	}
	return db, fresh, nil
}

// notOurs words what the driver says of a file that is no journal.
func notOurs(path string, err error) error {
	if strings.Contains(err.Error(), "not a database") {
		return Damage{path, "it is no SQLite file, or its first page is damaged"}
	}
	return Damage{path, err.Error()}
}

// Damage is what is wrong with a journal. Nothing was changed.
type Damage struct{ File, What string }

func (d Damage) Error() string {
	return fmt.Sprintf("%s is damaged or no journal: %s; keep it as it is, and name another file to go on", d.File, d.What)
}

// end is where a chain stands.
type end struct {
	first, last  uint64
	anchor, hash []byte
}

func readEnd(db querier, path string) (end, error) {
	var e end
	var have int
	err := db.QueryRow(`SELECT format, first, anchor, last, hash FROM head WHERE id = 1`).Scan(&have, &e.first, &e.anchor, &e.last, &e.hash)
	if err != nil {
		return e, notOurs(path, err)
	}
	if have != format {
		return e, fmt.Errorf("%s has format %d, this program writes %d; use the program that wrote it", path, have, format)
	}
	return e, nil
}

// querier is a store or a transaction.
type querier interface {
	QueryRow(query string, args ...any) *sql.Row
	Query(query string, args ...any) (*sql.Rows, error)
}
