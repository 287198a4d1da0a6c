//go:build unix

package web_test

import (
	"context"
	"io"
	"net"
	"net/http"
	"os/exec"
	"runtime"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live"
	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/cmd/ohmgate/live/web"
	"ohmgate/cmd/ohmgate/page"
)

// turning is a session with its window, for as long as a benchmark lasts.
func turning(b *testing.B, o live.Options) (*live.Session, string, func()) {
	b.Helper()
	session, err := live.New(o)
	require.NoError(b, err)
	ctx, cancel := context.WithCancel(context.Background())
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	var both sync.WaitGroup
	both.Go(func() { _ = session.Run(ctx) })
	both.Go(func() { _ = web.New(web.Options{Session: session, Page: page.Built()}).Serve(ctx, listener) })
	return session, "http://" + listener.Addr().String(), func() { cancel(); both.Wait() }
}

// BenchmarkRealTimeFactor is how much faster than real time 64 channels at
// 10 ms turn while four pages follow.
func BenchmarkRealTimeFactor(b *testing.B) {
	session, url, stop := turning(b, livetest.Options(64))
	defer stop()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	for range 4 {
		go follow(ctx, url)
	}
	time.Sleep(200 * time.Millisecond)
	from, began := session.Health().Scan, time.Now()
	for b.Loop() {
		time.Sleep(100 * time.Millisecond)
	}
	turned := float64(session.Health().Scan-from) * livetest.Period.Seconds()
	b.ReportMetric(turned/time.Since(began).Seconds(), "x-real-time")
	b.ReportMetric(0, "ns/op")
}

// follow reads a stream until the context ends.
func follow(ctx context.Context, url string) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url+"/api/v1/stream", nil)
	if err != nil {
		return
	}
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		return
	}
	defer got.Body.Close()
	_, _ = io.Copy(io.Discard, got.Body)
}

// BenchmarkIdleSite is what one real-time second of eight quiet channels costs.
func BenchmarkIdleSite(b *testing.B) {
	o := livetest.Options(8)
	o.Speed = 1
	_, _, stop := turning(b, o)
	defer stop()
	before, began := processor(b), time.Now()
	for b.Loop() {
		time.Sleep(100 * time.Millisecond)
	}
	b.ReportMetric(100*(processor(b)-before).Seconds()/time.Since(began).Seconds(), "%-of-one-core")
	b.ReportMetric(0, "ns/op")
}

func processor(b testing.TB) time.Duration {
	b.Helper()
	var u syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkScanJitter is how late scans begin in real time while every core is
// busy with something else.
func BenchmarkScanJitter(b *testing.B) {
	o := livetest.Options(8)
	o.Speed = 1
	session, _, stop := turning(b, o)
	defer stop()
	for range runtime.NumCPU() {
		busy := exec.Command("sh", "-c", "while :; do :; done")
		require.NoError(b, busy.Start())
		defer func() { _ = busy.Process.Kill(); _ = busy.Wait() }()
	}
	for b.Loop() {
		time.Sleep(100 * time.Millisecond)
	}
	shot, _, _ := session.Now()
	b.ReportMetric(float64(shot.Late.P999)/1e6, "ms-late-99.9%")
	b.ReportMetric(float64(shot.Late.MaxNs)/1e6, "ms-late-max")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkMemoryOverAWeek turns a simulated week, one scan every 100 ms, and
// compares the memory in use at its end with that after its first day.
func BenchmarkMemoryOverAWeek(b *testing.B) {
	if testing.Short() {
		b.Skip("a week is long")
	}
	const day = 24 * 3600 * 10
	for b.Loop() {
		o := livetest.Options(8)
		o.Period = 100 * time.Millisecond
		session, _, stop := turning(b, o)
		first := heapAt(session, day)
		last := heapAt(session, 7*day)
		stop()
		b.ReportMetric(first, "MB-after-a-day")
		b.ReportMetric(last, "MB-after-a-week")
	}
	b.ReportMetric(0, "ns/op")
}

func heapAt(s *live.Session, scan uint64) float64 {
	for s.Health().Scan < scan {
		time.Sleep(5 * time.Millisecond)
	}
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / 1e6
}

// BenchmarkPageFrame is how long the page takes to draw a frame while an hour
// of 64 channels at 10 ms is dragged about.
func BenchmarkPageFrame(b *testing.B) {
	if page.Built() == nil {
		b.Skip("the page is missing (make page)")
	}
	started, err := chromium()
	if err != nil {
		b.Skip("chromium is missing: ", err)
	}
	session, url, stop := turning(b, livetest.Options(64))
	defer stop()
	heapAt(session, 360_000)
	require.NoError(b, session.Pause(context.Background()))
	ctx, cancel := chromedp.NewContext(started, chromedp.WithNewBrowserContext())
	defer cancel()
	ctx, expire := context.WithTimeout(ctx, time.Minute)
	defer expire()
	require.NoError(b, chromedp.Do(ctx, chromedp.EmulateViewport(1280, 800), chromedp.Navigate(url), chromedp.WaitVisible(chromedp.CSS(".lane")), chromedp.Sleep(time.Second)))
	var result []float64
	for b.Loop() {
		result, err = chromedp.Run(ctx, chromedp.Evaluate[[]float64](panning, chromedp.EvalAwaitPromise))
		require.NoError(b, err)
	}
	b.ReportMetric(result[0], "ms-drawn-median")
	b.ReportMetric(result[1], "ms-drawn-99%")
	b.ReportMetric(result[2], "frames/s")
	b.ReportMetric(0, "ns/op")
}

// panning drags an hour about for 120 frames.
const panning = `(async () => {
	const v = ohmgate.view, n = 360000;
	v.look(0, n);
	await new Promise(r => setTimeout(r, 1500));
	ohmgate.frames().length = 0;
	const began = performance.now();
	for (let i = 0; i < 120; i++) {
		v.look(0 + Math.sin(i / 9) * n * 0.1, n + Math.sin(i / 9) * n * 0.1);
		await new Promise(requestAnimationFrame);
	}
	const took = performance.now() - began, f = [...ohmgate.frames()].sort((a, b) => a - b);
	return [f[f.length >> 1], f[Math.floor(f.length * 0.99)], 120000 / took];
})()`
