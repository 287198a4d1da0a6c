package web

import (
	"io"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
)

// missingPage is what stands in for a page that was not built in.
const missingPage = `<!doctype html><html lang="en"><meta charset="utf-8"><title>ohmgate: page not built in</title>
<main><h1>The page was not built into this program</h1>
<p>It was compiled without Node. Everything else works: <a href="/api/v1/state">state</a>, <a href="/api/v1/events">events</a>,
<a href="/metrics">metrics</a>, <a href="/healthz">health</a>. Build it with <code>make build</code> where npm is installed.</p></main></html>`

// page serves the built page. Names of assets carry their hash, so they may be
// kept for ever; the page itself may not.
func (s *Server) page(w http.ResponseWriter, r *http.Request) {
	if s.o.Page == nil {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		if r.URL.Path != "/" {
			refuse(w, http.StatusNotFound, "there is nothing at "+printable(r.URL.Path))
			return
		}
		_, _ = io.WriteString(w, missingPage)
		return
	}
	name := strings.TrimPrefix(path.Clean(r.URL.Path), "/")
	if name == "" {
		name = "index.html"
	}
	text, err := fs.ReadFile(s.o.Page, name)
	if err != nil {
		refuse(w, http.StatusNotFound, "there is nothing at "+printable(r.URL.Path))
		return
	}
	kind := mime.TypeByExtension(path.Ext(name))
	if kind == "" {
		kind = "application/octet-stream"
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-cache")
	if strings.HasPrefix(name, "assets/") {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	_, _ = w.Write(text)
}
