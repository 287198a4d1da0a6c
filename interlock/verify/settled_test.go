package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/monitor"
)

// The logic that runs settles as property 1 says, whatever comes; and each way of
// not settling is found, with news that lead there.
func TestHowAChannelSettles(t *testing.T) {
	c := demoChannel()
	find := func(change func(s, next monitor.Control, news monitor.Class) monitor.Control) []monitor.Class {
		logic := Real()
		logic.Advance = func(c *monitor.Config, s monitor.Control, news monitor.Class) monitor.Control {
			return change(s, monitor.Advance(c, s, news), news)
		}
		table, err := tabulate(logic, &c, 1<<30)
		require.NoError(t, err)
		news, says, err := table.unsettled(1 << 30)
		require.NoError(t, err)
		require.Equal(t, news == nil, says == "")
		return news
	}
	require.Nil(t, find(func(_, next monitor.Control, _ monitor.Class) monitor.Control { return next }))
	for name, change := range map[string]func(s, next monitor.Control, news monitor.Class) monitor.Control{
		"between does not begin it anew": func(s, next monitor.Control, _ monitor.Class) monitor.Control {
			if next.Phase == monitor.Settling && next.Class == monitor.Between {
				next.Run, next.Count = s.Run, s.Count
			}
			return next
		},
		"open is passed over": func(s, next monitor.Control, news monitor.Class) monitor.Control {
			if s.Phase == monitor.Settling && news == monitor.Open {
				return s
			}
			return next
		},
		"pauses are not counted": func(_, next monitor.Control, _ monitor.Class) monitor.Control {
			next.Paused = 0
			return next
		},
		"lost is bonded at once": func(s, next monitor.Control, news monitor.Class) monitor.Control {
			if s.Phase == monitor.Lost && news == monitor.Good {
				next.Phase = monitor.Bonded
			}
			return next
		},
	} {
		require.NotEmpty(t, find(change), name)
	}
}
