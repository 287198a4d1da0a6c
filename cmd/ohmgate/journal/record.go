package journal

import (
	"crypto/sha256"
	"encoding/binary"
	"time"
)

// Kinds of records.
const (
	kindSession   = "session"   // somebody began to write; body: Head
	kindEvent     = "event"     // body: live.Event
	kindDecision  = "decision"  // body: live.Decided
	kindInputs    = "inputs"    // body: scans, then what arrived in them, compressed
	kindRetention = "retention" // body: what was forgotten on purpose
)

// Record is one line of the journal.
type Record struct {
	Seq     uint64
	Wall    time.Time // when it was written
	Session int       // counts the openings of the file
	Run     int
	Scan    uint64
	Kind    string
	Body    []byte
	Hash    []byte
}

// seal is the hash of a record that follows one with the hash before.
func (r *Record) seal(before []byte) []byte {
	h := sha256.New()
	number := func(n uint64) {
		var b [8]byte
		binary.BigEndian.PutUint64(b[:], n)
		h.Write(b[:])
	}
	h.Write(before)
	number(r.Seq)
	number(uint64(r.Wall.UnixNano()))
	number(uint64(r.Session))
	number(uint64(r.Run))
	number(r.Scan)
	number(uint64(len(r.Kind)))
	h.Write([]byte(r.Kind))
	number(uint64(len(r.Body)))
	h.Write(r.Body)
	return h.Sum(nil)
}

// stored is the body as SQLite keeps it: words as text, so that its own shell
// can read them.
func (r *Record) stored() any {
	if r.Kind == kindInputs {
		return r.Body
	}
	return string(r.Body)
}

// Head says what a session writes about.
type Head struct {
	Site     string        `json:"site"`
	SiteHash string        `json:"site_hash"`
	Tool     string        `json:"tool"`
	Period   time.Duration `json:"period_ns"`
	Channels int           `json:"channels"`
	Inputs   int           `json:"inputs"`
}

// Forgotten says what was removed on purpose, so that the chain goes on.
type Forgotten struct {
	Through uint64 `json:"through"` // last record removed
	Hash    string `json:"hash"`    // its seal, hex
	Records uint64 `json:"records"`
}
