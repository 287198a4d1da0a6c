package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/cmd/ohmgate/live/web"
	"ohmgate/cmd/ohmgate/page"
)

// absent skips where a peer is missing, and fails where CI has to have it.
func absent(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing, and CI must have it", what)
	}
	t.Skipf("%s is missing: not tested here", what)
}

// window is a session, served.
type window struct {
	session *live.Session
	url     string
	client  *http.Client
	dial    func(ctx context.Context, network, address string) (net.Conn, error)
}

// serve is a session and its window on a socket of loopback.
func serve(t *testing.T, o live.Options, w web.Options) window {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	made := serveOn(t, listener, o, w)
	made.url, made.client = "http://"+listener.Addr().String(), http.DefaultClient
	return made
}

// serveOn is a session and its window behind a listener, until the test ends.
func serveOn(t *testing.T, listener net.Listener, o live.Options, w web.Options) window {
	t.Helper()
	session, err := live.New(o)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	var both sync.WaitGroup
	both.Go(func() { _ = session.Run(ctx) })
	w.Session, w.Tool, w.Caution = session, "test", "No certified safety device."
	server := web.New(w)
	both.Go(func() { _ = server.Serve(ctx, listener) })
	t.Cleanup(func() { cancel(); both.Wait() })
	return window{session: session}
}

// browser is a page in Debian's Chromium, with everything that it complained of.
type browser struct {
	t          *testing.T
	ctx        context.Context
	mu         sync.Mutex
	complaints []string
	outside    []string
}

// chromium is started once; every test opens a window of its own in it.
var chromium = sync.OnceValues(func() (context.Context, error) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		return nil, err
	}
	folder, err := os.MkdirTemp("", "ohmgate-chromium-")
	if err != nil {
		return nil, err
	}
	allocator, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.Headless,
		chromedp.UserDataDir(folder), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	ctx, cancel := chromedp.NewContext(allocator)
	atEnd = append(atEnd, func() { cancel(); stop(); _ = os.RemoveAll(folder) })
	return ctx, chromedp.Do(ctx)
})

var atEnd []func()

func TestMain(m *testing.M) {
	code := m.Run()
	for _, f := range atEnd {
		f()
	}
	os.Exit(code)
}

func open(t *testing.T, width, height int64) *browser {
	t.Helper()
	if testing.Short() {
		t.Skip("the page is tried without -short")
	}
	started, err := chromium()
	if err != nil {
		absent(t, "chromium: "+err.Error())
	}
	ctx, cancel := chromedp.NewContext(started, chromedp.WithNewBrowserContext())
	ctx, expire := context.WithTimeout(ctx, 5*time.Minute)
	t.Cleanup(func() { expire(); cancel() })
	b := &browser{t: t, ctx: ctx}
	require.NoError(t, chromedp.Listen(ctx, b.hear))
	b.do(chromedp.EmulateViewport(width, height))
	return b
}

func (b *browser) hear(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		b.complaints = append(b.complaints, e.ExceptionDetails.Text+" "+fmt.Sprint(e.ExceptionDetails.Exception))
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			b.complaints = append(b.complaints, fmt.Sprint(e.Type, " ", e.Args))
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			b.complaints = append(b.complaints, e.Entry.Text+" "+e.Entry.URL)
		}
	case *network.EventRequestWillBeSent:
		if !strings.HasPrefix(e.Request.URL, "http://127.0.0.1:") && !strings.HasPrefix(e.Request.URL, "data:") && !strings.HasPrefix(e.Request.URL, "about:") {
			b.outside = append(b.outside, e.Request.URL)
		}
	}
}

func (b *browser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.t.Fatal(err, b.complaints)
	}
}

// quiet demands that the page complained of nothing and asked nobody else.
func (b *browser) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	require.Empty(b.t, b.complaints, "console")
	require.Empty(b.t, b.outside, "requests to other hosts")
}

// ask evaluates an expression in the page.
func ask[T any](b *browser, expression string) T {
	b.t.Helper()
	out, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatal(expression, ": ", err)
	}
	return out
}

// patience is how long something may take that is only waited for: how quick a
// page is depends on what else the machine does, and is judged nowhere here.
const patience = time.Minute

// comes says whether the page comes to say something.
func (b *browser) comes(expression string, within time.Duration) bool {
	b.t.Helper()
	for began := time.Now(); time.Since(began) < within; time.Sleep(50 * time.Millisecond) {
		if ask[bool](b, "Boolean("+expression+")") {
			return true
		}
	}
	return false
}

// until waits for the page to say something.
func (b *browser) until(expression string) {
	b.t.Helper()
	if b.comes(expression, patience) {
		return
	}
	text := ask[string](b, "document.body.innerText")
	b.mu.Lock()
	defer b.mu.Unlock()
	b.t.Fatalf("the page never came to: %s\n%q\n%s", expression, b.complaints, text)
}

func (b *browser) text(selector string) string {
	b.t.Helper()
	return ask[string](b, fmt.Sprintf("document.querySelector(%q)?.textContent ?? ''", selector))
}

// clickLane clicks the paper of a lane at a scan, and again where the page moved
// under the click, until it shows.
func (b *browser) clickLane(lane string, scan uint64, shows string, modifiers ...chromedp.Modifier) {
	b.t.Helper()
	for began := time.Now(); time.Since(began) < patience; {
		b.clickOnce(lane, scan, modifiers...)
		if b.comes(shows, patience/10) {
			return
		}
	}
	b.until(shows)
}

func (b *browser) clickOnce(lane string, scan uint64, modifiers ...chromedp.Modifier) {
	b.t.Helper()
	at := ask[[]float64](b, fmt.Sprintf(`(() => {
		const o = document.querySelector('.overlay').getBoundingClientRect(), v = ohmgate.view;
		const l = document.querySelector('[data-lane="%s"] .strip');
		l.scrollIntoView({block: 'center'});
		const r = l.getBoundingClientRect();
		return [o.left + (%d - v.from) / (v.to - v.from) * o.width, r.bottom - 5];
	})()`, lane, scan))
	b.do(chromedp.MouseClickXY(at[0], at[1], chromedp.ButtonModifiers(modifiers...)))
}

// shot keeps a screenshot for people; what it must show is read back instead.
func (b *browser) shot(name string) {
	b.t.Helper()
	folder := os.Getenv("OHMGATE_SCREENSHOTS")
	if folder == "" {
		folder = b.t.TempDir()
	}
	picture, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	require.NoError(b.t, err)
	require.Greater(b.t, len(picture), 5000)
	require.NoError(b.t, os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o644))
}

// audit runs axe-core and demands no finding that is serious or worse.
func (b *browser) audit() {
	b.t.Helper()
	text, err := os.ReadFile("../../page/node_modules/axe-core/axe.min.js")
	if err != nil {
		absent(b.t, "axe-core (npm ci in cmd/ohmgate/page)")
	}
	b.do(chromedp.Evaluate[chromedp.Void](string(text) + ";0"))
	found := ask[json.RawMessage](b, `axe.run(document, {resultTypes: ['violations']}).then(r => ({
		checked: r.passes.length,
		grave: r.violations.filter(v => v.impact === 'serious' || v.impact === 'critical')
			.map(v => v.id + ': ' + v.nodes.map(n => n.target.join(' ') + ' ' + n.failureSummary).join(' | '))}))`)
	var result struct {
		Checked int
		Grave   []string
	}
	require.NoError(b.t, json.Unmarshal(found, &result))
	require.Greater(b.t, result.Checked, 10, "the audit checked nothing")
	require.Empty(b.t, result.Grave)
}

// transfer is a session with a running pump, paused in front of a fault.
func transfer(t *testing.T, channels int) window {
	if page.Built() == nil {
		absent(t, "the page (make page)")
	}
	o := livetest.Options(channels)
	o.Paused = true
	w := serve(t, o, web.Options{Page: page.Built()})
	ctx := context.Background()
	require.NoError(t, w.session.Advance(ctx, 800))
	require.NoError(t, w.session.Act(ctx, live.Action{Do: "press", On: "reset_1"}))
	require.NoError(t, w.session.Advance(ctx, 400))
	return w
}

func TestPageShowsAndExplainsATrip(t *testing.T) {
	w := transfer(t, 3)
	b := open(t, 1280, 800)
	b.do(chromedp.Navigate(w.url), chromedp.WaitVisible(chromedp.CSS(".lane")))
	b.until(`document.querySelector('[data-lane="output:pump"] .now').textContent === 'enabled'`)
	require.Empty(t, b.text(".advice"), "normal is quiet")
	b.shot("quiet-1280-light")

	b.do(chromedp.Click(chromedp.CSS("#tab-break")), chromedp.WaitVisible(chromedp.CSS("#inject")))
	b.do(chromedp.SetValue(chromedp.CSS(`select[aria-label="what to break"]`), "bond_2"), chromedp.Evaluate[chromedp.Void](`document.querySelector('select[aria-label="what to break"]').dispatchEvent(new Event('change'))`))
	b.do(chromedp.Click(chromedp.CSS("#inject")))
	told(t, w, "by hand: inject clamp_removed on bond_2")
	require.NoError(t, w.session.Advance(context.Background(), 400))
	b.until(`document.querySelector('[data-lane="output:pump"] .now').textContent === 'tripped'`)
	b.until(`document.querySelector('.advice').textContent.includes('do not touch')`)
	b.do(chromedp.Click(chromedp.CSS("#tab-events")))
	b.until(`document.querySelector('.first b')?.textContent === 'bond_2'`)
	require.Contains(t, b.text(".events"), "bond_2 bonded -> lost, open")

	trip := tripScan(t, w)
	b.do(chromedp.Evaluate[chromedp.Void](`ohmgate.view.look(900, 1700)`))
	b.clickLane("output:pump", trip+2, fmt.Sprintf("ohmgate.view.a === %d", trip))
	b.until(`!document.querySelector('.why').hidden && document.querySelector('.why').textContent.includes('pump tripped')`)
	why := b.text(".why")
	require.Contains(t, why, "withheld in the very scan")
	require.Contains(t, why, "bond_2 = false")
	b.clickLane("channel:bond_1", trip+100, "ohmgate.view.b !== null", chromedp.ModifierShift)
	b.until(`document.querySelector(".reads").textContent.includes("Δt")`)
	b.until(`document.querySelector('[data-lane="channel:bond_1"] .at').textContent.includes('Ω, bonded')`)
	require.Contains(t, b.text(`[data-lane="channel:bond_2"] .at`), "over-range, lost")
	b.shot("trip-1280-light")
	b.audit()
	b.quiet()
}

// told waits until a session has told something.
func told(t *testing.T, w window, text string) live.Event {
	t.Helper()
	for began := time.Now(); time.Since(began) < patience; time.Sleep(20 * time.Millisecond) {
		for _, e := range w.session.LastEvents(1000) {
			if strings.Contains(e.Text, text) {
				return e
			}
		}
	}
	t.Fatalf("%q was never told", text)
	return live.Event{}
}

func tripScan(t *testing.T, w window) uint64 {
	t.Helper()
	for _, e := range w.session.LastEvents(1000) {
		if e.Kind == "tripped" {
			return e.Scan
		}
	}
	t.Fatal("nothing tripped")
	return 0
}

func TestPageAtEverySizeAndInEveryLight(t *testing.T) {
	w := transfer(t, 3)
	ctx := context.Background()
	require.NoError(t, w.session.Act(ctx, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_1"}))
	require.NoError(t, w.session.Advance(ctx, 900))
	for _, size := range [][2]int64{{1280, 800}, {390, 844}} {
		for _, theme := range []string{"light", "dark"} {
			t.Run(fmt.Sprint(size[0], theme), func(t *testing.T) {
				b := open(t, size[0], size[1])
				b.do(chromedp.Navigate(w.url+"/#theme="+theme+"&width=3000"), chromedp.WaitVisible(chromedp.CSS(".lane")))
				b.until(`document.querySelector('[data-lane="output:pump"] .now').textContent === 'tripped'`)
				b.until(`document.querySelectorAll('.events li').length > 5`)
				require.Equal(t, theme, ask[string](b, "document.documentElement.dataset.theme"))
				require.LessOrEqual(t, ask[float64](b, "document.documentElement.scrollWidth"), float64(size[0]), "the page is wider than the screen")
				// Ink where something happened: the trip's hatching is on the paper.
				// It is read off a copy: a browser that is asked again and again, as on a
				// busy machine, complains of readings from the page's own canvas.
				b.until(`(() => { const c = document.querySelector('[data-lane="output:pump"] canvas');
					const p = new OffscreenCanvas(c.width, c.height).getContext('2d', {willReadFrequently: true}); p.drawImage(c, 0, 0);
					const d = p.getImageData(0, 0, c.width, c.height).data; let n = 0;
					for (let i = 0; i < d.length; i += 4) if (d[i + 3] > 60 && d[i] > d[i + 1] + 60) n++;
					return n > 100; })()`)
				b.shot(fmt.Sprintf("trip-%d-%s", size[0], theme))
				b.audit()
				b.quiet()
			})
		}
	}
}

func TestViewIsInItsAddress(t *testing.T) {
	w := transfer(t, 2)
	b := open(t, 1280, 800)
	b.do(chromedp.Navigate(w.url), chromedp.WaitVisible(chromedp.CSS(".lane")))
	b.until("ohmgate.shot()")
	b.do(chromedp.Evaluate[chromedp.Void](`ohmgate.view.look(100, 1100)`))
	edge, found := w.session.Nearest("channel:bond_1", 52)
	require.True(t, found)
	b.clickLane("channel:bond_1", 52, fmt.Sprintf("ohmgate.view.a === %d", edge))
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('.chart').focus()`), chromedp.KeyEvent("m"))
	b.clickLane("output:pump", 1000, "ohmgate.view.b !== null && ohmgate.view.marks.length === 1", chromedp.ModifierShift)
	b.until("location.hash.includes('marks=') && location.hash === '#' + ohmgate.view.address()") // it follows a moment later
	const view = `JSON.stringify([ohmgate.view.from, ohmgate.view.to, ohmgate.view.a, ohmgate.view.b, ohmgate.view.marks])`
	before, address := ask[string](b, view), ask[string](b, "location.href")
	other := open(t, 1280, 800)
	other.do(chromedp.Navigate(address), chromedp.WaitVisible(chromedp.CSS(".lane")))
	other.until("ohmgate.shot()")
	require.JSONEq(t, before, ask[string](other, view))
	other.until(`document.querySelector('.reads').textContent.includes('Δt')`)
	other.until(`document.querySelector('.cursor.mark .tag').textContent === 'mark 1'`)
	b.quiet()
	other.quiet()
}

func TestKeysDriveTheChart(t *testing.T) {
	w := transfer(t, 2)
	b := open(t, 1280, 800)
	b.do(chromedp.Navigate(w.url), chromedp.WaitVisible(chromedp.CSS(".lane")))
	b.until("ohmgate.shot()?.scan === 1200")
	press := func(keys string) { t.Helper(); b.do(chromedp.KeyEvent(keys)) }
	press(".")
	b.until("ohmgate.shot().scan === 1201")
	press("0")
	b.until("!ohmgate.view.follow && ohmgate.view.from === 0")
	width := ask[float64](b, "ohmgate.view.to - ohmgate.view.from")
	press("+")
	b.until(fmt.Sprintf("Math.abs((ohmgate.view.to - ohmgate.view.from) - %g / 2) < 1", width))
	b.do(chromedp.Evaluate[chromedp.Void](`ohmgate.view.look(0, 1200); ohmgate.view.lane = 'output:pump'; ohmgate.chart.place('a', 1000, '')`))
	b.until(`ohmgate.chart.run.valueAt('output:pump', 1000).value !== undefined`)
	press("[")
	b.until(`document.querySelector('[data-lane="output:pump"].selected') && ohmgate.view.a < 1000`)
	require.Equal(t, "enabled", ask[string](b, `ohmgate.chart.run.valueAt('output:pump', ohmgate.view.a).value === 2 ? 'enabled' : 'other'`))
	press("?")
	b.until("document.querySelector('dialog').open")
	b.audit()
	b.do(chromedp.KeyEvent("\u001b"))
	b.quiet()
}

func TestTwoRunsShowWhereTheyPart(t *testing.T) {
	w := transfer(t, 2)
	ctx := context.Background()
	b := open(t, 1280, 800)
	b.do(chromedp.Navigate(w.url+"/#tab=runs"), chromedp.WaitVisible(chromedp.CSS(".lane")))
	b.do(chromedp.Click(chromedp.CSS("#keep")))
	require.NoError(t, w.session.Begin(ctx, live.Request{Paused: true}, true))
	require.NoError(t, w.session.Advance(ctx, 700))
	require.NoError(t, w.session.Act(ctx, live.Action{Do: "inject", Fault: "clamp_removed", On: "bond_2"}))
	require.NoError(t, w.session.Advance(ctx, 500))
	b.until(`document.querySelector('#difference').textContent.includes('bond_2')`)
	require.Contains(t, b.text("#difference"), "scan 700")
	b.do(chromedp.Evaluate[chromedp.Void](`ohmgate.view.look(400, 1200)`))
	b.until(`document.querySelector('[data-lane="channel:bond_2"] .second')?.hidden === false && document.querySelector('.cursor.difference')?.hidden === false`)
	b.shot("two-runs-1280-light")
	b.audit()
	b.quiet()
}

func TestPagePrintsWhatItShows(t *testing.T) {
	w := transfer(t, 3)
	b := open(t, 1280, 800)
	b.do(chromedp.Navigate(w.url+"/#theme=dark"), chromedp.WaitVisible(chromedp.CSS(".lane")))
	b.until("document.querySelectorAll('.events li').length > 5")
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	require.NoError(t, err)
	require.Equal(t, "none", ask[string](b, "getComputedStyle(document.querySelector('.tools')).display"), "buttons are not printed")
	require.Equal(t, "rgb(0, 0, 0)", ask[string](b, "getComputedStyle(document.body).color"), "ink is black, also from a dark screen")
	require.Equal(t, "visible", ask[string](b, "getComputedStyle(document.querySelector('.chart')).overflowY"), "no lane is cut off")
	b.until("document.documentElement.dataset.theme === 'light'")
	b.shot("print-1280")
	b.quiet()
}

func TestReadOnlyPageOffersNothingToBreak(t *testing.T) {
	if page.Built() == nil {
		absent(t, "the page (make page)")
	}
	o := livetest.Options(2)
	o.Control, o.Speed = false, 1
	w := serve(t, o, web.Options{Page: page.Built()})
	b := open(t, 1280, 800)
	b.do(chromedp.Navigate(w.url+"/#tab=break"), chromedp.WaitVisible(chromedp.CSS(".lane")))
	b.until("ohmgate.shot()?.scan > 20")
	require.Contains(t, b.text(".panel"), "read-only")
	require.False(t, ask[bool](b, "Boolean(document.querySelector('#inject'))"))
	b.do(chromedp.KeyEvent(" "))
	at := ask[float64](b, "ohmgate.shot().scan")
	b.until(fmt.Sprintf("ohmgate.shot().scan > %g", at+50))
	b.quiet()
}
