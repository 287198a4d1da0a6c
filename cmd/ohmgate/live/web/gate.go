package web

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"io"
	"log"
	"mime"
	"net"
	"net/http"
	"net/url"
	"strings"
)

// quiet swallows the server's own log: what garbage arrives is nobody's news.
func quiet() *log.Logger { return log.New(io.Discard, "", 0) }

// rightHost refuses names that are not ours, so that a foreign page cannot
// reach a loopback server through a name that it controls.
func (s *Server) rightHost(r *http.Request) bool {
	host := r.Host
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.Trim(strings.ToLower(host), "[]")
	if host == "localhost" || s.o.Host != "" && host == strings.ToLower(s.o.Host) {
		return true
	}
	ip := net.ParseIP(host)
	if ip == nil {
		return s.o.Token != "" && s.o.Host == ""
	}
	return s.o.Token != "" || ip.IsLoopback()
}

const cookieName = "ohmgate"

// cookieValue is what the browser keeps: it proves the token without being it.
func (s *Server) cookieValue() string {
	sum := sha256.Sum256([]byte("ohmgate page\x00" + s.o.Token))
	return hex.EncodeToString(sum[:])
}

// known reports whether a request may see anything.
func (s *Server) known(r *http.Request) bool {
	if s.o.Token == "" || r.URL.Path == "/login" {
		return true
	}
	if given, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); ok {
		return same(given, s.o.Token)
	}
	cookie, err := r.Cookie(cookieName)
	return err == nil && same(cookie.Value, s.cookieValue())
}

func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

func (s *Server) askForToken(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("WWW-Authenticate", `Bearer realm="ohmgate"`)
	if r.Method != http.MethodGet || r.URL.Path != "/" {
		refuse(w, http.StatusUnauthorized, "a token is needed: send Authorization: Bearer TOKEN")
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(http.StatusUnauthorized)
	_, _ = io.WriteString(w, loginPage)
}

const loginPage = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>ohmgate</title><main><h1>ohmgate</h1><p>This page is open beyond its own machine, so it needs the token that serve was started with.</p>
<form method="post" action="/login"><label>Token <input name="token" type="password" autocomplete="current-password" required autofocus></label>
<button>Look</button></form></main></html>`

func (s *Server) login(w http.ResponseWriter, r *http.Request) {
	if !sameOrigin(r) || r.ParseForm() != nil || s.o.Token == "" || !same(r.PostForm.Get("token"), s.o.Token) {
		refuse(w, http.StatusUnauthorized, "that is not the token")
		return
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: s.cookieValue(), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// sameOrigin refuses what another site's page sends.
func sameOrigin(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
	default:
		return false
	}
	origin := r.Header.Get("Origin")
	if origin == "" {
		return true
	}
	u, err := url.Parse(origin)
	return err == nil && u.Host == r.Host
}

// isJSON keeps plain forms, which any site may send, away from what acts.
func isJSON(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "application/json"
}

func refuse(w http.ResponseWriter, code int, text string) {
	answer(w, code, map[string]string{"error": text})
}

func answer(w http.ResponseWriter, code int, value any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(value)
}

// printable keeps what came from outside short and harmless.
func printable(text string) string {
	var b strings.Builder
	for _, r := range text {
		if r < ' ' || r > '~' || b.Len() > 60 {
			r = '?'
		}
		b.WriteRune(r)
	}
	return `"` + b.String()[:min(b.Len(), 64)] + `"`
}
