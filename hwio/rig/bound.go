package rig

import (
	"fmt"
	"time"

	"ohmgate/interlock"
	"ohmgate/monitor"
)

// Bounds holds what responses of a site's outputs are held against.
type Bounds struct {
	m     *Map
	logic *interlock.Config
}

// delay is an output's own delay, contact and output module, in the site file.
func (b *Bounds) delay(output int) Span {
	d := b.m.Site.Outputs[output].OutputDelay
	return Span{time.Duration(float64(d.Lo * float64(time.Second))), time.Duration(float64(d.Hi * float64(time.Second)))}
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

// verified is what a search says of one output, channel and class.
func (b *Bounds) verified(output, channel int, class monitor.Class) *Verified {
	for i := range b.m.Verified {
		v := &b.m.Verified[i]
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
		Span:     Span{t.Guaranteed + delay.Least, t.Detection + delay.Most},
		Source:   fmt.Sprintf("site timing: worst detection of %s %s %s, output delay %s", name, class, exactly(t.Detection), exactly(delay.Most)),
		Patience: true,
	}
	if v := b.verified(output, channel, class); v != nil {
		aperture, word := b.m.Site.Channels[channel].Aperture, "upper bound"
		if v.Exact {
			word = "exact"
		}
		made.Most = time.Duration(v.Scans)*b.m.Site.Period.Max + aperture + b.slowPoll() + delay.Most
		made.Source = fmt.Sprintf("verify: %d %s, %s, for %s %s; aperture %s, output delay %s", v.Scans, plural(int(v.Scans), "scan", "scans"), word, name, class, exactly(aperture), exactly(delay.Most))
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
		Span:   Span{least + delay.Least, most + delay.Most},
		Source: fmt.Sprintf("the logic: %d %s from stimulus to decision, give or take one, output delay %s", scans, plural(int(scans), "scan", "scans"), exactly(delay.Most)),
	}
}

// cone is everything that can move an output: by name, channels and inputs.
func (b *Bounds) cone(output int) map[string]bool {
	names := map[string]bool{}
	b.addCone(output, names, map[int]bool{})
	return names
}

func (b *Bounds) addCone(output int, names map[string]bool, done map[int]bool) {
	if done[output] {
		return
	}
	done[output] = true
	o := &b.logic.Outputs[output]
	b.addCauses(o.Permissive, names)
	for _, ref := range []interlock.Ref{o.Reset, o.Start, o.Stop, o.Closed, o.Opened} {
		b.addInput(ref, names)
	}
	for _, v := range b.logic.VesselsOf(output) {
		b.addCauses(b.logic.Vessels[v].BondedBy, names)
		b.addInput(b.logic.Vessels[v].Acknowledge, names)
		for _, s := range b.logic.ChargedBy(v) {
			b.addInput(b.logic.Streams[s].Flow, names)
			for _, other := range b.logic.Streams[s].Through {
				b.addInput(b.logic.Outputs[other].Closed, names)
				b.addInput(b.logic.Outputs[other].Opened, names)
			}
		}
	}
	for _, caller := range b.logic.CallersOf(output) {
		b.addCone(caller, names, done)
	}
}

func (b *Bounds) addCauses(p interlock.Permissive, names map[string]bool) {
	set := p.Causes()
	set.Each(func(cause int) {
		names[b.m.Site.CauseName(cause)] = true
		if cause < len(b.logic.Channels) {
			b.addInput(b.logic.Channels[cause].Evidence, names)
			for i := range b.logic.Bypasses {
				if b.logic.Bypasses[i].Channel == cause {
					b.addInput(b.logic.Bypasses[i].Input, names)
				}
			}
		}
	})
}

func (b *Bounds) addInput(ref interlock.Ref, names map[string]bool) {
	if ref != 0 {
		names[b.m.Site.Inputs[ref-1].Name] = true
	}
}

// NewBounds are the bounds of a site's outputs.
func NewBounds(m *Map, logic *interlock.Config) *Bounds { return &Bounds{m, logic} }
