package verdict

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every verdict has its word, its place in the order and its exit code; of two
// results the order 70 > 2 > 5 > 1 > 4 > 3 > 0 decides, whichever way round.
func TestEveryVerdictIsComplete(t *testing.T) {
	var exits []Exit
	words := map[Verdict]Exit{}
	for i, one := range order {
		exits = append(exits, one.Exit)
		require.NotEmpty(t, one.Means, "exit code %d has no words", one.Exit)
		require.Equal(t, i, one.Exit.rank())
		for k, other := range order {
			want := order[max(i, k)].Exit
			require.Equal(t, want, WorseExit(one.Exit, other.Exit))
		}
		if one.Verdict == "" {
			continue
		}
		words[one.Verdict] = one.Exit
		require.Equal(t, one.Exit, one.Verdict.Exit())
		for _, other := range order {
			if other.Verdict != "" {
				require.Equal(t, WorseExit(one.Exit, other.Exit), Worse(one.Verdict, other.Verdict).Exit())
			}
		}
		text, err := json.Marshal(map[Verdict]Verdict{one.Verdict: one.Verdict})
		require.NoError(t, err)
		require.Equal(t, `{"`+string(one.Verdict)+`":"`+string(one.Verdict)+`"}`, string(text))
		var again map[Verdict]Verdict
		require.NoError(t, json.Unmarshal(text, &again))
		require.Equal(t, map[Verdict]Verdict{one.Verdict: one.Verdict}, again)
	}
	require.Equal(t, []Exit{0, 3, 4, 1, 5, 2, 70}, exits)
	require.Equal(t, map[Verdict]Exit{Shown: 0, Violated: 1, NotShown: 3, NothingChecked: 4}, words, "each verdict stands in the order once")
}

// What nobody judged shows nothing, and what is no verdict never ends well.
func TestTheZeroValueDenies(t *testing.T) {
	var forgotten Verdict
	require.Equal(t, "nothing checked", forgotten.String())
	require.Equal(t, ExitNothing, forgotten.Exit())
	require.Equal(t, ExitNothing, Worse(Shown, forgotten).Exit())
	text, err := json.Marshal(forgotten)
	require.NoError(t, err)
	require.Equal(t, `"nothing checked"`, string(text))
	require.Equal(t, NothingChecked, Worst())
	require.Equal(t, Violated, Worst(Shown, Violated, NotShown))
	require.Equal(t, ExitInternal, Verdict("fine").Exit())
	require.Equal(t, ExitInternal, Worse(Violated, "fine").Exit())
	require.Equal(t, Exit(99), WorseExit(ExitInternal, 99), "a code that nobody knows hides behind none")
	require.ErrorContains(t, new(Verdict).UnmarshalText([]byte("pass")), "is no verdict")
	require.Error(t, new(Verdict).UnmarshalText(nil))
}
