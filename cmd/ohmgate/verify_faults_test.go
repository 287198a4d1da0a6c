package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	catalogue "ohmgate/interlock/fault"
	"ohmgate/interlock/page"
	"ohmgate/interlock/verify/fault"
)

// The bag slide counts consecutive bad readings, so a contact that chatters
// defeats it alone: that is violated. The cart pump repays slowly; what is not
// detected there is told, and the table is complete.
func TestFaultTableOnTheCommandLine(t *testing.T) {
	table := filepath.Join(t.TempDir(), "faults.csv")
	text, code := call("verify", amber, "--output", "bag_slide", "--faults", "--csv", table)
	require.Equal(t, exitViolated, code, text)
	require.Contains(t, text, "\nviolated: bag_slide by film on bond_bag, chatter on bond_bag, vibration on\n")
	require.Contains(t, flat(text), "film, chatter, vibration, rotation on bond_bag seen as: bond_bag reads as before as soon as it shows anything: announced after 1 scan: bond_bag doubtful")
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
	require.Contains(t, text, "  NOT detected by any rule or event: proof test\n")
	require.Contains(t, text, "verdict: the table is complete")
	narrow(t, text)
	text, code = call("verify", amber, "--output", "cart_pump", "--faults", "--json")
	require.Equal(t, exitShown, code, text)
	require.Contains(t, text, `"verdict": "the table is complete"`, "as the text says")
}

// Every run of the table goes back through simulate and ends as it says.
func TestRunsOfTheFaultTableReplay(t *testing.T) {
	runs := t.TempDir()
	table := filepath.Join(runs, "faults.csv")
	text, code := call("verify", amber, "--output", "bag_slide", "--faults", "--pairs", "--runs", runs, "--csv", table)
	require.Equal(t, exitViolated, code, text)
	require.Contains(t, flat(text), "any of leak_path (leak up to 80 MΩ), shorted_leads")
	narrow(t, text)
	everySetIsTold(t, text, table)
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

// flat is a text on one line, so that a test need not know where it was broken.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") }

// everySetIsTold: the groups of the text hold as many sets as the CSV has.
func everySetIsTold(t *testing.T, text, table string) {
	t.Helper()
	file, err := os.Open(table)
	require.NoError(t, err)
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	second, minimal := slices.Index(records[0], "second"), slices.Index(records[0], "minimal_set")
	alone, pairs := 0, 0
	for _, r := range records[1:] {
		alone += b2i(r[minimal] == "true" && r[second] == "")
		pairs += b2i(r[minimal] == "true" && r[second] != "")
	}
	told := 0
	for _, group := range regexp.MustCompile(`\((\d+) sets?\)|and (\d+) sets? more`).FindAllStringSubmatch(flat(text), -1) {
		n, err := strconv.Atoi(group[1] + group[2])
		require.NoError(t, err)
		told += n
	}
	require.Greater(t, pairs, 20)
	require.Equal(t, pairs, told)
	require.Contains(t, text, fmt.Sprintf("\n%d minimal sets", alone+pairs))
}

// What is alike is told once, and how often: seven bays of the siding are alike.
func TestFaultTableTellsWhatIsAlikeOnce(t *testing.T) {
	text, code := call("verify", kestrel, "--faults", "--output", "valve_1,valve_2,valve_6")
	require.Equal(t, exitShown, code, text)
	narrow(t, text)
	require.Contains(t, flat(text), "A scan takes 10 ms at most. valve_1, and 1 output alike: valve_2 it goes on")
	require.Contains(t, text, "\nvalve_6\n")
	require.NotContains(t, text, "bond_2", "told with valve_1")
}

// Beyond a dozen groups of sets the rest is counted.
func TestManySetsAreCounted(t *testing.T) {
	var take, hide [20]catalogue.Fault
	var defeats []*fault.Defeat
	for i := range take {
		take[i].Name, hide[i].Name = fmt.Sprintf("take_%d", i), fmt.Sprintf("hide_%d", i)
		for k := range i + 1 {
			defeats = append(defeats, &fault.Defeat{Output: "valve", Says: "runs on", Faults: []fault.At{{Fault: &take[i], On: "bond"}, {Fault: &hide[k], On: "bond"}}})
		}
	}
	var b strings.Builder
	tellSets(page.On(&b), namer{}, defeats)
	narrow(t, b.String())
	require.Equal(t, mostSets+1, strings.Count(b.String(), "\n    - "))
	require.Contains(t, b.String(), "    - and 198 sets more: see minimal_set in --csv FILE\n")
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
	told, code = call("verify", file, "--output", "bag_slide", "--faults")
	require.Equal(t, exitNothing, code, told)
	require.NotContains(t, told, "0 single faults")
	require.Contains(t, told, "bag_slide: nothing checked: a healthy plant never brought it to run\n\nverdict: nothing checked")
	require.NotEmpty(t, report.Hash)
	require.NotEmpty(t, report.Tool)
}
