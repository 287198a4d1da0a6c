package web

import (
	"context"
	"io/fs"
	"net"
	"net/http"
	"sync"
	"time"

	"ohmgate/cmd/ohmgate/live"
)

// Options is what a server shows and to whom.
type Options struct {
	Session *live.Session
	Tool    string
	Caution string
	Page    fs.FS  // nil: the page was not built in
	Token   string // empty: whoever reaches the listener may look
	Host    string // name under which the page is reached beyond loopback; empty: any
	Journal Journal
	Metrics http.Handler

	StreamsMax int // pages that follow at once
}

// Journal answers questions about what was kept.
type Journal interface {
	Query(ctx context.Context, q live.Question) ([]live.Event, error)
}

// Limits of every server.
const (
	bodyMax       = 16 << 10
	headerMax     = 16 << 10
	connections   = 640
	streamsMax    = 256
	readTimeout   = 10 * time.Second
	writeTimeout  = 10 * time.Second // of one answer, or one push to a page that follows
	idleTimeout   = 30 * time.Second
	pushEvery     = 100 * time.Millisecond
	widthMax      = 4000
	eventsPerPage = 500
)

// Server is one window.
type Server struct {
	o       Options
	mux     *http.ServeMux
	streams chan struct{}
	cache   shotCache
	ending  chan struct{}
	once    sync.Once
}

// New makes the handler of a session.
func New(o Options) *Server {
	if o.StreamsMax == 0 {
		o.StreamsMax = streamsMax
	}
	s := &Server{o: o, mux: http.NewServeMux(), streams: make(chan struct{}, o.StreamsMax), ending: make(chan struct{})}
	s.routes()
	return s
}

func (s *Server) routes() {
	s.mux.HandleFunc("GET /api/v1/site", s.site)
	s.mux.HandleFunc("GET /api/v1/state", s.state)
	s.mux.HandleFunc("GET /api/v1/window", s.window)
	s.mux.HandleFunc("GET /api/v1/events", s.events)
	s.mux.HandleFunc("GET /api/v1/nearest", s.nearest)
	s.mux.HandleFunc("GET /api/v1/difference", s.difference)
	s.mux.HandleFunc("GET /api/v1/journal", s.journal)
	s.mux.HandleFunc("GET /api/v1/stream", s.stream)
	s.mux.HandleFunc("POST /api/v1/control", s.control)
	s.mux.HandleFunc("POST /login", s.login)
	s.mux.HandleFunc("GET /healthz", s.health)
	if s.o.Metrics != nil {
		s.mux.Handle("GET /metrics", s.o.Metrics)
	}
	s.mux.HandleFunc("GET /", s.page)
}

// ServeHTTP lets a request through that comes from where it may.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	r.Body = http.MaxBytesReader(w, r.Body, bodyMax)
	if !s.rightHost(r) {
		refuse(w, http.StatusMisdirectedRequest, "this page is not served under the name "+printable(r.Host)+": open it as localhost or under its address")
		return
	}
	if !s.known(r) {
		s.askForToken(w, r)
		return
	}
	s.mux.ServeHTTP(w, r)
}

// Serve answers until the context ends.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	server := &http.Server{
		Handler: s, MaxHeaderBytes: headerMax, ReadHeaderTimeout: readTimeout, ReadTimeout: readTimeout,
		WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, ErrorLog: quiet(),
	}
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		<-ctx.Done()
		s.End()
		last, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		if server.Shutdown(last) != nil {
			_ = server.Close()
		}
	}()
	err := server.Serve(&limited{Listener: listener, slots: make(chan struct{}, connections)})
	if err == http.ErrServerClosed {
		<-stopped
		return nil
	}
	return err
}

// End lets every page that follows go.
func (s *Server) End() { s.once.Do(func() { close(s.ending) }) }

// limited is a listener that turns away what is beyond its slots.
type limited struct {
	net.Listener
	slots chan struct{}
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		conn, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		select {
		case l.slots <- struct{}{}:
			return &counted{Conn: conn, slots: l.slots}, nil
		default:
			_ = conn.SetWriteDeadline(time.Now().Add(100 * time.Millisecond))
			_, _ = conn.Write([]byte("HTTP/1.1 503 Service Unavailable\r\nRetry-After: 5\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"))
			_ = conn.Close()
		}
	}
}

// counted is a connection that gives its slot back once.
type counted struct {
	net.Conn
	slots chan struct{}
	once  sync.Once
}

func (c *counted) Close() error {
	c.once.Do(func() { <-c.slots })
	return c.Conn.Close()
}
