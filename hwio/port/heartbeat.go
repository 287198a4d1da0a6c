package port

import (
	"errors"
	"fmt"
	"sync"
)

// Heartbeat is a Port that does not wait for the system to notice a pulled plug: some drivers never tell. After Limit
// exchanges in a row that were answered by silence the line counts as lost, for good.
type Heartbeat struct {
	line  Port
	limit int

	guard  sync.Mutex
	silent int
	lost   error
}

// WithHeartbeat watches a port; limit is how many silent exchanges in a row are one too many (at least 1). Use it only on
// lines where some device always answers, and put it under all users of that line.
func WithHeartbeat(line Port, limit int) *Heartbeat {
	return &Heartbeat{line: line, limit: max(limit, 1)}
}

// Exchange passes the exchange on and counts silence. Listening does not count.
func (h *Heartbeat) Exchange(ask Ask) (Answer, error) {
	h.guard.Lock()
	lost := h.lost
	h.guard.Unlock()
	if lost != nil {
		return Answer{}, lost
	}
	answer, err := h.line.Exchange(ask)
	if len(ask.Request) == 0 || ask.Complete == nil {
		return answer, err
	}
	h.guard.Lock()
	defer h.guard.Unlock()
	if !errors.Is(err, ErrSilent) {
		h.silent = 0
		return answer, err
	}
	h.silent++
	if h.silent >= h.limit && h.lost == nil {
		h.lost = &Fault{Port: h.line.String(), Kind: ErrLost, Note: fmt.Sprintf("%d exchanges in a row without any answer", h.silent), Cause: err}
	}
	if h.lost != nil {
		return answer, h.lost
	}
	return answer, err
}

// Halt halts the line below.
func (h *Heartbeat) Halt() error { return h.line.Halt() }

// String names the line below.
func (h *Heartbeat) String() string { return h.line.String() }
