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
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/cmd/ohmgate/live/web"
)

// small is a session that turns as fast as it goes for so many scans.
func small(t *testing.T, w web.Options) window {
	t.Helper()
	o := livetest.Options(2)
	o.Speed = 1
	return serve(t, o, w)
}

type answered struct {
	code int
	text string
	head http.Header
}

func send(t *testing.T, method, url, body string, header ...string) answered {
	t.Helper()
	r, err := http.NewRequest(method, url, strings.NewReader(body))
	require.NoError(t, err)
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
			continue
		}
		r.Header.Set(header[i], header[i+1])
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	got, err := client.Do(r)
	require.NoError(t, err)
	defer got.Body.Close()
	text, err := io.ReadAll(got.Body)
	require.NoError(t, err)
	return answered{got.StatusCode, string(text), got.Header}
}

const asJSON = "application/json"

func TestOrdersComeOnlyFromOurOwnPage(t *testing.T) {
	w := small(t, web.Options{})
	url, pause := w.url+"/api/v1/control", `{"do":"pause"}`
	require.Equal(t, 200, send(t, "POST", url, pause, "Content-Type", asJSON).code)
	require.Equal(t, 200, send(t, "POST", url, `{"do":"resume"}`, "Content-Type", asJSON, "Origin", w.url, "Sec-Fetch-Site", "same-origin").code)
	for name, header := range map[string][]string{
		"a form":               {"Content-Type", "application/x-www-form-urlencoded"},
		"plain text":           {"Content-Type", "text/plain"},
		"another site":         {"Content-Type", asJSON, "Sec-Fetch-Site", "cross-site"},
		"another origin":       {"Content-Type", asJSON, "Origin", "http://elsewhere.example"},
		"a name that rebounds": {"Content-Type", asJSON, "Host", "elsewhere.example"},
	} {
		got := send(t, "POST", url, pause, header...)
		require.GreaterOrEqual(t, got.code, 400, name)
		require.Contains(t, got.text, "error", name)
	}
	require.Equal(t, "running", w.session.Health().Mode)
	require.Equal(t, http.StatusMisdirectedRequest, send(t, "GET", w.url+"/api/v1/state", "", "Host", "elsewhere.example").code)
	require.Equal(t, http.StatusNotFound, send(t, "GET", url, "").code)
}

func TestNonsenseIsRefusedInWords(t *testing.T) {
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
		got := send(t, "POST", w.url+"/api/v1/control", c.body, "Content-Type", asJSON)
		require.Equal(t, c.code, got.code, "%.60s: %s", c.body, got.text)
		require.Contains(t, got.text, c.says)
	}
	for _, path := range []string{"/api/v1/window?from=-1", "/api/v1/window?from=5&to=1", "/api/v1/window?width=999999", "/api/v1/events?limit=x", "/api/v1/events?after=99999999999999999999", "/api/v1/stream?after=x"} {
		got := send(t, "GET", w.url+path, "")
		require.Equal(t, 400, got.code, path)
		require.Contains(t, got.text, "error")
	}
	require.Equal(t, 403, send(t, "GET", w.url+"/api/v1/difference", "").code)
	require.Equal(t, 404, send(t, "GET", w.url+"/api/v1/journal", "").code)
	require.Equal(t, 404, send(t, "GET", w.url+"/%2e%2e%2f%2e%2e%2fetc/passwd", "").code)
	require.Equal(t, 200, send(t, "GET", w.url+"/healthz", "").code)
}

func TestReadOnlyRefusesEveryOrder(t *testing.T) {
	o := livetest.Options(1)
	o.Control = false
	w := serve(t, o, web.Options{})
	for _, do := range []string{`"pause"`, `"resume"`, `"speed","speed":2`, `"scan"`, `"rewind"`, `"begin"`, `"act","act":{"do":"press","on":"reset_1"}`} {
		got := send(t, "POST", w.url+"/api/v1/control", `{"do":`+do+`}`, "Content-Type", asJSON)
		require.Equal(t, 403, got.code, do)
		require.Contains(t, got.text, "--control")
	}
}

func TestTokenIsAskedOfEverybody(t *testing.T) {
	token := "a-token-of-some-length"
	w := small(t, web.Options{Token: token, Page: fstest.MapFS{"index.html": {Data: []byte("the page")}}})
	for _, path := range []string{"/api/v1/state", "/api/v1/events", "/metrics", "/healthz", "/index.html"} {
		require.Equal(t, 401, send(t, "GET", w.url+path, "").code, path)
		require.Equal(t, 401, send(t, "GET", w.url+path, "", "Authorization", "Bearer wrong").code, path)
	}
	require.Contains(t, send(t, "GET", w.url+"/", "").text, "Token")
	require.Equal(t, 200, send(t, "GET", w.url+"/healthz", "", "Authorization", "Bearer "+token).code)
	form := "application/x-www-form-urlencoded"
	require.Equal(t, 401, send(t, "POST", w.url+"/login", "token=wrong", "Content-Type", form).code)
	require.Equal(t, 401, send(t, "POST", w.url+"/login", "token="+token, "Content-Type", form, "Origin", "http://elsewhere.example").code)
	in := send(t, "POST", w.url+"/login", "token="+token, "Content-Type", form)
	require.Equal(t, 303, in.code)
	cookie := in.head.Get("Set-Cookie")
	require.Contains(t, cookie, "HttpOnly")
	require.Contains(t, cookie, "SameSite=Strict")
	require.NotContains(t, cookie, token)
	require.Equal(t, "the page", send(t, "GET", w.url+"/", "", "Cookie", strings.SplitN(cookie, ";", 2)[0]).text)
}

func TestPageThatWasNotBuiltInIsSaid(t *testing.T) {
	w := small(t, web.Options{})
	got := send(t, "GET", w.url+"/", "")
	require.Equal(t, 200, got.code)
	require.Contains(t, got.text, "not built into this program")
	require.Contains(t, got.head.Get("Content-Security-Policy"), "default-src 'none'")
}

// TestTwoHundredPagesFollow lets many follow, and one of them stop reading. The
// machine may be busy with other things, so one run of three has to be without an
// overrun.
func TestTwoHundredPagesFollow(t *testing.T) {
	overruns := uint64(1)
	for try := 0; try < 3 && overruns > 0; try++ {
		overruns = crowd(t)
	}
	require.Zero(t, overruns, "a crowd in front of the window slows nothing down")
}

// crowd is how often the loop was late while two hundred pages followed.
func crowd(t *testing.T) (overruns uint64) {
	o := livetest.Options(8)
	o.Speed = 1
	w := serve(t, o, web.Options{StreamsMax: 200})
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	var all sync.WaitGroup
	heard := make([]int, 200)
	ready := make(chan struct{}, 200)
	for i := range heard {
		all.Go(func() { heard[i] = listen(ctx, t, w.url, ready, 15) })
	}
	for range heard {
		<-ready
	}
	full := send(t, "GET", w.url+"/api/v1/stream", "")
	require.Equal(t, 503, full.code)
	require.Equal(t, "5", full.head.Get("Retry-After"))
	require.Equal(t, 200, send(t, "GET", w.url+"/healthz", "").code)
	all.Wait()
	for i, n := range heard {
		require.GreaterOrEqual(t, n, 15, "page %d", i)
	}
	return w.session.Health().Overruns
}

// listen follows until it has heard so many states.
func listen(ctx context.Context, t *testing.T, url string, ready chan<- struct{}, states int) int {
	r, err := http.NewRequestWithContext(ctx, "GET", url+"/api/v1/stream", nil)
	if err != nil {
		t.Error(err)
		return 0
	}
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Error(err)
		ready <- struct{}{}
		return 0
	}
	defer got.Body.Close()
	ready <- struct{}{}
	lines := bufio.NewScanner(got.Body)
	lines.Buffer(nil, 4<<20)
	n := 0
	for n < states && lines.Scan() {
		if lines.Text() == "event: state" {
			n++
		}
	}
	return n
}

func TestStreamGoesOnWhereItBroke(t *testing.T) {
	o := livetest.Options(1)
	o.Paused = true
	w := serve(t, o, web.Options{})
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
}

func TestGarbageOnTheSocketHarmsNobody(t *testing.T) {
	w := small(t, web.Options{})
	address := strings.TrimPrefix(w.url, "http://")
	for _, garbage := range []string{
		"\x00\xff\xfe garbage\r\n\r\n", "GET / HTTP/9.9\r\n\r\n", "GET /\r\n", strings.Repeat("A", 1<<16),
		"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + strings.Repeat("y", 1<<17) + "\r\n\r\n",
		"POST /api/v1/control HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99999999999\r\n\r\n",
		"POST /api/v1/control HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\nfffffffffffffffff\r\n",
		"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
	} {
		conn, err := net.Dial("tcp", address)
		require.NoError(t, err)
		_ = conn.SetDeadline(time.Now().Add(300 * time.Millisecond))
		_, _ = conn.Write([]byte(garbage))
		_, _ = io.ReadAll(io.LimitReader(conn, 1<<16))
		_ = conn.Close()
	}
	require.Equal(t, 200, send(t, "GET", w.url+"/healthz", "").code)
	require.Equal(t, uint64(0), w.session.Health().Overruns)
}

func TestHealthSaysWhatIsWrong(t *testing.T) {
	o := livetest.Options(1)
	o.Open = func(live.Request) (live.Plant, error) {
		p := livetest.New(o.Site)
		p.Fail = 30
		return p, nil
	}
	w := serve(t, o, web.Options{})
	told(t, w, "the line is silent")
	got := send(t, "GET", w.url+"/healthz", "")
	require.Equal(t, 503, got.code)
	require.Contains(t, got.text, "the line is silent")
}
