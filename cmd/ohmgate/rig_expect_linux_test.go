package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/hwio/sheet"
	"ohmgate/interlock/verdict"
)

// pulledOff is pulled.yaml with other expectations.
func pulledOff(t *testing.T, expectations ...string) string {
	t.Helper()
	text, _, found := strings.Cut(readFile(t, benchPulled), "expect:\n")
	require.True(t, found)
	text += "expect:\n"
	for _, one := range expectations {
		text += "  - " + one + "\n"
	}
	return scenarioFile(t, text)
}

// TestExpectationsDecideOnTheBench as they do in simulate, beside the steps of the unit, in every export.
func TestExpectationsDecideOnTheBench(t *testing.T) {
	const good = "{within: 100 ms, of: 3.4 s, that: valve_1 is tripped}"
	for name, c := range map[string]struct {
		expectation string
		found       verdict.Verdict
		said        string
		code        exitCode
	}{
		"shown":     {good, verdict.Shown, "all consistent", exitShown},
		"violated":  {"{never: valve_1 is enabled}", verdict.Violated, "the logic itself does not do what the scenario expects", exitViolated},
		"exercised": {"{never: valve_1 is enabled, while: valve_1 is unconfirmed}", verdict.NothingChecked, "never exercised", exitNothing},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			file := pulledOff(t, good, c.expectation)
			in := func(name string) string { return filepath.Join(t.TempDir(), name) }
			record, junit, page := in("record"), in("junit.xml"), in("page.html")
			text, code := onTwin(t, "--record", record, "--junit", junit, "--page", page, benchSite, file)
			require.Equal(t, c.code, code, text)
			require.Contains(t, strings.Join(strings.Fields(text), " "), c.said)
			var checked struct {
				Sheets []sheet.Sheet `json:"sheets"`
			}
			again, _ := rigSays(t, "--check", record, "--json")
			require.NoError(t, json.Unmarshal([]byte(again), &checked))
			last := checked.Sheets[len(checked.Sheets)-1]
			require.Len(t, last.End.Expected, 2)
			require.EqualValues(t, verdict.Shown, last.End.Expected[0].Verdict)
			require.EqualValues(t, c.found, last.End.Expected[1].Verdict)
			require.Equal(t, besideTheUnit, last.End.Expected[1].On)
			require.Equal(t, c.found, last.Verdict())
			for _, one := range []string{junit, page} {
				bytes, err := os.ReadFile(one)
				require.NoError(t, err)
				require.Contains(t, string(bytes), last.End.Expected[1].Text)
			}
		})
	}
}

// TestExpectationsOfAStandInAreListed as not judged: people play the plant, not the scenario.
func TestExpectationsOfAStandInAreListed(t *testing.T) {
	files, err := readRig(standInSite, "../../testdata/rig/standin_pulled.yaml")
	require.NoError(t, err)
	o := &rigOptions{standIn: true, twin: true, runs: 1, edges: 200, confidence: 95, condition: "as found"}
	order, err := o.order(files)
	require.NoError(t, err)
	require.Len(t, order.Unjudged, len(files.scenario.Expect))
	require.NotEmpty(t, order.Unjudged)
	for _, one := range order.Unjudged {
		require.Equal(t, sheet.NotJudged, one.Verdict)
		require.Empty(t, one.On)
	}
	require.Nil(t, order.Expect)
}
