package sim

import (
	"bytes"
	"encoding/json"
	"sort"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock/site"
	"ohmgate/interlock/verdict"
)

// TestEveryShippedScenarioHolds plays every scenario of testdata: everything it
// expects must be shown, and with the whole site stepped in every scan, not only
// what may change, the report is the same.
func TestEveryShippedScenarioHolds(t *testing.T) {
	sites := map[string]*site.Site{}
	for file, name := range scenarioFiles(t) {
		if sites[name] == nil {
			sites[name] = readSite(t, name)
		}
		t.Run(file, func(t *testing.T) {
			t.Parallel()
			sc, problems := ReadScenario(file, sites[name])
			require.Nil(t, problems, "%v", problems)
			result, err := Run(sites[name], sc, Options{})
			require.NoError(t, err)
			demand(t, result)
			require.Equal(t, verdict.Shown, result.Verdict())
			require.NotEmpty(t, result.Told, "nothing was told")
			require.NotEmpty(t, result.Final)
			plain, err := Run(sites[name], sc, Options{EveryScan: true})
			require.NoError(t, err)
			require.Equal(t, reportText(t, plain), reportText(t, result), "skimming changes nothing")
		})
	}
	require.Len(t, sites, 3, "every demo site has scenarios")
}

func reportText(t testing.TB, results ...*Result) string {
	t.Helper()
	text, err := json.Marshal(NewReport(results[0].Site, results, "test"))
	require.NoError(t, err)
	return string(text)
}

func TestTheSameSeedGivesTheSameReportAndAnotherSeedAnother(t *testing.T) {
	s := readSite(t, "kestrel_siding")
	sc, problems := ReadScenario("../testdata/scenarios/slow_rust.yaml", s)
	require.Nil(t, problems)
	first, err := Run(s, sc, Options{})
	require.NoError(t, err)
	again, err := Run(s, sc, Options{})
	require.NoError(t, err)
	require.Equal(t, reportText(t, first), reportText(t, again))
	seed := uint64(99)
	other, err := Run(s, sc, Options{Seed: &seed})
	require.NoError(t, err)
	require.NotEqual(t, reportText(t, first), reportText(t, other))
}

// compiled reads a published schema the way an editor or a checker would.
func compiled(t testing.TB, text []byte) *jsonschema.Schema {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("schema.json", document))
	schema, err := c.Compile("schema.json")
	require.NoError(t, err)
	return schema
}

func TestReportsObeyTheirSchema(t *testing.T) {
	schema := compiled(t, ReportSchema())
	s := readSite(t, "kestrel_siding")
	var results []*Result
	for _, name := range []string{"clamp_pulled", "eight_bays", "bus_cut"} {
		sc, problems := ReadScenario("../testdata/scenarios/"+name+".yaml", s)
		require.Nil(t, problems)
		result, err := Run(s, sc, Options{})
		require.NoError(t, err)
		results = append(results, result)
	}
	text := reportText(t, results...)
	report, err := jsonschema.UnmarshalJSON(bytes.NewReader([]byte(text)))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(report))
	// The schema must be able to say no.
	report.(map[string]any)["runs"].([]any)[0].(map[string]any)["verdict"] = "safe"
	require.Error(t, schema.Validate(report))
	delete(report.(map[string]any), "tool")
	require.Error(t, schema.Validate(report))
}

func TestShippedScenariosObeyTheirSchema(t *testing.T) {
	schema := compiled(t, ScenarioSchema())
	files := scenarioFiles(t)
	names := make([]string, 0, len(files))
	for file := range files {
		names = append(names, file)
	}
	sort.Strings(names)
	for _, file := range names {
		data, problems := site.ReadBytes(file)
		require.Nil(t, problems)
		root, problems := site.Document(file, data)
		require.Nil(t, problems)
		require.NoError(t, schema.Validate(asJSON(root)), file)
	}
	broken := map[string]any{"scenario": "x", "lasts": "10"}
	require.Error(t, schema.Validate(broken), "a time without a unit")
	require.Error(t, schema.Validate(map[string]any{"scenario": "x", "lasts": "10 s", "expects": []any{}}), "a misspelt key")
}

// asJSON turns a YAML tree into what a JSON Schema sees.
func asJSON(n *site.Node) any {
	switch n.Shape {
	case site.Mapping:
		made := map[string]any{}
		for _, e := range n.Entries {
			made[e.Key] = asJSON(e.Value)
		}
		return made
	case site.List:
		made := []any{}
		for _, item := range n.Items {
			made = append(made, asJSON(item))
		}
		return made
	case site.Scalar:
		return n.Text
	}
	return nil
}
