package web

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"

	"ohmgate/cmd/ohmgate/live"
)

// Metrics answers /metrics with what a run counts, and how the session itself
// fares. What it counts may be ahead of the journal, so an answer is held back
// until the journal has caught up: nothing is told that a kill could undo.
func Metrics(session *live.Session, run func() prometheus.Gatherer) http.Handler {
	own := prometheus.NewRegistry()
	own.MustRegister(watcher{session}) // the only one in a registry of its own
	gather := prometheus.GathererFunc(func() ([]*dto.MetricFamily, error) {
		return prometheus.Gatherers{run(), own}.Gather()
	})
	inner := promhttp.HandlerFor(gather, promhttp.HandlerOpts{EnableOpenMetrics: true, DisableCompression: true})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		held := &heldBack{header: w.Header(), code: http.StatusOK}
		inner.ServeHTTP(held, r)
		ctx, cancel := context.WithTimeout(r.Context(), 5*time.Second)
		defer cancel()
		if err := session.Caught(ctx); err != nil {
			refuse(w, http.StatusServiceUnavailable, "what was counted is not kept yet: "+err.Error())
			return
		}
		w.WriteHeader(held.code)
		_, _ = w.Write(held.body.Bytes())
	})
}

// heldBack keeps an answer until it may be given.
type heldBack struct {
	header http.Header
	code   int
	body   bytes.Buffer
}

func (h *heldBack) Header() http.Header         { return h.header }
func (h *heldBack) WriteHeader(code int)        { h.code = code }
func (h *heldBack) Write(p []byte) (int, error) { return h.body.Write(p) }

// watcher reads a session's own figures when somebody asks.
type watcher struct{ session *live.Session }

var (
	descAge     = prometheus.NewDesc("ohmgate_live_scan_age_seconds", "Time since anything was turned and told; 0 while paused.", nil, nil)
	descHealthy = prometheus.NewDesc("ohmgate_live_healthy", "1 while scans turn and are kept.", nil, nil)
	descLate    = prometheus.NewDesc("ohmgate_live_scan_late_max_seconds", "How late a scan began at most since the start.", nil, nil)
	descLag     = prometheus.NewDesc("ohmgate_live_journal_lag_seconds", "How long the last commit of the journal took.", nil, nil)
	descEvents  = prometheus.NewDesc("ohmgate_live_events_told_total", "Events told since the start.", nil, nil)
)

// Describe lists what Collect gives.
func (w watcher) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{descAge, descHealthy, descLate, descLag, descEvents} {
		to <- d
	}
}

// Collect reads the session.
func (w watcher) Collect(to chan<- prometheus.Metric) {
	h := w.session.Health()
	healthy := 0.0
	if h.Healthy {
		healthy = 1
	}
	gauge := func(d *prometheus.Desc, v float64) {
		to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v)
	}
	gauge(descAge, time.Duration(h.AgeNs).Seconds())
	gauge(descHealthy, healthy)
	gauge(descLate, time.Duration(h.LateNs).Seconds())
	gauge(descLag, time.Duration(h.LagNs).Seconds())
	to <- prometheus.MustNewConstMetric(descEvents, prometheus.CounterValue, float64(h.Events))
}
