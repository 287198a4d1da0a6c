package replay

import (
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/sim/trace"
)

// aheadScans is how many scans one batch holds, aheadBatches how many batches
// travel between reader and logic: all the memory that reading ahead costs.
const aheadScans, aheadBatches = 256, 4

type batch struct {
	scans []*trace.Recorded
	used  int
	err   error
	ended bool
}

// ahead reads a recording in its own goroutine, so that the file is read while
// the logic turns. It hands out the same scans in the same order.
type ahead struct {
	ready, spare chan *batch
	stop, gone   chan struct{}
	now          *batch
	at           int
}

func readAhead(from Recording, c *interlock.Config) *ahead {
	a := &ahead{
		ready: make(chan *batch, aheadBatches), spare: make(chan *batch, aheadBatches),
		stop: make(chan struct{}), gone: make(chan struct{}),
	}
	for range aheadBatches {
		b := &batch{}
		for range aheadScans {
			b.scans = append(b.scans, trace.NewRecorded(c))
		}
		a.spare <- b
	}
	go a.fill(from)
	return a
}

func (a *ahead) fill(from Recording) {
	defer close(a.gone)
	b := &batch{}
	defer func() {
		if r := recover(); r != nil { // whoever waits for scans must hear of it
			b.err, b.ended = loop.InternalError{Scan: uint64(b.used), What: r}, true
			a.ready <- b
		}
	}()
	for {
		select {
		case <-a.stop:
			return
		case b = <-a.spare:
		}
		for b.used = 0; b.used < aheadScans && !b.ended; {
			rec, err := from.Next()
			if err != nil || rec == nil {
				b.err, b.ended = err, true
				break
			}
			b.scans[b.used].CopyFrom(rec)
			b.used++
		}
		a.ready <- b // there is room for every batch
		if b.ended {
			return
		}
	}
}

// Next is the next scan, valid until the call after.
func (a *ahead) Next() (*trace.Recorded, error) {
	for a.now == nil || a.at == a.now.used {
		if a.now != nil {
			if a.now.ended {
				return nil, a.now.err
			}
			a.spare <- a.now
		}
		a.now, a.at = <-a.ready, 0
	}
	a.at++
	return a.now.scans[a.at-1], nil
}

// close ends the goroutine and waits for it, so that whoever owns the recording
// may look at it again.
func (a *ahead) close() {
	close(a.stop)
	a.wait()
}

// wait waits for the goroutine after it handed out the end.
func (a *ahead) wait() { <-a.gone }
