package verify

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

func TestWordsForNumbers(t *testing.T) {
	for n, want := range map[model.Scans]string{1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 11: "11th", 12: "12th", 13: "13th", 21: "21st", 102: "102nd", 111: "111th"} {
		require.Equal(t, want, nth(n))
	}
	require.Equal(t, []string{"0 scans", "1 scan", "2 scans"}, []string{model.ScansText(0), model.ScansText(1), model.ScansText(uint64(2))})
	require.Equal(t, []string{"1 search", "2 searches"}, []string{model.Plural(1, "search", "searches"), model.Plural(2, "search", "searches")})
	share := table.Share{Bad: 100, Of: 500, Pattern: append(slices.Repeat([]monitor.Class{monitor.High}, 100), slices.Repeat([]monitor.Class{monitor.Good}, 400)...)}
	require.Equal(t, "1 bad of every 5 readings for ever: 100 high, 400 good", share.Text())
	require.Equal(t, "no bad readings for ever", (&table.Share{Of: 1}).Text())
	for _, x := range [][3]uint64{{17, 51, 17}, {4, 5, 1}, {0, 1, 1}, {100, 500, 100}} {
		require.Equal(t, x[2], table.Divisor(x[0], x[1]))
	}
}
