package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// reviewOf runs the verb as the command line does.
func reviewOf(t *testing.T, args ...string) (string, exitCode) {
	t.Helper()
	root := rootCommand()
	var out bytes.Buffer
	root.SetOut(&out)
	root.SetArgs(append([]string{"review"}, args...))
	err := root.Execute()
	if err == nil {
		return out.String(), exitShown
	}
	var o outcome
	if !errors.As(err, &o) {
		o = outcome{exitInput, err}
	}
	if o.cause != nil {
		out.WriteString(o.cause.Error())
	}
	return out.String(), o.code
}

func TestReviewExitCodes(t *testing.T) {
	sites := filepath.Join("..", "..", "testdata", "sites")
	right := filepath.Join(sites, "review", "right.yaml")
	kestrel := filepath.Join(sites, "kestrel_siding.yaml")
	for _, c := range []struct {
		args []string
		code exitCode
		says string
	}{
		{[]string{right}, exitShown, "no finding at or above must"},
		{[]string{"--fail-on", "should", right}, exitShown, "0 should"},
		{[]string{"--fail-on", "note", right}, exitViolated, "findings at or above note"},
		{[]string{kestrel}, exitShown, "R132"},
		{[]string{"--fail-on", "should", kestrel}, exitViolated, "violated"},
		{[]string{"--fail-on", "never", kestrel}, exitShown, "do not count"},
		{[]string{"--fail-on", "worst", kestrel}, exitInput, "write must, should, note or never"},
		{[]string{filepath.Join(sites, "absent.yaml")}, exitInput, "absent.yaml"},
		{[]string{filepath.Join(sites, "broken", "many_at_once.yaml")}, exitInput, "many_at_once.yaml:"},
		{nil, exitInput, "review rules"},
		{[]string{"--rules"}, exitShown, "R001"},
		{[]string{"rules"}, exitShown, "R001"},
		{[]string{"--rules", right}, exitInput, "leave"},
	} {
		out, code := reviewOf(t, c.args...)
		require.Equal(t, c.code, code, "%v\n%s", c.args, out)
		require.Contains(t, out, c.says, "%v", c.args)
	}
}

func TestReviewJSONNamesSiteAndPlaces(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "sites", "amber_line.yaml")
	out, code := reviewOf(t, "--json", file)
	require.Equal(t, exitShown, code)
	var report struct {
		Schema string `json:"schema"`
		Site   struct {
			SHA256 string `json:"sha256"`
		} `json:"site"`
		Findings, Suppressed []struct {
			ID, Path, Reason string
			Line             int
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &report))
	require.Equal(t, "ohmgate review 1", report.Schema)
	require.Len(t, report.Site.SHA256, 64)
	require.NotEmpty(t, report.Findings)
	require.Len(t, report.Suppressed, 1)
	require.NotEmpty(t, report.Suppressed[0].Reason)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, strings.Split(string(data), "\n")[report.Suppressed[0].Line-1], "2950 /min")
	rules, _ := reviewOf(t, "--rules", "--json")
	var list struct{ Rules []struct{ ID, Source string } }
	require.NoError(t, json.Unmarshal([]byte(rules), &list))
	require.GreaterOrEqual(t, len(list.Rules), 40)
}
