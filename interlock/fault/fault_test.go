package fault

import (
	"regexp"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/monitor"
)

func TestEveryEntryIsComplete(t *testing.T) {
	name := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`)
	seen := map[string]bool{}
	for _, f := range All() {
		require.Regexp(t, name, f.Name)
		require.False(t, seen[f.Name], "%s stands twice", f.Name)
		seen[f.Name] = true
		require.NotZero(t, f.On, f.Name)
		require.NotEmpty(t, f.Title, f.Name)
		require.Regexp(t, `\.$`, f.Models, "%s: a sentence", f.Name)
		require.NotEqual(t, Sees{}, f.Sees, "%s does nothing that the logic could see", f.Name)
		require.NotEmpty(t, f.ShownBy, "%s: what shows it where no rule does?", f.Name)
		require.NotContains(t, f.ShownBy, "function test of the real part", f.Name)
		require.LessOrEqual(t, len(f.Params), 4, f.Name)
		for _, p := range f.Params {
			require.Regexp(t, name, p.Name)
			require.NotContains(t, []string{"at", "on", "until", "fault"}, p.Name, "%s: the word is taken", f.Name)
			require.NotEmpty(t, p.What)
			require.Equal(t, p.Unit == Word, len(p.Words) > 0)
			found, ok := f.Param(p.Name)
			require.True(t, ok)
			require.Equal(t, p, found)
		}
		require.Same(t, f, Named(f.Name))
	}
	require.Nil(t, Named("gremlin"))
	_, ok := All()[0].Param("colour")
	require.False(t, ok)
	names := Names()
	require.True(t, sort.StringsAreSorted(names))
	require.Len(t, names, len(All()))
}

// What an entry must say, because zero is no answer.
func TestEveryEntrySaysWhereItHides(t *testing.T) {
	for _, f := range All() {
		require.NotEqual(t, HidesUnsaid, f.Hides, "%s: where can a loss look good for ever while it acts? Say Hides: HidesALoss, …, or HidesNothing", f.Name)
		if f.Bond == BondGone && f.On == OnChannel && f.Hides == HidesNothing {
			require.Zero(t, f.Sees.Readings&(AsBefore|ReadsGood), "%s takes the bond away and can read good, and says that it hides nothing", f.Name)
		}
	}
}

// TestFreedomFitsTheTarget: a fault acts on what it is on.
func TestFreedomFitsTheTarget(t *testing.T) {
	for _, f := range All() {
		if f.On != OnChannel {
			require.Zero(t, Evidence(f.Bond)|f.Evidence, "%s: only a fault on a channel says what becomes of bond and evidence", f.Name)
		}
		if f.On != OnChannel {
			require.Zero(t, f.Way, f.Name)
			require.Empty(t, f.AtMost, f.Name)
		}
		if p, ok := f.Param(f.AtMost); f.AtMost != "" {
			require.True(t, ok && p.Unit == Ohm, "%s: nothing is read above %s, which is no resistance of it", f.Name, f.AtMost)
		}
		if f.On != OnInput {
			require.Zero(t, f.Fits, "%s: only a fault on an input says which it fits", f.Name)
		}
		switch f.On {
		case OnChannel:
			require.NotZero(t, f.Sees.Readings, f.Name)
			require.Zero(t, f.Sees.Signals, f.Name)
			require.Zero(t, f.Sees.Actuator|Actuator(f.Sees.Machine), f.Name)
		case OnInput, OnBypass:
			require.NotZero(t, f.Sees.Signals, f.Name)
			require.Zero(t, f.Sees.Readings, f.Name)
		case OnOutput:
			require.NotZero(t, f.Sees.Actuator, f.Name)
			require.Zero(t, f.Sees.Readings, f.Name)
		case OnBus:
			require.NotZero(t, f.Sees.Signals, f.Name)
			require.NotZero(t, f.Sees.Readings, f.Name)
		case OnLogic:
			require.NotZero(t, f.Sees.Machine, f.Name)
		}
	}
}

// TestTheCatalogueHoldsEverythingThatWasAskedFor names each kind of fault that
// the project promises to simulate.
func TestTheCatalogueHoldsEverythingThatWasAskedFor(t *testing.T) {
	for _, name := range []string{
		"clamp_removed", "clamp_put_back", "clamp_on_paint", "clamp_on_wrong_object", "strap_left_out", "corrosion", "film", "chatter",
		"vibration", "rotation", "broken_wire", "shorted_leads", "lead_temperature", "mains_pickup", "stray_dc", "noise", "fast_bursts",
		"coarse_adc", "saturation", "frozen_reading", "drift", "lost_samples", "late_samples", "repeated_samples", "bus_cut",
		"scan_overrun", "power_dip", "welded_contact", "slow_valve", "stuck_valve", "end_switch_on", "end_switch_off",
		"button_pressed", "button_held", "button_taped", "button_bouncing", "bypass_used",
	} {
		require.NotNil(t, Named(name), name)
	}
}

func TestWhatAFaultMakesOfAReading(t *testing.T) {
	stamped := &monitor.Config{Stamped: true, OverRangeIsOpen: true}
	floored := &monitor.Config{Stamped: true, Floor: 1}
	unstamped, instrument := &monitor.Config{}, &monitor.Config{Stamped: true}
	for _, x := range []struct {
		fault   string
		without monitor.Class
		on      *monitor.Config
		makes   []monitor.Class
	}{
		{"frozen_reading", monitor.High, stamped, []monitor.Class{monitor.High, monitor.Good, monitor.Missing}},
		{"repeated_samples", monitor.Good, stamped, []monitor.Class{monitor.Good, monitor.Missing}},
		{"repeated_samples", monitor.Open, unstamped, []monitor.Class{monitor.Open, monitor.Good, monitor.Between, monitor.High, monitor.Invalid}},
		{"over_range", monitor.Good, stamped, []monitor.Class{monitor.Open}},
		{"over_range", monitor.Good, instrument, []monitor.Class{monitor.Invalid}},
		{"corrosion", monitor.Good, stamped, []monitor.Class{monitor.Good, monitor.Between, monitor.High, monitor.Open}},
		{"corrosion", monitor.High, stamped, []monitor.Class{monitor.High, monitor.Open}},
		{"leak_path", monitor.Good, stamped, []monitor.Class{monitor.Good}},
		{"leak_path", monitor.Good, floored, []monitor.Class{monitor.Good, monitor.Invalid}},
		{"leak_path", monitor.Open, floored, []monitor.Class{monitor.Open, monitor.High, monitor.Between, monitor.Good, monitor.Invalid}},
	} {
		var want [monitor.Classes]bool
		for _, class := range x.makes {
			want[class] = true
		}
		require.Equal(t, want, Named(x.fault).Makes(x.without, x.on), "%s of %s", x.fault, x.without)
	}
}

func TestEverySetHasItsTexts(t *testing.T) {
	count := func(each func(func(string))) int {
		n := 0
		each(func(text string) {
			require.NotEmpty(t, text)
			n++
		})
		return n
	}
	require.Equal(t, readingKinds, count(Readings(1<<readingKinds-1).Each))
	require.Equal(t, signalKinds, count(Signals(1<<signalKinds-1).Each))
	require.Equal(t, actuatorKinds, count(Actuator(1<<actuatorKinds-1).Each))
	require.Equal(t, machineKinds, count(Machine(1<<machineKinds-1).Each))
	for target := OnNothing; target < targetKind; target++ {
		require.NotEmpty(t, target.String())
	}
}
