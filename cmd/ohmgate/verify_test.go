package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verify"
)

const amber = "../../testdata/sites/amber_line.yaml"

// call runs the program and returns what it printed and its exit code.
func call(args ...string) (string, exitCode) {
	var out bytes.Buffer
	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(&out)
	root.SetErr(&out)
	code := exitShown
	if err := root.Execute(); err != nil {
		code = report(&out, err)
	}
	return out.String(), code
}

// Every counterexample that verify writes, simulate must replay to the same
// violation on the simulated plant.
// hasty is the amber line with a response asked of its lance that a bad bond
// mixed with gaps does not keep.
func hasty(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(amber)
	require.NoError(t, err)
	const asked = "when: NOT bond_drum, time: 240 ms"
	require.Contains(t, string(text), asked)
	file := filepath.Join(t.TempDir(), "amber_line.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(text), asked, "when: NOT bond_drum, time: 200 ms", 1)), 0o600))
	return file
}

func TestCounterexamplesReplayInSimulate(t *testing.T) {
	runs, amber := t.TempDir(), hasty(t)
	text, code := call("verify", amber, "--output", "drum_lance", "--property", "5", "--property", "lance_follows_the_drum", "--runs", runs)
	require.Equal(t, exitViolated, code, text)
	require.Contains(t, text, "verdict: violated")
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, len([]rune(line)), 80, line)
	}
	files, err := filepath.Glob(filepath.Join(runs, "*.yaml"))
	require.NoError(t, err)
	require.Len(t, files, 2)
	for _, file := range files {
		text, code := call("simulate", amber, file, "--brief")
		require.Equal(t, exitViolated, code, text)
	}
}

// What would be ignored silently is refused, and so is what says nothing.
func TestVerifyRefusesWhatItWouldIgnore(t *testing.T) {
	for args, says := range map[string]string{
		"--joint --faults":           "--faults and --joint are two different things; write one of them",
		"--joint --window bond_drum": "--joint and --window are two different things",
		"--emit promela --joint":     "--emit and --joint are two different things",
		"--joint --audit":            "--audit does not go with --joint",
		"--faults --property 5":      "--property does not go with --faults",
		"--emit promela --json":      "--json does not go with --emit",
		"--pairs":                    "--pairs belongs to --faults",
		"--plot x.svg":               "--plot belongs to --window",
		"--channel bond_drum":        "--channel belongs to --emit",
		"--output=":                  "--output names nothing",
		"--property=":                "--property names nothing",
		"--runs=":                    "--runs names nothing",
		"--runs " + amber + "/runs":  "the directory cannot be made",
		"--workers -1":               "not a whole number from 0 to 1024, such as --workers 2",
		"--memory -5":                "not a whole number from 1 to 1048576, such as --memory 2048",
		"--memory much":              "not a whole number from 1 to 1048576, such as --memory 2048",
	} {
		text, code := call(append([]string{"verify", amber}, strings.Fields(args)...)...)
		require.Equal(t, exitInput, code, "%s: %s", args, text)
		told := strings.Join(strings.Fields(text), " ")
		require.Contains(t, told, says)
		require.NotContains(t, told, "strconv")
	}
	text, code := call("verify", "--self-check", "--joint")
	require.Equal(t, exitInput, code, text)
	require.Contains(t, text, "--joint and --self-check are two different things")
}

func TestVerifyRefusesWhatIsNotThere(t *testing.T) {
	for _, args := range [][]string{
		{"verify"},
		{"verify", "no_such_site.yaml"},
		{"verify", amber, "--output", "no_such_output"},
		{"verify", amber, "--property", "16"},
		{"verify", amber, "--memory", "0"},
		{"verify", amber, "--window", "no_such_channel"},
		{"verify", amber, "--pairs"},
		{"verify", amber, "--self-check"},
	} {
		text, code := call(args...)
		require.Equal(t, exitInput, code, "%v: %s", args, text)
		require.NotEmpty(t, text)
	}
}

func TestVerifyWindow(t *testing.T) {
	plot := filepath.Join(t.TempDir(), "window.svg")
	text, code := call("verify", hasty(t), "--window", "bond_drum", "--plot", plot, "--json")
	require.Equal(t, exitViolated, code, text)
	var window struct {
		Channel string
		Cells   []struct{ Found string }
	}
	require.NoError(t, json.Unmarshal([]byte(text), &window))
	require.Equal(t, "bond_drum", window.Channel)
	require.NotEmpty(t, window.Cells)
	drawn, err := os.ReadFile(plot)
	require.NoError(t, err)
	require.Contains(t, string(drawn), "<svg")
	require.Contains(t, string(drawn), "as configured")
}

// Too little memory is no verdict: exit 3, and what could not be searched says so.
func TestVerifyBeyondItsMemory(t *testing.T) {
	text, code := call("verify", amber, "--output", "bag_slide", "--property", "7", "--memory", "1")
	require.Equal(t, exitIncomplete, code, text)
	require.Contains(t, text, "not shown")
	require.Contains(t, text, "verdict: not shown")
	require.Contains(t, text, "the memory limit of 1 MB", "the flag's value, not a search's share of it")
	narrow(t, text)
}

// The window fits a page.
func TestWindowFitsAPage(t *testing.T) {
	text, code := call("verify", amber, "--window", "bond_drum")
	require.NotEqual(t, exitInput, code, text)
	require.Contains(t, text, "as configured: scan 20 ms, settle 500 ms, patience 60 ms: shown\n")
	require.Regexp(t, `(?m)^20 ms    250 ms, 500 ms, 1 s      #+v+  15 ms to 105 ms$`, text, "times as people write them; equal settle times once")
	require.NotRegexp(t, `\dms|\ds\b`, text)
	narrow(t, text)
	text, code = call("verify", amber, "--window", "bond_drum", "--plot", "map.pdf")
	require.Equal(t, exitInput, code)
	require.Contains(t, text, "must end in .svg or .png")
}

// Where a poll is slower than a scan the share that is tolerated for ever cannot
// be attained; that stands beside it.
func TestVerifySaysWhatTheShareAssumes(t *testing.T) {
	const assumed = "Tolerated for ever: with a fresh reading in every scan, which a poll every 20 ms"
	text, code := call("verify", quarrySite(t, "scan: 20 ms", "scan: 10 ms\npoll: 20 ms"), "--output", "valve_1", "--property", "14")
	require.Equal(t, exitShown, code, text)
	require.Contains(t, text, assumed)
	narrow(t, text)
	text, code = call("verify", quarrySite(t), "--output", "valve_1", "--property", "14")
	require.Equal(t, exitShown, code, text)
	require.NotContains(t, text, "Tolerated for ever:")
}

// Outputs stand for each other only where the same is said of them: what differs
// in more than the names is told apart. What is not shown is listed at the end.
func TestVerifyTellsApartWhatDiffers(t *testing.T) {
	known := namer{"valve_1": true, "valve_2": true, "valve_3": true, "bond_1": true, "bond_2": true, "bond_3": true}
	say := func(output, text string) verify.Result {
		return verify.Result{Property: "5", Output: output, Verdict: verify.Violated, Says: text}
	}
	results := []verify.Result{say("valve_1", "bond_1 tolerates 4 bad of 5"), say("valve_2", "bond_2 tolerates 4 bad of 5"), say("valve_3", "bond_3 tolerates 9 bad of 10")}
	groups := alike(known, results, false)
	require.Len(t, groups, 2)
	require.Equal(t, []string{"valve_1", "valve_2"}, groups[0].outputs)
	require.Equal(t, []string{"valve_3"}, groups[1].outputs)
	require.Len(t, alike(known, results, true), 3)
	var b strings.Builder
	tellOpen(page.On(&b), append(results, verify.Result{Property: "4", Output: "valve_1", Verdict: verify.Shown}))
	require.Equal(t, "violated: property 5 of valve_1, valve_2, valve_3\n", b.String())
}
