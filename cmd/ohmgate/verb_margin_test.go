package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const marginSites = "../../testdata/sites/margin/"

// capture runs a verb with its output going to a file.
func captureMargin(t *testing.T, args ...string) (exitCode, string) {
	t.Helper()
	file, err := os.Create(filepath.Join(t.TempDir(), "out"))
	require.NoError(t, err)
	defer file.Close()
	verb := rootCommand()
	verb.SetArgs(append([]string{"margin"}, args...))
	verb.SetOut(file)
	verb.SetErr(file)
	verb.SilenceErrors, verb.SilenceUsage = true, true
	code := exitShown
	if err := verb.Execute(); err != nil {
		code = report(file, err)
	}
	data, err := os.ReadFile(file.Name())
	require.NoError(t, err)
	return code, string(data)
}

func TestMarginExitCodes(t *testing.T) {
	for _, c := range []struct {
		name string
		args []string
		want exitCode
		says string
	}{
		{"all shown", []string{marginSites + "all_answered.yaml"}, exitShown, "wins everywhere"},
		{"loses somewhere", []string{marginSites + "seven_situations.yaml"}, exitViolated, "loses everywhere"},
		{"nothing known", []string{marginSites + "nothing_known.yaml"}, exitIncomplete, "UNANSWERED"},
		{"no such file", []string{"no_such_site.yaml"}, exitInput, "cannot be opened"},
		{"a kind of picture that is none", []string{marginSites + "all_answered.yaml", "--plot", "x.bmp"}, exitInput, ".svg or .png"},
		{"a node that is none", []string{marginSites + "all_answered.yaml", "--plot", "x.svg", "--of", "nobody"}, exitInput, "write one of tank"},
		{"numbers for the assessor", []string{marginSites + "all_answered.yaml", "--reliability"}, exitShown, "PFDavg"},
		{"no numbers for the assessor", []string{marginSites + "nothing_known.yaml", "--reliability"}, exitNothing, "nothing checked"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, out := captureMargin(t, c.args...)
			assert.Equal(t, c.want, code)
			assert.Contains(t, strings.Join(strings.Fields(out), " "), c.says)
			assert.NoFileExists(t, "x.svg")
		})
	}
}

func TestMarginWritesJSONAndPictures(t *testing.T) {
	picture := filepath.Join(t.TempDir(), "tank.png")
	code, out := captureMargin(t, marginSites+"all_answered.yaml", "--json", "--plot", picture)
	assert.Equal(t, exitShown, code)
	var document struct {
		Schema  string
		Verdict string
		Exit    int
	}
	require.NoError(t, json.Unmarshal([]byte(out), &document))
	assert.Equal(t, "ohmgate margin 1", document.Schema)
	assert.Equal(t, "shown", document.Verdict)
	assert.FileExists(t, picture)
	code, _ = captureMargin(t, marginSites+"all_answered.yaml", "--plot", filepath.Join(t.TempDir(), "no", "room.svg"))
	assert.Equal(t, exitInput, code, "the name is the mistake, as for simulate and replay")
}
