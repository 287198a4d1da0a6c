package margin

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock/page"
	"ohmgate/interlock/verdict"
)

// The three groups by hand. 1oo1 without diagnostics (IEC 61508-6 Annex B.3, from
// memory): PFDavg = λ (T/2 + MRT), PFH = λ. The logic is a published row (second
// hand): 1oo2, λ 5e-7, DC 90 %, β 5 %, one year.
func TestAssessedFunction(t *testing.T) {
	r := reportOf(t, "margin/all_answered.yaml")
	require.Len(t, r.Reliability, 1)
	a := r.Reliability[0]
	groups := a.Result.Groups
	require.Len(t, groups, 3)
	assert.InEpsilon(t, 1e-6*(8760.0/2+8), groups[2].PFD, 1e-9)
	assert.InEpsilon(t, 1e-6, groups[2].PFH, 1e-9)
	assert.InEpsilon(t, 0.4*5e-7, groups[0].PFH, 1e-9, "undetected share of the transmitter")
	assert.InEpsilon(t, groups[0].PFD+groups[1].PFD+groups[2].PFD, a.Result.PFD, 1e-12, "in series")
	assert.InEpsilon(t, 0.05*5e-8*8760/2, groups[1].PFD, 0.05, "1oo2: common cause governs")
	assert.Equal(t, verdict.Shown, a.Standing)
	assert.Equal(t, verdict.Shown, r.JudgeReliability())

	var out bytes.Buffer
	r.WriteReliability(page.On(&out))
	assert.Contains(t, out.String(), "no claim of a safety integrity level")
}

// Rates below every band make the longest words; the table keeps its width.
func TestAssessedTableFits(t *testing.T) {
	r := studied(t, changed(t, "margin/all_answered.yaml", "dangerous: 500 FIT", "dangerous: 0.1 FIT", "dangerous: 5e-7 /h", "dangerous: 1e-10 /h", "dangerous: 1000 FIT", "dangerous: 0.1 FIT"))
	assert.Contains(t, r.Reliability[0].Why, "PFH lies below the SIL 4 band")
	var out bytes.Buffer
	r.WriteReliability(page.On(&out))
	assert.Contains(t, out.String(), "below SIL 4, below SIL 4")
	for _, line := range strings.Split(out.String(), "\n") {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), page.Width, line)
	}
}

func TestAssessedTargets(t *testing.T) {
	const all = "margin/all_answered.yaml"
	for _, c := range []struct {
		name    string
		replace []string
		want    verdict.Verdict
		text    string
	}{
		{"more than it reaches", []string{"target: 1", "target: 3"}, verdict.Violated, "asked for is level 3"},
		{"low demand", []string{"demand: high", "demand: low", "target: 1", "target: 2"}, verdict.Shown, "PFDavg lies in SIL 2"},
		{"no target", []string{"    target: 1\n", ""}, verdict.NotShown, "no target"},
		{"rates too high for first order", []string{"coverage: 0 %, proof_test: 8760 h", "coverage: 0 %, proof_test: 175200 h", "demand: high", "demand: low"}, verdict.NotShown, "doubtful"},
		{"no common cause", []string{"beta: 5 %, beta_detected: 2.5 %", "beta: 0 %"}, verdict.NotShown, "doubtful"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := studied(t, changed(t, all, c.replace...))
			assert.Equal(t, c.want, r.Reliability[0].Standing)
			assert.Contains(t, r.Reliability[0].Why, c.text)
		})
	}
	// Without a target the numbers are information and change no verdict.
	assert.EqualValues(t, 0, studied(t, changed(t, all, "    target: 1\n", "")).Exit)
	assert.EqualValues(t, 1, studied(t, changed(t, all, "target: 1", "target: 3")).Exit)
}
