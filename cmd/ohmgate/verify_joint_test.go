package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verify"
)

const unknownPowder = "../../testdata/sites/margin/nothing_known.yaml"

// What is listed gets a verdict, what is left is named, and lines fit.
func TestJointSaysWhatItJudgesAndWhatNot(t *testing.T) {
	text, code := call("verify", unknownPowder, "--joint", "--output", "valve", "--property", "1,2,3,4,6,7,8,9,12,14,15")
	require.Equal(t, exitShown, code, text)
	for _, want := range []string{"valve, 1 channel,", "14519 states", "bond bad: withheld at the latest in scan 15, 300.0 ms, exact", "joint states: 8545 with vessel\n",
		"each alone within 15 scans", "1246 pairs of", "taken from verify: 14, ", "verdict: shown"} {
		require.Contains(t, text, want)
	}
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, len([]rune(line)), 80, line)
	}
}

// An output without a channel still charges vessels: their waits are judged.
func TestJointJudgesTheWaitsOfAnOutputWithoutAChannel(t *testing.T) {
	text, code := call("verify", quarrySite(t), "--joint", "--output", "pump", "--property", "8", "--json")
	require.Equal(t, exitShown, code, text)
	var report jointReport
	require.NoError(t, json.Unmarshal([]byte(text), &report))
	require.Len(t, report.Outputs[0].Results, 1)
	require.Equal(t, 2, strings.Count(report.Outputs[0].Results[0].Says, " with car_"))
	require.Equal(t, "no channel is in its permissive", report.Outputs[0].NotJudged["others"])
}

// A property that was asked for and is not judged jointly is not shown.
func TestJointIsNotGreenByAbsence(t *testing.T) {
	text, code := call("verify", quarrySite(t), "--joint", "--output", "pump", "--property", "2,8")
	require.Equal(t, exitIncomplete, code, text)
	require.Contains(t, text, "not judged jointly: no channel is in its permissive")
	require.Contains(t, text, "verdict: not shown")
}

// The timer of a bypass stands beside the channel that it covers.
func TestJointJudgesABypass(t *testing.T) {
	text, code := call("verify", quarrySite(t), "--joint", "--output", "valve_1", "--property", "4,11", "--json")
	require.Equal(t, exitShown, code, text)
	var report jointReport
	require.NoError(t, json.Unmarshal([]byte(text), &report))
	require.Len(t, report.Outputs[0].Results, 2)
	require.Contains(t, report.Outputs[0].Results[0].But, "bypass_1, while it stands in for bond_1, adds up to")
	require.Equal(t, "bypass_1", report.Outputs[0].Results[1].Subject)
	require.Contains(t, report.Outputs[0].Results[1].Says, " joint states with the timer of bypass_1")
}

// A violated property comes with a run that simulate replays.
func TestJointCounterexamplesReplayInSimulate(t *testing.T) {
	runs := t.TempDir()
	text, code := call("verify", unknownPowder, "--joint", "--output", "valve", "--runs", runs)
	require.Equal(t, exitViolated, code, text)
	text, code = call("simulate", unknownPowder, filepath.Join(runs, "property_5_valve.yaml"), "--brief")
	require.Equal(t, exitViolated, code, text)
}

// Beyond its memory a joint search says how far it came.
func TestJointEndsIncompleteBeyondItsMemory(t *testing.T) {
	text, code := call("verify", amber, "--joint", "--output", "drum_lance", "--memory", "20", "--json")
	require.Equal(t, exitIncomplete, code, text)
	var report jointReport
	require.NoError(t, json.Unmarshal([]byte(text), &report))
	require.EqualValues(t, "not shown", report.Verdict)
	require.Empty(t, report.Outputs[0].Results)
	require.Contains(t, report.Outputs[0].Incomplete, "memory limit of 20 MB")
}

// The same twice.
func TestJointIsDeterministic(t *testing.T) {
	site := quickPowder(t)
	told := func() string {
		text, _ := call("verify", site, "--joint", "--output", "valve", "--json")
		var report jointReport
		require.NoError(t, json.Unmarshal([]byte(text), &report))
		for i := range report.Outputs {
			report.Outputs[i].Seconds = 0
		}
		same, err := json.Marshal(report)
		require.NoError(t, err)
		return string(same)
	}
	require.Equal(t, told(), told())
}

// A property of the site's own is not judged jointly: it is named, and while it
// is wanted nothing is shown over it.
func TestJointIsNotGreenOverAPropertyOfTheSitesOwn(t *testing.T) {
	text, err := os.ReadFile(unknownPowder)
	require.NoError(t, err)
	require.NotContains(t, string(text), "\nproperties:")
	hasty := filepath.Join(t.TempDir(), "hasty.yaml")
	own := "\nproperties:\n  valve_is_quick: {kind: within, output: valve, when: NOT bond, time: 100 ms}\n  never_both: {kind: never, when: valve AND NOT bond}\n"
	require.NoError(t, os.WriteFile(hasty, append(text, own...), 0o600))

	told, code := call("verify", hasty, "--property", "valve_is_quick", "--output", "valve")
	require.Equal(t, exitViolated, code, told)
	told, code = call("verify", hasty, "--joint", "--property", "2,valve_is_quick", "--output", "valve")
	require.Equal(t, exitIncomplete, code, told)
	require.Contains(t, told, "  valve_is_quick\n      not shown        within 100 ms of NOT bond\n")
	require.NotContains(t, told, "never_both")
	require.Contains(t, told, "verdict: not shown")

	told, _ = call("verify", hasty, "--joint", "--output", "valve", "--json")
	var report jointReport
	require.NoError(t, json.Unmarshal([]byte(told), &report))
	require.Len(t, report.Own, 2, "one of the output and one of the whole site")
	for _, result := range report.Own {
		require.Equal(t, verify.NotShown, result.Verdict, result.Property)
	}

	told, code = call("verify", hasty, "--joint", "--property", "2", "--output", "valve")
	require.Equal(t, exitShown, code, told)
}
