package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"ohmgate/cmd/ohmgate/live"
)

// order is what a page asks for.
type order struct {
	Do      string        `json:"do"` // pause | resume | speed | scan | rewind | begin | act
	Speed   float64       `json:"speed,omitempty"`
	Scans   int           `json:"scans,omitempty"`
	Scan    uint64        `json:"scan,omitempty"`
	Request *live.Request `json:"request,omitempty"`
	Keep    bool          `json:"keep,omitempty"`
	Act     *live.Action  `json:"act,omitempty"`
}

// codeOf tells a refusal from nonsense.
func codeOf(err error) int {
	var refusal live.Refusal
	switch {
	case errors.As(err, &refusal):
		return http.StatusForbidden
	case errors.Is(err, live.ErrClosed):
		return http.StatusServiceUnavailable
	}
	return http.StatusBadRequest
}

func (s *Server) control(w http.ResponseWriter, r *http.Request) {
	if !sameOrigin(r) {
		refuse(w, http.StatusForbidden, "another site's page may not drive this one")
		return
	}
	if !isJSON(r) {
		refuse(w, http.StatusUnsupportedMediaType, "send Content-Type: application/json")
		return
	}
	var o order
	decoder := json.NewDecoder(r.Body)
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&o); err != nil {
		var tooLarge *http.MaxBytesError
		code := http.StatusBadRequest
		if errors.As(err, &tooLarge) {
			code = http.StatusRequestEntityTooLarge
		}
		refuse(w, code, "the order cannot be read: "+err.Error())
		return
	}
	if decoder.More() {
		refuse(w, http.StatusBadRequest, "one order at a time")
		return
	}
	if err := s.carryOut(r, o); err != nil {
		refuse(w, codeOf(err), err.Error())
		return
	}
	answer(w, http.StatusOK, map[string]bool{"done": true})
}

func (s *Server) carryOut(r *http.Request, o order) error {
	ctx, session := r.Context(), s.o.Session
	switch o.Do {
	case "pause":
		return session.Pause(ctx)
	case "resume":
		return session.Resume(ctx)
	case "speed":
		return session.SetSpeed(ctx, o.Speed)
	case "scan":
		return session.Advance(ctx, max(o.Scans, 1))
	case "rewind":
		return session.Rewind(ctx, o.Scan)
	case "begin":
		if o.Request == nil {
			o.Request = &live.Request{}
		}
		return session.Begin(ctx, *o.Request, o.Keep)
	case "act":
		if o.Act == nil {
			return errors.New(`an act is missing: write "act": {"do": "inject", "fault": …, "on": …}`)
		}
		return session.Act(ctx, *o.Act)
	}
	return fmt.Errorf("do %s: write pause, resume, speed, scan, rewind, begin or act", printable(o.Do))
}
