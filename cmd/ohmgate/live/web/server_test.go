package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/cmd/ohmgate/live/web"
)

// bubble is a test on the fake clock of a machine that is never late: its window
// is reached through memory.
func bubble(t *testing.T, test func(t *testing.T)) { synctest.Test(t, test) }

// within is a session and its window, for a test in a bubble.
func within(t *testing.T, o live.Options, w web.Options) window {
	t.Helper()
	listener := livetest.Listen()
	made := serveOn(t, listener, o, w)
	transport := &http.Transport{DialContext: listener.DialContext}
	t.Cleanup(transport.CloseIdleConnections)
	made.url, made.client, made.dial = "http://localhost", &http.Client{Transport: transport}, listener.DialContext
	return made
}

// small is a session that turns in real time.
func small(t *testing.T, w web.Options) window {
	t.Helper()
	o := livetest.Options(2)
	o.Speed = 1
	return within(t, o, w)
}

type answered struct {
	code int
	text string
	head http.Header
}

func (w window) send(t *testing.T, method, path, body string, header ...string) answered {
	t.Helper()
	r, err := http.NewRequest(method, w.url+path, strings.NewReader(body))
	require.NoError(t, err)
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
			continue
		}
		r.Header.Set(header[i], header[i+1])
	}
	client := *w.client
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	got, err := client.Do(r)
	require.NoError(t, err)
	defer got.Body.Close()
	text, err := io.ReadAll(got.Body)
	require.NoError(t, err)
	return answered{got.StatusCode, string(text), got.Header}
}

const asJSON = "application/json"

func TestOrdersComeOnlyFromOurOwnPage(t *testing.T) {
	bubble(t, func(t *testing.T) {
		w := small(t, web.Options{})
		url, pause := "/api/v1/control", `{"do":"pause"}`
		require.Equal(t, 200, w.send(t, "POST", url, pause, "Content-Type", asJSON).code)
		require.Equal(t, 200, w.send(t, "POST", url, `{"do":"resume"}`, "Content-Type", asJSON, "Origin", w.url, "Sec-Fetch-Site", "same-origin").code)
		for name, header := range map[string][]string{
			"a form":               {"Content-Type", "application/x-www-form-urlencoded"},
			"plain text":           {"Content-Type", "text/plain"},
			"another site":         {"Content-Type", asJSON, "Sec-Fetch-Site", "cross-site"},
			"another origin":       {"Content-Type", asJSON, "Origin", "http://elsewhere.example"},
			"a name that rebounds": {"Content-Type", asJSON, "Host", "elsewhere.example"},
		} {
			got := w.send(t, "POST", url, pause, header...)
			require.GreaterOrEqual(t, got.code, 400, name)
			require.Contains(t, got.text, "error", name)
		}
		require.Equal(t, "running", w.session.Health().Mode)
		require.Equal(t, http.StatusMisdirectedRequest, w.send(t, "GET", "/api/v1/state", "", "Host", "elsewhere.example").code)
		require.Equal(t, http.StatusNotFound, w.send(t, "GET", url, "").code)
	})
}

func TestNonsenseIsRefusedInWords(t *testing.T) {
	bubble(t, func(t *testing.T) {
		w := small(t, web.Options{})
		for _, c := range []struct {
			body string
			code int
			says string
		}{
			{`{"do":"explode"}`, 400, "pause, resume"},
			{`{"do":"act"}`, 400, "act is missing"},
			{`{"do":"act","act":{"do":"inject","fault":"clamp_removed","on":"nobody"}}`, 400, "bond_1"},
			{`{"do":"speed","speed":-1}`, 400, "real time"},
			{`{"do":"speed","speed":1e99}`, 400, "real time"},
			{`{"do":"scan","scans":-5}`, 400, "pause it"},
			{`{"do":"rewind","scan":99999999999}`, 400, "only come to"},
			{`{"do":"pause","more":1}`, 400, "unknown field"},
			{`{"do":"pause"}{"do":"resume"}`, 400, "one order"},
			{`not json`, 400, "cannot be read"},
			{``, 400, "cannot be read"},
			{`{"do":"` + strings.Repeat("x", 20000) + `"}`, 413, "too large"},
		} {
			got := w.send(t, "POST", "/api/v1/control", c.body, "Content-Type", asJSON)
			require.Equal(t, c.code, got.code, "%.60s: %s", c.body, got.text)
			require.Contains(t, got.text, c.says)
		}
		for _, path := range []string{"/api/v1/window?from=-1", "/api/v1/window?from=5&to=1", "/api/v1/window?width=999999", "/api/v1/events?limit=x", "/api/v1/events?after=99999999999999999999", "/api/v1/stream?after=x"} {
			got := w.send(t, "GET", path, "")
			require.Equal(t, 400, got.code, path)
			require.Contains(t, got.text, "error")
		}
		require.Equal(t, 403, w.send(t, "GET", "/api/v1/difference", "").code)
		require.Equal(t, 404, w.send(t, "GET", "/api/v1/journal", "").code)
		require.Equal(t, 404, w.send(t, "GET", "/%2e%2e%2f%2e%2e%2fetc/passwd", "").code)
		require.Equal(t, 200, w.send(t, "GET", "/healthz", "").code)
	})
}

func TestReadOnlyRefusesEveryOrder(t *testing.T) {
	bubble(t, func(t *testing.T) {
		o := livetest.Options(1)
		o.Control = false
		w := within(t, o, web.Options{})
		for _, do := range []string{`"pause"`, `"resume"`, `"speed","speed":2`, `"scan"`, `"rewind"`, `"begin"`, `"act","act":{"do":"press","on":"reset_1"}`} {
			got := w.send(t, "POST", "/api/v1/control", `{"do":`+do+`}`, "Content-Type", asJSON)
			require.Equal(t, 403, got.code, do)
			require.Contains(t, got.text, "--control")
		}
	})
}

func TestTokenIsAskedOfEverybody(t *testing.T) {
	bubble(t, func(t *testing.T) {
		token := "a-token-of-some-length"
		w := small(t, web.Options{Token: token, Page: fstest.MapFS{"index.html": {Data: []byte("the page")}}})
		for _, path := range []string{"/api/v1/state", "/api/v1/events", "/metrics", "/healthz", "/index.html"} {
			require.Equal(t, 401, w.send(t, "GET", path, "").code, path)
			require.Equal(t, 401, w.send(t, "GET", path, "", "Authorization", "Bearer wrong").code, path)
		}
		require.Contains(t, w.send(t, "GET", "/", "").text, "Token")
		require.Equal(t, 200, w.send(t, "GET", "/healthz", "", "Authorization", "Bearer "+token).code)
		form := "application/x-www-form-urlencoded"
		require.Equal(t, 401, w.send(t, "POST", "/login", "token=wrong", "Content-Type", form).code)
		require.Equal(t, 401, w.send(t, "POST", "/login", "token="+token, "Content-Type", form, "Origin", "http://elsewhere.example").code)
		in := w.send(t, "POST", "/login", "token="+token, "Content-Type", form)
		require.Equal(t, 303, in.code)
		cookie := in.head.Get("Set-Cookie")
		require.Contains(t, cookie, "HttpOnly")
		require.Contains(t, cookie, "SameSite=Strict")
		require.NotContains(t, cookie, token)
		require.Equal(t, "the page", w.send(t, "GET", "/", "", "Cookie", strings.SplitN(cookie, ";", 2)[0]).text)
	})
}

func TestPageThatWasNotBuiltInIsSaid(t *testing.T) {
	bubble(t, func(t *testing.T) {
		w := small(t, web.Options{})
		got := w.send(t, "GET", "/", "")
		require.Equal(t, 200, got.code)
		require.Contains(t, got.text, "not built into this program")
		require.Contains(t, got.head.Get("Content-Security-Policy"), "default-src 'none'")
	})
}

// TestTwoHundredPagesFollow lets many follow, and one of them stop reading: nobody
// waits for a page, and who reads nothing is let go.
func TestTwoHundredPagesFollow(t *testing.T) {
	bubble(t, func(t *testing.T) {
		o := livetest.Options(8)
		o.Speed = 1
		w := within(t, o, web.Options{StreamsMax: pages})
		asleep := w.fallAsleep(t)
		require.Equal(t, pages-1, w.crowd(t, pages-1))
		require.Zero(t, w.session.Health().Overruns)
		time.Sleep(11 * time.Second) // an answer has 10 s to be taken
		defer time.AfterFunc(time.Second, func() { _ = asleep.Close() }).Stop()
		_, err := io.Copy(io.Discard, asleep)
		require.NoError(t, err, "it was not let go")
		require.Zero(t, w.session.Health().Overruns)
	})
}

const (
	pages  = 200 // that follow
	states = 15  // that each of them hears
)

// fallAsleep is a page that follows and stops reading after the first state.
func (w window) fallAsleep(t *testing.T) net.Conn {
	t.Helper()
	conn, err := w.dial(t.Context(), "tcp", "localhost")
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	_, err = io.WriteString(conn, "GET /api/v1/stream HTTP/1.1\r\nHost: localhost\r\n\r\n")
	require.NoError(t, err)
	lines := bufio.NewScanner(conn)
	for lines.Scan() {
		if lines.Text() == "event: state" {
			return conn
		}
	}
	t.Fatal("no state was told: ", lines.Err())
	return nil
}

// crowd lets so many pages follow, fills the server with them, and is how many of
// them heard all states.
func (w window) crowd(t *testing.T, pages int) (heard int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var all sync.WaitGroup
	var whole atomic.Int64
	ready := make(chan struct{}, pages)
	for range pages {
		all.Go(func() {
			if w.listen(ctx, t, ready) == states {
				whole.Add(1)
			}
		})
	}
	for range pages {
		<-ready
	}
	full := w.send(t, "GET", "/api/v1/stream", "")
	require.Equal(t, 503, full.code)
	require.Equal(t, "5", full.head.Get("Retry-After"))
	require.Equal(t, 200, w.send(t, "GET", "/healthz", "").code)
	all.Wait()
	return int(whole.Load())
}

// listen follows until it has heard all states.
func (w window) listen(ctx context.Context, t *testing.T, ready chan<- struct{}) (heard int) {
	r, err := http.NewRequestWithContext(ctx, "GET", w.url+"/api/v1/stream", nil)
	var got *http.Response
	if err == nil {
		got, err = w.client.Do(r)
	}
	ready <- struct{}{}
	if err != nil {
		t.Error(err)
		return 0
	}
	defer got.Body.Close()
	lines := bufio.NewScanner(got.Body)
	lines.Buffer(nil, 4<<20)
	for heard < states && lines.Scan() {
		if lines.Text() == "event: state" {
			heard++
		}
	}
	return heard
}

func TestStreamGoesOnWhereItBroke(t *testing.T) {
	bubble(t, func(t *testing.T) {
		o := livetest.Options(1)
		o.Paused = true
		w := within(t, o, web.Options{})
		ctx := context.Background()
		require.NoError(t, w.session.Advance(ctx, 800))
		told(t, w, "bonded")
		all := w.session.Events(0, 1000)
		require.Greater(t, len(all), 3)
		server := web.New(web.Options{Session: w.session})
		short, cancel := context.WithTimeout(ctx, 300*time.Millisecond)
		defer cancel()
		r := httptest.NewRequestWithContext(short, "GET", "http://localhost/api/v1/stream", nil)
		r.Header.Set("Last-Event-ID", fmt.Sprint(all[1].Seq))
		rec := httptest.NewRecorder()
		server.ServeHTTP(rec, r)
		var got []live.Event
		for _, line := range strings.Split(rec.Body.String(), "\n") {
			if data, ok := strings.CutPrefix(line, "data: ["); ok {
				var part []live.Event // a slow machine gets them in several parts
				require.NoError(t, json.Unmarshal([]byte("["+data), &part))
				got = append(got, part...)
			}
		}
		require.NotEmpty(t, got)
		require.Equal(t, all[2].Seq, got[0].Seq)
	})
}

func TestGarbageOnTheSocketHarmsNobody(t *testing.T) {
	bubble(t, func(t *testing.T) {
		w := small(t, web.Options{})
		for _, garbage := range []string{
			"\x00\xff\xfe garbage\r\n\r\n", "GET / HTTP/9.9\r\n\r\n", "GET /\r\n", strings.Repeat("A", 1<<16),
			"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + strings.Repeat("y", 1<<17) + "\r\n\r\n",
			"POST /api/v1/control HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99999999999\r\n\r\n",
			"POST /api/v1/control HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\nfffffffffffffffff\r\n",
			"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
		} {
			conn, err := w.dial(t.Context(), "tcp", "localhost")
			require.NoError(t, err)
			_ = conn.SetDeadline(time.Now().Add(300 * time.Millisecond))
			_, _ = conn.Write([]byte(garbage))
			_, _ = io.ReadAll(io.LimitReader(conn, 1<<16))
			_ = conn.Close()
		}
		require.Equal(t, 200, w.send(t, "GET", "/healthz", "").code)
		require.Equal(t, uint64(0), w.session.Health().Overruns)
	})
}

func TestHealthSaysWhatIsWrong(t *testing.T) {
	bubble(t, func(t *testing.T) {
		o := livetest.Options(1)
		o.Open = func(live.Request) (live.Plant, error) {
			p := livetest.New(o.Site)
			p.Fail = 30
			return p, nil
		}
		w := within(t, o, web.Options{})
		told(t, w, "the line is silent")
		got := w.send(t, "GET", "/healthz", "")
		require.Equal(t, 503, got.code)
		require.Contains(t, got.text, "the line is silent")
	})
}
