package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/page"
)

// TestSimulateWritesOverNothing: no recording may take the place of a file that is
// read, or of another recording.
func TestSimulateWritesOverNothing(t *testing.T) {
	directory := t.TempDir()
	site, err := os.ReadFile(kestrel)
	require.NoError(t, err)
	siteFile := filepath.Join(directory, "site.yaml")
	require.NoError(t, os.WriteFile(siteFile, site, 0o600))
	link := filepath.Join(directory, "link.yaml")
	require.NoError(t, os.Symlink(siteFile, link))
	first := scenarioFile(t, "scenario: twin\nlasts: 1 s\nsteps:\n  - {at: 0 s, do: connect, on: bond_1}\nexpect:\n  - {never: valve_1 is enabled, from: 0 s}\n")
	second := scenarioFile(t, "scenario: twin\nlasts: 2 s\nsteps:\n  - {at: 0 s, do: connect, on: bond_1}\nexpect:\n  - {never: valve_1 is enabled, from: 0 s}\n")
	there := filepath.Join(directory, "run.csv")
	for says, args := range map[string][]string{
		"write over the site file; name": {siteFile, first, "--csv", siteFile},
		"write over the site file":       {siteFile, first, "--junit", link},
		"write over a scenario":          {siteFile, first, "--events", first},
		"would both write":               {siteFile, first, "--csv", there, "--vcd", directory + "/./run.csv"},
		"--events and --junit":           {siteFile, first, "--events", there, "--junit", there},
		"have one name":                  {siteFile, first, second, "--csv", there},
	} {
		_, errs, code := ohmgate(t, append([]string{"simulate", "--brief"}, args...)...)
		require.Equal(t, exitInput, code, says)
		require.Contains(t, strings.Join(strings.Fields(errs), " "), says)
		left, err := filepath.Glob(filepath.Join(directory, "*"))
		require.NoError(t, err)
		require.ElementsMatch(t, []string{siteFile, link}, left, says)
		after, err := os.ReadFile(siteFile)
		require.NoError(t, err)
		require.Equal(t, site, after, says)
	}
	_, errs, code := ohmgate(t, "simulate", "--brief", siteFile, first, "--csv", there, "--vcd", filepath.Join(directory, "run.vcd"))
	require.Equal(t, exitShown, code, errs)
}

// TestErrorsFitThePage: an error has a page's width like everything else, and what
// is wrong in a file begins with its place.
func TestErrorsFitThePage(t *testing.T) {
	for says, args := range map[string][]string{
		"no-such-site.yaml:1:1: cannot be opened": {"simulate", "no-such-site.yaml", "x.yaml"},
		"ohmgate: simulate wants a site file":     {"simulate", "no-such-site.yaml"},
		"ohmgate: --metrics":                      {"simulate", kestrel, scenarios + "clamp_pulled.yaml", "--metrics", "nowhere"},
	} {
		_, errs, code := ohmgate(t, args...)
		require.Equal(t, exitInput, code)
		require.True(t, strings.HasPrefix(errs, says), "%s", errs)
		for _, line := range strings.Split(errs, "\n") {
			require.LessOrEqual(t, utf8.RuneCountInString(line), page.Width, "%q", line)
		}
	}
}

// TestTheSummaryStandsInColumns and says of a scenario without expectations that it
// has none.
func TestTheSummaryStandsInColumns(t *testing.T) {
	short := scenarioFile(t, "scenario: a\nlasts: 1 s\nsteps:\n  - {at: 0 s, do: connect, on: bond_1}\nexpect:\n  - {never: valve_1 is enabled, from: 0 s}\n")
	long := scenarioFile(t, "scenario: a_longer_name\nlasts: 1 s\n")
	out, errs, code := ohmgate(t, "simulate", "--brief", kestrel, short, long)
	require.Equal(t, exitNothing, code, errs)
	require.Contains(t, out, "\na              1 shown")
	require.Contains(t, out, "\na_longer_name  it expects nothing, so nothing checked\n")
	require.Contains(t, out, "2 scenarios: a scenario expects nothing, so nothing checked\n")
}
