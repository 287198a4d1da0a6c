package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/interlock/site"
)

// say runs the program in this process and gives what it printed.
func say(args ...string) (code exitCode, out, errs string) {
	var o, e bytes.Buffer
	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(&o)
	root.SetErr(&e)
	if err := root.Execute(); err != nil {
		code = report(&e, err)
	}
	return code, o.String(), e.String()
}

var (
	siding = filepath.Join("..", "..", "testdata", "sites", "kestrel_siding.yaml")
	pulled = filepath.Join("..", "..", "testdata", "scenarios", "clamp_pulled.yaml")
)

// recordPulled simulates a pulled clamp and records it in every way.
func recordPulled(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	code, out, errs := say("simulate", siding, pulled, "--brief", "--csv", in("run.csv"), "--vcd", in("run.vcd.gz"), "--openmetrics", in("run.om"), "--events", in("run.jsonl"), "--plot", in("run.svg"))
	require.NotContains(t, []exitCode{exitInput, exitLost, exitInternal}, code, out+errs)
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 5, "something unfinished was left behind")
	return dir
}

func narrow(t *testing.T, text string) {
	t.Helper()
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, len([]rune(line)), 80, line)
	}
}

// The whole way round: what simulate recorded replays without divergence, plain
// or compressed; each way of spoiling it ends with its own code.
func TestReplayOfASimulatedRun(t *testing.T) {
	dir := recordPulled(t)
	file := filepath.Join(dir, "run.csv")
	table, err := os.ReadFile(file)
	require.NoError(t, err)
	code, out, errs := say("replay", siding, file)
	require.Equal(t, exitShown, code, out+errs)
	require.Contains(t, out, "shown: the logic comes to the same decisions, to the last scan")
	narrow(t, out)

	code, _, errs = say("simulate", siding, pulled, "--brief", "--csv", filepath.Join(dir, "again.csv.zst"))
	require.NotEqual(t, exitInput, code, errs)
	code, out, _ = say("replay", siding, filepath.Join(dir, "again.csv.zst"))
	require.Equal(t, exitShown, code, out)

	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return path
	}
	lines := strings.SplitAfter(string(table), "\n")
	at := len(lines) / 2
	changed := append([]string(nil), lines...)
	changed[at] = strings.Replace(changed[at], ",enabled,", ",tripped,", 1)
	require.NotEqual(t, lines[at], changed[at])
	code, out, _ = say("replay", siding, write("changed.csv", strings.Join(changed, "")))
	require.Equal(t, exitViolated, code, out)
	require.Contains(t, out, "first divergence")
	require.Contains(t, out, "recorded tripped, logic enabled")
	narrow(t, out)

	code, out, _ = say("replay", siding, write("cut.csv", string(table[:len(table)/2])))
	require.Equal(t, exitIncomplete, code, out)
	require.Contains(t, out, "the recording ends early")
	narrow(t, out)

	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	_, _ = w.Write(table)
	require.NoError(t, w.Close())
	code, out, _ = say("replay", siding, write("cut.csv.gz", packed.String()[:packed.Len()/2]))
	require.Equal(t, exitIncomplete, code, out)
	require.Contains(t, out, "damaged or cut off")

	code, out, _ = say("replay", siding, write("nothing.csv", inputsOnly(t, lines)))
	require.Equal(t, exitNothing, code, out)
}

// inputsOnly renames the columns of everything that the logic decided, so that
// nothing is left to compare.
func inputsOnly(t *testing.T, lines []string) string {
	t.Helper()
	s, problems := site.Read(siding)
	require.Nil(t, problems)
	h := headerOf(s)
	decided := map[string]bool{"events": true}
	for _, list := range [][]string{h.Outputs, h.Vessels} {
		for _, name := range list {
			decided[name] = true
		}
	}
	for _, name := range h.Channels {
		decided[name+".phase"] = true
	}
	var out strings.Builder
	for _, line := range lines {
		if strings.HasPrefix(line, "time_s,") {
			names := strings.Split(strings.TrimSpace(line), ",")
			for i, name := range names {
				if decided[name] {
					names[i] = "other_" + name
				}
			}
			line = strings.Join(names, ",") + "\n"
		}
		out.WriteString(line)
	}
	return out.String()
}

func TestReplayJSON(t *testing.T) {
	dir := recordPulled(t)
	code, out, errs := say("replay", siding, filepath.Join(dir, "run.csv"), "--json", "--trend")
	require.Equal(t, exitIncomplete, code, errs) // minutes tell no trend over days
	var document struct {
		Schema       int
		Exit         int
		SiteHash     string `json:"site_hash"`
		RecordedSite string `json:"recorded_site_hash"`
		Report       struct {
			Verdict  string
			Scans    uint64
			Compared uint64
		}
		Trend []struct{ Verdict string }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &document))
	require.Equal(t, 1, document.Schema)
	require.Equal(t, int(exitIncomplete), document.Exit)
	require.Equal(t, "shown", document.Report.Verdict)
	require.Positive(t, document.Report.Compared)
	require.Equal(t, document.SiteHash, document.RecordedSite)
	require.Len(t, document.Trend, 8)
	require.Equal(t, "too short", document.Trend[0].Verdict)
}

// Each mistake on the command line is one error that says what to write, exit 2,
// and leaves no file.
func TestReplayMistakes(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "foreign.csv")
	require.NoError(t, os.WriteFile(foreign, []byte("Time,R1\n0,0.4\n"), 0o644))
	mapping := filepath.Join(dir, "map.yaml")
	require.NoError(t, os.WriteFile(mapping, []byte("time: {column: Time, format: seconds}\nchannels: {bond_1: {column: R7}}\n"), 0o644))
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"replay", siding, foreign}, "--map FILE"},
		{[]string{"replay", siding, foreign, "--map", mapping}, `no column "R7"`},
		{[]string{"replay", siding, foreign, "--map", filepath.Join(dir, "none.yaml")}, "none.yaml"},
		{[]string{"replay", siding, filepath.Join(dir, "none.csv")}, "name a file that exists"},
		{[]string{"replay", siding, foreign, "--begin", "soon"}, "power-up or running"},
		{[]string{"replay", siding}, "accepts 2 arg"},
		{[]string{"simulate", siding, pulled, "--plot", filepath.Join(dir, "x.pdf")}, ".svg"},
		{[]string{"simulate", siding, pulled, "--csv", filepath.Join(dir, "none", "x.csv")}, "in a directory that exists"},
		{[]string{"simulate", siding, pulled, "--metrics", "nowhere"}, "host:port"},
	} {
		code, out, errs := say(c.args...)
		require.Equal(t, exitInput, code, out+errs)
		require.Contains(t, errs, c.says)
		require.Empty(t, out)
	}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 2, "a half-written file was left")
}

// While a run lasts its metrics can be read on loopback, and the run takes its
// time.
func TestLiveMetrics(t *testing.T) {
	t.Parallel()
	scenario := filepath.Join(t.TempDir(), "short.yaml")
	require.NoError(t, os.WriteFile(scenario, []byte("scenario: short\nlasts: 3 s\nsteps:\n  - {at: 1 s, do: press, on: reset_1, for: 0.5 s}\nexpect:\n  - {never: valve_1 is enabled, from: 0 s, to: 2 s}\n"), 0o644))
	livetest.InTime(t, 500*time.Millisecond, func() (decided bool, said string) {
		address := freeAddress(t)
		begun, done := time.Now(), make(chan exitCode, 1)
		go func() {
			code, _, _ := say("simulate", siding, scenario, "--brief", "--metrics", address, "--realtime")
			done <- code
		}()
		text, code := metricsUntil(address, done)
		if !strings.Contains(text, "ohmgate_scans_total") {
			return false, fmt.Sprintf("the run was over (%d) before it could be asked: %s", code, text)
		}
		require.Contains(t, text, `ohmgate_output_mode{ohmgate_output_mode="kept out",output="valve_1"} 1`)
		require.Contains(t, text, `ohmgate_channel_phase{channel="bond_1",ohmgate_channel_phase="unconnected"} 1`)
		require.Equal(t, exitShown, <-done)
		require.GreaterOrEqual(t, time.Since(begun), 2900*time.Millisecond)
		_, err := http.Get("http://" + address + "/metrics")
		require.Error(t, err, "it still serves after the run")
		return true, ""
	})
}

// freeAddress is one of loopback that nobody listened on a moment ago.
func freeAddress(t *testing.T) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, listener.Close())
	return listener.Addr().String()
}

// metricsUntil asks for metrics until there are scans in them, or the run is over.
func metricsUntil(address string, done chan exitCode) (text string, code exitCode) {
	for {
		if response, err := http.Get("http://" + address + "/metrics"); err == nil {
			body, err := io.ReadAll(response.Body)
			response.Body.Close()
			if text = string(body); err == nil && strings.Contains(text, "ohmgate_scans_total") {
				return text, 0
			}
		}
		select {
		case code = <-done:
			return text, code
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func TestNamedFiles(t *testing.T) {
	for _, c := range []struct{ path, name, want string }{
		{"run.csv.gz", "", "run.csv.gz"}, {"run.csv.gz", "one", "run-one.csv.gz"}, {filepath.Join("a.b", "run"), "one", filepath.Join("a.b", "run-one")},
	} {
		require.Equal(t, c.want, named(c.path, c.name))
	}
}

// The shipped recording of another program replays across the night in which the
// clocks go back; each spoiling of it is found.
func TestShippedRecording(t *testing.T) {
	amber := filepath.Join("..", "..", "testdata", "sites", "amber_line.yaml")
	file := filepath.Join("..", "..", "testdata", "traces", "amber_line_recorder.csv")
	mapping := filepath.Join("..", "..", "testdata", "traces", "amber_line_recorder.map.yaml")
	code, out, errs := say("replay", amber, file, "--map", mapping)
	require.Equal(t, exitShown, code, out+errs)
	require.Contains(t, out, "begins\n  2026-10-25T02:59:50.000+02:00")
	narrow(t, out)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	text := string(data)
	for _, c := range []struct {
		name, from, to, says string
		code                 exitCode
	}{
		{"text", ";0,2509;", ";zu;", "not a number", exitIncomplete},
		{"nan", ";0,2509;", ";NaN;", "NaN", exitShown},
		{"output", "", "", "first divergence at", exitViolated},
		{"unsorted", "02:59:51,", "02:59:50,", "a time before the row before", exitIncomplete},
		{"cut", "", "", "cut off", exitIncomplete},
	} {
		t.Run(c.name, func(t *testing.T) {
			var spoiled string
			switch c.name {
			case "output": // the pump is said to stand still for a second
				lines := strings.SplitAfter(text, "\n")
				for i := 100; i < 150; i++ {
					lines[i] = strings.Replace(lines[i], ";EIN;", ";AUS;", 1)
				}
				spoiled = strings.Join(lines, "")
			case "cut":
				spoiled = text[:len(text)-40]
			default:
				spoiled = strings.ReplaceAll(text, c.from, c.to)
				require.NotEqual(t, text, spoiled)
			}
			path := filepath.Join(t.TempDir(), "spoiled.csv")
			require.NoError(t, os.WriteFile(path, []byte(spoiled), 0o644))
			code, out, errs := say("replay", amber, path, "--map", mapping)
			require.Equal(t, c.code, code, out+errs)
			require.Contains(t, out, c.says)
			narrow(t, out)
		})
	}
}

// Every shipped scenario's own table replays to its last event.
func TestEveryScenarioReplays(t *testing.T) {
	var files []string
	for _, pattern := range []string{"*.yaml", filepath.Join("practice", "*.yaml")} {
		found, err := filepath.Glob(filepath.Join("..", "..", "testdata", "scenarios", pattern))
		require.NoError(t, err)
		files = append(files, found...)
	}
	require.Greater(t, len(files), 10)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			_, rest, found := strings.Cut(string(data), "\nsite: ")
			require.True(t, found, "the scenario names no site")
			name, _, _ := strings.Cut(rest, "\n")
			plant := filepath.Join("..", "..", "testdata", "sites", strings.TrimSpace(name)+".yaml")
			table := filepath.Join(t.TempDir(), "run.csv")
			code, _, errs := say("simulate", plant, file, "--brief", "--csv", table)
			require.NotContains(t, []exitCode{exitInput, exitLost, exitInternal}, code, errs)
			code, out, errs := say("replay", plant, table)
			require.Equal(t, exitShown, code, out+errs)
		})
	}
}

// The journal and the metrics of one run tell the same trips.
func TestJournalAndMetricsAgree(t *testing.T) {
	dir := recordPulled(t)
	journal, err := os.ReadFile(filepath.Join(dir, "run.jsonl"))
	require.NoError(t, err)
	want, got := map[string]int{}, map[string]int{}
	for _, line := range strings.Split(strings.TrimSpace(string(journal)), "\n") {
		var e struct{ Event, Subject string }
		require.NoError(t, json.Unmarshal([]byte(line), &e))
		if e.Event == "tripped" {
			want[e.Subject]++
		}
	}
	require.NotEmpty(t, want)
	text, err := os.ReadFile(filepath.Join(dir, "run.om"))
	require.NoError(t, err)
	for _, line := range strings.Split(string(text), "\n") {
		var name string
		var n int
		if rest, ok := strings.CutPrefix(line, `ohmgate_output_trips_total{output="`); ok {
			name, rest, _ = strings.Cut(rest, `"} `)
			_, err := fmt.Sscan(rest, &n)
			require.NoError(t, err)
			if n > 0 {
				got[name] = n // the last line of each stands
			}
		}
	}
	require.Equal(t, want, got)
}
