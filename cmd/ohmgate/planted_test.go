package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// plantedBugs are mistakes in the source of the logic. One program holds them
// all, each asleep until the environment names it: nearly every package is built
// on the logic, so that a program of its own for each took minutes.
var plantedBugs = []struct {
	name, file, right, wrong, property string
}{
	{"the wait is counted from the loss", "interlock/vessel.go", "next.Rested, next.Waited = 0, 0",
		"next.Rested, next.Waited = 0, 0; if PLANTED { next.Waited = min(s.Waited.Next(), c.Wait.Next()) }", "8"},
	{"a reading too few", "monitor/monitor.go", "s.Count >= c.SettleReadings {",
		"(s.Count >= c.SettleReadings || PLANTED && s.Count+1 >= c.SettleReadings) {", "1"},
	{"a bypass stands in for the object evidence", "interlock/step.go", "d.allowKeep[b.Channel], d.allowStart[b.Channel] = evidence, evidence",
		"d.allowKeep[b.Channel], d.allowStart[b.Channel] = evidence, evidence; if PLANTED { d.allowKeep[b.Channel], d.allowStart[b.Channel] = max(evidence, True), True }", "2"},
	{"a stop hides a trip", "interlock/output.go", "case reasons == ReasonStop:",
		"case reasons == ReasonStop || PLANTED && reasons&ReasonStop != 0:", "13"},
}

const awake = "OHMGATE_PLANTED" // names the mistake that is awake

// A mistake in the source is found by verify, with a run that the program with the
// mistake replays to the violation, and that the right program does not violate.
func TestBugsPlantedInTheSource(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program")
	}
	program, site := buildPlanted(t), quarrySite(t)
	for _, bug := range plantedBugs {
		t.Run(bug.name, func(t *testing.T) {
			runs := t.TempDir()
			ask := []string{"verify", site, "--output", "valve_1", "--property", bug.property, "--runs", runs}
			text, code := runProgram(t, program, "none", ask...)
			require.Equal(t, 0, code, text)
			text, code = runProgram(t, program, bug.name, ask...)
			require.Equal(t, 1, code, text)
			require.Contains(t, text, "verdict: violated")
			file := filepath.Join(runs, "property_"+bug.property+"_valve_1.yaml")
			text, code = runProgram(t, program, bug.name, "simulate", "--brief", site, file)
			require.Equal(t, 1, code, text)
			text, right := call("simulate", "--brief", site, file)
			require.NotEqual(t, exitViolated, right, text)
			require.NotEqual(t, exitInput, right, text)
		})
	}
}

// buildPlanted builds the program with all mistakes in its source, asleep.
func buildPlanted(t *testing.T) (program string) {
	t.Helper()
	folder := t.TempDir()
	replace := map[string]string{}
	put := func(file, text string) {
		path, err := filepath.Abs(filepath.Join("../..", file))
		require.NoError(t, err)
		replace[path] = filepath.Join(folder, strings.ReplaceAll(file, "/", "_"))
		require.NoError(t, os.WriteFile(replace[path], []byte(text), 0o600))
	}
	for _, bug := range plantedBugs {
		text := readFile(t, filepath.Join("../..", bug.file))
		require.Equal(t, 1, strings.Count(text, bug.right), "the place for the mistake in %s", bug.file)
		wrong := strings.ReplaceAll(bug.wrong, "PLANTED", fmt.Sprintf("planted == %q", bug.name))
		put(bug.file, strings.Replace(text, bug.right, wrong, 1))
	}
	for _, room := range []string{"monitor", "interlock"} {
		put(room+"/planted.go", fmt.Sprintf("package %s\n\nimport \"os\"\n\nvar planted = os.Getenv(%q)\n", room, awake))
	}
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": replace})
	require.NoError(t, err)
	file, program := filepath.Join(folder, "overlay.json"), filepath.Join(folder, "ohmgate")
	require.NoError(t, os.WriteFile(file, overlay, 0o600))
	said, err := exec.Command("go", "build", "-ldflags=-s -w", "-overlay", file, "-o", program, ".").CombinedOutput()
	require.NoError(t, err, string(said))
	return program
}

// runProgram runs the program with one mistake awake.
func runProgram(t *testing.T, program, bug string, args ...string) (text string, code int) {
	t.Helper()
	command := exec.Command(program, args...)
	command.Env = append(os.Environ(), awake+"="+bug)
	said, err := command.CombinedOutput()
	var ended *exec.ExitError
	if err != nil && !errors.As(err, &ended) {
		t.Fatal(err)
	}
	if ended != nil {
		code = ended.ExitCode()
	}
	return string(said), code
}
