package play

import (
	"fmt"
	"slices"
	"time"

	"ohmgate/hwio/port"
	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/judge"
	"ohmgate/hwio/rig/stimulus"
)

// noteGlitch remembers a step in this scan that the unit may trip on.
func (p *Stimulation) noteGlitch(channel int, from, to stimulus.Value, scan uint64) {
	m := p.Map
	shown := stimulus.InPassing(m, channel, &p.Logic.Channels[channel].Config, from, to)
	class, _, may := stimulus.MayTrip(m, p.Logic, channel, shown)
	if !may {
		return
	}
	at := float64(scan) * m.Site.Period.Max.Seconds()
	latest := m.BreakTime(m.Channels[channel].Decade) + m.Site.Timing(p.Logic, channel).Of(class).Detection + mostLag
	p.Glitches = append(p.Glitches, judge.Glitch{Channel: channel, From: at, To: at + latest.Seconds(), Text: fmt.Sprintf("%s was stepped from %v to %v and may have been %v for a moment", m.Site.Channels[channel].Name, from, to, class)})
}

// step sets a decade under the unit's eyes, bridged where a bridge is wired. The answer is when the class changed.
func (p *Stimulation) step(channel int, from, to stimulus.Value, when written) error {
	b, w := p.Bench, &p.Map.Channels[channel]
	var bridged interval.Moment
	if w.Bridge != nil {
		closed := slices.Clone(b.Commanded(w.Bridge.Module))
		closed[w.Bridge.Point] = true
		var err error
		if bridged, err = b.WriteRelays(w.Bridge.Module, closed); err != nil {
			return err
		}
		time.Sleep(max(bridged.To.Sub(port.Now()), 0))
	}
	set, err := b.SetDecade(w.Decade, to.Ohms)
	if err != nil {
		return err
	}
	set.To = set.To.Add(b.Map.BreakTime(w.Decade))
	when.channels[channel] = bridged.Hull(set)
	if w.Bridge == nil {
		return nil
	}
	time.Sleep(b.Map.BreakTime(w.Decade))
	open := slices.Clone(b.Commanded(w.Bridge.Module))
	open[w.Bridge.Point] = false
	opened, err := b.WriteRelays(w.Bridge.Module, open)
	if err != nil {
		return err
	}
	c := &p.Logic.Channels[channel].Config
	switch {
	case stimulus.ClassOf(c, stimulus.Parallel(from.Ohms, w.BridgeValue)) == from.Class(c) && stimulus.ClassOf(c, stimulus.Parallel(to.Ohms, w.BridgeValue)) == from.Class(c):
		when.channels[channel] = opened // until then it looked as before
	case stimulus.ClassOf(c, stimulus.Parallel(from.Ohms, w.BridgeValue)) == to.Class(c) && stimulus.ClassOf(c, stimulus.Parallel(to.Ohms, w.BridgeValue)) == to.Class(c):
		when.channels[channel] = bridged // from then on it looked as afterwards
	default:
		when.channels[channel] = bridged.Hull(opened)
	}
	return nil
}
