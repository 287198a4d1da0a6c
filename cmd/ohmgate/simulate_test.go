package main

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock/page"
)

const (
	kestrel   = "../../testdata/sites/kestrel_siding.yaml"
	scenarios = "../../testdata/scenarios/"
)

// ohmgate runs a command line in this process: what it prints, and its code.
func ohmgate(t *testing.T, args ...string) (out, errs string, code exitCode) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(&stdout)
	root.SetErr(&stderr)
	if err := root.Execute(); err != nil {
		code = report(&stderr, err)
	}
	return stdout.String(), stderr.String(), code
}

// scenarioFile writes a scenario beside the test.
func scenarioFile(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "scenario.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	return file
}

func TestSimulateTellsWhatHappenedWithinEightyColumns(t *testing.T) {
	out, errs, code := ohmgate(t, "simulate", kestrel, scenarios+"clamp_pulled.yaml", scenarios+"eight_bays.yaml")
	require.Equal(t, exitShown, code, errs)
	for _, line := range strings.Split(out, "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(line), page.Width, "%q", line)
	}
	flat := strings.Join(strings.Fields(out), " ")
	for _, part := range []string{
		"10.000 s plant clamp taken off on bond_1", "bonded -> lost, open", "first-out bond_1", "reconnected early",
		"order not known", "smallest margin: at", "2 scenarios: everything expected was shown", "seed 7",
	} {
		require.Contains(t, flat, part)
	}
	require.NotRegexp(t, `(?i)\b(safe|pass|passed)\b`, flat, "words that promise too much")
}

func TestSimulateExitCodes(t *testing.T) {
	cases := []struct {
		expect string
		want   exitCode
		says   string
	}{
		{"{never: valve_1 is enabled, from: 0 s}", exitShown, "everything expected was shown"},
		{"{that: valve_1 is enabled, at: 5 s}", exitViolated, "violated"},
		{"{within: 1 s, of: bond_1 is lost, that: valve_1 is tripped}", exitNothing, "nothing checked"},
		{"{that: valve_1 is happy, at: 5 s}", exitInput, "scenario.yaml:6:12"},
	}
	for _, c := range cases {
		file := scenarioFile(t, "scenario: x\nlasts: 10 s\nsteps:\n  - {at: 1 s, do: connect, on: bond_1}\nexpect:\n  - "+c.expect+"\n")
		out, errs, code := ohmgate(t, "simulate", kestrel, file)
		require.Equal(t, c.want, code, "%s\n%s%s", c.expect, out, errs)
		require.Contains(t, strings.Join(strings.Fields(out+errs), " "), c.says)
	}
	empty := scenarioFile(t, "scenario: x\nlasts: 10 s\n")
	_, _, code := ohmgate(t, "simulate", kestrel, empty)
	require.Equal(t, exitNothing, code, "a scenario that expects nothing has checked nothing")
	_, _, code = ohmgate(t, "simulate", kestrel)
	require.Equal(t, exitInput, code, "no scenario named")
	_, errs, code := ohmgate(t, "simulate", kestrel, "nowhere.yaml")
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, "nowhere.yaml:1:1")
	_, _, code = ohmgate(t, "simulate", kestrel, empty, "--seed", "x")
	require.Equal(t, exitInput, code)
}

// TestMixedResultsFollowTheRule: a mistake in the last file is found before the
// first one runs, and violated outranks nothing checked.
func TestMixedResultsFollowTheRule(t *testing.T) {
	idle := scenarioFile(t, "scenario: idle\nlasts: 1 s\n")
	bad := scenarioFile(t, "scenario: bad\nlasts: 1 s\nexpect:\n  - {always: valve_1 is enabled}\n")
	_, _, code := ohmgate(t, "simulate", kestrel, idle, bad, scenarios+"on_change_only.yaml")
	require.Equal(t, exitViolated, code)
	out, _, code := ohmgate(t, "simulate", kestrel, bad, "nowhere.yaml")
	require.Equal(t, exitInput, code)
	require.Empty(t, out, "nothing ran")
}

func TestSimulateReportObeysThePublishedSchema(t *testing.T) {
	text, _, code := ohmgate(t, "schema", "report")
	require.Equal(t, exitShown, code)
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("report.json", document))
	schema, err := compiler.Compile("report.json")
	require.NoError(t, err)
	bad := scenarioFile(t, "scenario: bad\nlasts: 1 s\nexpect:\n  - {always: valve_1 is enabled}\n  - {first-out of: valve_1, is: [bond_1]}\n")
	for _, files := range [][]string{{scenarios + "bus_cut.yaml"}, {bad}, {scenarios + "wrong_object.yaml", bad}} {
		out, errs, code := ohmgate(t, append([]string{"simulate", "--json", kestrel}, files...)...)
		report, err := jsonschema.UnmarshalJSON(strings.NewReader(out))
		require.NoError(t, err, errs)
		require.NoError(t, schema.Validate(report))
		exit, err := report.(map[string]any)["exit"].(json.Number).Int64()
		require.NoError(t, err)
		require.EqualValues(t, code, exit)
	}
}

func TestSimulateWritesJUnit(t *testing.T) {
	file := filepath.Join(t.TempDir(), "results.xml")
	bad := scenarioFile(t, "scenario: bad\nlasts: 1 s\nexpect:\n  - {always: valve_1 is enabled}\n  - {first-out of: valve_1, is: [bond_1]}\n")
	_, _, code := ohmgate(t, "simulate", "--brief", "--junit", file, kestrel, scenarios+"clamp_pulled.yaml", bad)
	require.Equal(t, exitViolated, code)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	var suites junitSuites
	require.NoError(t, xml.Unmarshal(text, &suites))
	require.Len(t, suites.Suites, 2)
	require.Equal(t, 11, suites.Tests)
	require.Equal(t, 1, suites.Failures)
	require.Equal(t, 1, suites.Errors, "nothing checked is no harmless skip")
	require.Equal(t, "violated", suites.Suites[1].Cases[0].Failure.Type)
	left, err := filepath.Glob(filepath.Join(filepath.Dir(file), ".*"))
	require.NoError(t, err)
	require.Empty(t, left, "half-written files are left over")
	_, _, code = ohmgate(t, "simulate", "--junit", filepath.Join(t.TempDir(), "no", "such", "place.xml"), kestrel, scenarios+"on_change_only.yaml")
	require.Equal(t, exitInput, code, "as for a recording: the name is a mistake of the command line")
}

func TestAWriterThatFailsLeavesNothingBehind(t *testing.T) {
	directory := t.TempDir()
	err := writeBeside(filepath.Join(directory, "x"), func(w io.Writer) error {
		_, _ = w.Write([]byte("half"))
		return errors.New("broken off")
	})
	require.ErrorContains(t, err, "broken off")
	left, err := os.ReadDir(directory)
	require.NoError(t, err)
	require.Empty(t, left)
}

func TestSchemaVerb(t *testing.T) {
	for _, name := range schemaNames() {
		out, _, code := ohmgate(t, "schema", name)
		require.Equal(t, exitShown, code)
		document, err := jsonschema.UnmarshalJSON(strings.NewReader(out))
		require.NoError(t, err)
		compiler := jsonschema.NewCompiler()
		require.NoError(t, compiler.AddResource("x.json", document))
		_, err = compiler.Compile("x.json")
		require.NoError(t, err, name)
	}
	_, errs, code := ohmgate(t, "schema", "reports")
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, "report")
}
