package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"ohmgate/cmd/ohmgate/live"
)

func (s *Server) site(w http.ResponseWriter, _ *http.Request) {
	answer(w, http.StatusOK, s.o.Session.Describe(s.o.Tool, s.o.Caution))
}

// shotCache writes a snapshot as JSON once, for however many pages follow.
type shotCache struct {
	mu    sync.Mutex
	shot  *live.Snapshot
	epoch int
	text  []byte
}

func (c *shotCache) of(shot *live.Snapshot, epoch int) []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.shot != shot || c.epoch != epoch {
		text, err := json.Marshal(struct {
			Epoch int            `json:"epoch"`
			Shot  *live.Snapshot `json:"shot"`
		}{epoch, shot})
		if err != nil {
			panic(err) // plain numbers and strings
		}
		c.shot, c.epoch, c.text = shot, epoch, text
	}
	return c.text
}

func (s *Server) state(w http.ResponseWriter, _ *http.Request) {
	shot, epoch, _ := s.o.Session.Now()
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(s.cache.of(shot, epoch))
}

// number reads a query parameter that is a whole number.
func number(r *http.Request, name string, fallback, limit uint64) (uint64, error) {
	text := r.URL.Query().Get(name)
	if text == "" {
		return fallback, nil
	}
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil || n > limit {
		return 0, fmt.Errorf("%s=%s: write a whole number from 0 to %d", name, printable(text), limit)
	}
	return n, nil
}

// numbers reads several and reports the first error.
type numbers struct {
	r   *http.Request
	err error
}

func (n *numbers) get(name string, fallback, limit uint64) uint64 {
	v, err := number(n.r, name, fallback, limit)
	if n.err == nil {
		n.err = err
	}
	return v
}

const scanMax = 1 << 53 // the largest that a page can count

func (s *Server) window(w http.ResponseWriter, r *http.Request) {
	n := numbers{r: r}
	from, to := n.get("from", 0, scanMax), n.get("to", 0, scanMax)
	width := n.get("width", 1000, widthMax)
	if n.err != nil {
		refuse(w, http.StatusBadRequest, n.err.Error())
		return
	}
	var wanted map[string]bool
	if list := r.URL.Query().Get("lanes"); list != "" {
		wanted = map[string]bool{}
		for _, id := range strings.Split(list, ",") {
			wanted[id] = true
		}
	}
	got, err := s.o.Session.Read(r.URL.Query().Get("run") == "reference", from, to, max(int(width), 1), wanted)
	if err != nil {
		refuse(w, codeOf(err), err.Error())
		return
	}
	answer(w, http.StatusOK, got)
}

func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	n := numbers{r: r}
	after, limit := n.get("after", 0, scanMax), n.get("limit", eventsPerPage, 20000)
	switch {
	case n.err != nil:
		refuse(w, http.StatusBadRequest, n.err.Error())
	case r.URL.Query().Get("run") == "reference":
		answer(w, http.StatusOK, s.o.Session.ReferenceEvents(int(limit)))
	case r.URL.Query().Has("after"):
		answer(w, http.StatusOK, s.o.Session.Events(after, int(limit)))
	default:
		answer(w, http.StatusOK, s.o.Session.LastEvents(int(limit)))
	}
}

func (s *Server) nearest(w http.ResponseWriter, r *http.Request) {
	at, err := number(r, "scan", 0, scanMax)
	if err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	scan, found := s.o.Session.Nearest(r.URL.Query().Get("lane"), at)
	answer(w, http.StatusOK, map[string]any{"found": found, "scan": scan})
}

func (s *Server) difference(w http.ResponseWriter, _ *http.Request) {
	d, err := s.o.Session.Compare()
	if err != nil {
		refuse(w, codeOf(err), err.Error())
		return
	}
	answer(w, http.StatusOK, d)
}

func (s *Server) journal(w http.ResponseWriter, r *http.Request) {
	if s.o.Journal == nil {
		refuse(w, http.StatusNotFound, "no journal is kept; start serve with --journal FILE")
		return
	}
	n := numbers{r: r}
	q := live.Question{
		Name: r.URL.Query().Get("name"), Kind: r.URL.Query().Get("kind"), Run: int(n.get("run", 0, 1<<31)),
		From: n.get("from", 0, scanMax), To: n.get("to", 0, scanMax), After: n.get("after", 0, scanMax), Limit: int(n.get("limit", eventsPerPage, 20000)),
	}
	if n.err != nil {
		refuse(w, http.StatusBadRequest, n.err.Error())
		return
	}
	found, err := s.o.Journal.Query(r.Context(), q)
	if err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	answer(w, http.StatusOK, found)
}

func (s *Server) health(w http.ResponseWriter, _ *http.Request) {
	h := s.o.Session.Health()
	code := http.StatusOK
	if !h.Healthy {
		code = http.StatusServiceUnavailable
	}
	answer(w, code, h)
}

// stream follows a session: events as they are told, the state at most ten
// times a second. A reader that does not take what it asked for is let go.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		w.Header().Set("Retry-After", "5")
		refuse(w, http.StatusServiceUnavailable, fmt.Sprintf("%d pages follow already", s.o.StreamsMax))
		return
	}
	after, err := number(r, "after", 0, scanMax)
	if id := r.Header.Get("Last-Event-ID"); err == nil && id != "" {
		after, err = strconv.ParseUint(id, 10, 53)
	}
	if err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	f := follower{s: s, w: w, control: http.NewResponseController(w), after: after}
	_ = f.control.SetReadDeadline(time.Time{})
	f.follow(r)
}

type follower struct {
	s       *Server
	w       http.ResponseWriter
	control *http.ResponseController
	after   uint64
	shot    *live.Snapshot
	epoch   int
}

func (f *follower) follow(r *http.Request) {
	beat := time.NewTicker(10 * time.Second)
	defer beat.Stop()
	pause := time.NewTimer(0)
	defer pause.Stop()
	for {
		shot, epoch, changed := f.s.o.Session.Now()
		if f.push(shot, epoch) != nil {
			return
		}
		pause.Reset(pushEvery)
		select {
		case <-r.Context().Done():
			return
		case <-f.s.ending:
			return
		case <-pause.C:
		}
		select {
		case <-changed:
		case <-beat.C:
			if f.write(": still here\n\n") != nil {
				return
			}
		case <-r.Context().Done():
			return
		case <-f.s.ending:
			return
		}
	}
}

// push sends what is new.
func (f *follower) push(shot *live.Snapshot, epoch int) error {
	for {
		list := f.s.o.Session.Events(f.after, eventsPerPage)
		if len(list) == 0 {
			break
		}
		text, err := json.Marshal(list)
		if err != nil {
			return err
		}
		f.after = list[len(list)-1].Seq
		if err := f.write(fmt.Sprintf("id: %d\nevent: told\ndata: %s\n\n", f.after, text)); err != nil {
			return err
		}
	}
	if shot == f.shot && epoch == f.epoch {
		return nil
	}
	f.shot, f.epoch = shot, epoch
	return f.write("event: state\ndata: " + string(f.s.cache.of(shot, epoch)) + "\n\n")
}

func (f *follower) write(text string) error {
	_ = f.control.SetWriteDeadline(time.Now().Add(writeTimeout))
	if _, err := f.w.Write([]byte(text)); err != nil {
		return err
	}
	return f.control.Flush()
}
