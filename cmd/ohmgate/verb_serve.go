package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/spf13/cobra"

	"ohmgate/cmd/ohmgate/journal"
	"ohmgate/cmd/ohmgate/live"
	"ohmgate/cmd/ohmgate/live/web"
	"ohmgate/cmd/ohmgate/page"
	"ohmgate/interlock"
	"ohmgate/interlock/loop"
	"ohmgate/interlock/site"
	"ohmgate/sim"
	"ohmgate/sim/trace"
	"ohmgate/sim/trace/metrics"
)

// serveOptions is what the command line asks of the verb.
type serveOptions struct {
	listen, host, tokenFile string
	control, paused, json   bool
	scenario, scenarios     string
	seed                    uint64
	speed                   float64
	deadline, lasts, keep   time.Duration
	journal                 string
	recording, against      string
	rig, twin               bool
	ports                   []string
	clients                 int
}

func serveVerbs() []*verb {
	o := &serveOptions{listen: "127.0.0.1:8470", scenario: "everything_runs", speed: 1, deadline: 100 * time.Millisecond}
	return []*verb{{
		name: "serve", args: "SITE", asks: "How does it behave live: page, fault injection, journal, /metrics?",
		about: `serve turns the logic of a site in real time on a simulated plant or a recording
and serves a page with its timeline, the sequence of events and why each came,
/metrics for Prometheus and /healthz. Loopback and read-only unless told
otherwise.`,
		flags: o.flags(), ends: ends{exitShown: "it ended when told to"}, example: "serve testdata/sites/kestrel_siding.yaml --control --scenario clamp_pulled",
		run: func(c *cobra.Command, args []string) error {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return serve(ctx, c.OutOrStdout(), args[0], o)
		},
	}}
}

func (o *serveOptions) flags() flags {
	return flags{
		{name: "listen", into: &o.listen, help: "`address` of the page; beyond loopback it needs --token-file"},
		{name: "host", into: &o.host, help: "the only `name` under which the page may be asked for beyond loopback"},
		{name: "token-file", into: &o.tokenFile, help: "`file` with the token that everybody must know (16 characters or more)"},
		{name: "control", into: &o.control, help: "let the page drive the run and break the simulated plant"},
		{name: "paused", into: &o.paused, help: "begin standing still"},
		{name: "json", into: &o.json, help: "print where it listens, and how it ended, as JSON"},
		{name: "scenario", into: &o.scenario, help: "`name` or file of the scenario to play first"},
		{name: "scenarios", into: &o.scenarios, help: "`folder` of scenarios to offer (default: scenarios beside the site)"},
		{name: "seed", into: &o.seed, help: "use this `seed` instead of the scenario's own"},
		{name: "speed", into: &o.speed, help: "`times` real time; 0 is as fast as it goes"},
		{name: "scan", into: &o.deadline, help: "declared live `scan`: in real time, a turn that begins later than this is an overrun"},
		{name: "for", into: &o.lasts, help: "end after this `time` (default: when told to)"},
		{name: "journal", into: &o.journal, help: "keep every event and decision in this `file`, before anybody is told"},
		{name: "keep", into: &o.keep, help: "let the journal forget what is older than this `time` (default: nothing)"},
		{name: "recording", into: &o.recording, help: "turn this recorded `file` instead of a simulated plant"},
		{name: "rig", into: &o.rig, help: "listen to the site's rig instead of a simulated plant; no relay moves"},
		{name: "twin", into: &o.twin, help: "with --rig: use pseudo-terminals in the place of hardware"},
		{name: "port", into: every{&o.ports}, help: "with --rig: `NAME=DEVICE`, another device than the site's for this port"},
		{name: "against", into: &o.against, help: "draw this recorded `file` under the run, and mark the first difference"},
		{name: "clients", into: &o.clients, help: "`pages` that may follow at once (default 256)"},
	}
}

// serve runs until the context ends, the time is over or the address is lost.
func serve(ctx context.Context, out io.Writer, siteFile string, o *serveOptions) error {
	s, problems := site.Read(siteFile)
	if problems != nil {
		return failed(exitInput, "%v", problems)
	}
	logic, problems := s.Logic()
	if problems != nil {
		return failed(exitInput, "%v", problems)
	}
	token, err := o.check()
	if err != nil {
		return err
	}
	l := &liveRun{site: s, logic: logic, o: o, token: token}
	if err := l.open(siteFile); err != nil {
		return err
	}
	defer l.close()
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		return failed(exitInput, "--listen: %w; choose another address", err)
	}
	if o.lasts > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, o.lasts)
		defer cancel()
	}
	l.announce(out, listener)
	return l.run(ctx, out, listener)
}

// check judges the flags that have to fit each other.
func (o *serveOptions) check() (token string, err error) {
	host, _, err := net.SplitHostPort(o.listen)
	if err != nil {
		return "", failed(exitInput, "--listen %q is no address: %w; write host:port, such as 127.0.0.1:8470", o.listen, err)
	}
	if host == "" {
		o.listen = "127.0.0.1" + o.listen
		host = "127.0.0.1"
	}
	if o.tokenFile != "" {
		text, err := os.ReadFile(o.tokenFile)
		if err != nil {
			return "", failed(exitInput, "--token-file: %w; name a file that holds the token", err)
		}
		if token = strings.TrimSpace(string(text)); len(token) < 16 || len(token) > 1024 {
			return "", failed(exitInput, "--token-file %s: the token has %d characters; write 16 to 1024", o.tokenFile, len(token))
		}
	}
	ip := net.ParseIP(host)
	if token == "" && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", failed(exitInput, "--listen %s reaches beyond this machine; add --token-file FILE, or listen on 127.0.0.1", o.listen)
	}
	switch {
	case o.speed < 0 || o.speed > 10000:
		return "", failed(exitInput, "--speed %g: write 0 for as fast as it goes, or up to 10000 times real time", o.speed)
	case o.deadline < time.Millisecond:
		return "", failed(exitInput, "--scan %s: write a time of 1ms or more, such as 100ms", o.deadline)
	case o.keep < 0 || o.keep > 0 && o.keep < time.Minute:
		return "", failed(exitInput, "--keep %s: write a time of 1m or more, such as 720h", o.keep)
	case o.keep > 0 && o.journal == "":
		return "", failed(exitInput, "--keep is for a journal; add --journal FILE")
	case o.rig && o.recording != "":
		return "", failed(exitInput, "--rig and --recording are two plants; leave one out")
	case (o.twin || len(o.ports) > 0) && !o.rig:
		return "", failed(exitInput, "--twin and --port belong to --rig")
	case o.rig && (o.speed != 1 || o.paused || o.control):
		return "", failed(exitInput, "a rig turns in real time and is only watched; leave out --speed, --paused and --control")
	case o.clients < 0:
		return "", failed(exitInput, "--clients %d: write 1 or more", o.clients)
	}
	return token, nil
}

// liveRun is everything that one serve holds open.
type liveRun struct {
	site    *site.Site
	logic   *interlock.Config
	o       *serveOptions
	token   string
	shelf   *shelf
	session *live.Session
	rig     *listening
	journal *journal.Journal

	mu      sync.Mutex
	metrics prometheus.Gatherer // of the run now turned
}

func (l *liveRun) open(siteFile string) error {
	options := live.Options{
		Site: l.site, Config: l.logic, Period: l.site.Period.Max, Kind: "simulator",
		Control: l.o.control, Speed: l.o.speed, Paused: l.o.paused, Deadline: max(l.o.deadline, l.site.Period.Max),
		Recorder: l.recorder,
	}
	if err := l.choosePlant(siteFile, &options); err != nil {
		return err
	}
	if l.o.journal != "" {
		j, err := journal.Open(l.o.journal, journal.Head{Site: l.site.Name, SiteHash: l.site.Hash, Tool: toolVersion(), Period: options.Period, Channels: len(l.logic.Channels), Inputs: len(l.logic.Inputs)}, l.o.keep)
		if err != nil {
			return failed(exitInput, "--journal: %w", err)
		}
		l.journal, options.Keeper = j, j
	}
	session, err := live.New(options)
	if err != nil {
		return failed(exitInput, "%w", err)
	}
	l.session = session
	return l.putUnder()
}

// choosePlant decides what is turned.
func (l *liveRun) choosePlant(siteFile string, options *live.Options) error {
	if l.o.recording != "" {
		options.Kind = "recording"
		options.Open = func(live.Request) (live.Plant, error) { return openTape(l.o.recording, l.site, l.logic) }
		return nil
	}
	folder := l.o.scenarios
	if folder == "" {
		folder = scenarioFolder(siteFile)
	}
	var err error
	if l.shelf, err = fillShelf(l.site, l.logic, folder); err != nil {
		return failed(exitInternal, "%w", err)
	}
	if err := l.firstScenario(options); err != nil {
		return err
	}
	if l.o.rig {
		return l.chooseRig(options)
	}
	options.Faults, options.Scenarios = faultKinds(l.site), l.shelf.kinds
	options.Open = func(r live.Request) (live.Plant, error) {
		sc, err := l.shelf.take(r.Scenario)
		if err != nil {
			return nil, err
		}
		return stagePlant{sim.NewStage(l.site, l.logic, sc, r.Seed)}, nil
	}
	return nil
}

// chooseRig listens to real inputs. Nothing can be injected into them.
func (l *liveRun) chooseRig(options *live.Options) error {
	made, err := openRig(l.site, l.logic, l.o, l.shelf.byKey[options.Request.Scenario])
	if err != nil {
		return err
	}
	l.rig = made
	options.Kind, options.Real = "rig", true
	options.Open = func(live.Request) (live.Plant, error) { return made.feed, nil }
	return nil
}

func (l *liveRun) recorder(r live.Request) (trace.Writer, error) {
	m := metrics.New(l.logic)
	h := headerOf(l.site)
	if l.shelf != nil {
		if sc := l.shelf.byKey[r.Scenario]; sc != nil {
			h.Scenario, h.ScenarioHash, h.Simulated = sc.Name, sc.Hash, true
		}
	}
	if err := m.Begin(h); err != nil {
		return nil, err
	}
	registry, err := m.Registry()
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.metrics = registry
	return m, nil
}

func (l *liveRun) gather() prometheus.Gatherer {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.metrics
}

func (l *liveRun) putUnder() error {
	if l.o.against == "" {
		return nil
	}
	history, events, err := against(l.o.against, l.site, l.logic)
	if err != nil {
		return failed(exitInput, "--against: %w", err)
	}
	l.session.SetReference(l.o.against, history, events)
	return nil
}

func (l *liveRun) close() {
	if l.rig != nil {
		_ = l.rig.Close()
	}
	if l.journal != nil {
		_ = l.journal.Close()
	}
}

// announce says where to look, before anything is turned.
func (l *liveRun) announce(out io.Writer, listener net.Listener) {
	address := "http://" + listener.Addr().String() + "/"
	if l.o.json {
		_ = json.NewEncoder(out).Encode(map[string]any{
			"schema": 1, "listens": address, "site": l.site.Name, "site_hash": l.site.Hash, "control": l.o.control,
			"page": page.Built() != nil, "journal": l.o.journal, "scan_ns": l.o.deadline.Nanoseconds(), "period_ns": l.site.Period.Max.Nanoseconds(),
		})
		return
	}
	fmt.Fprintf(out, "%s\n", address)
	fmt.Fprintf(out, "  %s, one scan every %s; later than %s is an overrun\n", l.site.Name, l.site.Period.Max, max(l.o.deadline, l.site.Period.Max))
	word := "read-only"
	if l.o.control {
		word = "the page may drive it and break it"
	}
	fmt.Fprintf(out, "  %s\n", word)
	if page.Built() == nil {
		fmt.Fprintln(out, "  the page was not built into this program: make build where npm is installed")
	}
	if l.token != "" {
		fmt.Fprintln(out, "  the token crosses the network in the clear: put TLS in front of it")
	}
}

// run turns and serves until the context ends.
func (l *liveRun) run(ctx context.Context, out io.Writer, listener net.Listener) error {
	options := web.Options{
		Session: l.session, Tool: toolVersion(), Caution: strings.ReplaceAll(caution, "\n", " "), Page: page.Built(), Token: l.token, Host: l.o.host,
		StreamsMax: l.o.clients, Metrics: web.Metrics(l.session, l.gather),
	}
	if l.journal != nil {
		options.Journal = l.journal
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if l.rig != nil {
		l.rig.start()
	}
	var turned, served error
	var both sync.WaitGroup
	both.Go(func() { turned = l.session.Run(ctx) })
	both.Go(func() {
		served = web.New(options).Serve(ctx, listener)
		cancel()
	})
	both.Wait()
	return l.finish(out, turned, served)
}

// finish judges how it ended.
func (l *liveRun) finish(out io.Writer, turned, served error) error {
	code := exitShown
	var unknown live.UnknownTransition
	var internal loop.InternalError
	switch {
	case errors.As(turned, &unknown) || errors.As(turned, &internal):
		code = exitInternal
	case turned != nil || served != nil:
		code = exitLost
	}
	h := l.session.Health()
	if l.o.json {
		_ = json.NewEncoder(out).Encode(map[string]any{"schema": 1, "ended": h.Mode, "scans": h.Scan, "events": h.Events, "overruns": h.Overruns, "exit": int(code)})
	} else {
		fmt.Fprintf(out, "ended after %d scans, %d events, %d overruns\n", h.Scan, h.Events, h.Overruns)
	}
	if code == exitShown {
		return nil
	}
	return failed(code, "%w", errors.Join(turned, served))
}
