package joint_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/verdict"
	"ohmgate/interlock/verify"
	. "ohmgate/interlock/verify/joint"
	"ohmgate/interlock/verify/model"
)

// keyed puts a bypass on the first channel.
func keyed(c *interlock.Config) {
	c.Bypasses = []interlock.Bypass{{Input: 5, Channel: 0, For: 9, Warn: 2, Gap: 6}}
}

// As many joint states with the timer of a bypass as a walk finds.
func TestStatesWithATimerAgreeWithAWalk(t *testing.T) {
	for n, text := range []string{"bond_1", "bond_1 AND bond_2"} {
		j := of(t, yard(t, n+1, text, func(c *interlock.Config) {
			tiny(c)
			keyed(c)
		}), model.Options{})
		require.Equal(t, []string{"bypass_1"}, j.Bypasses())
		j = j.WithBypass("bypass_1")
		e, err := New(j, 1<<30)
		require.NoError(t, err)
		require.NoError(t, e.Run(nil))
		assert.Equal(t, fmt.Sprint(walk(j)), e.States().String(), text)
		t.Logf("%s: %s states", text, e.States())
	}
}

// bypassesOf is the verdict of property 11, nil where it has no meaning, and what the
// search with the first bypass says alone.
func bypassesOf(t testing.TB, m *model.Model, o model.Options) (*verify.Result, verdict.Verdict) {
	t.Helper()
	alone := verdict.Verdict("")
	j := of(t, m, o)
	for _, name := range j.Bypasses() {
		said, _, err := Bypass(j.WithBypass(name), 1<<30, nil)
		require.NoError(t, err)
		alone = said
		break
	}
	return one(t, m, o, "11"), alone
}

// Property 11 gets the explicit verdict; without a bypass that is needed neither
// engine has one.
func TestBypassesAgree(t *testing.T) {
	for _, text := range []string{"bond_1", "bond_1 AND bond_2", "bond_1 OR bond_2", "bond_1 AND (bond_2 OR here)", "bond_2"} {
		for name, change := range map[string]func(*interlock.Config){"covers unreadable": keyed, "covers lost": func(c *interlock.Config) {
			keyed(c)
			c.Bypasses[0].CoversLost = true
		}} {
			m := yard(t, 2, text, change)
			got, alone := bypassesOf(t, m, model.Options{})
			report, err := verify.Verify(m, model.Options{Properties: []string{"11"}})
			require.NoError(t, err)
			if text == "bond_2" {
				assert.Nil(t, got)
				assert.Empty(t, report.Results)
				continue
			}
			require.Len(t, report.Results, 1, text)
			assert.Equal(t, report.Results[0].Verdict, got.Verdict, "%s, %s: %s; jointly: %s", text, name, report.Results[0].Says, got.Says)
			assert.Equal(t, verdict.Shown, got.Verdict, "%s, %s: %s", text, name, got.Says)
			assert.Equal(t, verdict.Shown, alone)
			assert.Equal(t, "bypass_1", got.Subject)
		}
	}
}

// A mistake in the bypass, or in an output that asks nothing under one, is met by
// the joint search itself, and by the explicit engine where it looks there.
func TestPlantedMutantsOfABypassAreCaught(t *testing.T) {
	with := func(plant func(l *model.Logic)) *model.Logic {
		l := model.Real()
		plant(l)
		return l
	}
	bypass := func(change func(c *interlock.Bypass, s *interlock.BypassState, level *interlock.Truth, fresh *bool)) *model.Logic {
		return with(func(l *model.Logic) {
			l.Bypass = func(c *interlock.Bypass, s interlock.BypassState, level interlock.Truth, fresh bool) interlock.BypassState {
				same := *c
				change(&same, &s, &level, &fresh)
				return interlock.StepBypass(&same, s, level, fresh)
			}
		})
	}
	m := yard(t, 1, "bond_1", keyed)
	for name, k := range map[string]struct {
		logic    *model.Logic
		explicit bool
	}{
		"lasts one scan longer": {bypass(func(c *interlock.Bypass, _ *interlock.BypassState, _ *interlock.Truth, _ *bool) { c.For++ }), true},
		"never ends": {bypass(func(_ *interlock.Bypass, s *interlock.BypassState, _ *interlock.Truth, _ *bool) {
			s.Active = min(s.Active, 3)
		}), true},
		"renewed without its gap": {bypass(func(c *interlock.Bypass, s *interlock.BypassState, _ *interlock.Truth, _ *bool) {
			s.Gap = c.Gap.Next()
		}), true},
		"begins with a jammed key": {bypass(func(_ *interlock.Bypass, s *interlock.BypassState, _ *interlock.Truth, _ *bool) { s.Low = true }), true},
		"a dead key counts as released": {bypass(func(_ *interlock.Bypass, _ *interlock.BypassState, level *interlock.Truth, fresh *bool) {
			if *level == interlock.Unknown {
				*level, *fresh = interlock.False, true
			}
		}), true},
		"an output that asks nothing": {with(func(l *model.Logic) {
			l.Output = func(c *interlock.Output, s interlock.OutputControl, in interlock.OutputScan) (interlock.OutputControl, interlock.OutputTold) {
				if s.Mode == interlock.Enabled {
					in.Keep = interlock.True
				}
				return interlock.StepOutput(c, s, in)
			}
		}), false},
	} {
		got, alone := bypassesOf(t, m, model.Options{Logic: k.logic})
		if name != "never ends" { // what counts wrongly without end is the lemma's
			assert.Equal(t, verdict.Violated, alone, name)
		}
		assert.Equal(t, verdict.Violated, got.Verdict, "%s: %s", name, got.Says)
		report, err := verify.Verify(m, model.Options{Logic: k.logic, Properties: []string{"11"}})
		require.NoError(t, err)
		assert.Equal(t, k.explicit, report.Results[0].Verdict == verdict.Violated, "%s: %s", name, report.Results[0].Says)
	}
}

// A bypass under which the output never runs is nothing checked.
func TestABypassThatNeverStandsInIsNothingChecked(t *testing.T) {
	m := yard(t, 1, "bond_1 AND NOT bond_1", keyed)
	j := of(t, m, model.Options{})
	e, err := New(j.WithBypass("bypass_1"), 1<<30)
	require.NoError(t, err)
	require.NoError(t, e.Run(nil))
	said, err := e.Bypassed()
	require.NoError(t, err)
	assert.Equal(t, verdict.NothingChecked, said)
}
