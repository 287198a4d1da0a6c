package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// peers skips where another checker is not installed, and fails where CI has it.
func peers(t *testing.T) {
	t.Helper()
	for _, name := range []string{"spin", "rumur", "gcc"} {
		if _, err := exec.LookPath(name); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatal(name + " is missing, and CI must have it")
			}
			t.Skip(name + " is missing: not tested here")
		}
	}
}

// As a stranger would do it: the printed model has as many states to SPIN and to
// rumur as --json says of our own search, and neither counts an error. The valve
// has no end switch, so property 10 has nothing to say of it.
func TestPeersCountWhatTheReportSays(t *testing.T) {
	peers(t)
	site := quickPowder(t)
	text, code := call("verify", site, "--output", "valve", "--property", "2,8", "--json")
	require.Equal(t, exitShown, code, text)
	var report struct {
		Searches []struct {
			Kind   string
			States int
		}
	}
	require.NoError(t, json.Unmarshal([]byte(text), &report))
	ours := map[string]int{}
	for _, search := range report.Searches {
		ours[search.Kind] = search.States
	}
	require.Len(t, ours, 2)
	for kind, args := range map[string][]string{"reset": {"--output", "valve", "--channel", "bond"}, "wait": {"--output", "valve", "--vessel", "vessel"}} {
		t.Run(kind, func(t *testing.T) {
			t.Parallel()
			require.Greater(t, ours[kind], 1000)
			spin, rumur := peersOf(t, site, args)
			require.Equal(t, []int{ours[kind], 0}, numbers(t, spin, `(\d+) states, stored`, `errors: (\d+)`), spin)
			require.Equal(t, []int{ours[kind]}, numbers(t, rumur, `(\d+) states, \d+ rules`), rumur)
			require.Contains(t, rumur, "No error found")
			require.NotContains(t, rumur, "not hit")
		})
	}
}

// The number that the report prints of a channel, asked of the peers by command:
// it holds, and with one scan less SPIN finds a run that breaks it.
func TestPeersJudgeANumberOfTheReport(t *testing.T) {
	peers(t)
	text, code := call("verify", unknownPowder, "--property", "15", "--json")
	require.Equal(t, exitShown, code, text)
	var report struct {
		Channels []struct {
			Channel string
			Recover int `json:"recovery_scans"`
		}
	}
	require.NoError(t, json.Unmarshal([]byte(text), &report))
	require.NotEmpty(t, report.Channels)
	require.Equal(t, "bond", report.Channels[0].Channel)
	n := report.Channels[0].Recover
	require.Greater(t, n, 10)
	alone := []string{"--channel", "bond", "--property", "15"}
	spin, rumur := peersOf(t, unknownPowder, alone)
	states := numbers(t, rumur, `(\d+) states, \d+ rules`)
	require.Greater(t, states[0], 10_000)
	require.Equal(t, append(states, 0), numbers(t, spin, `(\d+) states, stored`, `errors: (\d+)`), spin)
	require.Contains(t, rumur, "No error found")
	directory := emitted(t, unknownPowder, append(alone, "--bound", strconv.Itoa(n-1)))
	require.Positive(t, numbers(t, shell(t, directory, spinRun), `errors: (\d+)`)[0], "one scan less")
}

// quickPowder is unknownPowder with a valve that settles and doubts quickly: the
// peers search a third of its states.
func quickPowder(t *testing.T) string {
	t.Helper()
	text := readFile(t, unknownPowder)
	for _, change := range [][2]string{
		{"settle: {time: 500 ms, readings: 10}", "settle: {time: 160 ms, readings: 3}"},
		{"longest_doubt: 5 s", "longest_doubt: 500 ms"},
		{"high: 200 ms, open: 0 ms, invalid: 100 ms, missing: 100 ms", "high: 100 ms, open: 0 ms, invalid: 60 ms, missing: 60 ms"},
	} {
		require.Contains(t, text, change[0])
		text = strings.Replace(text, change[0], change[1], 1)
	}
	file := filepath.Join(t.TempDir(), "quick_powder.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	return file
}

const (
	spinRun  = "spin -a valve.pml >made; gcc -O1 -w -DSAFETY -DNOREDUCE -o pan pan.c; ./pan -c0 -m1000000"
	rumurRun = "rumur --output valve.c valve.m; gcc -O1 -w -mcx16 -o valve valve.c -lpthread; ./valve"
)

// peersOf prints a model twice and lets both search it.
func peersOf(t *testing.T, site string, args []string) (spin, rumur string) {
	t.Helper()
	directory := emitted(t, site, args)
	return shell(t, directory, spinRun), shell(t, directory, rumurRun)
}

// emitted is where a model is printed in both languages.
func emitted(t *testing.T, site string, args []string) (directory string) {
	t.Helper()
	directory = t.TempDir()
	for language, file := range map[string]string{"promela": "valve.pml", "murphi": "valve.m"} {
		text, code := call(append([]string{"verify", site, "--emit", language}, args...)...)
		require.Equal(t, exitShown, code, text)
		require.NoError(t, os.WriteFile(filepath.Join(directory, file), []byte(text), 0o600))
	}
	return directory
}

func shell(t *testing.T, directory, line string) string {
	t.Helper()
	command := exec.Command("sh", "-ec", line)
	command.Dir = directory
	text, err := command.CombinedOutput()
	require.NoError(t, err, "%s: %s", line, text)
	return string(text)
}

// numbers is what each pattern finds.
func numbers(t *testing.T, text string, patterns ...string) (list []int) {
	t.Helper()
	for _, pattern := range patterns {
		found := regexp.MustCompile(pattern).FindStringSubmatch(text)
		require.NotNil(t, found, "%s: %s", pattern, text)
		var n int
		require.NoError(t, json.Unmarshal([]byte(found[1]), &n))
		list = append(list, n)
	}
	return list
}
