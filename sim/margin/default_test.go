package margin

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

func printed(t testing.TB, r *Report) string {
	t.Helper()
	var out bytes.Buffer
	r.WriteText(page.On(&out), true)
	return out.String()
}

// flat is a text without its line breaks.
func flat(s string) string { return strings.Join(strings.Fields(s), " ") }

// Every default of every line stands in the text with its source, and says so.
func TestEveryDefaultIsPrinted(t *testing.T) {
	r := reportOf(t, "margin/nothing_known.yaml")
	told := flat(printed(t, r))
	defaults := 0
	for _, l := range r.Lines {
		for _, k := range l.Inputs {
			if k.From != FromDefault {
				continue
			}
			defaults++
			require.NotEmpty(t, k.Why, "%s has no source", k.Name)
			assert.Contains(t, told, flat("DEFAULT: "+k.Why), k.Name)
			assert.Contains(t, told, flat(k.Name), k.Name)
		}
	}
	assert.GreaterOrEqual(t, defaults, 20)
}

// What the file is silent about is a default, for each field that margin asks
// for, and what it says is none.
func TestEverySilenceIsADefault(t *testing.T) {
	r := reportOf(t, "margin/nothing_known.yaml")
	for node, want := range map[string][]string{
		"vessel": {"streams.liquid.current", "streams.liquid.phases", "vessels.vessel.capacitance", "vessels.vessel.lowest_capacitance", "vessels.vessel.ignition",
			"vessels.vessel.leak", "channels.bond.leads", "channels.bond.uncertainty", "outputs.valve.output_delay", "outputs.valve.confirm.dead_time", "streams.liquid.profile"},
		"hopper": {"streams.powder.mass_flow", "vessels.hopper.capacitance", "vessels.hopper.ignition", "vessels.hopper.leak", "channels.bond_powder.leads",
			"channels.bond_powder.uncertainty", "outputs.screw.output_delay", "outputs.screw.confirm.dead_time", "streams.powder.profile"},
	} {
		have := map[string]string{}
		for _, k := range lineOf(t, r, node).Inputs {
			have[k.Path] = k.From
		}
		for _, path := range want {
			assert.Equal(t, FromDefault, have[path], path)
		}
	}
	for _, k := range reportOf(t, "margin/all_answered.yaml").Lines[0].Inputs {
		if k.From == FromDefault {
			assert.Contains(t, []string{"streaming constant", "sparking voltage"}, k.Name, "constants of nature are all that is left")
		}
	}
}

// With nothing known nothing is claimed, and no wait has a number.
func TestNothingKnownClaimsNothing(t *testing.T) {
	r := reportOf(t, "margin/nothing_known.yaml")
	assert.Equal(t, verdict.NotShown, r.Verdict)
	assert.EqualValues(t, 3, r.Exit)
	assert.Equal(t, len(asked), r.Unanswered)
	for _, l := range r.Lines {
		_, ok := l.Wait.Computed.Time()
		assert.False(t, ok)
		assert.Contains(t, l.Wait.Why, "cannot be computed")
	}
	for _, q := range r.Sources {
		assert.Contains(t, printed(t, r), "UNANSWERED: "+q.Asks)
	}
}

// Text fits 80 columns and never uses the words that nobody may say.
func TestTextOfEverySite(t *testing.T) {
	for _, name := range siteFiles {
		told := printed(t, reportOf(t, name))
		for i, line := range strings.Split(told, "\n") {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), page.Width, fmt.Sprintf("%s:%d: %s", name, i+1, line))
		}
		assert.NotRegexp(t, `(?i)\b(unsafe|safe|pass|passed)\b`, strings.ReplaceAll(flat(told), "safe state", ""), name)
	}
}

// The short form says how many defaults it leaves out, and the same verdict.
func TestBriefCountsWhatItLeavesOut(t *testing.T) {
	var out bytes.Buffer
	reportOf(t, "margin/nothing_known.yaml").WriteBrief(page.On(&out))
	assert.Contains(t, flat(out.String()), "not shown: of 2 lines")
	assert.Regexp(t, `2[0-9] inputs are defaults`, flat(out.String()))
	assert.Less(t, strings.Count(out.String(), "\n"), 12)
}

// Bays that are alike are told once, and all of them when asked for.
func TestAlikeBaysAreToldOnce(t *testing.T) {
	r := reportOf(t, "kestrel_siding.yaml")
	require.Len(t, r.Lines, 8)
	assert.NotEmpty(t, r.Lines[0].Alike)
	var out bytes.Buffer
	r.WriteText(page.On(&out), false)
	assert.Less(t, out.Len(), len(printed(t, r))/2)
	for _, i := range r.Lines[0].Alike {
		assert.Equal(t, r.Lines[0].Loss.Outcome, r.Lines[i].Loss.Outcome)
	}
}
