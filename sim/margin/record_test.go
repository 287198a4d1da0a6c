package margin

import (
	"bytes"
	"encoding/json"
	"image/png"
	"math"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// siteFiles are all sites that margin is tried on.
var siteFiles = []string{
	"margin/seven_situations.yaml", "margin/all_answered.yaml", "margin/nothing_known.yaml",
	"kestrel_siding.yaml", "amber_line.yaml", "hazel_works.yaml",
}

func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("margin.json", document))
	made, err := compiler.Compile("margin.json")
	require.NoError(t, err)
	return made
}

// Every report keeps to the published schema, which allows no other key.
func TestReportsKeepToTheSchema(t *testing.T) {
	schema := compiled(t)
	for _, name := range siteFiles {
		data, err := json.Marshal(reportOf(t, name))
		require.NoError(t, err, name)
		document, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		require.NoError(t, err)
		assert.NoError(t, schema.Validate(document), name)
	}
	// A schema that takes everything would show nothing.
	for _, broken := range []string{`{}`, `{"schema":"ohmgate margin 1"}`} {
		document, err := jsonschema.UnmarshalJSON(strings.NewReader(broken))
		require.NoError(t, err)
		assert.Error(t, schema.Validate(document), broken)
	}
}

// The same site gives the same bytes.
func TestReportsAreStable(t *testing.T) {
	var before []byte
	for range 3 {
		data, err := json.Marshal(studied(t, read(t, "margin/seven_situations.yaml")))
		require.NoError(t, err)
		if before != nil {
			assert.Equal(t, string(before), string(data))
		}
		before = data
	}
}

func TestPlots(t *testing.T) {
	for _, name := range siteFiles {
		r := reportOf(t, name)
		for _, node := range r.Drawable() {
			l, ok := r.Line(node)
			require.True(t, ok)
			var drawn bytes.Buffer
			require.NoError(t, l.Plot(&drawn, "svg"), "%s %s", name, node)
			assert.Contains(t, drawn.String(), "ignites from", node)
			assert.NotContains(t, drawn.String(), "NaN", node)
		}
	}
	l, ok := reportOf(t, "kestrel_siding.yaml").Line("")
	require.True(t, ok)
	var drawn bytes.Buffer
	require.NoError(t, l.Plot(&drawn, "png"))
	picture, err := png.Decode(&drawn)
	require.NoError(t, err)
	assert.Greater(t, picture.Bounds().Dx(), 600)
	assert.Error(t, l.Plot(&drawn, "bmp"))
	_, ok = reportOf(t, "kestrel_siding.yaml").Line("car_99")
	assert.False(t, ok, "no other node is drawn in its place")
}

// The drawn course ends at the closed forms of the outcome.
func TestCourseEndsAtTheOutcome(t *testing.T) {
	for _, name := range siteFiles {
		for _, l := range reportOf(t, name).Lines {
			if l.Loss.Outcome == nil {
				continue
			}
			last := l.Loss.course(4000)[3999]
			assert.InEpsilon(t, l.Loss.Outcome.Peak.Hi, last.charge.Hi, 0.02, "%s %s", name, l.Node)
			assert.InDelta(t, l.Loss.Outcome.Peak.Lo, last.charge.Lo, 0.02*l.Loss.Outcome.Peak.Hi, "%s %s", name, l.Node)
			assert.False(t, math.IsNaN(last.energy.Hi))
		}
	}
}
