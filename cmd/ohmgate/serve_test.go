package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const kestrelSite = "../../testdata/sites/kestrel_siding.yaml"

// patience is how long something may take that is only waited for.
const patience = 2 * time.Minute

// heard collects what a verb prints.
type heard struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.text.Write(p)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.text.String()
}

// served is a serve that runs until the test ends it.
type served struct {
	t    *testing.T
	url  string
	out  *heard
	stop func() error
}

func (s *served) get(path string) string {
	s.t.Helper()
	got, err := http.Get(s.url + path)
	require.NoError(s.t, err)
	defer got.Body.Close()
	text, err := io.ReadAll(got.Body)
	require.NoError(s.t, err)
	return string(text)
}

func (s *served) order(body string) string {
	s.t.Helper()
	got, err := http.Post(s.url+"api/v1/control", "application/json", strings.NewReader(body))
	require.NoError(s.t, err)
	defer got.Body.Close()
	text, err := io.ReadAll(got.Body)
	require.NoError(s.t, err)
	return string(text)
}

func (s *served) until(path, text string) string {
	s.t.Helper()
	for began := time.Now(); time.Since(began) < patience; time.Sleep(25 * time.Millisecond) {
		if got := s.get(path); strings.Contains(got, text) {
			return got
		}
	}
	s.t.Fatalf("%s never said %q: …%s", path, text, s.get(path)[max(0, len(s.get(path))-600):])
	return ""
}

func startServe(t *testing.T, o serveOptions) *served {
	t.Helper()
	return startServeOf(t, kestrelSite, o)
}

func startServeOf(t *testing.T, siteFile string, o serveOptions) *served {
	t.Helper()
	o.listen, o.json = "127.0.0.1:0", true
	if o.deadline == 0 {
		o.deadline = patience // no test here is about a scan that comes too late
	}
	if o.scenario == "" {
		o.scenario = "everything_runs"
	}
	ctx, cancel := context.WithCancel(context.Background())
	s := &served{t: t, out: &heard{}}
	done := make(chan error, 1)
	go func() { done <- serve(ctx, s.out, siteFile, &o) }()
	s.stop = sync.OnceValue(func() error { cancel(); return <-done })
	t.Cleanup(func() { _ = s.stop() })
	var said struct{ Listens string }
	for began := time.Now(); time.Since(began) < patience; {
		if line, _, whole := strings.Cut(s.out.String(), "\n"); whole {
			require.NoError(t, json.Unmarshal([]byte(line), &said))
			s.url = said.Listens
			return s
		}
		select {
		case err := <-done:
			t.Fatal("serve ended at once: ", err)
		case <-time.After(25 * time.Millisecond):
		}
	}
	t.Fatal("serve never said where it listens")
	return nil
}

func TestServeRefusesWhatIsUnwise(t *testing.T) {
	short := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(short, []byte("short\n"), 0o600))
	notes := filepath.Join(t.TempDir(), "notes")
	require.NoError(t, os.WriteFile(notes, bytes.Repeat([]byte("no journal "), 999), 0o600))
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	for _, c := range []struct{ args, says string }{
		{"--listen 0.0.0.0:0", "--token-file"},
		{"--listen [::]:0", "--token-file"},
		{"--listen nowhere", "host:port"},
		{"--listen " + taken.Addr().String(), "choose another address"},
		{"--listen 0.0.0.0:0 --token-file " + short, "16 to 1024"},
		{"--scenario clamp_puled", "no scenario is called"},
		{"--speed -1", "real time"},
		{"--scan 1us", "100ms"},
		{"--keep 1h", "--journal"},
		{"--journal " + notes, "damaged or no journal"},
		{"--recording nowhere.csv", "cannot be read"},
		{"--against nowhere.csv", "cannot be read"},
		{"--clients -1", "1 or more"},
		{"--twin", "belong to --rig"},
		{"--rig --control", "only watched"},
		{"--rig --recording x", "leave one out"},
		{"--rig", "rig"},
	} {
		args := append([]string{"serve", kestrelSite, "--for", "1ms"}, strings.Fields(c.args)...)
		root := rootCommand()
		root.SetArgs(args)
		root.SetOut(io.Discard)
		err := root.Execute()
		require.ErrorContains(t, err, c.says, c.args)
		require.Equal(t, exitInput, report(io.Discard, err), c.args)
	}
}

func TestServePlaysTheRealSite(t *testing.T) {
	path := filepath.Join(t.TempDir(), "kestrel.journal")
	s := startServe(t, serveOptions{control: true, speed: 0, scenario: "clamp_pulled", journal: path})
	s.until("api/v1/events?limit=20000", "car_1 reconnected early")
	s.until("api/v1/events?limit=20000", "wait over") // the scenario's own 120 s
	s.order(`{"do":"pause"}`)
	require.Contains(t, s.get("api/v1/site"), `"name":"eight_bays"`, "the scenarios of the site are offered")
	require.Contains(t, s.get("api/v1/site"), `"clamp_on_paint"`, "faults are offered by name")
	require.Contains(t, s.order(`{"do":"act","act":{"do":"inject","fault":"clamp_removed","on":"bond_2, until: 9 s"}}`), "error", "nothing but a name gets through")
	require.Contains(t, s.order(`{"do":"act","act":{"do":"inject","fault":"bus_cut","on":"bus"}}`), "done")
	require.Contains(t, s.order(`{"do":"act","act":{"do":"inject","fault":"corrosion","on":"bond_8","with":{"to":"9.5 Ω","over":"0.1 s"}}}`), "done")
	require.Contains(t, s.order(`{"do":"act","act":{"do":"inject","fault":"corrosion","on":"bond_8","with":{"to":"9.5 bananas"}}}`), "error")
	s.order(`{"do":"scan","scans":100}`)
	require.Contains(t, s.until("api/v1/state", "bus_cut"), `"phase":"unreadable"`)
	require.Contains(t, s.get("api/v1/journal?name=bond_1&kind=phase"), `"from":"bonded","to":"lost"`)
	require.NoError(t, s.stop())
	require.Contains(t, s.out.String(), `"exit":0`)

	var out bytes.Buffer
	verb := func(args ...string) error {
		out.Reset()
		root := rootCommand()
		root.SetArgs(append([]string{"journal"}, args...))
		root.SetOut(&out)
		return root.Execute()
	}
	require.NoError(t, verb("check", path))
	require.Contains(t, out.String(), "shown: every record follows")
	require.NoError(t, verb("replay", path, "--site", kestrelSite))
	require.Contains(t, out.String(), "decide alike")
	require.NoError(t, verb("query", path, "--about", "car_1", "--kind", "reconnected early"))
	require.Equal(t, 1, strings.Count(out.String(), "\n"))
	root := rootCommand()
	root.SetArgs([]string{"replay", kestrelSite, path})
	out.Reset()
	root.SetOut(&out)
	require.NoError(t, root.Execute())
	require.Contains(t, out.String(), "decide alike")
	err := verb("query", path, "--about", "nobody")
	require.Equal(t, exitNothing, report(io.Discard, err))
	require.NoError(t, verb("export", path))
	require.Greater(t, strings.Count(out.String(), "\n"), 50)

	// Its export, turned live and put under itself, is the same run.
	table := filepath.Join(t.TempDir(), "kestrel.csv.zst")
	require.NoError(t, verb("export", path, "--csv", table, "--site", kestrelSite))
	again := startServe(t, serveOptions{control: true, recording: table, against: table})
	again.until("api/v1/state", `"mode":"ended"`)
	require.Contains(t, again.get("api/v1/difference"), `"differs":false`)
	require.Contains(t, again.order(`{"do":"act","act":{"do":"inject","fault":"clamp_removed","on":"bond_1"}}`), "error")
}

// alertsOf asks a Prometheus which alerts fire.
func alertsOf(t *testing.T, url string) string {
	t.Helper()
	got, err := http.Get(url + "/api/v1/alerts")
	if err != nil {
		return ""
	}
	defer got.Body.Close()
	var answer struct {
		Data struct {
			Alerts []struct {
				State  string
				Labels map[string]string
			}
		}
	}
	require.NoError(t, json.NewDecoder(got.Body).Decode(&answer))
	var list []string
	for _, a := range answer.Data.Alerts {
		list = append(list, a.State+" "+a.Labels["alertname"])
	}
	return strings.Join(list, ", ")
}

func TestPrometheusScrapesAndTheShippedRulesFire(t *testing.T) {
	t.Parallel()
	prometheus, err := exec.LookPath("prometheus")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("prometheus is missing, and CI must have it")
		}
		t.Skip("prometheus is missing: not tested here")
	}
	s := startServe(t, serveOptions{control: true, speed: 1})
	url := startPrometheus(t, prometheus, strings.TrimSuffix(strings.TrimPrefix(s.url, "http://"), "/"))
	until := func(wanted bool, text string) {
		t.Helper()
		for began := time.Now(); time.Since(began) < patience; time.Sleep(100 * time.Millisecond) {
			if strings.Contains(alertsOf(t, url), text) == wanted {
				return
			}
		}
		t.Fatalf("%q: wanted %v, have %q", text, wanted, alertsOf(t, url))
	}
	s.until("api/v1/state", `"mode":"enabled"`)
	require.NotContains(t, alertsOf(t, url), "firing")
	require.Contains(t, s.order(`{"do":"act","act":{"do":"disconnect","on":"bond_1"}}`), "done")
	s.until("api/v1/events", "valve_1 tripped")
	require.Contains(t, s.order(`{"do":"act","act":{"do":"connect","on":"bond_1"}}`), "done")
	until(true, "firing OhmgateReconnectedEarly")
	require.Contains(t, s.order(`{"do":"act","act":{"do":"press","on":"ack_1","for":"0.5 s"}}`), "done")
	until(false, "OhmgateReconnectedEarly")
	require.Contains(t, s.get("metrics"), "ohmgate_live_healthy 1")
	require.Contains(t, s.get("metrics"), `ohmgate_output_trips_total{output="valve_1"`)
}

// startPrometheus scrapes a target five times a second with the rules that we
// ship.
func startPrometheus(t *testing.T, program, target string) string {
	t.Helper()
	rules, err := filepath.Abs("../../testdata/prometheus/ohmgate.rules.yml")
	require.NoError(t, err)
	folder := t.TempDir()
	config := fmt.Sprintf("global: {scrape_interval: 200ms, scrape_timeout: 200ms, evaluation_interval: 200ms}\nrule_files: [%q]\nscrape_configs:\n  - job_name: ohmgate\n    static_configs: [{targets: [%q]}]\n", rules, target)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "prometheus.yml"), []byte(config), 0o600))
	address, said := freeAddress(t), &heard{}
	process := exec.Command(program, "--config.file="+filepath.Join(folder, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(folder, "data"), "--web.listen-address="+address)
	process.Stdout, process.Stderr = said, said
	require.NoError(t, process.Start())
	t.Cleanup(func() { _ = process.Process.Kill(); _ = process.Wait() })
	for began := time.Now(); time.Since(began) < patience; time.Sleep(50 * time.Millisecond) {
		if got, err := http.Get("http://" + address + "/-/ready"); err == nil {
			got.Body.Close()
			if got.StatusCode == http.StatusOK {
				return "http://" + address
			}
		}
	}
	t.Fatal("prometheus never got ready: ", said.String())
	return ""
}

func TestServeListensToARig(t *testing.T) {
	o := serveOptions{rig: true, twin: true, speed: 1}
	s := startServeOf(t, "../../testdata/rig/standin_siding.yaml", o)
	shown := s.until("api/v1/state", `"phase":"bonded"`)
	require.Contains(t, shown, "mΩ")
	require.Contains(t, s.get("api/v1/site"), `"real":true,"control":false`)
	for _, order := range []string{`{"do":"pause"}`, `{"do":"speed","speed":9}`, `{"do":"act","act":{"do":"press","on":"reset_1"}}`, `{"do":"begin"}`} {
		require.Contains(t, s.order(order), "error", order)
	}
	require.NoError(t, s.stop())
}
