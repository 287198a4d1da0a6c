package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The bag slide counts consecutive bad readings, so a contact that chatters
// defeats it alone: that is violated. The cart pump repays slowly; what is not
// detected there is told, and the table is complete.
func TestFaultTableOnTheCommandLine(t *testing.T) {
	table := filepath.Join(t.TempDir(), "faults.csv")
	text, code := call("verify", amber, "--output", "bag_slide", "--faults", "--csv", table)
	require.Equal(t, exitViolated, code, text)
	require.Contains(t, text, "chatter on bond_bag: runs on although the bond is gone")
	narrow(t, text)
	rows, err := os.ReadFile(table)
	require.NoError(t, err)
	lines := bytes.Split(bytes.TrimSpace(rows), []byte("\n"))
	require.Greater(t, len(lines), 30)
	for _, line := range lines[1:] {
		require.True(t, bytes.HasPrefix(line, []byte("amber_line,")), "%s", line)
	}

	text, code = call("verify", amber, "--output", "cart_pump", "--faults")
	require.Equal(t, exitShown, code, text)
	require.Contains(t, text, "NOT detected: proof test")
	require.Contains(t, text, "verdict: the table is complete")
	narrow(t, text)
	text, code = call("verify", amber, "--output", "cart_pump", "--faults", "--json")
	require.Equal(t, exitShown, code, text)
	require.Contains(t, text, `"verdict": "the table is complete"`, "as the text says")
}

// Every run of the table goes back through simulate and ends as it says.
func TestRunsOfTheFaultTableReplay(t *testing.T) {
	runs := t.TempDir()
	text, code := call("verify", amber, "--output", "bag_slide", "--faults", "--pairs", "--runs", runs)
	require.Equal(t, exitViolated, code, text)
	require.Contains(t, text, "clamp_removed on bond_bag with shorted_leads on bond_bag: runs on")
	narrow(t, text)
	defeats, err := filepath.Glob(filepath.Join(runs, "defeat_*.yaml"))
	require.NoError(t, err)
	require.Greater(t, len(defeats), 5)
	missed, err := filepath.Glob(filepath.Join(runs, "undetected_*.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, missed)
	for _, file := range missed {
		scenario, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Contains(t, string(scenario), ": bag_slide goes on, and nothing detects it")
	}
	for _, file := range append(defeats, missed...) {
		text, code := call("simulate", amber, file, "--brief")
		require.Equal(t, exitViolated, code, "%s: %s", file, text)
	}
}

// An output that never runs is no blank: nothing was checked, exit 4.
func TestFaultTableOfWhatNeverRuns(t *testing.T) {
	text, err := os.ReadFile(amber)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "amber_line.yaml")
	const asked = "permissive: bond_bag"
	require.Contains(t, string(text), asked)
	never := strings.Replace(string(text), asked, "permissive: bond_bag AND NOT bond_bag", 1)
	require.NoError(t, os.WriteFile(file, []byte(never), 0o600))
	told, code := call("verify", file, "--output", "bag_slide", "--faults", "--json")
	require.Equal(t, exitNothing, code, told)
	var report struct {
		Site     string
		Hash     string `json:"site_hash"`
		Tool     string
		Exit     int
		NeverRan []string `json:"never_ran"`
		Rows     []struct{ Found string }
	}
	require.NoError(t, json.Unmarshal([]byte(told), &report))
	require.Equal(t, []string{"bag_slide"}, report.NeverRan)
	require.Len(t, report.Rows, 1)
	require.Equal(t, "nothing checked", report.Rows[0].Found)
	require.Equal(t, 4, report.Exit)
	require.NotEmpty(t, report.Hash)
	require.NotEmpty(t, report.Tool)
}
