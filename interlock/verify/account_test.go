package verify

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/table"
	"ohmgate/monitor"
)

// The logic that runs settles, doubts and is lost as the properties say, whatever
// comes; and each way of not doing so is found, with news that lead there.
func TestHowAChannelSettlesAndDoubts(t *testing.T) {
	c, broken := demoChannel(), 0
	find := func(change func(s, next monitor.Control, news monitor.Class) monitor.Control) []monitor.Class {
		logic := model.Real()
		logic.Advance = func(c *monitor.Config, s monitor.Control, news monitor.Class) monitor.Control {
			return change(s, monitor.Advance(c, s, news), news)
		}
		table, err := table.Tabulate(logic, &c, 1<<30)
		require.NoError(t, err)
		for property, found := range misjudges(table, 1<<30) {
			require.NoError(t, found.err)
			require.Equal(t, found.news == nil, found.says == "")
			if found.news != nil {
				broken = property
				return found.news
			}
		}
		return nil
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
		require.Equal(t, 1, broken, name)
	}
	require.NotEmpty(t, find(func(s, next monitor.Control, _ monitor.Class) monitor.Control {
		if next.Phase == monitor.Doubtful && next.Class == monitor.Between {
			next.Doubt = 1
		}
		return next
	}))
	require.Equal(t, 4, broken, "between repays")
	require.NotEmpty(t, find(func(s, next monitor.Control, _ monitor.Class) monitor.Control {
		if s.Phase == monitor.Doubtful && next.Class == monitor.Between {
			next = monitor.Control{Phase: monitor.Lost, Class: next.Class}
		}
		return next
	}))
	require.Equal(t, 6, broken, "between is lost at once")
}

// A channel sorts readings by its limits; each way of not doing so is found.
func TestHowAChannelSortsReadings(t *testing.T) {
	c := demoChannel()
	require.Empty(t, misheard(monitor.Hear, &c))
	for name, wrong := range map[string]func(in *monitor.Reading){
		"negative reads good":  func(in *monitor.Reading) { in.Value = max(in.Value, c.Floor) },
		"reject is one higher": func(in *monitor.Reading) { in.Value -= monitor.Microohm(model.Int(in.Value == c.Reject+1)) },
		"over-range is measured": func(in *monitor.Reading) {
			in.Quality = max(in.Quality, monitor.Valid*monitor.Quality(model.Int(in.Quality == monitor.OverRange)))
		},
	} {
		require.NotEmpty(t, misheard(func(c *monitor.Config, s *monitor.State, in monitor.Reading) monitor.Class {
			wrong(&in)
			return monitor.Hear(c, s, in)
		}, &c), name)
	}
}

// A channel that takes a repeated stamp for news, or hears nothing of limits while
// it is bonded, is seen.
func TestMisstamped(t *testing.T) {
	for _, stamped := range []bool{true, false} {
		c := demoChannel()
		c.Stamped = stamped
		require.Empty(t, misstamped(monitor.Step, &c))
		other := c
		other.Stamped = !stamped
		require.NotEmpty(t, misstamped(func(_ *monitor.Config, s monitor.State, in monitor.Reading) monitor.State {
			return monitor.Step(&other, s, in)
		}, &c))
		wider := c
		wider.Accept++
		require.NotEmpty(t, misstamped(func(_ *monitor.Config, s monitor.State, in monitor.Reading) monitor.State {
			return monitor.Step(&wider, s, in)
		}, &c))
	}
}
