package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock/site"
)

func compiled(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	text, _, code := ohmgate(t, "schema", name)
	require.Equal(t, exitShown, code)
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource(name+".json", document))
	schema, err := compiler.Compile(name + ".json")
	require.NoError(t, err)
	return schema
}

// asJSON is a YAML text as a validator of JSON sees it.
func asJSON(t *testing.T, text string) any {
	t.Helper()
	bytes, err := yaml.YAMLToJSON([]byte(text))
	require.NoError(t, err)
	var made any
	require.NoError(t, json.Unmarshal(bytes, &made))
	return made
}

func readFile(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	require.NoError(t, err)
	return string(text)
}

// Good rig maps obey the published schema, and what it refuses the program refuses too.
func TestRigMapsAndTheirSchema(t *testing.T) {
	schema := compiled(t, "rig")
	for _, name := range []string{"bench_siding", "standin_siding"} {
		whole := asJSON(t, readFile(t, "../../testdata/rig/"+name+".yaml")).(map[string]any)
		require.NoError(t, schema.Validate(whole["rig"]), name)
	}
	good := readFile(t, "../../testdata/rig/bench_siding.yaml")
	for _, c := range []struct{ from, to string }{
		{", time_out: 1 s", ""},
		{"kind: inputs, address: 2", "kind: inputs"},
		{"kind: inputs, address: 2", "kind: inputs, address: 248"},
		{"kind: inputs", "kind: outputs"},
		{"set: \"RES {ohms}\", ", ""},
		{"RES {ohms}", "RES 5"},
		{"commands: {start", "commands: {strat: x, start"},
		{"use: bridge, resistor: 0.3 Ω", "use: bridge"},
		{"resistor: 0.3 Ω", "resistor: 0.3"},
		{"use: series-break", "use: series"},
		{"{name: valve_1, module: contacts, point: 0, use: reads}", "{name: valve_1, module: contacts, point: 0, use: reads, resistor: 3 Ω}"},
		{"{name: valve_1, module: contacts, point: 0, use: reads}", "{name: valve_1, module: contacts, use: reads}"},
		{"baud: 115200, frame: 8E1", "baud: 115200"},
		{"frame: 8E1", "frame: 9X1"},
		{"turnaround: 2 ms, operate_max", "turnaround: 2, operate_max"},
		{"supply: {module: relays, point: 6, boot: 100 ms}", "supply: {module: relays, boot: 100 ms}"},
		{"  calibration: decade", "  calibrated: decade"},
	} {
		require.Contains(t, good, c.from)
		text := strings.Replace(good, c.from, c.to, 1)
		require.Error(t, schema.Validate(asJSON(t, text).(map[string]any)["rig"]), c.to)
		s, problems := site.Parse("../../testdata/rig/bench.yaml", []byte(text))
		if problems == nil {
			_, problems = wiring.Read(s)
		}
		require.NotNil(t, problems, "the schema refuses what the program takes: %s", c.to)
	}
}

func TestCalibrationFilesAndTheirSchema(t *testing.T) {
	schema := compiled(t, "calibration")
	good := readFile(t, "../../testdata/rig/decade_QR-D-11.yaml")
	require.NoError(t, schema.Validate(asJSON(t, good)))
	for _, c := range []struct{ from, to string }{
		{"instrument: decade\n", ""},
		{"due: 2027-03-31\n", ""},
		{"date: 2026-03-31", "date: 31.3.2026"},
		{"contacts: 0.1 Ω", "contacts: 0.1"},
		{", uncertainty: 0.02 Ω}", "}"},
		{"set: 0.3 Ω,", "sett: 0.3 Ω,"},
		{"serial:", "number:"},
	} {
		require.Contains(t, good, c.from)
		text := strings.Replace(good, c.from, c.to, 1)
		require.Error(t, schema.Validate(asJSON(t, text)), c.to)
		file := t.TempDir() + "/c.yaml"
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		_, problems := wiring.ReadCalibration(file)
		require.NotNil(t, problems, "the schema refuses what the program takes: %s", c.to)
	}
}
