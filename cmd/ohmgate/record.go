package main

import (
	"errors"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/sim"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/csv"
	"ohmgate/sim/trace/journal"
	"ohmgate/sim/trace/metrics"
	"ohmgate/sim/trace/plot"
	"ohmgate/sim/trace/vcd"
)

// recordFlags is what the command line says of recording a run.
type recordFlags struct {
	csv, vcd, openMetrics, events, plot string
	live                                string
	realtime                            bool
}

// flags are those that every verb with a run has.
func (f *recordFlags) flags() flags {
	return flags{
		{name: "csv", into: &f.csv, help: "record every scan to this `file` (.gz and .zst are compressed)"},
		{name: "vcd", into: &f.vcd, help: "write a value change dump for waveform viewers to this `file`"},
		{name: "openmetrics", into: &f.openMetrics, help: "write OpenMetrics text with simulated times to this `file`"},
		{name: "events", into: &f.events, help: "write every event as a line of JSON to this `file`"},
		{name: "plot", into: &f.plot, help: "draw resistances, phases and outputs to this `file` (.svg or .png)"},
	}
}

// liveFlags are those of a simulated run that somebody looks at.
func (f *recordFlags) liveFlags() flags {
	return flags{
		{name: "metrics", into: &f.live, help: "serve /metrics on this `address` while the run lasts (:PORT is loopback)"},
		{name: "realtime", into: &f.realtime, help: "let the run take as long as it would in the plant"},
	}
}

// recordingOf is what the flags say that a simulated run is recorded to.
func recordingOf(f *recordFlags) *recording {
	files := func(sc *sim.Scenario, several bool) []namedFile {
		name := ""
		if several {
			name = sc.Name
		}
		return f.files(name)
	}
	return &recording{files: files, open: func(s *site.Site, sc *sim.Scenario, several bool) ([]trace.Writer, error) {
		logic, problems := s.Logic()
		if problems != nil {
			return nil, problems
		}
		name := ""
		if several {
			name = sc.Name
		}
		return f.writers(logic, name)
	}}
}

// writers makes the writers of one run. name, where not empty, is put into the
// file names, because several runs write beside each other.
func (f *recordFlags) writers(logic *interlock.Config, name string) (trace.Group, error) {
	var group trace.Group
	add := func(path string, make func(path string) trace.Writer) {
		if path != "" {
			group = append(group, make(named(path, name)))
		}
	}
	add(f.csv, func(path string) trace.Writer { return csv.NewWriter(path) })
	add(f.vcd, func(path string) trace.Writer { return vcd.NewWriter(path) })
	add(f.openMetrics, func(path string) trace.Writer { return metrics.NewFile(path, logic) })
	add(f.events, func(path string) trace.Writer { return journal.NewWriter(path) })
	if f.plot != "" {
		drawing, err := plot.NewWriter(named(f.plot, name), logic)
		if err != nil {
			return nil, failed(exitInput, "--plot: %w", err)
		}
		group = append(group, drawing)
	}
	if f.live != "" {
		served, err := serveMetrics(f.live, logic)
		if err != nil {
			return nil, err
		}
		group = append(group, served)
	}
	if f.realtime {
		group = append(group, &pacer{})
	}
	return group, nil
}

// files lists what the writers write, each with the flag that asks for it.
func (f *recordFlags) files(name string) []namedFile {
	var list []namedFile
	for _, one := range []namedFile{{"--csv", f.csv}, {"--vcd", f.vcd}, {"--openmetrics", f.openMetrics}, {"--events", f.events}, {"--plot", f.plot}} {
		if one.path != "" {
			list = append(list, namedFile{one.as, named(one.path, name)})
		}
	}
	return list
}

// named puts a scenario's name before the first dot of a file name.
func named(path, name string) string {
	if name == "" {
		return path
	}
	dir, base := filepath.Split(path)
	stem, rest, dotted := strings.Cut(base, ".")
	if dotted {
		rest = "." + rest
	}
	return dir + stem + "-" + name + rest
}

// pacer lets a run take as long as it would in the plant.
type pacer struct{ begun time.Time }

func (p *pacer) Begin(*trace.Header) error {
	p.begun = time.Now()
	return nil
}

func (p *pacer) Write(r *trace.Row) error {
	time.Sleep(time.Until(p.begun.Add(r.Time)))
	return nil
}

func (p *pacer) Close() error { return nil }

// liveMetrics serves the metrics of a run while it lasts.
type liveMetrics struct {
	*metrics.Metrics
	server *http.Server
}

// serveMetrics listens before the run begins, so that an address in use is an
// error and not a run that nobody can watch. An address without a host is
// loopback: nobody else in the plant's network need see it.
func serveMetrics(address string, logic *interlock.Config) (trace.Writer, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, failed(exitInput, "--metrics %q is no address: %w; write host:port, or :9469 for loopback", address, err)
	}
	if host == "" {
		host = "127.0.0.1"
	}
	listener, err := net.Listen("tcp", net.JoinHostPort(host, port))
	if err != nil {
		return nil, failed(exitInput, "--metrics: %w; choose another port", err)
	}
	m := metrics.New(logic)
	registry, err := m.Registry()
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("/metrics", promhttp.HandlerFor(registry, promhttp.HandlerOpts{EnableOpenMetrics: true}))
	served := &liveMetrics{m, &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}}
	go func() { _ = served.server.Serve(listener) }()
	return served, nil
}

// Close ends the serving together with the run.
func (l *liveMetrics) Close() error {
	return errors.Join(l.Metrics.Close(), l.server.Close())
}

// Discard ends the serving of a run that broke.
func (l *liveMetrics) Discard() { l.server.Close() }

// headerOf names the parts of a site for its records.
func headerOf(s *site.Site) *trace.Header {
	n := s.Names()
	return &trace.Header{
		Site: s.Name, SiteHash: s.Hash, Tool: toolVersion(), Period: s.Period.Max,
		Channels: n.Channels, Inputs: n.Inputs, Outputs: n.Outputs, Vessels: n.Vessels, Streams: n.Streams, Bypasses: n.Bypasses,
	}
}
