package sim

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verdict"
)

// A reason is read from a scenario once, as values; what the story says of it
// afterwards is not looked at.
func TestBecauseNamesValues(t *testing.T) {
	s := small(t)
	for because, want := range map[string]verdict.Verdict{
		"wait running":             verdict.Shown,
		"wait running: tank":       verdict.Shown,
		"wait":                     verdict.Shown,
		"permissive not met: bond": verdict.Shown,
		"bond":                     verdict.Shown, // whatever the reason is
		"tank":                     verdict.Shown,
		"pressed before all conditions were true": verdict.Shown,
		"permissive not met: bond, here":          verdict.Violated, // here is not behind it
		"wait running: bond":                      verdict.Violated,
		"permissive unknown":                      verdict.Violated,
		"held for too long":                       verdict.Violated,
		"backup called":                           verdict.Violated,
		"backup called by pump":                   verdict.Violated,
		"reset needed":                            verdict.Violated, // what a press needs anyway is no reason
		"did not report stopped in time":          verdict.Violated,
	} {
		r, _ := play(t, s, pressedEarly(because))
		require.Equal(t, want, r.Outcomes[0].Verdict, "%s: %s\n%s", because, r.Outcomes[0].Detail, storyText(r, 1000))
	}
	for because, says := range map[string]string{
		"reset ignored":                              "no reason of an event", // told, but no reason
		"permissive not met; wait running":           "no reason of an event",
		"pressed before all conditions were true: x": `nothing is called "x"`,
		"permissive not met: bon":                    `nothing is called "bon"`,
	} {
		_, problems := ParseScenario("x.yaml", []byte(pressedEarly(because)), s)
		require.Len(t, problems, 1, because)
		require.Contains(t, problems[0].Text, says)
		require.NotEmpty(t, problems[0].Instead)
	}
}

// pressedEarly presses reset while the wait runs, and expects it to be ignored.
func pressedEarly(because string) string {
	text := strings.Replace(pulled, "faults:\n", "  - {at: 1.5 s, do: press, on: reset, for: 0.2 s}\nfaults:\n", 1)
	return text + "  - {event: reset ignored pump, because: \"" + because + "\", within: 100 ms, of: 1.5 s}\n"
}
