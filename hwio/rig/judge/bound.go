package judge

import (
	"fmt"
	"time"

	"ohmgate/hwio/rig/interval"
	"ohmgate/hwio/rig/wiring"
	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Bounds holds what responses of a site's outputs are held against.
type Bounds struct {
	m        *wiring.Map
	logic    *interlock.Config
	verified []Verified
}

// delay is an output's own delay, contact and output module, in the site file.
func (b *Bounds) delay(output int) interval.Span {
	d := b.m.Site.Outputs[output].OutputDelay
	return interval.Span{Least: time.Duration(float64(d.Lo * float64(time.Second))), Most: time.Duration(float64(d.Hi * float64(time.Second)))}
}

// slowPoll is what a poll cycle longer than a scan may add.
func (b *Bounds) slowPoll() time.Duration {
	if b.m.Site.Poll > b.m.Site.Period.Max {
		return b.m.Site.Poll
	}
	return 0
}

// Verified is the worst response of an output to one channel that reads a class in every scan, found by exhaustive search.
type Verified struct {
	Output, Channel string
	Class           monitor.Class
	Scans           uint64 // from the first bad scan to the one that withholds, both counted
	Exact           bool   // a run attains it; else it is an upper bound
}

// searched is what a search says of one output, channel and class.
func (b *Bounds) searched(output, channel int, class monitor.Class) *Verified {
	for i := range b.verified {
		v := &b.verified[i]
		if v.Output == b.m.Site.Outputs[output].Name && v.Channel == b.m.Site.Channels[channel].Name && v.Class == class {
			return v
		}
	}
	return nil
}

// Loss is the bound for a trip by readings of one class on one channel that was bonded without doubt: its worst detection, as
// verified where it was, and the output's own delay. The lower end is the guaranteed patience.
func (b *Bounds) Loss(output, channel int, class monitor.Class) Bound {
	timings := b.m.Site.Timing(b.logic, channel)
	t, delay := timings.Of(class), b.delay(output)
	name := b.m.Site.Channels[channel].Name
	made := Bound{
		Span:     interval.Span{Least: t.Guaranteed + delay.Least, Most: t.Detection + delay.Most},
		Source:   fmt.Sprintf("site timing: worst detection of %s %s %s, output delay %s", name, class, interval.Exactly(t.Detection), interval.Exactly(delay.Most)),
		Patience: true,
	}
	if v := b.searched(output, channel, class); v != nil {
		aperture, word := b.m.Site.Channels[channel].Aperture, "upper bound"
		if v.Exact {
			word = "exact"
		}
		made.Most = time.Duration(v.Scans)*b.m.Site.Period.Max + aperture + b.slowPoll() + delay.Most
		made.Source = fmt.Sprintf("verify: %d %s, %s, for %s %s; aperture %s, output delay %s", v.Scans, plural(int(v.Scans), "scan", "scans"), word, name, class, interval.Exactly(aperture), interval.Exactly(delay.Most))
	}
	return made
}

// Counted is the bound for anything else: the logic itself needed so many scans from the stimulus to its decision, and a
// unit may be one scan ahead or behind, at its shortest or longest scan.
func (b *Bounds) Counted(output int, scans uint64, aperture time.Duration) Bound {
	delay := b.delay(output)
	least := time.Duration(max(int64(scans)-1, 0)) * b.m.Site.Period.Min
	most := time.Duration(scans+1)*b.m.Site.Period.Max + b.slowPoll() + aperture
	return Bound{
		Span:   interval.Span{Least: least + delay.Least, Most: most + delay.Most},
		Source: fmt.Sprintf("the logic: %d %s from stimulus to decision, give or take one, output delay %s", scans, plural(int(scans), "scan", "scans"), interval.Exactly(delay.Most)),
	}
}

// NewBounds are the bounds of a site's outputs. Verified are worst responses by exhaustive search; bounds without one come from
// the site's own timing.
func NewBounds(m *wiring.Map, logic *interlock.Config, verified []Verified) *Bounds {
	return &Bounds{m, logic, verified}
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}
