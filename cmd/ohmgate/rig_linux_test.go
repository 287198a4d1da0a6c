package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"ohmgate/cmd/ohmgate/live/livetest"
	"ohmgate/hwio/port"
	"ohmgate/hwio/sheet"
	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

const (
	benchSite   = "../../testdata/rig/bench_siding.yaml"
	benchPulled = "../../testdata/rig/pulled.yaml"
	standInSite = "../../testdata/rig/standin_siding.yaml"
)

// shortStory is standin_pulled.yaml for a site with shorter waits.
const shortStory = `scenario: short_story
lasts: 3.4 s
steps:
  - {at: 0.1 s, do: set, on: car_here_1, to: yes}
  - {at: 0.9 s, do: connect, on: bond_1}
  - {at: 1.6 s, do: press, on: reset_1, for: 0.6 s}
faults:
  - {at: 2.8 s, fault: clamp_removed, on: bond_1}
expect:
  - {within: 400 ms, of: 2.2 s, that: valve_1 is enabled}
`

// rigSays runs the verb and returns what it prints and its code.
func rigSays(t *testing.T, args ...string) (string, exitCode) {
	return rigSaysIn(context.Background(), args...)
}

func rigSaysIn(ctx context.Context, args ...string) (string, exitCode) {
	var out, errs bytes.Buffer
	verb := rootCommand()
	verb.SetOut(&out)
	verb.SetErr(&errs)
	verb.SetArgs(append([]string{"rig"}, args...))
	err := verb.ExecuteContext(ctx)
	if err == nil {
		return out.String(), exitShown
	}
	code := report(&out, err)
	return out.String(), code
}

// onTwin runs the verb on a twin whose lines are in memory and on a clock that moves only when everybody waits: however busy the
// machine is, nothing is late.
func onTwin(t *testing.T, args ...string) (text string, code exitCode) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(time.Until(port.WallStart().Add(time.Hour))) // a fake clock begins in the year 2000
		text, code = rigSaysIn(context.WithValue(t.Context(), inMemory{}, true), append([]string{"--twin"}, args...)...)
	})
	return text, code
}

func fits(t *testing.T, text string) {
	for _, line := range strings.Split(text, "\n") {
		// A hash and a path cannot be broken.
		if utf8.RuneCountInString(line) > page.Width && len(strings.Fields(line)) > 1 {
			t.Errorf("wider than %d: %q", page.Width, line)
		}
	}
}

// TestRigOnTerminals is what a newcomer does first, in real time: on a machine that is late intervals straddle, and the verb
// says 3, or 5 where an answer came too late.
func TestRigOnTerminals(t *testing.T) {
	t.Parallel()
	const late = 5 * time.Millisecond // a quarter of a scan
	livetest.InTime(t, late, func() (decided bool, said string) {
		text, code := rigSays(t, "--twin", benchSite, benchPulled)
		if code == exitIncomplete || code == exitLost {
			lines := strings.Split(text, "\n")
			return false, strings.Join(lines[max(0, len(lines)-5):], "\n")
		}
		require.Equal(t, exitShown, code, text)
		return true, text
	})
}

// TestRigOnTheTwin is the same with every file that it can write; then what an auditor does.
func TestRigOnTheTwin(t *testing.T) {
	folder := t.TempDir()
	in := func(name string) string { return filepath.Join(folder, name) }
	text, code := onTwin(t, benchSite, benchPulled, "--record", in("record"), "--junit", in("junit.xml"), "--page", in("page.html"),
		"--table", in("table.csv"), "--tester", "A. Tester", "--temperature", "21 °C", "--frames", in("frames"), "--csv", in("trace.csv"))
	require.Equal(t, exitShown, code, text)
	fits(t, text)
	for _, wanted := range []string{"twin, no hardware", "wiring self-test", "loop-back latency", "relays fall when the program goes silent", "valve_1 withheld", "all relays open, read back", "The worst case was not measured", "last hash"} {
		require.Contains(t, strings.Join(strings.Fields(text), " "), wanted)
	}
	for _, name := range []string{"junit.xml", "page.html", "table.csv", "frames", "trace.csv"} {
		info, err := os.Stat(in(name))
		require.NoError(t, err)
		require.Greater(t, info.Size(), int64(200), name)
	}
	page, err := os.ReadFile(in("page.html"))
	require.NoError(t, err)
	require.Contains(t, string(page), "A. Tester")
	require.Contains(t, string(page), "21 °C")

	text, code = rigSays(t, "--check", in("record"))
	require.Equal(t, exitShown, code, text)
	fits(t, text)
	text, code = rigSays(t, "--check", in("record"), "--json")
	require.Equal(t, exitShown, code)
	var checked struct {
		Head   string        `json:"last_hash"`
		Sheets []sheet.Sheet `json:"sheets"`
	}
	require.NoError(t, json.Unmarshal([]byte(text), &checked))
	require.Equal(t, verdict.Shown, checked.Sheets[len(checked.Sheets)-1].Verdict())
	_, code = rigSays(t, "--check", in("record"), "--head", strings.ToUpper(checked.Head))
	require.Equal(t, exitShown, code)
	text, code = rigSays(t, "--check", in("record"), "--head", strings.Repeat("0", 64))
	require.Equal(t, exitViolated, code)
	require.NotContains(t, text, "was changed", "all its entries fit together")
	fits(t, text)
	require.Contains(t, text, "cut off")

	record, err := os.ReadFile(in("record"))
	require.NoError(t, err)
	at := bytes.Index(record, []byte("A. Tester"))
	record[at] = 'B'
	require.NoError(t, os.WriteFile(in("record"), record, 0o600))
	text, code = rigSays(t, "--check", in("record"))
	require.Equal(t, exitViolated, code)
	require.Contains(t, text, in("record")+":1:11")
	text, code = onTwin(t, benchSite, benchPulled, "--record", in("record"))
	require.Equal(t, exitLost, code)
	require.Contains(t, text, "nothing is added")
}

// TestStandInOnTheTwin: this logic moves the valve, and what it recorded replays to the same decisions.
func TestStandInOnTheTwin(t *testing.T) {
	trace := filepath.Join(t.TempDir(), "trace.csv")
	text, err := os.ReadFile(standInSite)
	require.NoError(t, err)
	shortSite := filepath.Join(t.TempDir(), "short.yaml")
	short := strings.NewReplacer("wait: 1500 ms", "wait: 300 ms", "rest: 500 ms", "rest: 200 ms", "stale_after: 400 ms", "stale_after: 200 ms").Replace(string(text))
	require.NoError(t, os.WriteFile(shortSite, []byte(short), 0o600))
	story := filepath.Join(t.TempDir(), "short_story.yaml")
	require.NoError(t, os.WriteFile(story, []byte(shortStory), 0o600))
	said, code := onTwin(t, "--stand-in", shortSite, story, "--csv", trace, "--json")
	require.Equal(t, exitShown, code, said)
	var made rigReport
	require.NoError(t, json.Unmarshal([]byte(said), &made))
	require.Equal(t, "ohmgate rig 3", made.Schema)
	require.Len(t, made.Report.Runs[0].Steps, 2)
	require.Contains(t, made.Report.Runs[0].Seen, "valve_1: enabled -> tripped")
	said, _, code = ohmgate(t, "replay", shortSite, trace)
	require.Equal(t, exitShown, code, said)
}

func TestListenMovesNothing(t *testing.T) {
	story := filepath.Join(t.TempDir(), "press.yaml")
	require.NoError(t, os.WriteFile(story, []byte("scenario: press\nlasts: 1 s\nsteps: [{at: 0.3 s, do: press, on: reset_1, for: 0.4 s}]\nexpect: [{never: valve_1 is enabled}]\n"), 0o600))
	text, code := onTwin(t, "--listen", standInSite, story)
	require.Equal(t, exitNothing, code, text)
	fits(t, text)
	require.Contains(t, text, "no relay was moved")
	require.Contains(t, text, "reset_1 is 1")
}

func TestAnalyserRecordOnTheCommandLine(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a.csv")
	require.NoError(t, os.WriteFile(file, []byte("time_ms,clamp,valve\n0,0,1\n10,1,1\n40,1,0\n500,1,0\n"), 0o600))
	args := []string{benchSite, benchPulled, "--analyser", file, "--stimulus", "clamp:rise", "--response", "valve:fall", "--cause", "bond_1:open", "--output", "valve_1"}
	text, code := rigSays(t, args...)
	require.Equal(t, exitShown, code, text)
	fits(t, text)
	require.Contains(t, text, " 0..40 ms", "the rows alone say no more")
	require.Contains(t, strings.Join(strings.Fields(text), " "), "1 stimulus; no sample period was given")
	text, code = rigSays(t, append(args[:10:10], "--sample", "10 ms")...) // and the only output need not be named
	require.Equal(t, exitShown, code, text)
	require.Contains(t, text, " 20..40 ms")
	for _, c := range []struct {
		args []string
		said string
	}{
		{append(args[:4:4], "--cause", "bond_1:open"), "--stimulus LINE:rise --response LINE:fall"},
		{append(args[:8:8], "--cause", "bond_1:bad"), "bond_1:high, :open"},
		{append(args[:12:12], "--sample", "20 ms"), "two rows are 10 ms apart"},
		{append(args[:12:12], "--sample", "0 s"), "--sample 0 s"},
		{append(args[:12:12], "--bounce", "-1 ms"), "--bounce"},
	} {
		text, code = rigSays(t, c.args...)
		require.Equal(t, exitInput, code, text)
		require.Contains(t, strings.Join(strings.Fields(text), " "), c.said)
	}
}

func TestRigRefuses(t *testing.T) {
	running := filepath.Join(t.TempDir(), "running.yaml")
	require.NoError(t, os.WriteFile(running, []byte("scenario: running\nbegin: running\nlasts: 1 s\nexpect: [{never: valve_1 is tripped}]\n"), 0o600))
	near := filepath.Join(t.TempDir(), "near.yaml")
	require.NoError(t, os.WriteFile(near, []byte("scenario: near\nlasts: 2 s\nsteps: [{at: 0.5 s, read: 10.05 Ω, on: bond_1, for: 1 s}]\nexpect: [{never: valve_1 is enabled}]\n"), 0o600))
	dead := filepath.Join(t.TempDir(), "dead.yaml")
	require.NoError(t, os.WriteFile(dead, []byte("scenario: dead\nlasts: 2 s\nsteps: [{at: 0.5 s, read: missing, on: bond_1, for: 1 s}, {at: 0.5 s, read: invalid, on: bond_1, for: 1 s}]\nexpect: [{never: valve_1 is enabled}]\n"), 0o600))
	record := filepath.Join(t.TempDir(), "record")
	for _, c := range []struct {
		args []string
		code exitCode
		said string
	}{
		{[]string{benchSite, benchPulled}, exitInput, "needs a record"},
		{[]string{benchSite, benchPulled, "--record", record}, exitInput, confirmation},
		{[]string{benchSite, benchPulled, "--record", record, "--confirm", "yes"}, exitInput, confirmation},
		{[]string{benchSite, benchPulled, "--record", record, "--confirm", confirmation, "--port", "bus=" + record + "-no", "--port", "decade_line=" + record + "-no"}, exitLost, "cannot open port"},
		{[]string{benchSite, benchPulled, "--twin", "--port", "bus=x"}, exitInput, "leave out --port"},
		{[]string{benchSite, benchPulled, "--record", record, "--confirm", confirmation, "--port", "bsu=x"}, exitInput, "bus=/dev/ttyUSB0"},
		{[]string{benchSite, running, "--twin"}, exitInput, "begin at power-up"},
		{[]string{benchSite, near, "--twin"}, exitInput, "its uncertainty is 130 mΩ"},
		{[]string{benchSite, dead, "--twin"}, exitInput, "from a transmitter, not from a resistance"},
		{[]string{"../../testdata/sites/kestrel_siding.yaml", "../../testdata/scenarios/clamp_pulled.yaml", "--twin"}, exitInput, "no rig map"},
		{[]string{benchSite, benchPulled, "--twin", "--wrong", "perfect"}, exitInput, "slow, deaf"},
		{[]string{benchSite, benchPulled, "--wrong", "slow"}, exitInput, "--wrong needs --twin"},
		{[]string{benchSite, benchPulled, "--twin", "--runs", "0"}, exitInput, "--runs"},
		{[]string{benchSite, benchPulled, "--twin", "--confidence", "100"}, exitInput, "--confidence"},
		{[]string{benchSite, benchPulled, "--twin", "--condition", "new"}, exitInput, "as left"},
		{[]string{benchSite, benchPulled, "--twin", "--stand-in", "--listen"}, exitInput, "stand-in"},
		{[]string{benchSite, benchPulled, "--twin", "--record", "/dev/full"}, exitLost, "no space left"},
		{[]string{benchSite}, exitInput, "name a site and a scenario"},
		{[]string{"--check", record + "-nowhere"}, exitInput, "record"},
		{[]string{"--check", benchSite}, exitViolated, "no line of a test record"},
		{[]string{"--check", "/dev/zero"}, exitInput, "no regular file"},
		{[]string{"--check", record, "--head", ""}, exitInput, "64 digits"},
		{[]string{"--check", record, "--head", "abc"}, exitInput, "64 digits"},
		{[]string{"--check", record, "--decode", record}, exitInput, "leave out --decode"},
		{[]string{benchSite, benchPulled, "--twin", "--head", "x"}, exitInput, "--head means something only with --check"},
		{[]string{"--decode", record, "--stimulus", "a:rise"}, exitInput, "leave out --stimulus"},
		{[]string{"--twin", "--stand-in", benchSite}, exitInput, "leave out --stand-in"},
		{[]string{benchPulled, benchSite, "--twin"}, exitInput, "the arguments are swapped"},
	} {
		text, code := rigSays(t, c.args...)
		require.Equal(t, c.code, code, "%v\n%s", c.args, text)
		require.Contains(t, strings.Join(strings.Fields(text), " "), c.said, "%v", c.args)
	}
	for _, args := range [][]string{{benchSite, benchPulled, "--twin", "--wrong", "list"}, {"--wrong", "list"}, {"--twin", "--wrong", "list"}} {
		text, code := rigSays(t, args...)
		require.Equal(t, exitShown, code)
		require.Contains(t, text, "forgetful")
	}
}
