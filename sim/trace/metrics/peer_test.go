package metrics

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/sim/trace/tracetest"
)

// peer finds a program of the Debian package prometheus.
func peer(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed; apt-get install prometheus", name)
		}
		t.Skipf("%s is not installed; apt-get install prometheus", name)
	}
	return path
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	said, err := exec.Command(peer(t, name), args...).CombinedOutput()
	require.NoError(t, err, string(said))
	return string(said)
}

// blocks imports a file as promtool does it.
func blocks(t *testing.T, text string) string {
	t.Helper()
	dir := t.TempDir()
	file, out := filepath.Join(dir, "run.om"), filepath.Join(dir, "data")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	run(t, "promtool", "tsdb", "create-blocks-from", "openmetrics", "-q", file, out)
	require.NoError(t, os.Mkdir(filepath.Join(out, "wal"), 0o755)) // dump asks for it
	return out
}

// TestEverySampleArrives: promtool drops samples in silence, with exit 0; so
// each sample that was written is looked up in the blocks, with its time and
// value, and nothing else may be there.
func TestEverySampleArrives(t *testing.T) {
	f, text, _ := openMetrics(t)
	out := blocks(t, text)
	want := map[string]bool{}
	for name, samples := range series(t, text) {
		for _, sample := range samples {
			at, value, _ := strings.Cut(sample, " ")
			seconds, ms, _ := strings.Cut(at, ".")
			want[sampleKey(name, seconds+ms, value)] = true
		}
	}
	have := 0
	for _, line := range strings.Split(strings.TrimSpace(run(t, "promtool", "tsdb", "dump", out)), "\n") {
		labels, rest, _ := strings.Cut(line, "} ")
		value, ms, _ := strings.Cut(rest, " ")
		name := regexp.MustCompile(`__name__="([^"]*)"(, )?`).FindStringSubmatch(labels)
		require.NotNil(t, name, line)
		key := sampleKey(name[1]+strings.Replace(labels, name[0], "", 1)+"}", ms, value)
		require.True(t, want[key], "in the blocks, but never written: %s", key)
		have++
	}
	require.Equal(t, f.Samples(), have, "samples were dropped")
	require.Equal(t, len(want), have)
	require.Greater(t, have, 10000)
}

// sampleKey is one sample in a form that does not depend on the order of labels.
func sampleKey(name, ms, value string) string {
	head, labels, _ := strings.Cut(strings.TrimSuffix(name, "}"), "{")
	list := regexp.MustCompile(`[a-z_]+="[^"]*"`).FindAllString(labels, -1)
	sort.Strings(list)
	v, err := strconv.ParseFloat(value, 64)
	if err != nil {
		panic(err)
	}
	return fmt.Sprint(head, list, " ", ms, " ", v)
}

// TestPromQLGivesTheSameFigures starts a Prometheus on loopback over the blocks
// and asks it what the witness counted.
func TestPromQLGivesTheSameFigures(t *testing.T) {
	prometheus := peer(t, "prometheus")
	_, text, w := openMetrics(t)
	out := blocks(t, text)
	config := filepath.Join(filepath.Dir(out), "prometheus.yml")
	require.NoError(t, os.WriteFile(config, []byte("global: {}\n"), 0o644))
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := listener.Addr().String()
	require.NoError(t, listener.Close())
	server := exec.Command(prometheus, "--config.file="+config, "--storage.tsdb.path="+out, "--storage.tsdb.retention.time=100y", "--web.listen-address="+address, "--log.level=error")
	require.NoError(t, server.Start())
	t.Cleanup(func() {
		_ = server.Process.Kill()
		_ = server.Wait()
	})
	end := Epoch.Add(testScans * tracetest.Period)
	ask := func(query string) float64 { return promQL(t, address, query, end) }
	require.Eventually(t, func() bool {
		response, err := http.Get("http://" + address + "/-/ready")
		if err != nil {
			return false
		}
		response.Body.Close()
		return response.StatusCode == http.StatusOK
	}, 15*time.Second, 50*time.Millisecond, "Prometheus did not come up")
	total, latencies, sum := 0, 0, 0
	h := tracetest.Header(testBays)
	for i, name := range h.Outputs {
		require.EqualValues(t, w.trips[i], ask(`ohmgate_output_trips_total{output="`+name+`"}`), name)
		total += w.trips[i]
	}
	require.EqualValues(t, total, ask(`sum(ohmgate_output_trips_total)`))
	bound := int(Bound(&tracetest.Config(testBays).Channels[0].Config))
	within := 0
	for _, list := range w.latencies {
		for _, l := range list {
			latencies, sum = latencies+1, sum+l
			if l <= bound {
				within++
			}
		}
	}
	own := `{output=~"valve_.*"}` // the pump depends on all channels
	require.EqualValues(t, latencies, ask(`sum(ohmgate_withholding_latency_scans_count`+own+`)`))
	require.EqualValues(t, sum, ask(`sum(ohmgate_withholding_latency_scans_sum`+own+`)`))
	require.EqualValues(t, within, ask(fmt.Sprintf(`sum(ohmgate_withholding_latency_scans_bucket{output=~"valve_.*",le="%d.0"})`, bound)))
	require.EqualValues(t, w.early, ask(`sum(ohmgate_vessel_early_reconnections_total)`))
	// Each trip is its own step of the counter.
	require.EqualValues(t, w.trips[0], ask(`changes(ohmgate_output_trips_total{output="valve_1"}[11m])`))
}

// promQL asks for one number.
func promQL(t *testing.T, address, query string, at time.Time) float64 {
	t.Helper()
	response, err := http.Get("http://" + address + "/api/v1/query?time=" + strconv.FormatInt(at.Unix(), 10) + "&query=" + url.QueryEscape(query))
	require.NoError(t, err)
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	require.NoError(t, err)
	var answer struct {
		Data struct {
			Result []struct{ Value [2]any }
		}
	}
	require.NoError(t, json.Unmarshal(body, &answer), string(body))
	require.Len(t, answer.Data.Result, 1, "%s: %s", query, body)
	v, err := strconv.ParseFloat(answer.Data.Result[0].Value[1].(string), 64)
	require.NoError(t, err)
	return v
}

// TestShippedRules runs promtool over the alert rules that we ship, and checks
// that they ask only for what the program tells.
func TestShippedRules(t *testing.T) {
	dir := filepath.Join("..", "..", "..", "testdata", "prometheus")
	run(t, "promtool", "check", "rules", filepath.Join(dir, "ohmgate.rules.yml"))
	run(t, "promtool", "test", "rules", filepath.Join(dir, "ohmgate.rules.test.yml"))
	rules, err := os.ReadFile(filepath.Join(dir, "ohmgate.rules.yml"))
	require.NoError(t, err)
	m := New(tracetest.Config(1))
	h := tracetest.Header(1)
	h.Bypasses = []string{"bypass_1"}
	require.NoError(t, m.Begin(h))
	known := map[string]bool{}
	for _, f := range m.board.families {
		known[f.name] = true
		known[f.name+"_total"] = f.typ == counter
	}
	asked := regexp.MustCompile(`ohmgate_[a-z_]+`).FindAllString(string(rules), -1)
	require.Greater(t, len(asked), 8)
	for _, name := range asked {
		require.True(t, known[name], "a rule asks for %s, which nothing tells", name)
	}
}
