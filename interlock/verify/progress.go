package verify

import (
	"sync"
	"time"
)

// progress tells people how far the searches are: when one is finished, and a few
// times a second while they run.
type progress struct {
	tell   func(done, of int, what string, states uint64)
	mu     sync.Mutex
	done   int
	of     int
	states map[*Searched]uint64 // reached so far
	last   time.Time
}

// tellEvery is how often a search that still runs is told of.
const progressEvery = 100 * time.Millisecond

func newProgress(of int, tell func(int, int, string, uint64)) *progress {
	return &progress{tell: tell, of: of, states: map[*Searched]uint64{}}
}

// follow is what a search calls with the states that it has reached; nil where
// nobody listens, because to count them costs time.
func (t *progress) follow(s *Searched) func(uint64) {
	if t.tell == nil {
		return nil
	}
	return func(states uint64) {
		t.mu.Lock()
		defer t.mu.Unlock()
		t.states[s] = states
		if time.Since(t.last) >= progressEvery {
			t.say(s)
		}
	}
}

func (t *progress) finished(s *Searched) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.done++
	t.states[s] = s.States
	if t.tell != nil {
		t.say(s)
	}
}

func (t *progress) say(s *Searched) {
	all := uint64(0)
	for _, n := range t.states {
		all += n
	}
	t.last = time.Now()
	t.tell(t.done, t.of, s.Output+" with "+s.Channel, all)
}
