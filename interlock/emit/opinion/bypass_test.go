package opinion

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verify/model"
)

// keyed is a bypass, its key, and what property 11 remembers of them.
type keyed struct {
	interlock.BypassState
	key  interlock.InputState
	on   uint64          // scans that it is on
	zero interlock.Scans // at 0 since its end, as far as it matters
	low  bool            // a valid 0, and nothing but zeros since
}

// oursBypass counts the model by ourselves, with the Step of a whole site that
// has one bypass.
func oursBypass(c *interlock.Config, bound uint64) counted {
	state, in, decision := interlock.NewState(c), interlock.NewInputs(c), interlock.NewDecision(c)
	b := &c.Bypasses[0]
	key := b.Input - 1
	return enumerate(keyed{}, 4, func(s keyed, choice int) (next keyed, bad, met, can bool) {
		state.Bypasses[0], state.Inputs[key] = s.BypassState, s.key
		in.Signals[key] = [...]interlock.Signal{interlock.NoSignal, interlock.Faulty, interlock.Low, interlock.High}[choice]
		interlock.Step(c, state, in, decision)
		next = keyed{state.Bypasses[0], state.Inputs[key], s.on, s.zero, s.low}
		fresh, level := choice > 1, next.key.Level
		switch {
		case next.Active > 0 && s.on == 0:
			bad = !(s.low && fresh && level == interlock.True && s.zero > b.Gap)
			next.on = 1
		case next.Active > 0:
			next.on = min(s.on+1, bound+1)
		case s.on > 0:
			bad = s.on < bound
			next.on, next.zero = 0, 0
		case level == interlock.False:
			next.zero = min(s.zero+1, b.Gap+1)
		}
		if next.on > 0 {
			next.zero = 0
		}
		next.low = level == interlock.False && (fresh || s.low)
		return next, bad || next.on > bound, next.on == bound, true
	})
}

// withKey is a small site with one bypass on its channel.
func withKey(t testing.TB) *interlock.Config {
	return small(t, func(c *interlock.Config) {
		c.Inputs[4].StaleAfter = 2
		c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 1, Gap: 3}}
	}).Config
}

// A bypass, counted by three programs: it lasts as long as it says, in scans, no
// scan less and no scan more.
func TestThreeOpinionsOfABypass(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	c := withKey(t)
	for _, q := range []asked{{11, "9", false, true}, {11, "8", true, true}, {11, "10", true, false}} {
		t.Run(q.bound, func(t *testing.T) {
			t.Parallel()
			bound, err := BoundOf(q.bound)
			require.NoError(t, err)
			s, err := RestateBypass("key", &c.Bypasses[0], &c.Inputs[4], &bound)
			require.NoError(t, err)
			agree(t, s, oursBypass(c, bound.Scans), q)
		})
	}
}

// Mistakes in the clock and in what begins it are found by both peers.
func TestPlantedMistakesInABypassAreFound(t *testing.T) {
	need(t, "spin", "rumur", "gcc")
	c := withKey(t)
	for name, m := range map[string][2]string{
		"it lasts a scan longer":         {"if since > LASTS", "if since > LASTS + 1"},
		"a press that repeats begins it": {"low == 1 && value == AT_1 && told == 1", "value == AT_1"},
		"the gap is a scan too short":    {"pressed == 1 && zeros > GAP", "pressed == 1 && zeros >= GAP"},
		"a key that is held prolongs it": {"  since := since + 1\n", "  if value != AT_1\n    since := since + 1\n  end\n"},
		"zeros count on while it is on":  {"    since := 0\n    zeros := 0", "    since := 0"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, err := RestateBypass("key", &c.Bypasses[0], &c.Inputs[4], nil)
			require.NoError(t, err)
			s.plant(t, m[0], m[1])
			spin, rumur := ask(t, s, 10_000)
			assert.Equal(t, []model.Property{11}, spin.Violated, "SPIN")
			assert.Equal(t, []model.Property{11}, rumur.Violated, "rumur")
		})
	}
}
