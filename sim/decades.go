package sim

import (
	"fmt"
	"math"

	"ohmgate/interlock"
	"ohmgate/interlock/site"
	"ohmgate/monitor"
	"ohmgate/sim/charge"
	"ohmgate/sim/charge/interval"
)

// decades says, for a trip on a rising resistance, how far the reading still was
// from the resistance behind which the vessel could be charged until it ignites:
// the figure that a trip on resistance wins. It is told where the site knows the
// current, the capacitance and the ignition energy, at the bad end of each.
func decades(v *view, output int, causes interlock.CauseSet) []string {
	var list []string
	s := v.plant.Site
	causes.Each(func(cause int) {
		if cause >= len(s.Channels) {
			return
		}
		last := v.plant.channels[cause].last
		if last.Quality != monitor.Valid || last.Value <= 0 || v.State.Channels[cause].Class == monitor.Missing {
			return
		}
		critical := criticalResistance(v, s, output, cause)
		if math.IsInf(critical, 1) || v.In.Readings[cause].Quality == monitor.OverRange {
			return
		}
		ohms := interval.Point(ohmsOf(last.Value))
		apart := charge.Decades(ohms, interval.Point(critical)).Lo
		list = append(list, fmt.Sprintf("%s at %s, %.1f decades below what could ignite", s.Channels[cause].Name, Ohms(last.Value), math.Floor(apart*10)/10))
	})
	return list
}

// criticalResistance is the lowest resistance of any vessel behind a channel and
// an output at which its streams could ignite something; infinite if the site
// does not say enough.
func criticalResistance(v *view, s *site.Site, output, channel int) float64 {
	lowest := math.Inf(1)
	vessel := s.VesselOf(&s.Channels[channel])
	if vessel < 0 {
		return lowest
	}
	f := &s.Vessels[vessel]
	for _, stream := range v.plant.Logic.StreamsOf(output) {
		current := s.Streams[stream].Current
		charges := false
		for _, charged := range v.plant.Logic.Streams[stream].Charges {
			charges = charges || charged == vessel
		}
		if !charges || !current.Set || !f.Capacitance.Set || !f.Ignition.Set {
			continue
		}
		limits := charge.ResistanceLimits(between(current), between(f.Capacitance), charge.Ignites(between(f.Ignition)))
		lowest = math.Min(lowest, limits.Critical.Lo)
	}
	return lowest
}

func between(s site.Span) interval.Interval { return interval.Between(s.Lo, s.Hi) }
