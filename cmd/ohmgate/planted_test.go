package main

import (
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// plantedBugs are mistakes planted in the source of the logic, one at a time.
var plantedBugs = []struct {
	name, file, right, wrong string
	site, output, property   string
}{
	{"the wait is counted from the loss", "interlock/vessel.go", "next.Rested, next.Waited = 0, 0", "next.Rested, next.Waited = 0, min(s.Waited.Next(), c.Wait.Next())",
		"kestrel_siding", "valve_1", "8"},
	{"a reading too few", "monitor/monitor.go", "s.Count >= c.SettleReadings {", "s.Count+1 >= c.SettleReadings {",
		"hazel_works", "stirrer_1", "1"},
	{"a bypass stands in for the object evidence", "interlock/step.go", "d.allowKeep[b.Channel], d.allowStart[b.Channel] = evidence, evidence", "d.allowKeep[b.Channel], d.allowStart[b.Channel] = max(evidence, True), True",
		"kestrel_siding", "valve_6", "2"},
	{"a stop hides a trip", "interlock/output.go", "case reasons == ReasonStop:", "case reasons&ReasonStop != 0:",
		"hazel_works", "stirrer_1", "13"},
}

// A mistake in the source is found by verify, with a run that the program with the
// mistake replays to the violation, and that the right program does not violate.
func TestBugsPlantedInTheSource(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program four times")
	}
	for _, bug := range plantedBugs {
		t.Run(bug.name, func(t *testing.T) {
			program := buildWith(t, bug.file, bug.right, bug.wrong)
			runs, site := t.TempDir(), filepath.Join("../../testdata/sites", bug.site+".yaml")
			text, code := runProgram(t, program, "verify", site, "--output", bug.output, "--property", bug.property, "--runs", runs)
			require.Equal(t, 1, code, text)
			require.Contains(t, text, "verdict: violated")
			file := filepath.Join(runs, "property_"+bug.property+"_"+bug.output+".yaml")
			text, code = runProgram(t, program, "simulate", "--brief", site, file)
			require.Equal(t, 1, code, text)
			text, right := call("simulate", "--brief", site, file)
			require.NotEqual(t, exitViolated, right, text)
			require.NotEqual(t, exitInput, right, text)
		})
	}
}

// buildWith builds the program with one text of one source file replaced.
func buildWith(t *testing.T, file, right, wrong string) string {
	t.Helper()
	path, err := filepath.Abs(filepath.Join("../..", file))
	require.NoError(t, err)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, 1, strings.Count(string(text), right), "the place for the mistake in %s", file)
	folder := t.TempDir()
	changed, overlay, program := filepath.Join(folder, "changed.go"), filepath.Join(folder, "overlay.json"), filepath.Join(folder, "ohmgate")
	require.NoError(t, os.WriteFile(changed, []byte(strings.Replace(string(text), right, wrong, 1)), 0o600))
	replace, err := json.Marshal(map[string]map[string]string{"Replace": {path: changed}})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(overlay, replace, 0o600))
	said, err := exec.Command("go", "build", "-ldflags=-s -w", "-overlay", overlay, "-o", program, ".").CombinedOutput()
	require.NoError(t, err, string(said))
	return program
}

func runProgram(t *testing.T, program string, args ...string) (text string, code int) {
	t.Helper()
	said, err := exec.Command(program, args...).CombinedOutput()
	var ended *exec.ExitError
	if err != nil && !errors.As(err, &ended) {
		t.Fatal(err)
	}
	if ended != nil {
		code = ended.ExitCode()
	}
	return string(said), code
}
