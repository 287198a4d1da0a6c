package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
)

// lacks says what an entry of the table of verbs leaves out.
func (v *verb) lacks(names []string) (list []string) {
	missing := func(when bool, what string, args ...any) {
		if when {
			list = append(list, fmt.Sprintf("%s: "+what, append([]any{v.name}, args...)...))
		}
	}
	missing(!strings.Contains(v.asks, "?"), "asks no question")
	missing(v.about == "", "has no help")
	missing(v.run == nil, "does nothing")
	missing(v.example == "", "has no example")
	missing(len(v.ends) == 0, "does not say how it ends")
	missing(v.above() != "" && !slices.Contains(names, v.above()), "belongs to no verb")
	for code := range v.ends {
		missing(v.means(code) == "", "ends with %d, which means nothing", code)
		missing(slices.Contains(always[:1], code), "every verb ends with %d", code)
	}
	asJSON := false
	for _, one := range slices.Concat(v.flags, v.old) {
		missing(one.help == "", "--%s has no help", one.name)
		if _, yes := one.into.(*bool); !yes {
			missing(takes.FindString(one.help) == "" && one.words == nil, "--%s does not say what it takes", one.name)
		}
		asJSON = asJSON || one.name == "json"
	}
	missing(v.report != nil && !asJSON, "has a report and no --json")
	missing(v.schema != "" && schemas[v.schema] == nil, "has a report whose schema %q is not published", v.schema)
	return list
}

// Every verb has all that belongs to one: what lacks is named.
func TestEveryVerbIsComplete(t *testing.T) {
	var names []string
	for _, v := range verbs() {
		require.NotContains(t, names, v.name)
		for _, what := range v.lacks(names) {
			t.Error(what)
		}
		names = append(names, v.name)
	}
	for _, v := range verbs() { // a flag that asks for another question has its verb
		for _, one := range v.old {
			if at := slices.IndexFunc(verbs(), func(c *verb) bool {
				return c.above() == v.name && (c.asked == one.name || slices.Contains(c.flags.names(), one.name))
			}); at < 0 {
				t.Errorf("%s: --%s is in no help, and no verb behind it has it", v.name, one.name)
			}
		}
	}
}

func TestAnIncompleteVerbIsNamed(t *testing.T) {
	bare := &verb{name: "nowhere bare", flags: flags{{name: "x", into: new(string)}}, report: 1, schema: "none"}
	said := strings.Join(bare.lacks(nil), "\n")
	for _, what := range []string{"asks no question", "has no help", "does nothing", "no example", "how it ends", "belongs to no verb", "--x has no help", "--x does not say what it takes", "no --json", "not published"} {
		require.Contains(t, said, what)
	}
}

// The example of every verb is a command line that it takes, and its files are there.
func TestExamplesAreCommandLines(t *testing.T) {
	for _, v := range verbs() {
		root := rootCommand()
		args := shellWords(v.example)
		found, rest, err := root.Find(args)
		require.NoError(t, err, v.example)
		require.True(t, v.run != nil && (found.CommandPath() == "ohmgate "+v.name || v.name == "journal"), "%s: %s", v.name, found.CommandPath())
		require.NoError(t, found.ParseFlags(rest), v.example)
		require.NoError(t, found.ValidateArgs(found.Flags().Args()), v.example)
		require.NoError(t, found.ValidateRequiredFlags(), v.example)
		for _, word := range args {
			if strings.HasPrefix(word, "testdata/") {
				require.FileExists(t, filepath.Join("..", "..", word))
			}
		}
	}
}

// shellWords cuts a command line as a shell does, with double quotes only.
func shellWords(line string) (list []string) {
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			list = append(list, part)
		} else {
			list = append(list, strings.Fields(part)...)
		}
	}
	return list
}

// README's table of verbs is that of the program.
func TestReadmeNamesEveryVerb(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	for _, v := range verbs() {
		if v.above() == "" && v.name != "completion" {
			row := fmt.Sprintf("| `%s` | %s |", strings.ReplaceAll(strings.TrimSpace(v.name+" "+v.args), "...", "…"), v.asks)
			require.Contains(t, string(text), row+"\n", "README.md lacks the row of a verb")
		}
	}
}

// Every verb completes what is named behind it and behind its flags: no file where
// none is wanted.
func TestCompletion(t *testing.T) {
	complete := func(line string) string {
		root := rootCommand()
		var out bytes.Buffer
		root.SetOut(&out)
		root.SetErr(&bytes.Buffer{})
		root.SetArgs(append([]string{cobra.ShellCompNoDescRequestCmd}, strings.Split(line, " ")...))
		require.NoError(t, root.Execute(), line)
		return out.String()
	}
	for line, want := range map[string]string{
		"":                    "verify\n",
		"verify ":             "faults\n",
		"schema ":             "scenario\n",
		"verify --output ":    ":4\n",
		"review --fail-on ":   "should\n",
		"replay x y --begin ": "power-up\n",
		"completion ":         "fish\n",
		"verify faults ":      "yaml\nyml\n:8\n",
		"rig check ":          ":0\n",
		"rig gaps ":           ":16\n",
		"margin x.yaml ":      ":4\n",
	} {
		require.Contains(t, complete(line), want, line)
	}
	require.NotContains(t, complete("verify --"), "--faults", "what is in no help is offered nowhere")
}

// What a verb prints as JSON says which report it is, and how it ended: the example of
// every verb that needs no bench and no file that the project does not have.
func TestReportsNameTheirShape(t *testing.T) {
	for _, v := range verbs() {
		skip := v.report == nil || v.name == "verify self-check" || v.name == "rig" || v.above() == "journal" || v.name == "rig gaps"
		for _, word := range shellWords(v.example) {
			skip = skip || strings.HasSuffix(word, ".record") || strings.HasSuffix(word, ".csv") && !strings.HasPrefix(word, "testdata/")
		}
		if skip {
			continue
		}
		root := rootCommand()
		var out bytes.Buffer
		var args []string
		for _, word := range append(shellWords(v.example), "--json") {
			args = append(args, strings.Replace(word, "testdata/", "../../testdata/", 1))
		}
		root.SetOut(&out)
		root.SetErr(&bytes.Buffer{})
		root.SetArgs(args)
		code := codeOf(root.Execute())
		var made struct {
			Schema any
			Tool   string
			Exit   *int
		}
		require.NoError(t, json.Unmarshal(out.Bytes(), &made), "%s: %s", v.name, out.String())
		require.Equal(t, fmt.Sprint(v.report), fmt.Sprint(made.Schema), v.name)
		require.NotEmpty(t, made.Tool, v.name)
		require.True(t, v.mayEnd(code), "%s ends with %d", v.name, code)
		if v.name != "review rules" {
			require.NotNil(t, made.Exit, v.name)
			require.EqualValues(t, code, *made.Exit, v.name)
		}
	}
}

// A flag that once asked for another question still does, and says the same.
func TestOldFlagsAnswerAsTheirVerbs(t *testing.T) {
	site, amber, bench := "../../testdata/sites/margin/nothing_known.yaml", "../../testdata/sites/amber_line.yaml", "../../testdata/rig/bench_siding.yaml"
	capture := filepath.Join(t.TempDir(), "a.csv")
	require.NoError(t, os.WriteFile(capture, []byte("time_ms,clamp,valve\n0,0,1\n10,1,1\n40,1,0\n500,1,0\n"), 0o600))
	edges := " --stimulus clamp:rise --response valve:fall --cause bond_1:open"
	asked := map[string]bool{}
	for now, old := range map[string]string{
		"review rules":                                                                "review --rules",
		"margin reliability " + site:                                                  "margin --reliability " + site,
		"verify faults " + site + " --output valve":                                   "verify " + site + " --output valve --faults",
		"verify joint " + site + " --property 2":                                      "verify " + site + " --joint --property 2",
		"verify emit " + site + " promela --output valve":                             "verify " + site + " --emit promela --output valve",
		"verify emit " + site + " cobol --output valve":                               "verify " + site + " --emit cobol --output valve",
		"verify window " + amber + " bond_drum":                                       "verify " + amber + " --window bond_drum",
		"rig check " + capture:                                                        "rig --check " + capture,
		"rig check " + capture + " --head x":                                          "rig --head x --check " + capture,
		"rig coverage " + bench:                                                       "rig --coverage " + bench,
		"rig coverage --json " + bench:                                                "rig --coverage --json " + bench,
		"rig gaps " + t.TempDir() + " nowhere.yaml":                                   "rig --gaps " + t.TempDir() + " nowhere.yaml",
		"rig decode " + capture:                                                       "rig --decode " + capture,
		"rig twin nowhere.yaml":                                                       "rig --twin nowhere.yaml",
		"rig analyse " + bench + " ../../testdata/rig/pulled.yaml " + capture + edges: "rig " + bench + " ../../testdata/rig/pulled.yaml --analyser " + capture + edges,
	} {
		var said [2]string
		for i, line := range []string{now, old} {
			text, code := call(strings.Fields(line)...)
			said[i] = fmt.Sprint(code, " ", regexp.MustCompile(`\d+\.\d s`).ReplaceAllString(text, "T"))
		}
		require.Equal(t, said[1], said[0], now)
		found, _, err := rootCommand().Find(strings.Fields(now))
		require.NoError(t, err)
		asked[strings.TrimPrefix(found.CommandPath(), "ohmgate ")] = true
	}
	for _, v := range verbs() {
		require.True(t, v.asked == "" || asked[v.name] || v.name == "verify self-check", "%s was not compared with --%s", v.name, v.asked)
	}
}
