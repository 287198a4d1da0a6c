package review

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
)

// bench turns the logic of a site with everything good, at rest.
type bench struct {
	site   *site.Site
	config *interlock.Config
	state  *interlock.State
	in     *interlock.Inputs
	out    *interlock.Decision
	stamp  uint16
}

func newBench(t *testing.T, s *site.Site) *bench {
	t.Helper()
	c, problems := s.Logic()
	require.NoError(t, problems.Err())
	b := &bench{site: s, config: c, state: interlock.NewState(c), in: interlock.NewInputs(c), out: interlock.NewDecision(c)}
	for i := range s.Inputs {
		b.set(s.Inputs[i].Name, s.Inputs[i].Use == "evidence" || s.Inputs[i].Name == "lance_shut" || s.Inputs[i].Name == "pump_rests" ||
			s.Inputs[i].Name == "slide_shut" || s.Inputs[i].Name == "screw_rests")
	}
	for range 500 { // settles, and the wait of power-up (short in these sites) passes
		b.step()
	}
	return b
}

// set gives an input its value, as the file means it.
func (b *bench) set(name string, on bool) {
	i := b.site.InputIndex(name)
	b.in.Signals[i] = interlock.Low
	if on != b.site.Inputs[i].Inverted {
		b.in.Signals[i] = interlock.High
	}
}

func (b *bench) silent(name string) { b.in.Signals[b.site.InputIndex(name)] = interlock.NoSignal }

func (b *bench) step() {
	b.stamp++
	for i := range b.site.Channels {
		b.in.Readings[i] = monitor.Reading{Value: b.site.Channels[i].Accept, Quality: monitor.Valid, Stamp: b.stamp}
	}
	interlock.Step(b.config, b.state, b.in, b.out)
}

func (b *bench) runs(output string) bool { return b.out.Coils.Energised(b.site.OutputIndex(output)) }

var shortWaits = []edit{{"drum", "wait: 60 s", "wait: 100 ms"}, {"cart", "wait: 60 s", "wait: 100 ms"}, {"bag", "wait: 60 s", "wait: 100 ms"}}

// TestAStrayAndAGapMakeAPress shows that R097 draws its line where the logic
// does: one stray 1 and then silence of any length.
func TestAStrayAndAGapMakeAPress(t *testing.T) {
	for _, c := range []struct {
		stale string
		made  bool
	}{{"110 ms", true}, {"109 ms", false}} {
		s := siteWith(t, append([]edit{{"reset_drum", "stale_after: 60 ms", "stale_after: " + c.stale}}, shortWaits...))
		require.Equal(t, c.made, len(reviewed(t, s).of("R097")) > 0)
		started := false
		for gap := range 40 {
			b := newBench(t, s)
			require.Equal(t, interlock.ReasonReset, b.out.Reasons[s.OutputIndex("lance")])
			b.set("reset_drum", true)
			b.step()
			for range gap {
				b.silent("reset_drum")
				b.step()
			}
			b.set("reset_drum", false)
			for range 4 {
				b.step()
				started = started || b.runs("lance")
			}
		}
		require.Equal(t, c.made, started, "stale after %s", c.stale)
	}
}

// TestABondThatStopsNothing shows that what R070 finds runs on in the logic, and
// that the right site stops.
func TestABondThatStopsNothing(t *testing.T) {
	wrong := []edit{permissive("lance", "(bond_drum AND path_drum) OR bond_cart"), permissive("pump", "(bond_drum AND path_drum) OR bond_cart")}
	for _, c := range []struct {
		edits []edit
		runs  bool
	}{{nil, false}, {wrong, true}} {
		s := siteWith(t, append(append([]edit{}, c.edits...), shortWaits...))
		require.Equal(t, c.runs, len(reviewed(t, s).of("R070")) > 0)
		b := newBench(t, s)
		b.set("reset_drum", true)
		for range 20 {
			b.step()
		}
		b.set("reset_drum", false)
		for range 4 {
			b.step()
		}
		require.True(t, b.runs("lance"))
		for range 60 { // the clamp and the path of the drum are open
			b.stamp++
			for i := range s.Channels {
				b.in.Readings[i] = monitor.Reading{Value: s.Channels[i].Accept, Quality: monitor.Valid, Stamp: b.stamp}
				if s.Channels[i].Part == "drum" {
					b.in.Readings[i].Quality = monitor.OverRange
				}
			}
			interlock.Step(b.config, b.state, b.in, b.out)
		}
		require.Equal(t, c.runs, b.runs("lance"))
	}
}
